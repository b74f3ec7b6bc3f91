"""Rest-voltage curves: the shipped ones against their publication, the rider's own checked."""

from importlib import resources

import numpy as np
import pytest

from importers.curve_file import (
    FAMILIES,
    built_in_family,
    curve_text,
    parse_curve,
    read_curve,
)
from importers.errors import SetupError
from importers.setup_types import Chemistry

GOOD = "state_of_charge,volts_per_cell\n0,2.8\n0.25,3.4\n0.5,3.6\n0.75,3.8\n1,4.2\n"

# Volts per cell at 0, 20, 80, 95, 100 % of every curve: references, section 4.
PUBLISHED = {
    "nmc": (2.5, 3.4852, 4.0421, 4.1236, 4.2),
    "nmc_532": (2.8, 3.5847, 3.9705, 4.1360, 4.2),
    "nmc_111": (2.7, 3.5307, 3.9334, 4.1296, 4.2),
    "nca": (2.7, 3.3721, 3.9803, 4.1354, 4.2),
    "lfp": (2.0, 3.2296, 3.3181, 3.3227, 3.65),
    "lfp_mixed": (2.0, 3.1685, 3.3097, 3.3164, 3.6),
    "lco": (3.0, 3.6954, 3.9945, 4.1384, 4.2),
    "lco_low": (3.105, 3.6921, 3.8490, 4.0084, 4.1),
}


@pytest.mark.parametrize(("chemistry", "names"), FAMILIES.items())
def test_shipped_curves(chemistry, names):
    for curve, name in zip(built_in_family(chemistry), names, strict=True):
        at = np.interp([0, 0.2, 0.8, 0.95, 1], curve.state_of_charge, curve.volts_per_cell)
        assert at == pytest.approx(PUBLISHED[name], abs=5e-4)
        assert curve.built_in
        assert not curve.volts_per_cell.flags.writeable
        text = (resources.files("importers.curves") / f"{name}.csv").read_text("utf-8")
        assert "# source: " in text
        assert "# licence: " in text
        assert curve.source in text


def test_other_has_no_built_in_curve():
    assert built_in_family(Chemistry.OTHER) == ()


def test_round_trip():
    curve = parse_curve("# source: my own cells\n" + GOOD, "c.csv")
    again = parse_curve(curve_text(curve), "other.csv")
    assert np.array_equal(curve.volts_per_cell, again.volts_per_cell)
    assert np.array_equal(curve.state_of_charge, again.state_of_charge)
    assert (again.source, again.built_in) == ("my own cells", False)


@pytest.mark.parametrize(
    "text",
    [
        GOOD,
        GOOD.replace(",", ";").replace(".", ","),
        GOOD.replace(",", "\t"),
        "Volts_per_cell,note,State_of_charge\n"
        + "".join(
            f"{v},x,{z}\n" for z, v in ((1, 4.2), (0.75, 3.8), (0.5, 3.6), (0.25, 3.4), (0, 2.8))
        ),
        "# a comment\n\n" + GOOD.replace("\n", "\r\n"),
    ],
)
def test_shapes_of_the_same_curve(text):
    curve = parse_curve(text, "c.csv")
    assert curve.state_of_charge.tolist() == [0, 0.25, 0.5, 0.75, 1]
    assert curve.volts_per_cell.tolist() == [2.8, 3.4, 3.6, 3.8, 4.2]


def test_a_meters_last_digit_on_a_flat_curve():
    curve = parse_curve(GOOD.replace("3.6\n", "3.4\n"), "c.csv")
    assert np.all(np.diff(curve.volts_per_cell) > 0)
    assert curve.volts_per_cell == pytest.approx([2.8, 3.4, 3.4, 3.8, 4.2], abs=1e-5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("a,b\n1,2\n", "columns 'a', 'b'"),
        (GOOD.replace("3.6", "3.3"), "line 4: volts_per_cell does not rise"),
        (GOOD.replace("0.5,", "0.2,"), "line 4: state_of_charge does not rise"),
        (GOOD.replace("3.6", "x"), "line 4"),
        (GOOD.replace("3.6", "nan"), "line 4"),
        (GOOD.replace("0.25,3.4\n0.5,3.6\n", ""), "3 points"),
        (GOOD.replace("1,4.2", "0.9,4.2"), "0 to 0.9"),
        (
            GOOD.replace("0.25", "25")
            .replace("0.5", "50")
            .replace("0.75", "75")
            .replace("1,", "100,"),
            "from 0 to 1",
        ),
        (GOOD.replace("4.2", "58.8"), "not the voltage of one cell"),
        (
            "state_of_charge,volts_per_cell\n"
            + "".join(f"{z},3.3\n" for z in (0, 0.2, 0.4, 0.6, 1)),
            "hardly rises",
        ),
    ],
)
def test_what_is_no_curve(text, says):
    with pytest.raises(SetupError) as caught:
        parse_curve(text, "c.csv")
    assert says in str(caught.value)
    assert caught.value.remedy


def test_files(tmp_path):
    (tmp_path / "c.csv").write_text(GOOD, "utf-8-sig")
    assert read_curve(str(tmp_path / "c.csv")).source == "c.csv"
    (tmp_path / "p.csv").write_bytes(b"\x89PNG\xff\xfe\x00")
    for name in ("missing.csv", "p.csv", "."):
        with pytest.raises(SetupError):
            read_curve(str(tmp_path / name))

"""A setup: what is read, and what each fault says of file, line, key and remedy."""

import tomllib
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from setup_maker import TRIKE, setup_of

from analyzer.words import CutoutCause
from importers.curve_file import built_in_family, curve_text
from importers.errors import SetupError, UserError
from importers.setup_file import parse_setup, read_setup
from importers.setup_keys import CAUSE_WORDS, TABLES, TOP, Kind
from importers.setup_types import Bms, Chemistry, Drive, Pack, Ports, Vehicle, Wiring

LEAST = '[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 17.5\n[drives.left]\n'


def faults(text: str) -> list[UserError]:
    with pytest.raises(SetupError) as caught:
        setup_of(text)
    return [caught.value, *caught.value.more]


def only_fault(text: str) -> UserError:
    found = faults(text)
    assert len(found) == 1, [str(one) for one in found]
    return found[0]


def with_line(text: str, table: str, line: str) -> tuple[str, int]:
    """`text` with a line put first under a table's header, and that line's number."""
    lines = text.split("\n")
    at = lines.index(f"[{table}]") + 1 if f"[{table}]" in lines else None
    if at is None:
        lines += [f"[{table}]"]
        at = len(lines)
    key = line.split("=")[0].strip()
    end = next((i for i in range(at, len(lines)) if lines[i].startswith("[")), len(lines))
    kept = [one for one in lines[at:end] if one.split("=")[0].strip() != key]
    return "\n".join([*lines[:at], line, *kept, *lines[end:]]), at + 1


def test_every_value_arrives():
    setup = setup_of()
    assert setup.pack == Pack(
        chemistry=Chemistry.NMC,
        series=16,
        parallel=6,
        capacity_ah=21.0,
        cell_full_v=4.20,
        cell_empty_v=2.80,
        discharge_rating_a=60.0,
        charge_rating_a=10.5,
        min_charge_temp_c=0.0,
        aux_a=1.0,
    )
    assert setup.bms == Bms(
        discharge_rating_a=40.0,
        charge_rating_a=15.0,
        discharge_trip_a=50.0,
        discharge_trip_delay_s=1.5,
        charge_trip_a=25.0,
        charge_trip_delay_s=1.0,
        cell_low_v=2.70,
        cell_high_v=4.25,
        ports=Ports.COMMON,
    )
    assert setup.vehicle.mass_kg == 310.0
    assert setup.wiring == Wiring(60.0, 60.0)
    assert setup.drive_names == ("left", "right")
    assert (setup.full_v, setup.empty_v) == pytest.approx((16 * 4.2, 16 * 2.8))
    assert setup.file == "setup.toml"
    assert setup.text == TRIKE


def test_least_setup_and_what_is_used_instead():
    setup = setup_of(LEAST)
    assert setup.vehicle == Vehicle()
    assert setup.drives == (Drive("left"),)
    assert [key for key, _ in setup.notes] == [
        "pack.cell_full_v",
        "pack.cell_empty_v",
        "pack.rest_voltage_curve",
        "pack.aux_a",
    ]
    assert "Chen" in dict(setup.notes)["pack.cell_full_v"]
    # references, section 4: nmc811_chen2020 rests at 2.5 V at 0 % and at 4.2 V at 100 %.
    assert (setup.cell_empty_v, setup.cell_full_v) == (2.5, 4.2)


@pytest.mark.parametrize(
    ("chemistry", "half_v"),
    [("nmc", 3.7509), ("nca", 3.6846), ("lfp", 3.2781), ("lco", 3.7925)],
)
def test_default_curves_are_the_published_ones(chemistry, half_v):
    # Volts per cell at 50 %: references, section 4 (computed with PyBaMM from the publications).
    setup = setup_of(LEAST.replace("nmc", chemistry))
    at_half = np.interp(0.5, setup.curve.state_of_charge, setup.curve.volts_per_cell)
    assert at_half == pytest.approx(half_v, abs=5e-4)
    assert setup.curve_family[0] is setup.curve
    assert setup.curve.state_of_charge.size == 101
    assert np.all(np.diff(setup.curve.volts_per_cell) > 0)


def test_spread_between_cells_of_one_name():
    # references, section 4: at 50 % the three nmc curves are 3.751, 3.716, 3.673 V.
    family = built_in_family(Chemistry.NMC)
    at_half = [np.interp(0.5, c.state_of_charge, c.volts_per_cell) for c in family]
    assert at_half == pytest.approx([3.7509, 3.7155, 3.6726], abs=5e-4)


def test_whole_numbers_where_floats_are_wanted_are_fine():
    setup = setup_of(LEAST.replace("17.5", "20") + "battery_drive_a = 20\n")
    assert isinstance(setup.pack.capacity_ah, float)
    assert isinstance(setup.drives[0].battery_drive_a, float)


def test_same_as_takes_limits_and_says_where_they_stand():
    text = TRIKE + 'battery_drive_a = 12.0\nfollows = "left"\n[drives.rear]\nsame_as = "right"\n'
    setup = setup_of(text)
    left, right, rear = setup.drives
    assert (left.battery_drive_a, right.battery_drive_a, rear.battery_drive_a) == (17.5, 12, 12)
    assert rear.stop_at_v == left.stop_at_v
    assert (right.follows, rear.follows) == ("left", None)
    assert setup.home("drives.rear.battery_drive_a") == "drives.right.battery_drive_a"
    assert setup.home("drives.rear.stop_at_v") == "drives.left.stop_at_v"
    assert setup.home("drives.left.stop_at_v") == "drives.left.stop_at_v"


def test_gear_ratio_from_teeth():
    # Definition: motor turns per wheel turn = driven / driving teeth.
    setup = setup_of(LEAST + "[vehicle]\ndriving_teeth = 14\ndriven_teeth = 62\n")
    assert setup.vehicle.gear_ratio == pytest.approx(62 / 14)
    close = "[vehicle]\ndriving_teeth = 14\ndriven_teeth = 62\ngear_ratio = 4.4\n"
    assert setup_of(LEAST + close).vehicle.gear_ratio == 4.4


def test_hills_fault_words_logger_date():
    setup = setup_of(
        LEAST.replace("[drives", "in_service_since = 2031-03-01\n[drives")
        + '[[hills]]\nname = "a"\nlatitude_deg = 47\nlongitude_deg = -8.5\n'
        + '[[hills]]\nname = "b"\nlatitude_deg = -47.0\nlongitude_deg = 8.0\n'
        + '[logger]\npowered_by = "own_battery"\n[fault_words]\n7 = "controller_overheat"\n'
    )
    assert setup.pack.in_service_since == date(2031, 3, 1)
    assert [(h.name, h.longitude_deg) for h in setup.hills] == [("a", -8.5), ("b", 8.0)]
    assert setup.logger_powered_by == "own_battery"
    assert setup.fault_words == (("7", "controller_overheat"),)


def test_cause_words_are_those_of_the_analysis():
    assert set(CAUSE_WORDS) == {word.value for word in CutoutCause}


def test_key_table_is_the_types():
    for table, kind in (("vehicle", Vehicle), ("pack", Pack), ("bms", Bms), ("wiring", Wiring)):
        assert {key.name for key in TABLES[table]} == set(kind.__dataclass_fields__)
    assert {k.name for k in TABLES["drives"]} == set(Drive.__dataclass_fields__) - {"name"}


@pytest.mark.parametrize(
    ("table", "line", "what", "remedy"),
    [
        ("pack", "cell_full_v = 42", "pack.cell_full_v is 42", "4.2"),
        ("pack", 'series = "14"', 'pack.series is "14", expected a whole number', "quotes off"),
        ("pack", "series = 14.5", "pack.series is 14.5", "whole"),
        ("pack", "series = 0", "pack.series is 0, expected a whole number from 1", "positive"),
        ("pack", "capacity_ah = true", "pack.capacity_ah is true, expected a number", "number"),
        ("pack", "capacity_ah = -3.0", "pack.capacity_ah is -3.0", "positive"),
        ("pack", "capacity_ah = nan", "pack.capacity_ah is nan", "Leave the key out"),
        ("pack", "capacity_ah = inf", "pack.capacity_ah is inf", "Leave the key out"),
        ("pack", "capacity_ah = 17500", "pack.capacity_ah is 17500", "17.5"),
        ("pack", 'chemistry = "nmx"', "pack.chemistry", '"nmc"'),
        ("pack", 'chemistry = "LiFePO4"', "pack.chemistry", '"lfp"'),
        ("pack", 'chemistry = "lto"', "pack.chemistry", '"other"'),
        ("pack", 'chemistry = "other"', "pack.chemistry", "rest_voltage_curve"),
        ("pack", "chemistry = 3", "pack.chemistry is 3", "quotes"),
        ("pack", "paralel = 5", "pack.paralel is not a known key", "parallel"),
        ("pack", "battery_drive_a = 5", "pack.battery_drive_a", "[drives.NAME]"),
        ("pack", 'in_service_since = "2031-03-01"', "pack.in_service_since", "quotes off"),
        ("pack", "cell_empty_v = 4.3", "pack.cell_empty_v is 4.3, expected less", "swapped"),
        ("pack", 'name = ""', "pack.name is empty", "name"),
        ("vehicle", "wheel_diameter_m = 20", "vehicle.wheel_diameter_m is 20", "0.508"),
        ("vehicle", "driving_teeth = 14", "vehicle.driving_teeth is given without", "driven"),
        ("bms", "cell_high_v = 2.0", "bms.cell_low_v is 2.7, expected less", "swapped"),
        ("bms", 'ports = "comon"', "bms.ports", '"common"'),
        ("bms", "discharge_trip_delay_s = -1", "bms.discharge_trip_delay_s is -1", "positive"),
        ("drives.left", "stop_at_v = 53.0", "drives.left.stop_at_v is 53", "swapped"),
        ("drives.left", "battery_brake_a = 0", "drives.left.battery_brake_a is 0", "leave the key"),
        ("drives.left", "battery_drive = 5", "drives.left.battery_drive", "battery_drive_a"),
        ("drives.right", 'same_as = "lefft"', 'drives.right.same_as names "lefft"', '"left"'),
        ("drives.right", 'same_as = "right"', "drives.right.same_as names the drive itself", ""),
        ("drives.right", 'follows = "front"', 'drives.right.follows names "front"', "left"),
        ("fault_words", '7 = "bms_overheated"', "fault_words.7", '"bms_overheat"'),
        ("fault_words", "7 = 7", "fault_words.7", "Causes"),
        ("logger", 'powered_by = "usb"', "logger.powered_by", "words"),
        ("wiering", "fuse_a = 60", "wiering", "wiring"),
    ],
)
def test_a_fault_names_line_key_and_remedy(table, line, what, remedy):
    text, number = with_line(TRIKE, table, line)
    if table == "wiering":
        number -= 1
    found = only_fault(text)
    if line == "cell_high_v = 2.0":
        number = text.split("\n").index("cell_low_v = 2.70") + 1
    assert found.where == f"setup.toml, line {number}"
    assert what in found.what
    assert remedy in found.remedy
    assert str(found).startswith(f"setup.toml, line {number}: ")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("", "pack.chemistry"),
        ("[pack]\nseries = 14\ncapacity_ah = 3.0\n[drives.a]\n", "pack.chemistry"),
        ('[pack]\nchemistry = "nmc"\ncapacity_ah = 3.0\n[drives.a]\n', "pack.series"),
        ('[pack]\nchemistry = "nmc"\nseries = 14\n[drives.a]\n', "pack.capacity_ah"),
        ('[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 3.0\n', "drives"),
        ("[[hills]]\nname = 'x'\nlatitude_deg = 4\n" + LEAST, "hills 1.longitude_deg"),
    ],
)
def test_missing_keys_are_named(text, key):
    assert any(f"{key} is missing" in one.what for one in faults(text))


@pytest.mark.parametrize(
    "packs",
    [
        "[[pack]]\nseries = 14\n[[pack]]\nseries = 14\n",
        "[pack.one]\nseries = 14\n[pack.two]\nseries = 14\n",
    ],
)
def test_two_packs_are_refused_with_the_reason(packs):
    found = faults(packs + "[drives.left]\n")
    assert any("parallel share the current" in one.remedy for one in found)


@pytest.mark.parametrize("name", ["gps", "BMS", "all", "a.b", "a=b", "a+b", " a", ""])
def test_names_that_mean_something_else(name):
    text = LEAST.replace("[drives.left]", f'[drives."{name}"]')
    assert "cannot be a drive's name" in only_fault(text).what


@pytest.mark.parametrize("name", ["left front", "<script>", "größe", "1", "a/b"])
def test_other_names_are_fine(name):
    assert setup_of(LEAST.replace("[drives.left]", f'[drives."{name}"]')).drive_names == (name,)


def test_links_in_a_circle():
    text = LEAST.replace("[drives.left]", "") + "".join(
        f'[drives.{one}]\nsame_as = "{two}"\n' for one, two in ("ab", "bc", "ca")
    )
    assert all("runs in a circle" in one.what for one in faults(text))


def test_all_faults_at_once_in_the_order_of_their_lines():
    text = LEAST.replace("series = 14", 'series = "14"').replace("17.5", "17,5") + "stopat_v = 4\n"
    found = faults(text)
    assert [one.where for one in found] == [f"setup.toml, line {n}" for n in (3, 4, 6)]
    assert "17.5" in found[1].remedy


@pytest.mark.parametrize(
    ("value", "remedy"),
    [
        ("17,5", "17.5"),
        ("17.5 Ah", "17.5"),
        (".5", "0.5"),
        ("17.", "17.0"),
        ("", "Give one"),
        ("viel", '"viel"'),
        ("“17”", "straight"),
        ("017", "leading zero"),
    ],
)
def test_broken_lines_are_guessed(value, remedy):
    found = only_fault(LEAST.replace("17.5", value))
    assert found.where == "setup.toml, line 4"
    assert found.what.startswith("pack.capacity_ah ")
    assert remedy in found.remedy


@pytest.mark.parametrize(
    ("old", "new", "line", "what"),
    [
        ("series = 14", "series: 14", 3, "colon"),
        ("[pack]", "[pack", 1, "close"),
        ("series = 14", "series 14", 3, "equals sign"),
        ("series = 14", "series = 14\nseries = 15", 4, "twice"),
        ("[drives.left]", "[pack]\n[drives.left]", 5, "twice"),
    ],
)
def test_other_broken_lines(old, new, line, what):
    found = faults(LEAST.replace(old, new))
    assert any(one.where == f"setup.toml, line {line}" and what in str(one) for one in found)


def test_files_that_are_no_setup(tmp_path):
    cases = {
        "missing.toml": (None, "no such file"),
        "empty.toml": (b"", "pack.chemistry is missing"),
        "picture.toml": (b"\x89PNG\r\n\x1a\n\x00\x00\xff", "not a setup file"),
        "latin.toml": ('[vehicle]\nname = "Gr\xf6\xdfe"\n'.encode("latin-1"), "not UTF-8"),
        "large.toml": (b"# x\n" * 400_000, "not a setup file"),
    }
    for name, (content, what) in cases.items():
        path = tmp_path / name
        if content is not None:
            path.write_bytes(content)
        with pytest.raises(SetupError) as caught:
            read_setup(str(path))
        assert what in str(caught.value)
        assert str(caught.value).startswith(str(path))
    with pytest.raises(SetupError, match="folder"):
        read_setup(str(tmp_path))
    with pytest.raises(SetupError):
        read_setup("a\0b")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings(tmp_path, encoding):
    path = tmp_path / "größe.toml"
    path.write_bytes(('[vehicle]\r\nname = "Größe"\r\n' + LEAST).encode(encoding))
    assert read_setup(str(path)).vehicle.name == "Größe"


def test_own_curve_beside_the_setup(tmp_path):
    own = built_in_family(Chemistry.LFP)[0]
    (tmp_path / "c.csv").write_text(curve_text(own), "utf-8")
    line = 'rest_voltage_curve = "c.csv"\n[drives'
    text = LEAST.replace("nmc", "other").replace("[drives", line)
    (tmp_path / "s.toml").write_text(text, "utf-8")
    setup = read_setup(str(tmp_path / "s.toml"))
    assert np.array_equal(setup.curve.volts_per_cell, own.volts_per_cell)
    assert setup.curve_family == (setup.curve,)
    assert parse_setup(text, "x", read_curve=lambda _: own).curve is own
    found = only_fault(text)
    assert found.where == "setup.toml, line 5"
    assert "c.csv" in found.what


BAD_OF_KIND = {
    Kind.NUMBER: ['"x"', "true", "nan", "1e9", "[1]", "{a = 1}", "2031-03-01"],
    Kind.WHOLE: ['"x"', "false", "2.5", "100000", "-1"],
    Kind.TEXT: ["3", "true", '""', "[]"],
    Kind.WORD: ["3", '"zzz"'],
    Kind.DATE: ["3", '"yesterday"', "12:00:00"],
}
MUTATIONS = [
    (table, key, bad)
    for table, keys in TABLES.items()
    for key in keys
    for bad in BAD_OF_KIND[key.kind]
]


@pytest.mark.parametrize(("table", "key", "bad"), MUTATIONS)
def test_every_key_refuses_what_it_cannot_be(table, key, bad):
    if table == "hills":
        rest = {"name": '"x"', "latitude_deg": "1", "longitude_deg": "2"} | {key.name: bad}
        body = "".join(f"{name} = {value}\n" for name, value in rest.items())
        text = f"[[hills]]\n{body}" + TRIKE
        number = 2 + list(rest).index(key.name)
        path = f"hills 1.{key.name}"
    else:
        header = "drives.left" if table == "drives" else table
        text, number = with_line(TRIKE, header, f"{key.name} = {bad}")
        path = f"{header}.{key.name}"
    found = [one for one in faults(text) if one.what.startswith(path)]
    assert found
    assert found[0].where == f"setup.toml, line {number}"
    assert found[0].remedy


@settings(deadline=None)
@given(
    st.one_of(
        st.text(max_size=300),
        st.text(alphabet="[]{}=\"'#.,\n abepcks014", max_size=200),
        st.lists(st.sampled_from(TRIKE.split("\n")), max_size=40).map("\n".join),
    )
)
def test_no_text_crashes(text):
    for one in outcome(text):
        assert one.where.startswith("setup.toml")
        assert one.what


@settings(deadline=None)
@given(
    st.integers(0, len(TRIKE) - 1),
    st.text(alphabet="[]{}=\"'#.,\n x-9é\0", min_size=0, max_size=3),
    st.integers(0, 4),
)
def test_no_typo_crashes(at, put, cut):
    text = TRIKE[:at] + put + TRIKE[at + cut :]
    said = outcome(text)
    if not said:
        tomllib.loads(text)
    assert all(one.where and one.what for one in said)


def outcome(text: str) -> list[UserError]:
    """The faults of a text; none where it is a setup. Anything else than these is a crash."""
    try:
        setup_of(text)
    except SetupError as error:
        return [error, *error.more]
    return []


def test_top_names_are_the_tables():
    assert set(TOP) == {*TABLES, "fault_words"}


@pytest.mark.parametrize(
    ("extra", "told"),
    [
        ("\n[bms]\ncell_low_v = 2.7\n", "[bms] stands twice. Put its keys under one header."),
        ("\n[pack]\nseries = 14\n", "[pack] stands twice."),
        ("\n[[pack]]\nseries = 14\n", "two packs in parallel cannot be judged"),
    ],
)
def test_a_table_that_stands_twice_is_named(extra, told):
    from setup_maker import TRIKE, setup_of

    with pytest.raises(UserError) as caught:
        setup_of(TRIKE + extra)
    line = TRIKE.count("\n") + 2
    assert f"setup.toml, line {line}: " in str(caught.value)
    assert told in str(caught.value)

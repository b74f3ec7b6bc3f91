"""Volts per cell times cells in series, worked by hand. Which voltages are usual: common practice,
no source; that overvoltage belongs between full and the BMS's line: the contract."""

import pytest
from setup_maker import setup_of

from analyzer.setup_check import SetupFinding, check_setup
from analyzer.setup_voltages import fitting_cells
from analyzer.words import Severity

BASE = {
    "chemistry": '"nmc"',
    "series": 14,
    "capacity_ah": 17.5,
    "cell_full_v": 4.2,
    "cell_empty_v": 2.8,
}
BMS = {"cell_low_v": 2.7, "cell_high_v": 4.25}
STOP_V, DERATE_V = 43.9, 47.6
"""By hand for this pack without limits (17.5 A, 80 mOhm: 1.4 V of sag). On nmc811 with empty at
2.8 V (1.5 %, references section 4) 20 % is 21.2 % of the curve, 3.496 V per cell, 48.94 V: less
the sag 47.54 V. 4 % is 5.4 %, 3.13 V per cell, 43.86 V, more than 0.2 V per cell below."""
DRIVE = {"derate_from_v": 46.2, "stop_at_v": 42.0, "overvoltage_v": 59.2}


def text(pack=None, bms=None, drive=None) -> str:
    def table(values):
        return "".join(f"{k} = {v}\n" for k, v in values.items() if v is not None)

    return (
        f"[pack]\n{table(BASE | (pack or {}))}[bms]\n{table(BMS | (bms or {}))}"
        f"[drives.left]\n{table(DRIVE | (drive or {}))}[drives.right]\nsame_as = 'left'\n"
    )


def found(name: str, **changes) -> list[SetupFinding]:
    return [f for f in check_setup(setup_of(text(**changes))).findings if f.check == name]


def test_a_setup_in_order_has_no_finding():
    assert check_setup(setup_of(text())).findings == ()


@pytest.mark.parametrize(
    ("name", "changes", "severity", "value", "limit", "keys", "suggested"),
    [
        (
            "derate_above_stop",
            {"drive": {"derate_from_v": 42.0}},
            Severity.ACT,
            42.0,
            42.0,
            ("drives.left.derate_from_v", "drives.left.stop_at_v", "pack.series"),
            DERATE_V,
        ),
        (
            "derate_above_stop",
            {"drive": {"stop_at_v": 45.5}},  # 0.05 V per cell between the two
            Severity.WATCH,
            46.2,
            45.5,
            ("drives.left.derate_from_v", "drives.left.stop_at_v", "pack.series"),
            48.3,  # 45.5 + 14 x 0.2, more than 47.6
        ),
        (
            "stop_above_empty",
            {"drive": {"stop_at_v": 39.0}},
            Severity.WATCH,
            39.0,
            39.2,  # 14 x 2.8
            ("drives.left.stop_at_v", "pack.series", "pack.cell_empty_v"),
            STOP_V,
        ),
        (
            "stop_above_empty",
            {"drive": {"stop_at_v": 39.2}},
            Severity.WATCH,
            39.2,
            39.2,
            ("drives.left.stop_at_v", "pack.series", "pack.cell_empty_v"),
            STOP_V,
        ),
        (
            "derate_above_empty",
            {"drive": {"derate_from_v": 39.0, "stop_at_v": 37.0}},
            Severity.WATCH,
            39.0,
            39.2,
            ("drives.left.derate_from_v", "pack.series", "pack.cell_empty_v"),
            DERATE_V,
        ),
        (
            "stop_above_bms_low",
            {"bms": {"cell_low_v": 3.0}},  # 14 x 3.0 = 42.0: the BMS opens as power goes
            Severity.ACT,
            42.0,
            42.0,
            ("drives.left.stop_at_v", "bms.cell_low_v", "pack.series"),
            STOP_V,  # above 14 x (3.0 + 0.1 x (4.2 - 3.0)) = 43.68
        ),
        (
            "stop_above_bms_low",
            {"bms": {"cell_low_v": 2.95}},  # 41.3 V: 0.05 V per cell apart
            Severity.WATCH,
            42.0,
            41.3,
            ("drives.left.stop_at_v", "bms.cell_low_v", "pack.series"),
            STOP_V,
        ),
        (
            "overvoltage_above_full",
            {"drive": {"overvoltage_v": 58.8}},
            Severity.ACT,
            58.8,
            58.8,  # 14 x 4.2
            ("drives.left.overvoltage_v", "pack.series", "pack.cell_full_v"),
            59.1,  # between 58.8 and 59.5
        ),
        (
            "overvoltage_below_bms_high",
            {"drive": {"overvoltage_v": 60.0}},
            Severity.WATCH,
            60.0,
            59.5,  # 14 x 4.25
            ("drives.left.overvoltage_v", "bms.cell_high_v", "pack.series"),
            59.1,
        ),
    ],
)
def test_order_of_voltages(name, changes, severity, value, limit, keys, suggested):
    (one,) = found(name, **changes)
    assert (one.severity, one.value, one.limit) == (severity, value, pytest.approx(limit))
    assert one.keys == keys
    assert one.suggest[0].value == pytest.approx(suggested)
    assert one.message.startswith("Drives left and right: ")


def test_suggested_stop_never_lies_lower():
    for name in ("stop_above_empty", "stop_above_bms_low", "derate_above_empty"):
        for low in (2.5, 2.7, 3.0, 3.2):
            for stop in (36.0, 39.0, 42.0, 44.0):
                changes = {"bms": {"cell_low_v": low}, "drive": {"stop_at_v": stop}}
                for one in found(name, **changes):
                    now = {"drives.left.stop_at_v": stop, "drives.left.derate_from_v": 46.2}
                    assert all(s.value > now[s.key] for s in one.suggest)


def test_no_room_between_full_and_the_line():
    (one,) = found("overvoltage_below_bms_high", bms={"cell_high_v": 4.201})
    assert one.suggest == ()


def test_default_empty_is_named_by_the_chemistry():
    # references, section 4: nmc811_chen2020 is empty at 2.5 V; 14 x 2.5 = 35.0 V.
    changes = {"pack": {"cell_empty_v": None}, "drive": {"stop_at_v": 34.0}}
    (one,) = found("stop_above_empty", **changes)
    assert one.limit == pytest.approx(35.0)
    assert one.keys == ("drives.left.stop_at_v", "pack.series", "pack.chemistry")


@pytest.mark.parametrize(
    ("cells", "drive"),
    [
        (20, {"derate_from_v": 66.0, "stop_at_v": 60.0, "overvoltage_v": 85.0}),
        (10, {"derate_from_v": 33.0, "stop_at_v": 30.0, "overvoltage_v": 42.5}),
    ],
)
def test_a_setup_for_another_number_of_cells(cells, drive):
    one = found("volts_per_cell", drive=drive)
    assert one
    assert all(f"about {cells} cells" in f.message for f in one)
    assert any(f.severity is Severity.ACT for f in one)
    assert all("pack.series" in f.keys for f in one)
    setup = setup_of(text(drive=drive))
    assert fitting_cells(setup, setup.drives[0]) == cells


@pytest.mark.parametrize(
    ("chemistry", "derate", "stop", "full", "fits"),
    [
        # references, section 13: power reduced at 3.2 to 3.5 V (lfp 2.9 to 3.0), gone at 2.9 to
        # 3.2 V (lfp 2.6 to 2.7): common practice, no source.
        ("nmc", 3.5, 3.2, 4.2, True),
        ("nmc", 3.2, 2.9, 4.2, True),
        ("lfp", 3.0, 2.7, 3.65, True),
        ("lfp", 2.9, 2.6, 3.65, True),
        ("lfp", 3.4, 3.2, 3.65, False),
        ("nmc", 2.7, 2.5, 4.2, False),
        ("nmc", 4.0, 3.8, 4.2, False),
    ],
)
def test_usual_volts_per_cell(chemistry, derate, stop, full, fits):
    changes = {
        "pack": {"chemistry": f'"{chemistry}"', "cell_full_v": full, "cell_empty_v": 2.0},
        "bms": {"cell_low_v": None, "cell_high_v": None},
        "drive": {
            "derate_from_v": round(14 * derate, 2),
            "stop_at_v": round(14 * stop, 2),
            "overvoltage_v": None,
        },
    }
    assert (found("volts_per_cell", **changes) == []) is fits


def test_what_is_not_given_is_said():
    bare = '[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 17.5\n[drives.a]\n'
    missing = {key for one in check_setup(setup_of(bare)).not_checked for key in one.missing}
    assert {
        "drives.a.derate_from_v",
        "drives.a.stop_at_v",
        "drives.a.overvoltage_v",
        "bms.cell_low_v",
        "bms.cell_high_v",
    } <= missing

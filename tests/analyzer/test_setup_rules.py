"""Every other rule of the setup check: a setup that triggers it and one that does not.

Where no source stands beside a number it is common practice, no source.
"""

import pytest
from setup_maker import setup_of

from analyzer.setup_check import SetupFinding, check_setup
from analyzer.words import Severity

ACT, WATCH, NOTE = Severity.ACT, Severity.WATCH, Severity.NOTE
TABLES = ("pack", "bms", "wiring", "drives.left", "drives.right")


def text(values: dict[str, object]) -> str:
    """A setup of the least keys and these (`bms.ports`, `left.battery_drive_a`)."""
    start: dict[str, object] = {
        "pack.chemistry": "nmc",
        "pack.series": 14,
        "pack.capacity_ah": 17.5,
    }
    tables: dict[str, list[str]] = {name: [] for name in TABLES}
    for key, value in (start | values).items():
        table, name = key.rsplit(".", 1)
        table = f"drives.{table}" if table in ("left", "right") else table
        tables[table].append(
            f"{name} = {value!r}" if not isinstance(value, str) else f'{name} = "{value}"'
        )
    lines = [line for table, keys in tables.items() for line in (f"[{table}]", *keys)]
    return "\n".join(lines)


def found(name: str, values: dict[str, object]) -> list[SetupFinding]:
    return [f for f in check_setup(setup_of(text(values))).findings if f.check == name]


RULES = [
    # (check, what triggers it, severity, value, limit, first key, what does not trigger it)
    # cells: 4.2 V cells are not charged above 4.25 V: IEC 62133-2 annex A (as references, 5).
    (
        "full_against_chemistry",
        {"pack.cell_full_v": 4.35},
        ACT,
        4.35,
        4.25,
        "pack.cell_full_v",
        {"pack.cell_full_v": 4.2},
    ),
    (
        "full_against_chemistry",
        {"pack.cell_full_v": 4.28},
        WATCH,
        4.28,
        4.25,
        "pack.cell_full_v",
        {"pack.cell_full_v": 4.25},
    ),
    (
        "full_against_chemistry",
        {"pack.cell_full_v": 3.65},
        NOTE,
        3.65,
        3.9,
        "pack.cell_full_v",
        {"pack.cell_full_v": 4.0},
    ),
    (
        "full_against_chemistry",
        {"pack.chemistry": "lfp", "pack.cell_full_v": 4.2},
        ACT,
        4.2,
        3.65,
        "pack.cell_full_v",
        {"pack.chemistry": "lfp", "pack.cell_full_v": 3.65},
    ),
    (
        "empty_against_chemistry",
        {"pack.cell_empty_v": 2.0},
        WATCH,
        2.0,
        2.5,
        "pack.cell_empty_v",
        {"pack.cell_empty_v": 2.5},
    ),
    (
        "bms_line_against_chemistry",
        {"bms.cell_low_v": 2.0},
        WATCH,
        2.0,
        2.5,
        "bms.cell_low_v",
        {"bms.cell_low_v": 2.5},
    ),
    (
        "bms_line_against_chemistry",
        {"pack.chemistry": "lfp", "bms.cell_high_v": 4.25},
        ACT,
        4.25,
        3.8,
        "bms.cell_high_v",
        {"pack.chemistry": "lfp", "bms.cell_high_v": 3.75},
    ),
    (
        "bms_high_above_full",
        {"pack.cell_full_v": 4.2, "bms.cell_high_v": 4.15},
        WATCH,
        4.15,
        4.2,
        "bms.cell_high_v",
        {"pack.cell_full_v": 4.2, "bms.cell_high_v": 4.25},
    ),
    (
        "bms_low_below_empty",
        {"pack.cell_empty_v": 2.8, "bms.cell_low_v": 3.0},
        WATCH,
        3.0,
        2.8,
        "bms.cell_low_v",
        {"pack.cell_empty_v": 2.8, "bms.cell_low_v": 2.8},
    ),
    # capacity per parallel cell between 0.5 and 100 Ah: the contract. 17.5 / 40 = 0.4375.
    (
        "capacity_per_cell",
        {"pack.parallel": 40},
        WATCH,
        0.4375,
        0.5,
        "pack.capacity_ah",
        {"pack.parallel": 35},
    ),
    (
        "capacity_per_cell",
        {"pack.parallel": 1, "pack.capacity_ah": 120.0},
        WATCH,
        120.0,
        100.0,
        "pack.capacity_ah",
        {"pack.parallel": 1, "pack.capacity_ah": 100.0},
    ),
    (
        "charge_rating_above_discharge",
        {"pack.charge_rating_a": 60.0, "pack.discharge_rating_a": 12.0},
        WATCH,
        60.0,
        12.0,
        "pack.charge_rating_a",
        {"pack.charge_rating_a": 12.0, "pack.discharge_rating_a": 60.0},
    ),
    (
        "rating_against_capacity",
        {"pack.charge_rating_a": 90.0},
        WATCH,
        90.0,
        87.5,
        "pack.charge_rating_a",
        {"pack.charge_rating_a": 87.0},
    ),
    # trips
    (
        "trip_below_rating",
        {"bms.discharge_trip_a": 45.0, "bms.discharge_rating_a": 50.0},
        WATCH,
        45.0,
        50.0,
        "bms.discharge_trip_a",
        {"bms.discharge_trip_a": 75.0, "bms.discharge_rating_a": 50.0},
    ),
    (
        "trip_below_rating",
        {"bms.charge_trip_a": 15.0, "bms.charge_rating_a": 20.0},
        WATCH,
        15.0,
        20.0,
        "bms.charge_trip_a",
        {"bms.charge_trip_a": 30.0, "bms.charge_rating_a": 20.0},
    ),
    (
        "trip_below_rating",
        {"bms.discharge_trip_a": 50.0, "bms.discharge_rating_a": 50.0},
        NOTE,
        50.0,
        50.0,
        "bms.discharge_trip_a",
        {"bms.discharge_trip_a": 50.1, "bms.discharge_rating_a": 50.0},
    ),
    (
        "peak_below_rating",
        {"pack.discharge_peak_a": 50.0, "pack.discharge_rating_a": 60.0},
        WATCH,
        50.0,
        60.0,
        "pack.discharge_peak_a",
        {"pack.discharge_peak_a": 90.0, "pack.discharge_rating_a": 60.0},
    ),
    (
        "trip_below_peak",
        {"bms.discharge_trip_a": 60.0, "bms.discharge_peak_a": 70.0},
        NOTE,
        60.0,
        70.0,
        "bms.discharge_trip_a",
        {"bms.discharge_trip_a": 75.0, "bms.discharge_peak_a": 70.0},
    ),
    (
        "time_without_level",
        {"bms.discharge_trip_delay_s": 1.0},
        NOTE,
        1.0,
        None,
        "bms.discharge_trip_delay_s",
        {"bms.discharge_trip_delay_s": 1.0, "bms.discharge_trip_a": 75.0},
    ),
    (
        "time_without_level",
        {"pack.charge_peak_s": 5.0},
        NOTE,
        5.0,
        None,
        "pack.charge_peak_s",
        {"pack.charge_peak_s": 5.0, "pack.charge_peak_a": 20.0},
    ),
    (
        "bms_above_cells",
        {"bms.charge_rating_a": 20.0, "pack.charge_rating_a": 12.0},
        NOTE,
        20.0,
        12.0,
        "bms.charge_rating_a",
        {"bms.charge_rating_a": 10.0, "pack.charge_rating_a": 12.0},
    ),
    (
        "fuse_above_connector",
        {"wiring.fuse_a": 80.0, "wiring.connector_rating_a": 60.0},
        WATCH,
        80.0,
        60.0,
        "wiring.fuse_a",
        {"wiring.fuse_a": 60.0, "wiring.connector_rating_a": 60.0},
    ),
    (
        "fuse_below_trip",
        {"wiring.fuse_a": 50.0, "bms.discharge_trip_a": 75.0},
        NOTE,
        50.0,
        75.0,
        "wiring.fuse_a",
        {"wiring.fuse_a": 60.0, "bms.discharge_trip_a": 75.0},
    ),
    (
        "braking_past_charge_protection",
        {"bms.ports": "separate", "left.battery_brake_a": 5.0},
        WATCH,
        None,
        None,
        "bms.ports",
        {"bms.ports": "common", "left.battery_brake_a": 5.0},
    ),
    # the drives
    (
        "drives_differ",
        {"left.battery_drive_a": 20.0, "right.battery_drive_a": 18.0},
        WATCH,
        20.0,
        18.0,
        "drives.left.battery_drive_a",
        {"left.battery_drive_a": 20.0, "right.battery_drive_a": 20.0},
    ),
    (
        "drives_differ",
        {"left.stop_at_v": 42.0, "right.stop_at_v": 43.0},
        WATCH,
        43.0,
        42.0,
        "drives.left.stop_at_v",
        {"left.stop_at_v": 42.0, "right.same_as": "left"},
    ),
    # battery current is phase current times duty, and duty is one at most
    (
        "phase_below_battery_limit",
        {"left.phase_drive_a": 20.0, "left.battery_drive_a": 25.0},
        NOTE,
        20.0,
        25.0,
        "drives.left.phase_drive_a",
        {"left.phase_drive_a": 55.0, "left.battery_drive_a": 25.0},
    ),
    (
        "heat_derate_below_stop",
        {"left.motor_derate_c": 120.0, "left.motor_stop_c": 100.0},
        WATCH,
        120.0,
        100.0,
        "drives.left.motor_derate_c",
        {"left.motor_derate_c": 100.0, "left.motor_stop_c": 120.0},
    ),
    (
        "heat_limit_high",
        {"left.motor_stop_c": 180.0},
        NOTE,
        180.0,
        150.0,
        "drives.left.motor_stop_c",
        {"left.motor_stop_c": 150.0},
    ),
    (
        "heat_limit_high",
        {"left.controller_stop_c": 120.0},
        NOTE,
        120.0,
        110.0,
        "drives.left.controller_stop_c",
        {"left.controller_stop_c": 95.0},
    ),
    # charging below freezing plates lithium: J. Power Sources 594, 233948 (2024), abstract
    (
        "braking_when_cold",
        {"left.battery_brake_a": 5.0, "pack.min_charge_temp_c": -10.0},
        WATCH,
        -10.0,
        0.0,
        "drives.left.battery_brake_a",
        {"pack.min_charge_temp_c": -10.0},
    ),
    (
        "braking_when_cold",
        {"left.battery_brake_a": 5.0, "pack.min_charge_temp_c": 5.0},
        NOTE,
        5.0,
        None,
        "drives.left.battery_brake_a",
        {"pack.min_charge_temp_c": 5.0},
    ),
]


@pytest.mark.parametrize(("name", "bad", "severity", "value", "limit", "key", "good"), RULES)
def test_rule(name, bad, severity, value, limit, key, good):
    (one,) = found(name, bad)
    assert one.severity is severity
    assert (one.value, one.limit) == (pytest.approx(value), pytest.approx(limit))
    assert one.keys[0] == key
    assert one.message
    assert one.why
    assert found(name, good) == []


def test_sides_are_matched_down_and_low_voltages_up():
    (current,) = found(
        "drives_differ", {"left.battery_drive_a": 20.0, "right.battery_drive_a": 18.0}
    )
    assert [(s.key, s.value) for s in current.suggest] == [("drives.left.battery_drive_a", 18.0)]
    (stop,) = found("drives_differ", {"left.stop_at_v": 42.0, "right.stop_at_v": 43.0})
    assert [(s.key, s.value) for s in stop.suggest] == [("drives.left.stop_at_v", 43.0)]


FULL = {
    "pack.cell_full_v": 4.2,
    "bms.cell_high_v": 4.25,
    "left.battery_brake_a": 8.0,
    "right.battery_brake_a": 8.0,
}


def test_braking_into_a_full_pack():
    # By hand: 14 x 4.2 V + 16 A x (0.10 Ohm Ah x 14 / 17.5 Ah) = 58.8 + 1.28 = 60.08 V.
    (one,) = found("braking_when_full", FULL)
    assert one.value == pytest.approx(60.08)
    assert one.limit == pytest.approx(59.5)
    assert one.severity is NOTE
    assert {
        "drives.left.battery_brake_a",
        "drives.right.battery_brake_a",
        "bms.cell_high_v",
    } <= set(one.keys)
    assert {"pack.series", "pack.cell_full_v"} <= set(one.keys)
    assert "mechanical brake" in one.caution
    # Even the lowest resistance such cells have (40 mOhm) lifts 30 A by 1.2 V, over the line.
    assert found("braking_when_full", FULL | {"left.battery_brake_a": 22.0})[0].severity is WATCH
    assert found("braking_when_full", {"bms.cell_high_v": 4.25}) == []


def test_charge_to_leave_with():
    # The high end of the resistance, 0.20 x 14 / 17.5 = 160 mOhm, times 16 A is 2.56 V: the pack
    # has to rest at 59.5 - 2.56 = 56.94 V, 4.067 V per cell; on nmc811 (references, section 4)
    # 4.0421 V is 80 % and 4.0809 V is 85 %: about 83 %.
    (one,) = found("braking_when_full", FULL)
    assert "Leave with 83 % or less" in one.caution


def test_sag_into_the_derate_band():
    # 50 A x 80 mOhm = 4.0 V; 46.2 + 4.0 = 50.2 V, 3.586 V per cell; on nmc811 with its own ends
    # 3.5814 V is 30 % and 3.6290 V is 35 %: about 30 %.
    values = {"left.battery_drive_a": 50.0, "left.derate_from_v": 46.2}
    (one,) = found("sag_into_derate", values)
    assert one.severity is NOTE
    assert one.value == pytest.approx(30.4, abs=0.6)
    # 52.0 + 4.0 = 56.0 V, 4.0 V per cell: 75 % is 3.9943 V.
    (early,) = found("sag_into_derate", values | {"left.derate_from_v": 52.0})
    assert early.severity is WATCH
    assert early.value == pytest.approx(75.6, abs=0.6)
    assert found("sag_into_derate", values | {"left.battery_drive_a": 20.0}) == []


def test_findings_come_gravest_first_and_nothing_is_judged_twice():
    values = FULL | {
        "bms.discharge_rating_a": 30.0,
        "left.battery_drive_a": 25.0,
        "right.battery_drive_a": 24.0,
    }
    result = check_setup(setup_of(text(values)))
    ranks = [one.severity.rank for one in result.findings]
    assert ranks == sorted(ranks, reverse=True)
    assert len({(f.check, f.keys, f.message) for f in result.findings}) == len(result.findings)
    assert len({one.what for one in result.not_checked}) == len(result.not_checked)


FORBIDDEN = ("raise the trip", "widen", "unplug", "bridge the bms", "bypass")


@pytest.mark.parametrize(("name", "bad"), [(rule[0], rule[1]) for rule in RULES])
def test_no_suggestion_weakens_a_protection(name, bad):
    # causes.md, advice never given: no trip, delay or temperature stop up, no stop or derate down.
    setup = setup_of(text(bad))
    for one in check_setup(setup).findings:
        for suggestion in one.suggest:
            table, key = suggestion.key.rsplit(".", 1)
            assert "trip" not in key
            now = getattr(
                setup.drive(table[7:]) if table.startswith("drives.") else getattr(setup, table),
                key,
            )
            if key in ("stop_at_v", "derate_from_v", "cell_low_v", "min_charge_temp_c"):
                assert now is None or suggestion.value > now
            elif key in ("motor_stop_c", "controller_stop_c", "cell_high_v", "fuse_a"):
                assert suggestion.value < now
        said = f"{one.message} {one.why} {one.cost}".lower()
        assert not any(word in said for word in FORBIDDEN)


def test_one_drive_says_what_needs_two():
    one = '[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 17.5\n[drives.motor]\n'
    said = [nc.what for nc in check_setup(setup_of(one)).not_checked]
    assert "whether the drives are set alike: there is only one" in said

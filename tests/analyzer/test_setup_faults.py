"""Every check of the setup against setups with one fault each, on one, two and three drives: the
fault is found and named with its keys, and what is suggested, written into the file, leaves nothing
to act on. Sane setups of many kinds stay silent. Figures by hand; margins: the contract."""

from __future__ import annotations

import tomllib

import pytest
from setup_maker import TRIKE, setup_of

from analyzer.setup_check import SetupFinding, check_setup
from analyzer.words import Severity

LEFT, RIGHT = "drives.left.", "drives.right."


def put(tables: dict, key: str, value: object) -> None:
    """Set a key like `drives.left.stop_at_v`; None takes it out."""
    *path, last = key.split(".")
    for name in path:
        tables = tables.setdefault(name, {})
    if value is None:
        tables.pop(last, None)
    else:
        tables[last] = value


def toml(tables: dict) -> str:
    """The text of a setup whose tables hold plain values."""
    flat = {k: v for k, v in tables.items() if k != "drives"}
    flat |= {f"drives.{name}": table for name, table in tables["drives"].items()}
    lines = []
    for name, table in flat.items():
        lines.append(f"[{name}]")
        lines += [f"{k} = {v!r}".replace("'", '"') for k, v in table.items()]
    return "\n".join(lines)


def build(drives: int = 2, **changes: object) -> dict:
    """The sane trike with this many drives."""
    tables = tomllib.loads(TRIKE)
    each = {1: (35.0, 9.4), 2: (17.5, 4.5), 3: (11.5, 3.1)}[drives]
    tables["drives"]["left"] |= {"battery_drive_a": each[0], "battery_brake_a": each[1]}
    if drives == 1:
        del tables["drives"]["right"]
    if drives == 3:
        tables["drives"]["rear"] = {"same_as": "left"}
    for key, value in changes.items():
        put(tables, key, value)
    return tables


def findings(tables: dict) -> list[SetupFinding]:
    return list(check_setup(setup_of(toml(tables))).findings)


def grave(tables: dict) -> list[str]:
    """The checks that say more than a note."""
    return [one.check for one in findings(tables) if one.severity is not Severity.NOTE]


FAULTS = {
    # fault: (changes, check, keys that must be named)
    "limits above the BMS": ({LEFT + "battery_drive_a": 37.0}, "sum_of_battery_drive_limits",
                             ["bms.discharge_rating_a", LEFT + "battery_drive_a"]),
    "a twentieth in hand": ({"bms.discharge_rating_a": 38.0}, "sum_of_battery_drive_limits",
                            ["bms.discharge_rating_a", "pack.aux_a"]),
    "lights tip it over": ({"pack.aux_a": 6.5}, "sum_of_battery_drive_limits",
                           ["pack.aux_a", "bms.discharge_rating_a"]),
    "weak cells": ({"pack.discharge_rating_a": 30.0}, "sum_of_battery_drive_limits",
                   ["pack.discharge_rating_a"]),
    "small fuse": ({"wiring.fuse_a": 30.0}, "sum_of_battery_drive_limits", ["wiring.fuse_a"]),
    "small connector": ({"wiring.connector_rating_a": 30.0}, "sum_of_battery_drive_limits",
                        ["wiring.connector_rating_a"]),
    "early trip": ({"bms.discharge_trip_a": 35.0, "bms.discharge_rating_a": 34.0},
                   "sum_of_battery_drive_limits", ["bms.discharge_trip_a"]),
    "a peak too small": ({"pack.discharge_peak_a": 34.0, "pack.discharge_peak_s": 10.0,
                          "pack.discharge_rating_a": 34.0}, "sum_of_battery_drive_limits",
                         ["pack.discharge_peak_a"]),
    "braking above the BMS": ({"bms.charge_rating_a": 8.0}, "sum_of_battery_brake_limits",
                              ["bms.charge_rating_a", LEFT + "battery_brake_a"]),
    "braking above the cells": ({"pack.charge_rating_a": 6.0}, "sum_of_battery_brake_limits",
                                ["pack.charge_rating_a"]),
    "braking limits too high": ({LEFT + "battery_brake_a": 12.0}, "sum_of_battery_brake_limits",
                                ["pack.charge_rating_a", LEFT + "battery_brake_a"]),
    "early charge trip": ({"bms.charge_trip_a": 8.0, "bms.charge_rating_a": 8.0},
                          "sum_of_battery_brake_limits", ["bms.charge_trip_a"]),
    "braking peak too small": ({"bms.charge_peak_a": 7.0, "bms.charge_peak_s": 5.0,
                                "bms.charge_rating_a": 7.0}, "sum_of_battery_brake_limits",
                               ["bms.charge_peak_a"]),
    "hardly a band to fade in": ({LEFT + "derate_from_v": 48.2}, "derate_above_stop",
                                 [LEFT + "derate_from_v", LEFT + "stop_at_v"]),
    "stops below empty": ({LEFT + "stop_at_v": 42.0}, "stop_above_empty",
                          [LEFT + "stop_at_v", "pack.cell_empty_v", "pack.series"]),
    "stops below the BMS": ({LEFT + "stop_at_v": 45.0, "bms.cell_low_v": 2.9,
                             "pack.cell_empty_v": 2.6}, "stop_above_bms_low",
                            [LEFT + "stop_at_v", "bms.cell_low_v", "pack.series"]),
    "the BMS opens first": ({"bms.cell_low_v": 3.05}, "stop_above_bms_low", ["bms.cell_low_v"]),
    "overvoltage below full": ({LEFT + "overvoltage_v": 66.0}, "overvoltage_above_full",
                               [LEFT + "overvoltage_v", "pack.series", "pack.cell_full_v"]),
    "overvoltage above the BMS": ({LEFT + "overvoltage_v": 70.0}, "overvoltage_below_bms_high",
                                  [LEFT + "overvoltage_v", "bms.cell_high_v", "pack.series"]),
    "another chemistry": ({"pack.chemistry": "lfp"}, "full_against_chemistry",
                          ["pack.cell_full_v", "pack.chemistry"]),
    "charged too far": ({"pack.cell_full_v": 4.35}, "full_against_chemistry",
                        ["pack.cell_full_v"]),
    "emptied too far": ({"pack.cell_empty_v": 2.0}, "empty_against_chemistry",
                        ["pack.cell_empty_v"]),
    "a setup for more cells": ({"pack.series": 14}, "volts_per_cell",
                               [LEFT + "derate_from_v", "pack.series"]),
    "a setup for far more cells": ({"pack.series": 13}, "volts_per_cell",
                                   [LEFT + "stop_at_v", "pack.series"]),
    "a setup for fewer cells": ({"pack.series": 20}, "volts_per_cell",
                                [LEFT + "stop_at_v", "pack.series"]),
    "fades from full on": ({LEFT + "derate_from_v": 66.0}, "sag_into_derate",
                           [LEFT + "derate_from_v"]),
    "trip below rating": ({"bms.discharge_trip_a": 39.0}, "trip_below_rating",
                          ["bms.discharge_trip_a", "bms.discharge_rating_a"]),
    "charge trip below rating": ({"bms.charge_trip_a": 14.0}, "trip_below_rating",
                                 ["bms.charge_trip_a", "bms.charge_rating_a"]),
    "peak below rating": ({"bms.discharge_peak_a": 39.5, "bms.discharge_peak_s": 5.0},
                          "peak_below_rating", ["bms.discharge_peak_a"]),
    "cells' peak below rating": ({"pack.charge_peak_a": 9.9, "pack.charge_peak_s": 5.0},
                                 "peak_below_rating", ["pack.charge_peak_a"]),
    "trip below the peak": ({"bms.discharge_peak_a": 60.0, "bms.discharge_peak_s": 5.0},
                            "trip_below_peak", ["bms.discharge_trip_a", "bms.discharge_peak_a"]),
    "cells too large": ({"pack.parallel": 1, "pack.capacity_ah": 210.0}, "capacity_per_cell",
                        ["pack.parallel", "pack.capacity_ah"]),
    "cells too small": ({"pack.parallel": 50}, "capacity_per_cell", ["pack.parallel"]),
    "charges below freezing": ({"pack.min_charge_temp_c": -20.0}, "braking_when_cold",
                               ["pack.min_charge_temp_c"]),
    "motor fades too late": ({LEFT + "motor_derate_c": 118.0}, "heat_derate_below_stop",
                             [LEFT + "motor_derate_c", LEFT + "motor_stop_c"]),
    "controller fades too late": ({LEFT + "controller_derate_c": 93.0}, "heat_derate_below_stop",
                                  [LEFT + "controller_derate_c"]),
    "motor too hot": ({LEFT + "motor_stop_c": 190.0}, "heat_limit_high", [LEFT + "motor_stop_c"]),
    "controller too hot": ({LEFT + "controller_stop_c": 140.0}, "heat_limit_high",
                           [LEFT + "controller_stop_c"]),
    "motor current below battery's": ({LEFT + "phase_drive_a": 10.0}, "phase_below_battery_limit",
                                      [LEFT + "phase_drive_a", LEFT + "battery_drive_a"]),
    "fuse above the connector": ({"wiring.fuse_a": 80.0}, "fuse_above_connector",
                                 ["wiring.fuse_a", "wiring.connector_rating_a"]),
    "BMS above the cells": ({"bms.discharge_rating_a": 70.0, "bms.discharge_trip_a": 90.0},
                            "bms_above_cells", ["pack.discharge_rating_a"]),
    "separate ports": ({"bms.ports": "separate"}, "braking_past_charge_protection", ["bms.ports"]),
    "the BMS closes below full": ({"bms.cell_high_v": 4.15, LEFT + "overvoltage_v": None},
                                  "bms_high_above_full", ["bms.cell_high_v", "pack.cell_full_v"]),
    "the BMS opens above empty": ({"bms.cell_low_v": 2.95}, "bms_low_below_empty",
                                  ["bms.cell_low_v", "pack.cell_empty_v"]),
    "a BMS for other cells": ({"bms.cell_high_v": 4.45}, "bms_line_against_chemistry",
                              ["bms.cell_high_v"]),
    "a BMS that opens too late": ({"bms.cell_low_v": 2.0}, "bms_line_against_chemistry",
                                  ["bms.cell_low_v"]),
    "ratings swapped": ({"pack.charge_rating_a": 70.0}, "charge_rating_above_discharge",
                        ["pack.charge_rating_a", "pack.discharge_rating_a"]),
    "a rating no cell has": ({"pack.discharge_rating_a": 900.0}, "rating_against_capacity",
                             ["pack.discharge_rating_a", "pack.capacity_ah"]),
    "a delay without a level": ({"bms.discharge_trip_a": None}, "time_without_level",
                                ["bms.discharge_trip_delay_s"]),
}  # fmt: skip
SIDES = {
    "sides draw differently": {RIGHT + "battery_drive_a": 14.0},
    "sides stop differently": {RIGHT + "stop_at_v": 47.0},
    "sides fade differently": {RIGHT + "derate_from_v": 53.6},
    "sides brake differently": {RIGHT + "phase_brake_a": 20.0},
    "sides warm differently": {RIGHT + "motor_derate_c": 90.0},
}
CASES = [(fault, drives) for fault in FAULTS for drives in (1, 2, 3)]


@pytest.mark.parametrize("drives", [1, 2, 3])
def test_the_setup_without_a_fault_is_silent(drives):
    assert grave(build(drives)) == []


@pytest.mark.parametrize(("fault", "drives"), CASES)
def test_each_fault_alone_is_found_and_named(fault, drives):
    changes, check, keys = FAULTS[fault]
    hits = [one for one in findings(build(drives, **changes)) if one.check == check]
    assert hits, f"{fault} not found"
    for key in keys:
        assert any(key in one.keys for one in hits), key
    for one in hits:
        assert one.message.endswith((".", "?"))
        assert one.why or one.caution


@pytest.mark.parametrize("fault", SIDES)
def test_sides_set_differently_are_found(fault):
    changes = SIDES[fault]
    (key,) = changes
    hits = [one for one in findings(build(2, **changes)) if one.check == "drives_differ"]
    (one,) = [one for one in hits if key in one.keys]
    assert one.keys == (key.replace("right", "left"), key)


def apply(tables: dict) -> dict:
    """Everything that is suggested, written into the file."""
    for one in [s for f in findings(tables) for s in f.suggest]:
        put(tables, one.key, one.value)
    return tables


@pytest.mark.parametrize(("fault", "drives"), CASES)
def test_what_is_suggested_leaves_nothing_to_act_on(fault, drives):
    tables = build(drives, **FAULTS[fault][0])
    once = apply(tables)
    left = [one for one in findings(once) if one.severity is Severity.ACT]
    assert left == []
    again = [one for one in findings(once) if one.check == FAULTS[fault][1]]
    assert all(one.severity is Severity.NOTE or not one.suggest for one in again)


@pytest.mark.parametrize(("fault", "drives"), CASES)
def test_suggested_currents_keep_a_tenth_in_hand(fault, drives):
    tables = apply(build(drives, **FAULTS[fault][0]))
    setup = setup_of(toml(tables))
    drive = sum(one.battery_drive_a for one in setup.drives) + setup.pack.aux_a
    brake = sum(one.battery_brake_a for one in setup.drives)
    driving = [setup.bms.discharge_rating_a, setup.pack.discharge_rating_a, setup.wiring.fuse_a]
    braking = [setup.bms.charge_rating_a, setup.pack.charge_rating_a]
    assert drive <= 0.9 * min(driving) + 1e-9
    assert brake <= 0.9 * min(braking) + 1e-9


@pytest.mark.parametrize("fault", SIDES)
def test_sides_are_matched_to_the_safer_one(fault):
    assert grave(apply(build(2, **SIDES[fault]))) == []


SANE = [
    # chemistry, series, parallel, Ah, full, empty, derate and stop per cell, BMS low and high
    *[("nmc", s, p, 3.4 * p, 4.2, 2.8, 3.35, 3.05, 2.7, 4.25)
      for s, p in ((7, 3), (10, 4), (13, 4), (14, 5), (16, 6), (20, 8))],
    *[("nca", s, p, 3.2 * p, 4.2, 2.8, 3.35, 3.05, 2.7, 4.25)
      for s, p in ((10, 3), (14, 6), (20, 4))],
    *[("lfp", s, p, 6.0 * p, 3.65, 2.5, 2.95, 2.7, 2.3, 3.75)
      for s, p in ((8, 3), (15, 4), (16, 5))],
    *[("lco", s, p, 2.6 * p, 4.2, 3.0, 3.45, 3.2, 2.8, 4.25) for s, p in ((7, 4), (12, 6))],
]  # fmt: skip


MIXED = [(kind, 1 + place % 3) for place, kind in enumerate([*SANE, *SANE[:7]])]


@pytest.mark.parametrize(("kind", "drives"), MIXED)
def test_sane_setups_of_many_kinds_stay_silent(kind, drives):
    chemistry, series, parallel, ah, full, empty, derate, stop, low, high = kind
    rating, charge = 2.0 * ah, 0.4 * ah
    tables = {
        "pack": {"chemistry": chemistry, "series": series, "parallel": parallel,
                 "capacity_ah": ah, "cell_full_v": full, "cell_empty_v": empty,
                 "discharge_rating_a": rating * 1.2, "charge_rating_a": charge,
                 "min_charge_temp_c": 0.0, "aux_a": 0.5},
        "bms": {"discharge_rating_a": rating, "charge_rating_a": charge * 1.2,
                "discharge_trip_a": 1.5 * rating, "discharge_trip_delay_s": 1.0,
                "charge_trip_a": 2.0 * charge, "charge_trip_delay_s": 1.0,
                "cell_low_v": low, "cell_high_v": high, "ports": "common"},
        "wiring": {"fuse_a": 1.3 * rating, "connector_rating_a": 1.4 * rating},
        "drives": {name: {
            "phase_drive_a": 2.0 * rating / drives, "phase_brake_a": rating / drives,
            "battery_drive_a": round((0.85 * rating - 0.5) / drives, 1),
            "battery_brake_a": round(0.85 * charge / drives, 1),
            "derate_from_v": round(derate * series, 1), "stop_at_v": round(stop * series, 1),
            "overvoltage_v": round((full + high) / 2 * series, 1),
            "controller_derate_c": 80.0, "controller_stop_c": 95.0,
            "motor_derate_c": 100.0, "motor_stop_c": 120.0,
        } for name in ("front", "rear", "third")[:drives]},
    }  # fmt: skip
    assert grave(tables) == []

"""Limits over rides that miss much: nothing crashes, nothing is claimed that nothing shows."""

from __future__ import annotations

import json

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.limits_merge import merge_limits
from analyzer.ride_analysis import analyse_ride
from importers.setup_types import Drive
from reports.json_out import ride_json
from reports.limits_json import limits_json
from reports.page import limits_page, ride_page

LIMITS = {
    "phase_drive_a": 40.0, "phase_brake_a": 20.0, "battery_drive_a": 20.0, "battery_brake_a": 5.0,
    "derate_from_v": 46.0, "stop_at_v": 42.0, "overvoltage_v": 59.5, "motor_derate_c": 100.0,
    "motor_stop_c": 120.0, "controller_stop_c": 95.0,
}  # fmt: skip
BMS = {
    "discharge_rating_a": 50.0, "charge_rating_a": 10.0, "discharge_trip_a": 70.0,
    "discharge_trip_delay_s": 1.0, "cell_low_v": 2.7, "cell_high_v": 4.25,
}  # fmt: skip


def build(names=("left", "right"), *, mass=True):
    return make_setup(
        drives=tuple(Drive(name, **LIMITS) for name in names),
        bms=BMS,
        pack={"min_charge_temp_c": 0.0},
        vehicle={"mass_kg": 150.0} if mass else {},
    )


def channels(time, names):
    amps = pulse(time, 20, 80, 12.0) - pulse(time, 100, 120, 3.0)
    volts = 55.0 - 0.1 * len(names) * amps - 0.004 * time
    speed = pulse(time, 15, 130, 5.0)
    out = {
        "speed_mps": speed, "altitude_m": 200.0 + np.cumsum(0.06 * speed) * (time[1] - time[0]),
        "pack_temp_c": 18.0, "cell_min_v": volts / 14 - 0.02, "cell_max_v": volts / 14 + 0.02,
    }  # fmt: skip
    for name in names:
        out |= {
            f"{name}.battery_current_a": amps, f"{name}.battery_voltage_v": volts,
            f"{name}.phase_current_a": 1.5 * amps, f"{name}.motor_temp_c": 20 + 0.1 * time,
            f"{name}.throttle_pct": np.clip(amps * 8, 0, 100),
        }  # fmt: skip
    return out


def ride_of(seconds=150.0, rate=10.0, names=("left", "right"), without=(), holes=False):
    time = clock(seconds, rate)
    found = {k: v for k, v in channels(time, names).items() if not k.endswith(tuple(without))}
    if holes:
        for key, values in found.items():
            bad = np.array(np.broadcast_to(values, time.shape), float)
            bad[(np.arange(time.size) // 37) % 3 == 0] = np.nan
            found[key] = bad
    return make_ride(time, found, drives=names)


CASES = {
    "one drive": (ride_of(names=("motor",)), build(("motor",))),
    "three drives": (ride_of(names=("a", "b", "c")), build(("a", "b", "c"))),
    "no drive current": (ride_of(without=["battery_current_a"]), build()),
    "no voltage": (ride_of(without=["voltage_v", "cell_min_v", "cell_max_v"]), build()),
    "no speed": (ride_of(without=["speed_mps", "altitude_m"]), build()),
    "no demand, no height": (ride_of(without=["throttle_pct", "altitude_m"]), build()),
    "no mass": (ride_of(), build(mass=False)),
    "no pack temperature": (ride_of(without=["pack_temp_c"]), build()),
    "a log of 1 Hz": (ride_of(rate=1.0), build()),
    "a log of 100 Hz": (ride_of(rate=100.0), build()),
    "ten rows": (ride_of(seconds=10.0, rate=1.0), build()),
    "holes everywhere": (ride_of(holes=True), build()),
    "constant columns": (
        make_ride(clock(60, 10), {"pack_voltage_v": 52.0, "left.battery_current_a": 3.0,
                                  "right.battery_current_a": 3.0, "speed_mps": 4.0}),
        build(),
    ),
    "nothing but voltage": (make_ride(clock(60, 10), {"pack_voltage_v": 52.0}), build()),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_it_stands(name):
    ride, setup = CASES[name]
    result = analyse_ride(ride, setup)
    merged = merge_limits([("one", result), ("two", result)])
    told = json.loads(limits_json(merged))
    assert {"limits", "climbs", "next_ride", "descents", "closest", "notes"} < set(told)
    json.loads(ride_json(result))
    assert "<h1>" in limits_page(merged, [("one", result)])
    assert "<h1>" in ride_page(result)
    for row in told["limits"]:
        for cell in row["restated"]:
            assert (cell["value"] is None) == (cell["verdict"] is None)


def test_what_the_ride_does_not_carry_is_none_with_a_note():
    ride, setup = CASES["no pack temperature"]
    merged = merge_limits([("one", analyse_ride(ride, setup))])
    cold = [one for one in merged.restated.rows if one.condition.temp_c is not None]
    current = [one for one in cold if "battery_drive" in one.limit]
    assert current
    assert all(one.verdict is None for one in current)
    assert any("no pack temperature is known" in note.text for note in merged.restated.notes)
    ride, setup = CASES["no mass"]
    merged = merge_limits([("one", analyse_ride(ride, setup))])
    assert all(one.mass_kg is None for one in merged.restated.conditions)
    assert any("vehicle.mass_kg is not given" in note.text for note in merged.restated.notes)

"""Wheels turned off the ground: recognised, and nothing is concluded from those seconds."""

from __future__ import annotations

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.ride_analysis import analyse_ride
from analyzer.words import EventKind
from importers.setup_types import Drive

DRIVES = tuple(
    Drive(name, phase_drive_a=40.0, battery_drive_a=20.0, battery_brake_a=5.0)
    for name in ("left", "right")
)


def bench_then_road(*, gps: bool = True):
    """30 s in the air at full demand, a surge of 30 A as the wheels are caught, then a stop; after
    that two pulls of 15 A on the road."""
    time = clock(300, 20)
    air = pulse(time, 30, 60, 1.0)
    road = pulse(time, 120, 160, 1.0) + pulse(time, 200, 240, 1.0)
    surge = pulse(time, 45, 48, 30.0)
    hand = 100.0 * air + 75.0 * road
    each = 1.0 * air + surge + 15.0 * road
    rolling = np.interp(time, [120, 130, 160, 170, 200, 210, 240, 250], [0, 6, 6, 0, 0, 6, 6, 0])
    wheel = np.interp(time, [30, 31, 59.8, 60.2], [0, 12, 12, 0]) * air + rolling
    channels = {
        "pack_voltage_v": 56.0 - 0.08 * 2 * each,
        "left.wheel_speed_mps": wheel, "right.wheel_speed_mps": wheel,
        "left.throttle_pct": hand, "right.throttle_pct": hand,
        "left.battery_current_a": each, "right.battery_current_a": each,
        "left.phase_current_a": 2.0 * each, "right.phase_current_a": 2.0 * each,
    }  # fmt: skip
    if gps:
        channels["gps_speed_mps"] = rolling
    setup = make_setup(drives=DRIVES, bms={"discharge_rating_a": 50.0}, vehicle={"mass_kg": 120.0})
    return make_ride(time, channels), setup


@pytest.fixture(scope="module", params=[True, False], ids=["gps", "without"])
def result(request):
    return analyse_ride(*bench_then_road(gps=request.param))


def test_the_seconds_in_the_air_are_recognised(result):
    (one,) = result.inputs.free_wheels
    assert one.start_s == pytest.approx(30, abs=1.5)
    assert one.end_s == pytest.approx(60, abs=1.5)
    assert any("off the ground" in note.text for note in result.notes)


def test_limits_are_judged_by_the_road_alone(result):
    seen = {one.limit: one.seen for one in result.limits}
    # In the air 31 A a drive, on the road 15 A: 30 A together.
    assert seen["bms.discharge_rating_a"] == pytest.approx(30.0, abs=0.2)
    assert seen["drives.left.battery_drive_a"] == pytest.approx(15.0, abs=0.1)


def test_no_plateau_and_no_loss_from_the_air(result):
    assert all(one.phase_drive_a is None for one in result.in_force)
    losses = [one for one in result.events if one.kind in (EventKind.CUTOUT, EventKind.BRAKE_LOSS)]
    assert not any(25 < one.start_s < 65 for one in losses)


def test_the_demand_in_the_air_does_not_count(result):
    assert [one.highest_pct for one in result.inputs.drives] == pytest.approx([75.0, 75.0])
    assert [one.full_arrives for one in result.inputs.drives] == [None, None]


def test_a_receiver_that_loses_the_sky_is_no_wheel_in_the_air():
    ride, setup = bench_then_road()
    table = ride.table.copy()
    lost = (table["time_s"] > 135) & (table["time_s"] < 150)
    table.loc[lost, "gps_speed_mps"] = 0.0
    from dataclasses import replace

    found = analyse_ride(replace(ride, table=table), setup)
    assert [one.start_s < 65 for one in found.inputs.free_wheels] == [True]

"""The rider's demand on hand-made rides; what is right follows from how they are made."""

from __future__ import annotations

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.rider_inputs import find_free_wheels, find_rider_inputs

VEHICLE = {"wheel_diameter_m": 0.5, "gear_ratio": 5.0}


def roll(right_full: float = 100.0, right_rest: float = 0.0, **channels):
    """Stand 20 s, pull to full for 60 s with a ramp, stand again."""
    time = clock(120)
    hand = np.interp(time, [20, 40, 80, 82], [0, 100, 100, 0])
    amps = np.clip(hand - 8.0, 0, None) * 0.2
    given = {
        "left.throttle_pct": hand,
        "right.throttle_pct": right_rest + hand * (right_full - right_rest) / 100,
        "left.battery_current_a": amps, "right.battery_current_a": amps,
        "left.phase_current_a": 2 * amps, "right.phase_current_a": 2 * amps,
        "left.battery_voltage_v": 55.0, "right.battery_voltage_v": 55.2,
        "left.wheel_speed_mps": 0.035 * hand, "right.wheel_speed_mps": 0.035 * hand,
    }  # fmt: skip
    return make_ride(time, given | channels)


def test_full_arrives_as_full_on_one_side_only() -> None:
    said = find_rider_inputs(roll(right_full=80.0), make_setup())
    left, right = said.drives
    assert (left.full_arrives, right.full_arrives) == (True, False)
    assert right.highest_pct == pytest.approx(80.0)


def test_rest_dead_band_and_noise() -> None:
    said = find_rider_inputs(roll(right_rest=6.0), make_setup())
    left, right = said.drives
    assert left.rest_is_zero
    assert not right.rest_is_zero
    assert right.rest_pct == 6.0
    # current = 0.2 A per % above 8 %; 1 A is passed at 13 %
    assert left.dead_band_pct is not None
    assert abs(left.dead_band_pct - 13.0) <= 2.0
    assert left.rest_current_a == 0.0


def test_nobody_asked_for_full() -> None:
    time = clock(60)
    ride = make_ride(time, {"throttle_pct": pulse(time, 10, 30, 60.0), "speed_mps": 2.0})
    assert [one.full_arrives for one in find_rider_inputs(ride, make_setup()).drives] == [None] * 2


def test_a_first_roll_is_judged_as_such() -> None:
    good = find_rider_inputs(roll(), make_setup()).first_roll
    assert good is not None
    assert good.sides_turn_alike
    assert good.sides_pull_alike
    assert good.zero_gives_zero
    assert good.readings_agree
    assert good.firm_stop is False
    lame = find_rider_inputs(
        roll(**{"right.phase_current_a": 0.0, "right.battery_voltage_v": 52.0}), make_setup()
    ).first_roll
    assert lame is not None
    assert lame.sides_pull_alike is False
    assert lame.readings_agree is False


def test_wheels_off_the_ground_conclude_nothing() -> None:
    time = clock(60)
    spin = np.interp(time, [10, 11, 30, 33], [0, 12, 12, 0])
    channels = {
        "left.wheel_speed_mps": spin, "right.wheel_speed_mps": spin,
        "left.battery_current_a": 0.4 * (spin > 0), "right.battery_current_a": 0.4 * (spin > 0),
        "left.battery_voltage_v": 55.0, "right.battery_voltage_v": 55.0,
        "throttle_pct": pulse(time, 10, 30, 100.0),
    }  # fmt: skip
    for more in ({}, {"gps_speed_mps": 0.05}):
        said = find_rider_inputs(make_ride(time, channels | more), make_setup())
        assert len(said.free_wheels) == 1
        assert said.first_roll is None
        assert any("off the ground" in note.text for note in said.notes)


def test_a_ride_on_the_road_has_no_free_wheels() -> None:
    ride = roll(gps_speed_mps=0.035 * np.interp(clock(120), [20, 40, 80, 82], [0, 100, 100, 0]))
    assert find_free_wheels(ride, make_setup()) == []
    assert find_free_wheels(roll(), make_setup()) == []


def test_odd_rides_do_not_break() -> None:
    for channels in ({}, {"throttle_pct": np.nan}, {"throttle_pct": 0.0, "speed_mps": 0.0}):
        for seconds in (0.5, 30.0):
            said = find_rider_inputs(make_ride(clock(seconds), channels), make_setup())
            assert said.first_roll is None

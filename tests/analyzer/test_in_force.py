"""Plateaus: found where a limit really governs, and not where the rider does."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.in_force import find_in_force
from importers.setup_types import Drive

T = clock(600)
SPEED = 6 + 2 * np.sin(T / 37)
DEMAND = np.clip(60 + 60 * np.sin(T / 23) + 20 * np.sin(T / 7), 0, 100)


def course(*, battery_a=1e9, phase_a=55.0, demand=DEMAND, gain=1.0, noise=0.15, seed=0):
    """A controller that asks for `phase_a` at full demand and holds both currents to limits:
    battery current is duty times phase current (power balance, direct-current sense)."""
    rng = np.random.default_rng(seed)
    duty = SPEED / 11.0
    phase = np.minimum(phase_a, 70.0 * demand / 100)
    battery = np.minimum(phase * duty, battery_a)
    phase = battery / duty
    return {
        "left.battery_current_a": gain * battery + rng.normal(0, noise, T.size),
        "left.phase_current_a": phase + rng.normal(0, 4 * noise, T.size),
        "left.wheel_speed_mps": SPEED,
        "left.throttle_pct": demand,
    }


def found(channels, **limits):
    setup = make_setup(drives=(Drive("left", **limits),))
    return find_in_force(make_ride(T, channels, drives=("left",)), setup)[0]


@pytest.mark.parametrize("limit_a", [9.0, 18.0, 22.0])
@pytest.mark.parametrize("set_a", [None, 22.0, 30.0])
def test_a_battery_limit_within_two_per_cent(limit_a, set_a):
    # Truth: the ceiling put into the course. Whatever the setup says.
    one = found(course(battery_a=limit_a), battery_drive_a=set_a)
    assert one.battery_drive_a.value == pytest.approx(limit_a, rel=0.02)
    assert one.battery_drive_a.low < limit_a < one.battery_drive_a.high


@pytest.mark.parametrize("limit_a", [35.0, 50.0])
def test_a_phase_limit_within_two_per_cent(limit_a):
    one = found(course(phase_a=limit_a), phase_drive_a=55.0)
    assert one.phase_drive_a.value == pytest.approx(limit_a, rel=0.02)


def test_no_limit_no_plateau():
    demand = np.clip(45 + 40 * np.sin(T / 23) + 12 * np.sin(T / 7), 0, 96)
    one = found(course(demand=demand, phase_a=1e9), battery_drive_a=90.0, phase_drive_a=120.0)
    assert one.battery_drive_a is None
    assert one.phase_drive_a is None


def test_a_rider_who_never_opens_fully_is_no_limit():
    demand = np.where((T % 60) < 25, 70.0, 30.0)
    one = found(course(demand=demand, phase_a=1e9), battery_drive_a=60.0, phase_drive_a=70.0)
    assert one.phase_drive_a is None


def test_steady_cruising_is_no_limit():
    rng = np.random.default_rng(3)
    channels = {
        "left.battery_current_a": 8.0 + rng.normal(0, 0.1, T.size),
        "left.phase_current_a": 15.0 + rng.normal(0, 0.3, T.size),
        "left.wheel_speed_mps": 6.0 + rng.normal(0, 0.02, T.size),
    }
    one = found(channels, battery_drive_a=25.0, phase_drive_a=50.0)
    assert (one.battery_drive_a, one.phase_drive_a) == (None, None)


def test_low_voltage_and_heat_hide_the_limit():
    channels = course(battery_a=12.0) | {"left.battery_voltage_v": 45.0}
    assert found(channels, battery_drive_a=22.0, derate_from_v=46.0).battery_drive_a is None
    assert found(channels, battery_drive_a=22.0, derate_from_v=44.0).battery_drive_a is not None


def test_braking_the_same_way():
    channels = course(battery_a=9.0)
    turned = {name: (-values if "current" in name else values) for name, values in channels.items()}
    turned["left.throttle_pct"] = -DEMAND
    one = found(turned, battery_brake_a=12.0)
    assert one.battery_brake_a.value == pytest.approx(9.0, rel=0.02)
    assert one.battery_drive_a is None


def test_nothing_logged_nothing_found():
    one = found({"left.battery_voltage_v": 50.0}, battery_drive_a=20.0)
    assert one.battery_drive_a is None
    assert find_in_force(make_ride(clock(0.1), {"left.battery_current_a": 9.0}), make_setup())


def test_braking_held_by_the_battery_limit_shows_no_limit_of_the_motor():
    """Down a long slope at about 6 m/s: 4 A into the pack is the limit; the motor's current, logged
    in steps of 0.5 A, stands still at 3 A whatever is asked for."""
    time_s = clock(120, 10)
    speed = 6.0 + 0.4 * np.sin(time_s / 9)
    phase = np.round(3.0 * 6.0 / speed * 2.0) / 2.0
    demand = np.where(time_s < 5, 0.0, -30.0 - 20.0 * (time_s % 20 > 10))
    back = np.where(time_s < 5, 0.0, -4.0)
    ride = make_ride(
        time_s,
        {
            "left.throttle_pct": demand,
            "left.battery_current_a": back,
            "left.phase_current_a": np.where(time_s < 5, 0.0, -phase),
            "left.wheel_speed_mps": speed,
            "left.battery_voltage_v": 28.9,
        },
        drives=("left",),
    )
    drive = Drive("left", battery_brake_a=4.0, phase_brake_a=18.0)
    (found,) = find_in_force(ride, make_setup(drives=(drive,)))
    assert found.battery_brake_a is not None
    assert found.battery_brake_a.value == pytest.approx(4.0, rel=0.02)
    assert found.phase_brake_a is None

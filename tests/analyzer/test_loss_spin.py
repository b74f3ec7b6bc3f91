"""A motor that leaves the road's speed: constructed courses, true by their making."""

import numpy as np
from handmade import clock, make_ride, make_setup

from analyzer.loss_signals import drive_signals
from analyzer.loss_spin import ahead_rows, behind_rows, falls_behind, left_behind
from importers.setup_types import Drive

BROKE_S = 60.0


def _signals(left_part, *, coasting_part=1.0):
    """Two drives at 6 m/s; from `BROKE_S` on the left one turns at `left_part` of that while asked.
    Every 20 s they coast for 6 s, the left one then at `coasting_part`."""
    t = clock(90.0, 20.0)
    asked = np.where(t % 20.0 < 14.0, 60.0, 0.0)
    left = np.where((t >= BROKE_S) & (asked > 0), left_part, 1.0)
    left = np.where(asked > 0, left, coasting_part)
    channels = {}
    for side, part in (("left", left), ("right", np.ones(t.size))):
        channels |= {
            f"{side}.battery_current_a": asked / 4,
            f"{side}.wheel_speed_mps": 6.0 * part,
            f"{side}.throttle_pct": asked,
            f"{side}.battery_voltage_v": 54.0 - asked / 20,
        }
    setup = make_setup(drives=tuple(Drive(name) for name in ("left", "right")))
    ride = make_ride(t, channels)
    one, other = (drive_signals(ride, setup, name) for name in ("left", "right"))
    return one, [other], ride, np.sign(asked)


def _rows(ride):
    return slice(int(np.searchsorted(ride.time_s, BROKE_S)), ride.time_s.size)


def test_a_motor_that_falls_behind_under_demand_has_left_the_road():
    one, others, ride, asked = _signals(0.5)
    behind = behind_rows(one, others, ride, asked=asked)
    after = np.zeros(ride.time_s.size, bool)
    after[_rows(ride)] = True
    assert np.array_equal(behind, after & (asked > 0))


def test_a_freewheel_is_behind_whenever_it_coasts_and_says_nothing():
    one, others, ride, asked = _signals(0.5, coasting_part=0.2)
    assert not behind_rows(one, others, ride, asked=asked).any()
    assert falls_behind(one, others, ride, _rows(ride)) > 0.5


def test_a_motor_that_races_ahead_and_one_in_a_bend():
    """14 % ahead of the other is no bend; 8 % may be one."""
    racing, others, ride, _ = _signals(1.14)
    assert ahead_rows(racing, others, ride)[_rows(ride)].any()
    bend, others, ride, asked = _signals(1.08)
    assert not ahead_rows(bend, others, ride).any()
    assert not behind_rows(bend, others, ride, asked=asked).any()


def test_a_motor_far_slower_than_one_that_pulls_at_the_same_demand_is_not_turned_by_its_wheel():
    """Torque-controlled, it turns as fast as a small demand lets it without load. While both coast,
    or where the other is asked for something else, nothing is said: it may have a freewheel."""
    one, others, ride, asked = _signals(0.3, coasting_part=0.3)
    left = left_behind(one, others, ride)
    after = np.zeros(ride.time_s.size, bool)
    after[_rows(ride)] = True
    assert np.array_equal(left, after & (asked > 0))
    others[0].demand[:] = np.where(asked > 0, 0.5, 0.0)
    assert not left_behind(one, others, ride).any()


def _braking(broke_s, *, first_brake_s):
    """Two drives pull for 8 s and brake for 4 s, over and over, from `first_brake_s` on; from
    `broke_s` on the left one stands as soon as it brakes."""
    t = clock(120.0, 20.0)
    brakes = (t % 12.0 >= 8.0) & (t >= first_brake_s)
    demand = np.where(brakes, -50.0, 60.0)
    channels = {}
    for side in ("left", "right"):
        gone = brakes & (t >= broke_s) & (side == "left")
        channels |= {
            f"{side}.battery_current_a": np.where(brakes, -6.0, 15.0),
            f"{side}.wheel_speed_mps": np.where(gone, 0.5, 6.0),
            f"{side}.throttle_pct": demand,
            f"{side}.battery_voltage_v": 54.0 - demand / 20,
        }
    setup = make_setup(drives=tuple(Drive(name) for name in ("left", "right")))
    ride = make_ride(t, channels)
    one, other = (drive_signals(ride, setup, name) for name in ("left", "right"))
    return behind_rows(one, [other], ride, asked=np.sign(demand), by_braking=True), brakes, t


def test_a_motor_that_brakes_itself_down_has_left_the_road_unless_it_always_did():
    """Never coasting: what braking did before the belt went tells that there is no freewheel."""
    behind, brakes, t = _braking(100.0, first_brake_s=0.0)
    assert np.array_equal(behind, brakes & (t >= 100.0))
    always, _, _ = _braking(0.0, first_brake_s=0.0)
    assert not always.any()

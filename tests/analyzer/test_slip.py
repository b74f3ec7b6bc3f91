"""A wheel that lets go of the road, and what only looks like it."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.slip import find_wheel_slip
from analyzer.words import Severity

T = clock(60, 50)


def bump(at_s, length_s, high_mps):
    return (
        high_mps
        * np.clip(np.sin(np.pi * (T - at_s) / length_s), 0, None)
        * ((at_s <= T) & (at_s + length_s >= T))
    )


def ride(extra, *, phase=30.0, base=5.0):
    rng = np.random.default_rng(0)
    return make_ride(
        T,
        {
            "left.wheel_speed_mps": base + extra + rng.normal(0, 0.03, T.size),
            "right.wheel_speed_mps": base + rng.normal(0, 0.03, T.size),
            "left.phase_current_a": phase,
            "right.phase_current_a": phase,
        },
    )


@pytest.mark.parametrize(
    ("length_s", "severity"), [(0.25, Severity.NOTE), (0.8, Severity.NOTE), (2.0, Severity.WATCH)]
)
def test_a_spin_under_power(length_s, severity):
    (one,) = find_wheel_slip(ride(bump(30, length_s, 4.0)), make_setup())
    assert one.drives == ("left",)
    assert one.severity is severity
    assert 29.9 < one.start_s < one.end_s < 30.1 + length_s + 0.1


def test_a_wheel_locking_under_motor_braking():
    (one,) = find_wheel_slip(ride(-bump(30, 0.6, 3.5), phase=-20.0), make_setup())
    assert one.drives == ("left",)


def test_the_inside_wheel_in_a_bend_and_coasting_wheels_are_no_slip():
    # 5 m radius, wheels 0.6 m apart: 12 % apart, steered into within a second.
    bend = 0.6 * np.clip((T - 20), 0, 1) * np.clip((30 - T), 0, 1)
    assert find_wheel_slip(ride(bend), make_setup()) == []
    assert find_wheel_slip(ride(bump(30, 0.6, 4.0), phase=0.0), make_setup()) == []
    assert find_wheel_slip(ride(np.zeros(T.size)), make_setup()) == []


def test_too_slow_a_log_or_one_drive_claims_nothing():
    slow = make_ride(
        clock(60, 2), {f"{n}.wheel_speed_mps": 5.0 for n in ("left", "right")}, rate_hz=2.0
    )
    assert find_wheel_slip(slow, make_setup()) == []
    alone = make_ride(T, {"left.wheel_speed_mps": 5.0 + bump(30, 0.6, 4.0)})
    assert find_wheel_slip(alone, make_setup()) == []

"""Two logs of a calm ride: hardly anything happens, and still they are of one ride.

Truth: the offset the logs were made with.
"""

import numpy as np
import pytest

from importers.clock_whole import whole_fit
from importers.clocks import ClockFit, NoFit, fit_clock

OFFSET_S = 12.3
ENDS_S, BRAKES_S = 186.0, 182.0


def calm_speed_mps(time_s):
    """Pull away, roll steadily, go a little faster on, brake to a stop."""
    rolls = 5.6 * (1 - np.exp(-np.clip(time_s - 12.0, 0, None) / 2.5))
    faster = 3.0 * (1 - np.exp(-np.clip(time_s - 155.0, 0, None) / 6.0))
    return np.clip(rolls + faster - 2.6 * np.clip(time_s - BRAKES_S, 0, None), 0, None)


@pytest.mark.parametrize("seed", range(6))
def test_a_log_that_ends_within_a_stop_still_goes_with_the_track(seed):
    """The supply is lost, the motors' log ends; the track, 1 Hz and 0.1 m/s rough, goes on."""
    rng = np.random.default_rng(seed)
    own_s = np.arange(0.0, ENDS_S, 0.1)
    own = calm_speed_mps(own_s) + rng.normal(0, 0.01, own_s.size)
    ride_s = np.arange(-5.0, 225.0)
    track = np.clip(calm_speed_mps(ride_s) + rng.normal(0, 0.1, ride_s.size), 0, None)
    fit = fit_clock(own_s, {"speed": own}, ride_s + OFFSET_S, {"speed": track})
    assert isinstance(fit, ClockFit)
    assert fit.offset_s == pytest.approx(OFFSET_S, abs=0.3)
    assert fit.high_s - fit.low_s < 1.0


def test_its_intervals_cover():
    """As often as 95 % says, in 60 rides: binomial, at least 52 with a chance of 99 %."""
    inside = 0
    for seed in range(60):
        rng = np.random.default_rng(100 + seed)
        own_s, ride_s = np.arange(0.0, ENDS_S, 0.1), np.arange(-5.0, 225.0) + rng.uniform(0, 1)
        track = calm_speed_mps(ride_s) + rng.normal(0, 0.1, ride_s.size)
        own = {"speed": calm_speed_mps(own_s)}
        fit = fit_clock(own_s, own, ride_s + OFFSET_S, {"speed": track})
        assert isinstance(fit, ClockFit)
        inside += fit.low_s <= OFFSET_S <= fit.high_s
    assert inside >= 52


def test_surging_that_a_slow_log_cannot_follow_is_no_other_ride():
    """A derate band hunts at 0.9 Hz for half the ride, the management system writes once a second:
    it sees the surging ten times as slow."""
    time_s = np.arange(0.0, 300.0, 0.05)

    def current_a(t):
        load = 3.0 + 6.0 * ((t > 60) & (t < 110)) + 8.0 * (t > 150)
        return load + 7.0 * np.sin(2 * np.pi * 0.9 * t) * ((t > 150) & (t < 260))

    drive = {"current": current_a(time_s), "voltage": 47.0 - 0.1 * current_a(time_s)}
    slow_s = np.arange(0.0, 300.0)
    bms = {"current": 2 * current_a(slow_s), "voltage": 47.0 - 0.1 * current_a(slow_s)}
    fit = fit_clock(time_s, drive, slow_s + OFFSET_S, bms)
    assert isinstance(fit, ClockFit)
    assert fit.low_s <= OFFSET_S <= fit.high_s


def test_drift_is_told_from_the_lag():
    """800 ppm over ten minutes; without noise the fit must return what was put in."""
    time_s = np.arange(0.0, 600.0, 0.1)
    values = np.cumsum(np.random.default_rng(4).normal(0, 1, time_s.size))
    values = np.convolve(values, np.ones(31) / 31, "same")
    second_s = np.arange(20.0, 580.0)
    there = np.interp(second_s, time_s, values)
    own = second_s * (1 + 800e-6) + 4.0
    fit = whole_fit(time_s, {"current": values}, own, {"current": there}, 1e-3)
    assert fit is not None
    at_zero = fit.offset_s - fit.drift * fit.middle_s
    assert at_zero == pytest.approx(4.0, abs=0.02)
    assert fit.drift == pytest.approx(800e-6, abs=2e-5)


def test_rides_with_nothing_alike_stay_apart():
    rng = np.random.default_rng(9)
    time_s = np.arange(0.0, 600.0, 0.1)

    def walk():
        steps = rng.choice([0.0, 5.0, 12.0, 25.0], 60)
        return np.repeat(steps, 100) + rng.normal(0, 0.2, time_s.size)

    fit = fit_clock(time_s, {"current": walk()}, time_s, {"current": walk()})
    assert isinstance(fit, NoFit)
    assert fit.active


def test_logs_alike_to_the_last_digit_and_kinds_that_say_nothing_do_not_break():
    """The same log twice has no scatter at all; a demand that never moves has no lag."""
    time_s = np.arange(0.0, 200.0, 0.1)
    speed = calm_speed_mps(time_s)
    still = {"speed": speed, "demand": np.full(time_s.size, 12.0)}
    fit = whole_fit(time_s, still, time_s, still, 60e-6)
    assert fit is not None
    assert fit.offset_s == pytest.approx(0.0, abs=1e-3)

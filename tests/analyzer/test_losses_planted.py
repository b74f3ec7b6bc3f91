"""Losses, and what only looks like one, planted by hand: freewheels, holes that come again, a
demand that falls faster than this hand does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.conditions import Conditions
from analyzer.cutouts import find_losses
from analyzer.pack_state import PackState
from importers.setup_types import Drive

NOBODY = Conditions(None, None, None, None, None, None)
NO_PACK = PackState(None, None, None, None, None, None, None, None, None)
CYCLE_S = 20.0
PULLS_S, BRAKES_S = 10.0, 14.0


def _losses(ride, **logger):
    drives = tuple(
        Drive(name, phase_drive_a=60.0, battery_drive_a=25.0) for name in ("left", "right")
    )
    setup = replace(make_setup(drives=drives, pack={"aux_a": 0.0}), **logger)
    return find_losses(ride, setup, pack=NO_PACK, fit=None, state=NOBODY)[0]


def _hand(t, ramp_s=0.3):
    """60 % for 10 s, hand off over `ramp_s`, then −60 % for 4 s, six seconds at rest."""
    cycle = t % CYCLE_S
    pull = np.clip(np.minimum(cycle / ramp_s, (PULLS_S - cycle) / ramp_s), 0.0, 1.0)
    brake = np.clip(np.minimum((cycle - PULLS_S) / ramp_s, (BRAKES_S - cycle) / ramp_s), 0.0, 1.0)
    return 60.0 * (pull - brake)


def _lagged(values, t, tau_s=0.06):
    out, step = np.empty_like(values), t[1] - t[0]
    out[0] = values[0]
    for i in range(1, values.size):
        out[i] = out[i - 1] + (values[i] - out[i - 1]) * min(step / tau_s, 1.0)
    return out


def _ride(t, asked, amps, speed=6.0, *, keep=None):
    rng = np.random.default_rng(5)
    channels = {"gps_speed_mps": speed}
    for side in ("left", "right"):
        noise = rng.normal(0.0, 0.05, t.size)
        channels[f"{side}.battery_current_a"] = amps + noise
        channels[f"{side}.phase_current_a"] = 2.0 * amps + 2.0 * noise
        channels[f"{side}.battery_voltage_v"] = 54.0 - 0.2 * amps
        channels[f"{side}.motor_rpm"] = 330.0 * speed
        channels[f"{side}.throttle_pct"] = asked
    ride = make_ride(t, channels)
    if keep is None:
        return ride
    return replace(ride, table=ride.table[keep].reset_index(drop=True))


def test_motors_that_never_brake_lose_no_braking():
    """The driving current that dies down when the hand goes on into braking is none of it."""
    t = clock(200.0, 20.0)
    asked = _hand(t)
    amps = _lagged(np.clip(asked, 0.0, None) / 3.0, t)
    assert _losses(_ride(t, asked, amps)) == []


@pytest.mark.parametrize(
    ("logger", "begins"),
    [({}, (45.0, 105.0, 165.0)), ({"logger_powered_by": "pack"}, (45.0, 105.0))],
)
def test_holes_that_begin_at_work_and_end_standing_are_losses_when_they_come_again(logger, begins):
    """Two where the logger is known to live on the pack; else three: two slips of a logger fall
    into a rider's stops once in some twenty hours of made rides."""
    t = clock(240.0, 20.0)

    def ride(begins):
        asked = np.clip(_hand(t), 0.0, None)
        speed = np.where((t % CYCLE_S) < PULLS_S, 6.0, 5.0)
        keep = np.ones(t.size, bool)
        for begin in begins:
            keep &= ~((t > begin) & (t < begin + 11.0 + begin / 50))
            after = (t >= begin + 5.0) & (t < begin + 16.0)
            asked, speed = np.where(after, 0.0, asked), np.where(after, 0.0, speed)
        return _ride(t, asked, asked / 3.0, speed, keep=keep)

    found = _losses(ride(begins), **logger)
    assert [round(one.start_s) for one in found] == [round(one) for one in begins]
    assert _losses(ride(begins[:-1]), **logger) == []


@pytest.mark.parametrize(("rate_hz", "seen"), [(20.0, 1), (50.0, 1)])
def test_a_demand_that_falls_at_once_where_this_hand_takes_longer(rate_hz, seen):
    t = clock(200.0, rate_hz)
    asked = np.clip(_hand(t), 0.0, None)
    asked = np.where((t >= 65.0) & (t < 70.5), 0.0, asked)
    found = _losses(_ride(t, asked, _lagged(asked / 3.0, t)))
    assert len(found) == seen
    assert found[0].start_s == pytest.approx(65.0, abs=0.1)
    assert found[0].causes[0].cause == "input_signal_lost"


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 20.0, 50.0])
def test_a_quick_hand_is_no_fault(rate_hz):
    """The whole of it within 0.1 s, as hands can (common practice, no source)."""
    t = clock(200.0, rate_hz)
    asked = np.clip(_hand(t, ramp_s=0.1), 0.0, None)
    asked = np.where((t >= 65.0) & (t < 70.5), asked * np.clip((65.1 - t) / 0.1, 0.0, 1.0), asked)
    assert _losses(_ride(t, asked, _lagged(asked / 3.0, t))) == []


def test_why_current_comes_back_later_than_it_was_missed():
    t = clock(120.0, 20.0)
    asked = np.clip(_hand(t), 0.0, None)
    asked = np.where((t >= 66.0) & (t < 71.0), asked * np.clip((66.3 - t) / 0.3, 0, 1), asked)
    amps = np.where((t >= 65.0) & (t < 70.0), 0.0, asked / 3.0)
    (found,) = _losses(_ride(t, asked, amps))
    told = [text for text in found.facts if "let go" in text]
    assert len(told) == 1
    away_s = found.measure("back_after_s")
    assert f"{away_s:.1f} s after" in told[0]
    assert away_s == pytest.approx(15.0, abs=0.5)  # the next pull begins at 80 s

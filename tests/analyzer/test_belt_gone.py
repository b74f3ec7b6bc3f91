"""A belt breaks near the motor's top speed; and a small demand that is obeyed is no lost signal.

Truth: rides made by hand. A motor without its belt runs up to its no-load speed (back voltage equal
to the supply), while the other drive's motor keeps to the road's; current falls to no-load.
"""

import numpy as np
import pytest
from handmade import clock, drive_channels, make_ride, make_setup

from analyzer.conditions import Conditions
from analyzer.cutouts import find_losses
from analyzer.loss_search import search_losses
from analyzer.pack_state import PackState

NOBODY = Conditions(None, None, None, None, None, None)
NO_PACK = PackState(None, None, None, None, None, None, None, None, None)
BREAKS_S = 80.0


def _ride(runs_up: float):
    """At 8.5 m/s and 90 % duty the left belt breaks: its motor gains this factor; the vehicle slows
    on the other drive alone; the satellites' speed comes a second late."""
    time_s = clock(130, 20)
    rng = np.random.default_rng(3)
    rests = (time_s < 10) | ((time_s % 25 > 20) & (time_s < 75)) | (time_s >= BREAKS_S + 2.0)
    demand = np.convolve(np.where(rests, 0.0, 60.0), np.ones(7) / 7, "same")
    after = np.clip(time_s - BREAKS_S, 0.0, None)
    road = 8.5 - 0.55 * np.clip(after, 0.0, 2.0) - 2.5 * np.clip(after - 2.0, 0.0, 2.0)
    own = np.where((after > 0) & (after < 2.2), 8.5 * (1 + (runs_up - 1) * after / 0.4), road)
    own = np.where((after > 0.4) & (after < 2.2), 8.5 * runs_up, own)
    made = {"gps_speed_mps": np.interp(time_s - 1.0, time_s, road)}
    for name, speed in (("left", own), ("right", road)):
        amps = np.convolve(demand / 3.0, np.ones(3) / 3, "same")
        if name == "left":
            amps = np.where(time_s >= BREAKS_S, 0.02 * amps, amps)
        amps = amps + rng.normal(0, 0.05, time_s.size)
        made |= drive_channels(name, amps, speed, demand, phase_per_amp=1.2)
        made[f"{name}.duty_pct"] = np.where(demand > 1, 10.6 * speed, 0.0)
    return make_ride(time_s, made)


@pytest.mark.parametrize(("runs_up", "least"), [(1.08, 0.5), (1.02, 0.0)])
def test_a_motor_that_runs_up_alone_has_lost_its_belt(runs_up, least):
    """8 % above the road's old speed is soon 12 % above the new one; 2 % is not told, and then the
    belt stays a candidate, never ruled out by a motor that `keeps` step."""
    ride, setup = _ride(runs_up), make_setup()
    losses, _ = find_losses(ride, setup, pack=NO_PACK, fit=None, state=NOBODY)
    assert [one.drives for one in losses] == [("left",)]
    chances = {one.cause: one.probability for one in losses[0].causes}
    assert chances.get("mechanical_drive_lost", 0.0) > max(least, 0.02)
    assert max(chances.values()) < 0.6 or least > 0


def test_a_small_steady_demand_that_is_obeyed_is_a_small_demand():
    """A hand goes from 35 to 4 % within two rows of the log and stays there for 40 s, downhill; the
    motors go on giving the few amperes that 4 % asks for (proportional, as everywhere else)."""
    time_s = clock(160, 20)
    rng = np.random.default_rng(8)
    slow = np.interp(time_s, np.arange(0, 161), 35 + rng.normal(0, 2, 161))
    demand = np.where(time_s < 10, 0.0, np.where(time_s < 80, slow, 4.0))
    demand = np.convolve(np.where(time_s >= 120, slow, demand), [0.2, 0.8], "same")
    made = {"gps_speed_mps": 6.0 + 0.0 * time_s}
    for name in ("left", "right"):
        amps = demand / 3.0 + rng.normal(0, 0.05, time_s.size)
        made |= drive_channels(name, amps, made["gps_speed_mps"], demand)
    assert search_losses(make_ride(time_s, made), make_setup())[0] == ()

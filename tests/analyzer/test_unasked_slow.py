"""Losses in logs without a demand, at 5 Hz, where a fall of 0.1 s touches two rows.

Truth: rides made by hand. One hand moves both drives, so one that stops alone was stopped; a pack
let go of its load rises (Ohm's law), so a bus that falls has lost its pack.
"""

import numpy as np
import pytest
from handmade import clock, drive_channels, make_ride, make_setup

from analyzer.loss_search import search_losses

GONE_S = 80.0


def _ride(rate_hz, *, sides, bus_falls, lasts_s):
    """Steady climbing with pauses; from 80 s on `sides` give nothing, after a row with a seventh of
    the current."""
    time_s = clock(130, rate_hz)
    rng = np.random.default_rng(3)
    pulls = (time_s > 10) & ((time_s % 25 < 20) | (time_s > 75)) & (time_s < 120)
    amps = 20.0 * pulls
    lost = (time_s >= GONE_S) & (time_s < GONE_S + lasts_s)
    part = np.where(lost, 0.0, 1.0)
    part[int(np.searchsorted(time_s, GONE_S - 1e-6))] = 1 / 7
    made = {"gps_speed_mps": 6.0 + 0.0 * time_s}
    for name in ("left", "right"):
        own = amps * (part if name in sides else 1.0) + rng.normal(0, 0.05, time_s.size)
        made |= drive_channels(name, own, made["gps_speed_mps"])
        made[f"{name}.battery_voltage_v"] -= 18.0 * lost if bus_falls else 0.0
    return search_losses(make_ride(time_s, made), make_setup())[0]


def test_a_side_that_stops_alone_is_lost():
    losses = _ride(5.0, sides=("right",), bus_falls=False, lasts_s=8.0)
    assert [one.drives for one in losses] == [("right",)]


@pytest.mark.parametrize(("rate_hz", "lasts_s"), [(5.0, 8.0), (50.0, 0.24)])
def test_a_bus_that_falls_with_its_current_is_lost(rate_hz, lasts_s):
    """For long, or for the moment in which a contact opens and closes."""
    losses = _ride(rate_hz, sides=("left", "right"), bus_falls=True, lasts_s=lasts_s)
    assert len(losses) == 1
    assert set(losses[0].drives) == {"left", "right"}


def test_both_sides_that_stop_with_the_pack_connected_are_a_hand_letting_go():
    assert _ride(5.0, sides=("left", "right"), bus_falls=False, lasts_s=8.0) == ()

"""One side's demand falls to nothing while the other's, which it had followed, goes on.

Truth: rides made by hand; one hand moves both demands, so what only one of them does is a fault's.
"""

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, drive_channels, make_ride, make_setup

from analyzer.causes.combine import probabilities
from analyzer.loss_search import search_losses
from analyzer.words import CutoutCause
from importers.setup_types import Drive

GONE_S = 80.0


@pytest.mark.parametrize("between", [1.0, 0.9, 0.75, 0.55])
def test_a_demand_that_falls_between_two_rows_of_the_joined_ride_is_lost(between):
    """Two logs on one time base: the row after the fall lies between two readings of its own."""
    time_s = clock(130, 20)
    rests = (time_s < 10) | ((time_s % 25 > 20) & (time_s < 75)) | (time_s >= GONE_S + 2.0)
    hand = np.convolve(np.where(rests, 0.0, 60.0), np.ones(7) / 7, "same")
    at = int(np.searchsorted(time_s, GONE_S))
    mine = np.where(time_s >= GONE_S, 0.0, hand)
    mine[at] = (1.0 - between) * hand[at - 1]
    rng = np.random.default_rng(3)
    made = {"gps_speed_mps": 6.0 + 0.0 * time_s}
    for name, demand in (("left", hand), ("right", mine)):
        amps = np.convolve(demand / 3.0, np.ones(3) / 3, "same") + rng.normal(0, 0.05, time_s.size)
        made |= drive_channels(name, amps, made["gps_speed_mps"], demand)
    losses, _ = search_losses(make_ride(time_s, made), make_setup())
    assert [one.drives for one in losses] == [("right",)]
    assert abs(time_s[losses[0].first] - GONE_S) <= 0.1


def test_a_follower_that_stops_alone_did_not_lose_the_throttle():
    """A throttle's signal reaches the leading controller first: lost, it takes both (causes.md: the
    link takes the side that `follows`)."""
    signs = {"kind": "drive", "who": "one", "demand": "jump", "bus": "rebound", "fall": "sudden",
             "link": "follower", "road": "keeps", "return": "never", "frozen": "no"}  # fmt: skip
    setup = make_setup()
    told = replace(setup, drives=(setup.drives[0], replace(setup.drives[1], follows="left")))
    assert isinstance(told.drives[1], Drive)
    found = probabilities(signs, told)
    assert next(iter(found)) is CutoutCause.DRIVE_LINK_LOST
    assert found[CutoutCause.INPUT_SIGNAL_LOST] < 0.2

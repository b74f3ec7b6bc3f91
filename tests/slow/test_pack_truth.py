"""Two hundred made rides: how often the intervals hold the truth, and how near the values come."""

import numpy as np
import pytest

from analyzer.pack_state import estimate_pack
from simulator.pack_rides import Sensors, random_ride

RIDES = 200


@pytest.fixture(scope="module", params=["two drives", "bms"])
def judged(request):
    sensors = Sensors(bms=request.param == "bms")
    rides = (random_ride(9000 + k, sensors=sensors) for k in range(RIDES))
    return [(estimate_pack(ride, setup)[0], truth) for ride, setup, truth in rides]


def pairs(judged, name):
    found = [(getattr(s, name), getattr(t, name)) for s, t in judged]
    return [(e, true) for e, true in found if e is not None]


def test_resistance(judged):
    kept = pairs(judged, "resistance_10s_ohm")
    off = np.array([e.value / true - 1 for e, true in kept])
    assert len(kept) >= 0.97 * RIDES
    assert np.median(np.abs(off)) <= 0.014
    assert np.quantile(np.abs(off), 0.9) <= 0.046
    assert abs(np.median(off)) <= 0.006
    inside = sum(e.low <= true <= e.high for e, true in kept)
    # Of 200 intervals of 95 % these counts are the middle 99 % of the binomial.
    assert 181 <= inside <= 197


@pytest.mark.parametrize(
    "name",
    [
        "resistance_instant_ohm",
        "rest_voltage_start_v",
        "rest_voltage_end_v",
        "state_of_charge_start_pct",
        "state_of_charge_end_pct",
        "capacity_ah",
    ],
)
def test_the_other_intervals_cover(judged, name):
    inside = [e.low <= true <= e.high for e, true in pairs(judged, name)]
    assert np.mean(inside) >= 0.90

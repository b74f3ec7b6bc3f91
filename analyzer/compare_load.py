"""Two rides at matching load: the pack's power at full demand, speed by speed, at like charge.

Where no climb is on both rides this is what a changed limit still shows: at full demand and one
speed the road does not matter, only what the controllers let through.
"""

from __future__ import annotations

import numpy as np

from analyzer.blocks import Blocks
from analyzer.estimate import Estimate
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps, throttle_pct
from analyzer.ride_analysis import RideResult

FULL_PCT = 97.0
"""Demand that counts as full [%]; as for the rider's inputs. Our choice."""
BIN_MPS = 1.0
LEAST_BIN_S, LEAST_S = 2.0, 8.0
"""A speed counts with so much time at full demand on both rides, and all of them with so much
together [s]. Our choice."""
REPEATS = 0.06
"""Power at full demand and one speed repeats within this part from ride to ride, 95 %. Measured on
made pairs (benchmarks/tables/compare_truth.py, seeds 1 to 30)."""


def full_demand_power(
    before: RideResult, after: RideResult
) -> tuple[Estimate | None, Estimate | None]:
    """The pack's mean power at full demand over the speeds both rides have it at, weighted alike;
    None twice where they share too little."""
    one, two = _by_speed(before), _by_speed(after)
    common = sorted(set(one) & set(two))
    weight = np.array([min(one[k][1], two[k][1]) for k in common])
    if weight.sum() < LEAST_S:
        return None, None

    def mean(each: dict[int, tuple[float, float]]) -> Estimate:
        value = float(np.average([each[k][0] for k in common], weights=weight))
        return Estimate(value, value * (1 - REPEATS), value * (1 + REPEATS))

    return mean(one), mean(two)


def _by_speed(result: RideResult) -> dict[int, tuple[float, float]]:
    """Mean power [W] and time [s] at full demand by whole metres a second."""
    ride, setup = result.ride, result.setup
    parts = (pack_current_a(ride, setup), pack_voltage_v(ride, setup), speed_mps(ride, setup))
    demands = [throttle_pct(ride, name) for name in setup.drive_names]
    if any(part is None for part in parts) or any(one is None for one in demands):
        return {}
    blocks = Blocks(ride)
    amps, volts, speed = (blocks.mean(part.values) for part in parts if part is not None)
    full = _all_full(blocks, demands)
    assert amps is not None
    assert volts is not None
    assert speed is not None
    good = full & np.isfinite(amps) & np.isfinite(volts) & np.isfinite(speed)
    good[1:] &= full[:-1]  # the half second in which demand rose is no full demand yet
    place = np.floor(np.nan_to_num(speed) / BIN_MPS).astype(np.intp)
    out = {}
    for at in np.unique(place[good & (place >= 1)]):
        mine = good & (place == at)
        seconds = float(blocks.length_s[mine].sum())
        if seconds >= LEAST_BIN_S:
            out[int(at)] = (float(np.mean((amps * volts)[mine])), seconds)
    return out


def _all_full(blocks: Blocks, demands: list[Floats | None]) -> np.ndarray:
    full = np.ones(blocks.size, np.bool_)
    for one in demands:
        mean = blocks.mean(one)
        assert mean is not None
        with np.errstate(invalid="ignore"):
            full &= mean >= FULL_PCT
    return full

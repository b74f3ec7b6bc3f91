"""What holds a build back and what its drives lose, pooled over rides and drawn.

Each ride's fit is what was known before it times what the ride says. Pooled, what was known before
counts once and every ride's own word is added to it (Gelman et al., Bayesian Data Analysis, 3rd
ed. 2013, section 2.5); where rides contradict each other beyond their intervals, the pooled
interval grows (Birge 1932, Phys. Rev. 40, 207) and a note says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.estimate import Note
from analyzer.power_balance import UNKNOWN_MASS_KG, before_the_ride
from analyzer.quantities import Floats
from analyzer.road_load import (
    COPPER_BAND,
    DRAG_BAND_M2,
    EFFICIENCY_BAND,
    RETURN_BAND,
    ROLLING_BAND,
    TURNING_BAND,
    RoadLoad,
)
from importers.setup_types import Setup

RETURN_MOST = 1.6
"""A drive that loses more on the way back would hardly brake [1]. Our choice."""
LOW, HIGH = np.array(
    [
        EFFICIENCY_BAND,
        COPPER_BAND,
        (RETURN_BAND[0], RETURN_MOST),
        ROLLING_BAND,
        DRAG_BAND_M2,
        TURNING_BAND,
    ]
).T
"""What is physically possible of the six parameters."""
BOTH_WAYS_SD = 0.02
"""How far the loss behind a motor's copper differs between driving and braking [1]. Our choice."""
MOST_TRIES = 200
"""Sets of draws looked through for possible ones before the rest is cut to its bounds."""
CONTRADICT_SDS = 3.0
"""A ride this many sds off the others contradicts them. Our choice."""
COPPER_SHARE = 1
"""Place of the copper share: it belongs to a ride, not to the build, and is never compared."""
COMPARED = ((3, "rolling coefficient", "{:.3f}", ""), (4, "drag area", "{:.2f}", " m2"))
"""(place in theta, in words, format, unit) of what a rider is told when rides contradict."""


@dataclass(frozen=True, slots=True, eq=False)
class PooledRoad:
    """The six parameters of the power balance over all rides: values, covariance, notes."""

    theta: Floats
    covariance: Floats
    notes: tuple[Note, ...]


def pool_road_loads(loads: list[tuple[str, RoadLoad]]) -> PooledRoad | None:
    """What several rides tell together (each with the words that name it); None where none tells
    anything."""
    told = [(name, one) for name, one in loads if one.theta.size]
    if not told:
        return None
    if len(told) == 1:
        return PooledRoad(told[0][1].theta, told[0][1].covariance, ())
    expected = np.mean([one.prior[0] for _, one in told], axis=0)
    before = np.diag(1.0 / np.mean([one.prior[1] for _, one in told], axis=0) ** 2)
    precision, pull = before.copy(), before @ expected
    for _, one in told:
        own, about = _own_word(one)
        precision += own
        pull += about
    covariance = np.linalg.inv(precision)
    theta = covariance @ pull
    kept = [k for k in range(theta.size) if k != COPPER_SHARE]
    apart = np.mean([_squares_off(one, theta, kept) for _, one in told]) / len(kept)
    return PooledRoad(theta, covariance * max(1.0, float(apart)), tuple(_contradictions(told)))


def _squares_off(one: RoadLoad, theta: Floats, kept: list[int]) -> float:
    """How far a ride's own fit lies from the pooled one, in its own sds, squared."""
    off = (one.theta - theta)[kept]
    return float(off @ np.linalg.solve(one.covariance[np.ix_(kept, kept)], off))


def _own_word(one: RoadLoad) -> tuple[Floats, Floats]:
    """What the ride itself adds: precision and precision times value, what was known before it
    taken off again (never below nothing)."""
    after = np.linalg.inv(one.covariance)
    before = np.diag(1.0 / one.prior[1] ** 2)
    values, vectors = np.linalg.eigh(after - before)
    own = (vectors * np.clip(values, 0.0, None)) @ vectors.T
    with_before = after @ one.theta - before @ one.prior[0]
    centre = np.linalg.lstsq(after - before, with_before, rcond=1e-9)[0]
    return own, np.asarray(own @ centre, np.float64)


def _contradictions(told: list[tuple[str, RoadLoad]]) -> list[Note]:
    notes = []
    for k, words, form, unit in COMPARED:
        value = np.array([one.theta[k] for _, one in told])
        sd = np.array([np.sqrt(max(one.covariance[k, k], 1e-12)) for _, one in told])
        for j, (name, _) in enumerate(told):
            others = np.arange(value.size) != j
            weight = 1.0 / sd[others] ** 2
            rest = float(np.sum(weight * value[others]) / weight.sum())
            if abs(value[j] - rest) > CONTRADICT_SDS * np.hypot(sd[j], weight.sum() ** -0.5):
                mine, theirs = form.format(value[j]), form.format(rest)
                notes.append(
                    Note(
                        "predict.rides",
                        f"The {words} of {name} is {mine}{unit}, of the other rides "
                        f"{theirs}{unit}: more apart than chance. Another load, surface, tyre "
                        "pressure or wind; leave that ride out if the hill will not be like it.",
                    )
                )
    return notes


def road_draws(
    pooled: PooledRoad | None, setup: Setup, rng: np.random.Generator, draws: int, fitted: bool
) -> Floats:
    """Efficiency, copper share, return, rolling, drag, turning (6, d): drawn together, as fitted;
    without a fit, what is known before any ride. `fitted`: the drives' copper is known apart."""
    if pooled is None:
        expected, sd = before_the_ride(setup, setup.vehicle.mass_kg or UNKNOWN_MASS_KG)
        covariance = np.diag(sd**2)
    else:
        expected, covariance = pooled.theta, pooled.covariance
    if fitted:
        expected, covariance = _same_both_ways(expected, covariance)
        return _possible(expected, covariance, rng, draws)
    drawn = rng.multivariate_normal(expected, covariance, draws).T
    drawn[0] = drawn[0] - drawn[1]  # copper is in the efficiency then: nothing told it apart
    return np.asarray(np.clip(drawn, LOW[:, None], HIGH[:, None]), np.float64)


def _same_both_ways(expected: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """What a belt or gear loses on the way out it loses on the way back: to first order the two
    factors are as far below and above 1. No ride tells the way back, the mechanical brake hides
    it; many tell the way out."""
    tells = np.array([1.0, 0.0, 1.0, 0.0, 0.0, 0.0])
    gain = covariance @ tells / float(tells @ covariance @ tells + BOTH_WAYS_SD**2)
    after = covariance - np.outer(gain, tells @ covariance)
    return expected + gain * (2.0 - float(tells @ expected)), 0.5 * (after + after.T)


def _possible(expected: Floats, covariance: Floats, rng: np.random.Generator, draws: int) -> Floats:
    """Draws all of whose parameters are physically possible together (6, d). Cutting each to its
    bounds alone would leave a rolling that only an efficiency above 1 could explain."""
    kept = np.zeros((expected.size, 0))
    for _ in range(MOST_TRIES):
        drawn = rng.multivariate_normal(expected, covariance, draws).T
        good = np.all((drawn >= LOW[:, None]) & (drawn <= HIGH[:, None]), axis=0)
        kept = np.concatenate([kept, drawn[:, good]], axis=1)
        if kept.shape[1] >= draws:
            return np.asarray(kept[:, :draws], np.float64)
    drawn = rng.multivariate_normal(expected, covariance, draws - kept.shape[1]).T
    rest = np.clip(drawn, LOW[:, None], HIGH[:, None])
    return np.asarray(np.concatenate([kept, rest], axis=1), np.float64)

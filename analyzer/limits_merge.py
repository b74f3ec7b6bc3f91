"""Do the limits hold, over one ride or all: every limit's hardest test so far, and every climb."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analyzer.climbs import Climb
from analyzer.estimate import Estimate
from analyzer.events import NotChecked
from analyzer.limits import LimitCheck, Tried
from analyzer.next_ride import next_rides
from analyzer.ride_analysis import RideResult
from analyzer.words import Verdict
from importers.setup_types import Setup

HARDEST = (
    Verdict.NOT_EXERCISED, Verdict.NOT_REACHED, Verdict.HOLDS, Verdict.WORKS, Verdict.TOUCHED,
    Verdict.OVERSHOOTS, Verdict.EXCEEDED,
)  # fmt: skip
"""Verdicts from the mildest test to the hardest."""
EXERCISED = frozenset(HARDEST[2:])
TAIL_CLIMBS = 50
"""Fewer climbs than this carry no statement on the worst to come. The project's own rule."""
AHEAD_CLIMBS = 100
"""... and so many to come are spoken of."""
TAIL_SHARE = 0.15
"""Part of the climbs that makes the tail. Our choice: 8 or more of 50 (Coles 2001, ch. 4, takes
less than 1 % of daily values, having 17 531 of them)."""


@dataclass(frozen=True, slots=True)
class MergedLimit:
    """A limit's hardest test over all rides with this setting."""

    check: LimitCheck
    ride: str
    """The ride it was seen on."""
    rides: int
    """Rides that could judge it at this setting."""
    rides_exercised: int


@dataclass(frozen=True, slots=True)
class RideClimb:
    """A climb and the ride it was ridden on."""

    ride: str
    climb: Climb


@dataclass(frozen=True, slots=True)
class WorstAhead:
    """The highest pack current to expect of the next climbs."""

    climbs: int
    """How many climbs it rests on."""
    ahead: int
    current_a: Estimate


@dataclass(frozen=True, slots=True, eq=False)
class LimitsResult:
    """Every limit over one ride or many."""

    setup: Setup
    """The newest ride's."""
    rides: tuple[str, ...]
    limits: tuple[MergedLimit, ...]
    not_checked: tuple[NotChecked, ...]
    climbs: tuple[RideClimb, ...]
    next_ride: tuple[str, ...]
    worst_ahead: WorstAhead | None


def merge_limits(rides: Sequence[tuple[str, RideResult]], *, seed: int = 0) -> LimitsResult:
    """Every limit of the newest ride's setup over all rides that had it set the same.

    `rides` are names and results in time order.

    Raises
    ------
    ValueError : there is no ride
    """
    if not rides:
        raise ValueError("limits need at least one ride")
    newest = rides[-1][1]
    merged = tuple(_merged(row, rides) for row in newest.limits)
    climbs = tuple(RideClimb(name, one) for name, result in rides for one in result.climbs)
    return LimitsResult(
        setup=newest.setup,
        rides=tuple(name for name, _ in rides),
        limits=merged,
        not_checked=newest.not_checked,
        climbs=climbs,
        next_ride=next_rides(tuple(one.check for one in merged), newest.setup, climbs_of(climbs)),
        worst_ahead=worst_ahead(climbs, seed=seed),
    )


def climbs_of(climbs: Sequence[RideClimb]) -> tuple[Climb, ...]:
    """The climbs without their rides."""
    return tuple(one.climb for one in climbs)


def _merged(row: LimitCheck, rides: Sequence[tuple[str, RideResult]]) -> MergedLimit:
    same = [
        (name, one)
        for name, result in rides
        for one in result.limits
        if one.limit == row.limit and one.set == row.set
    ]
    name, hardest = max(same, key=lambda pair: _hardness(pair[1]))
    check = replace(hardest, tried=_tried([one.tried for _, one in same]))
    exercised = sum(one.verdict in EXERCISED for _, one in same)
    return MergedLimit(check, name, len(same), exercised)


def _hardness(one: LimitCheck) -> tuple[int, float, float]:
    seen = one.seen if one.seen is not None else -np.inf
    low = one.limit.endswith(("stop_at_v", "derate_from_v", "cell_low_v", "min_charge_temp_c"))
    used = one.exercised_pct if one.exercised_pct is not None else -1.0
    return HARDEST.index(one.verdict), used, -seen if low else seen


def _tried(all_tried: Sequence[Tried]) -> Tried:
    def widest(name: str) -> tuple[float, float] | None:
        spans = [span for one in all_tried if (span := getattr(one, name)) is not None]
        return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None

    return Tried(
        widest("charge_pct"), widest("pack_temp_c"), widest("mass_kg"),
        sum(one.climbs for one in all_tried),
    )  # fmt: skip


def worst_ahead(climbs: Sequence[RideClimb], *, seed: int = 0) -> WorstAhead | None:
    """The highest 1 s current to expect of the next 100 climbs, by peaks over threshold; None on
    fewer than 50 climbs.

    Sources: Coles 2001, An Introduction to Statistical Modeling of Extreme Values, ch. 4: level
    x_m = u + (sigma / xi) [(m zeta)^xi - 1]; the interval by a seeded bootstrap of the climbs,
    which, unlike the delta method's, is not symmetric.
    """
    peaks = np.array(
        [c.climb.peak_pack_current_a for c in climbs if c.climb.peak_pack_current_a is not None]
    )
    if peaks.size < TAIL_CLIMBS:
        return None
    rng = np.random.default_rng(seed)
    level = tail_level(peaks, AHEAD_CLIMBS)
    draws = [tail_level(rng.choice(peaks, peaks.size), AHEAD_CLIMBS) for _ in range(200)]
    low, high = np.quantile(draws, [0.025, 0.975])
    top = float(peaks.max())
    value = max(level, top)
    return WorstAhead(
        peaks.size, AHEAD_CLIMBS, Estimate(value, min(float(low), value), max(float(high), value))
    )


def tail_level(values: np.ndarray, ahead: int, *, threshold: float | None = None) -> float:
    """The level exceeded once in `ahead` values to come, by a generalised Pareto tail."""
    from scipy.stats import genpareto

    u = float(np.quantile(values, 1 - TAIL_SHARE)) if threshold is None else threshold
    excess = values[values > u] - u
    if excess.size < 5 or float(np.ptp(excess)) == 0.0:
        return float(values.max())
    shape, _, scale = genpareto.fit(excess, floc=0.0)
    return return_level(u, scale, shape, excess.size / values.size, ahead)


def return_level(threshold: float, scale: float, shape: float, rate: float, ahead: float) -> float:
    """The level passed once in `ahead` values, of which `rate` pass the threshold at all."""
    from scipy.stats import genpareto

    return float(threshold + genpareto.isf(min(1.0 / (ahead * rate), 1.0), shape, 0.0, scale))

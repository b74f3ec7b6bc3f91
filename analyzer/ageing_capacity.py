"""How much charge does the pack still hold, and how fast does that fade?

Each ride moves some charge between two levels of the rest-voltage curve: their ratio is the
capacity, if the curve is this pack's. A wrong curve bends every ride the same way, by where on the
curve it ran; so the curve's own bends are fitted along, held near the published curve by the
spread between published cells, and what is left over time is fade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.ageing_parts import ORIGIN_SD, Kept, origin_columns, widened, years
from analyzer.capacity import LEAST_DEPTH_PCT
from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from analyzer.trend import Trend, fit_trend

KNOTS_PCT = np.arange(12.5, 100.0, 12.5)
"""Where the curve may bend away from the built-in one [% charge]. Our choice."""
CURVE_SD_PCT = 5.0
"""By how much, one standard deviation, for a built-in curve [points]: at 50 % three published nmc
cells differ by 78 mV, about 8 points from end to end."""
OWN_CURVE_SD_PCT = 1.0
"""... and for a curve of the rider's own. Our choice."""
LEVEL_SD_PCT = 0.8
"""A rest voltage out of one ride, one standard deviation [points of charge]: 5 to 8 mV per cell
at 9 mV per point. Measured on simulated rides, benchmarks/tables."""
COMMON_GAIN_SD = 0.0125
"""Scale of the current that all rides of one logger share [relative]."""


@dataclass(frozen=True, slots=True, eq=False)
class CapacityAgeing:
    """The course of the capacity between rest at empty and at full."""

    now_ah: Estimate
    new_ah: Estimate
    fade_pct_per_year: Estimate
    used: tuple[str, ...]
    """Names of the rides it rests on, in time order (n)."""
    each_ah: Floats
    """n capacities, one per ride, through the bent curve."""
    fitted_ah: Floats
    trend: Trend


def capacity_course(rides: Sequence[Kept], *, own_curve: bool) -> CapacityAgeing | None:
    """The course over rides and charges that moved enough charge, or None where they are few."""
    good = [one for one in rides if _depth_pct(one) is not None]
    if not good:
        return None
    depth = np.array([_depth_pct(one) for one in good], np.float64)
    moved = np.array([_moved_ah(one) for one in good])
    y = 100.0 * moved / depth
    sd = y * np.sqrt(2) * LEVEL_SD_PCT / depth
    bends = np.array([_bend(one) for one in good])
    origin, _ = origin_columns(good)
    curve = OWN_CURVE_SD_PCT if own_curve else CURVE_SD_PCT
    extra = np.column_stack([bends / depth[:, None], origin])
    prior = np.array([curve] * bends.shape[1] + [ORIGIN_SD] * origin.shape[1])
    trend = fit_trend(
        years(good),
        y,
        sd,
        regressors=extra,
        prior_mean=np.zeros(prior.size),
        prior_sd=prior,
        look_for_jumps=False,
    )
    if trend is None:
        return None
    beta = np.array([one.value for one in trend.regressors])
    growth = trend.growth_pct_per_year
    return CapacityAgeing(
        now_ah=widened(trend.now, COMMON_GAIN_SD),
        new_ah=widened(trend.new, COMMON_GAIN_SD),
        fade_pct_per_year=Estimate(
            -growth.value,
            None if growth.high is None else -growth.high,
            None if growth.low is None else -growth.low,
        ),
        used=tuple(one.name for one in good),
        each_ah=y * np.exp(-extra @ beta),
        fitted_ah=trend.fitted,
        trend=trend,
    )


def _moved_ah(one: Kept) -> float:
    return abs((one.summary.charge_out_ah or 0.0) - (one.summary.charge_back_ah or 0.0))


def _depth_pct(one: Kept) -> float | None:
    """Points of charge used; None where a level is unknown or too little was moved."""
    start, end = one.summary.charge_start_pct, one.summary.charge_end_pct
    if start is None or end is None or _moved_ah(one) <= 0:
        return None
    depth = abs(start[0] - end[0])
    return depth if depth >= LEAST_DEPTH_PCT else None


def _bend(one: Kept) -> Floats:
    """How a bend of one point at each knot changes this ride's depth [points]."""
    start, end = one.summary.charge_start_pct, one.summary.charge_end_pct
    assert start is not None
    assert end is not None
    width = KNOTS_PCT[1] - KNOTS_PCT[0]

    def hats(level: float) -> Floats:
        return np.asarray(np.clip(1 - np.abs(level - KNOTS_PCT) / width, 0.0, None), np.float64)

    change = hats(start[0]) - hats(end[0])
    # The depth seen is through the published curve; a bend that makes it seem deeper makes the
    # capacity seem smaller.
    return -change if start[0] > end[0] else change

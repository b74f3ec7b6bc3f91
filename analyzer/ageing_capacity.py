"""How much charge does the pack still hold, and how fast does that fade?

Each ride moves some charge between two levels of the rest-voltage curve: their ratio is the
capacity, if the curve is this pack's. What bends all rides alike is fitted along: the curve's own
bends (held near the published curve by the spread between published cells, so that the pack's own
rides learn it), what had not come to rest at a ride's end, and the scales of a logger. What is left
over time is fade.

    ln(moved / depth) = ln capacity(t),   depth = depth seen + sum of D_k * b_k

with D_k the points that a unit of the k-th bend adds to a ride. The sum is not small for a short
ride, so the fit is repeated about the bends it found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.ageing_levels import Moves, moves_of
from analyzer.ageing_parts import ORIGIN_SD, Kept, origin_columns, widened, years
from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from analyzer.rest_voltage import cell_volts, charge_pct
from analyzer.trend import Trend, fit_trend
from importers.setup_types import Setup

KNOTS_PCT = np.arange(8.0, 100.0, 8.0)
"""Where the curve may bend away from the setup's [% charge]. Our choice."""
CURVE_SD_PCT = 5.0
"""By how much, one standard deviation, for a built-in curve [points]: at 50 % three published nmc
cells differ by 78 mV, about 8 points from end to end."""
OWN_CURVE_SD_PCT = 1.0
"""... and for a curve of the rider's own. Our choice."""
UNRESTED_SD_PCT = 1.5
"""By how much the level at a ride's end may read wrong all book long, where relaxation is slower
than a ride shows, at the usual load, one standard deviation [points]. Measured on simulated rides:
1 to 2 points where the slowest time constant is over 300 s. It grows with resistance times mean
current, so that a pack whose resistance grows, a cold one or a harder rider is not taken for a
pack that fades."""
CURRENT_GAIN_SD = 0.0125
"""Scale of the current that all rides of one logger share [relative]."""
VOLTAGE_GAIN_SD = 0.003
"""... and that of the voltage."""
LEARNED_WIDER = 1.3
"""By how much the interval of a fade is wider where the curve had to be learned: what its bends
cannot follow. Measured on simulated books, benchmarks/tables/ageing_rides.py."""
PASSES = 4
"""Fits about the bends found before; more change nothing."""
LEAST_DEPTH_PCT = 3.0
"""A ride is not made shallower than this by the bends [points]. Our choice."""


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


def capacity_course(
    rides: Sequence[Kept], *, own_curve: bool, setup: Setup | None = None
) -> CapacityAgeing | None:
    """The course over rides and charges that moved enough charge, or None where they are few.

    With the `setup`, levels are read anew from rest voltages, all through its one curve.
    """
    moves = moves_of(rides, setup)
    if moves is None:
        return None
    points, sd_points = _bends(moves, own_curve, setup)
    origin, _ = origin_columns(moves.rides)
    held = np.concatenate([sd_points, np.full(origin.shape[1], ORIGIN_SD)])
    bent, trend = np.zeros(sd_points.size), None
    when = years(moves.rides)
    for _ in range(PASSES):
        depth = np.maximum(moves.depth_pct + points @ bent, LEAST_DEPTH_PCT)
        y = 100.0 * moves.moved_ah / depth
        extra = np.column_stack([points / depth[:, None], origin])
        trend = fit_trend(
            when,
            y,
            y * moves.sd_pct / depth,
            regressors=extra,
            prior_mean=np.concatenate([-bent, np.zeros(origin.shape[1])]),
            prior_sd=held,
            look_for_jumps=False,
        )
        if trend is None:
            return None
        found = np.array([one.value for one in trend.regressors])
        bent = bent + found[: bent.size]
    assert trend is not None
    return CapacityAgeing(
        now_ah=widened(trend.now, CURRENT_GAIN_SD),
        new_ah=widened(trend.new, CURRENT_GAIN_SD),
        fade_pct_per_year=_fade(trend.growth_pct_per_year, 1.0 if own_curve else LEARNED_WIDER),
        used=tuple(one.name for one in moves.rides),
        each_ah=y * np.exp(-extra @ found),
        fitted_ah=trend.fitted,
        trend=trend,
    )


def _fade(growth: Estimate, wider: float) -> Estimate:
    """Growth the other way round."""
    value = -growth.value
    low = None if growth.high is None else value - wider * (growth.high - growth.value)
    high = None if growth.low is None else value + wider * (growth.value - growth.low)
    return Estimate(value, low, high)


def _bends(moves: Moves, own_curve: bool, setup: Setup | None) -> tuple[Floats, Floats]:
    """n x k points of depth that a unit of each common error adds, and the k standard deviations:
    the curve's bends, the unrested end, the voltage's scale."""
    along = (moves.sign * moves.by_curve)[:, None]
    curve = along * (_hats(moves.start_pct) - _hats(moves.end_pct))
    columns = [curve, -_unrested(moves)[:, None]]
    sd = [np.full(KNOTS_PCT.size, OWN_CURVE_SD_PCT if own_curve else CURVE_SD_PCT),
          np.array([UNRESTED_SD_PCT])]  # fmt: skip
    if setup is not None and own_curve:
        columns.append(along * _voltage_scale(moves, setup)[:, None])
        sd.append(np.array([VOLTAGE_GAIN_SD]))
    return np.column_stack(columns), np.concatenate(sd)


def _hats(level: Floats) -> Floats:
    """Tents of one point at each knot, n x knots; none at empty and full."""
    width = KNOTS_PCT[1] - KNOTS_PCT[0]
    away = np.abs(level[:, None] - KNOTS_PCT) / width
    return np.asarray(np.clip(1 - away, 0.0, None), np.float64)


def _unrested(moves: Moves) -> Floats:
    """n loads over the usual one: how much the level at the end may read low; 0 for charges, which
    were left to rest."""
    load = np.zeros(len(moves.rides))
    for at, one in enumerate(moves.rides):
        own = one.summary
        if own.kind == "ride" and own.resistance_10s_ohm is not None and own.duration_s > 0:
            load[at] = own.resistance_10s_ohm[0] * moves.moved_ah[at] / own.duration_s
    usual = float(np.median(load[load > 0])) if (load > 0).any() else 1.0
    return np.asarray(load / usual, np.float64)


def _voltage_scale(moves: Moves, setup: Setup) -> Floats:
    """Points by which a voltage read too low, relative, makes each depth seem less."""
    change = []
    for start, end in zip(moves.start_pct, moves.end_pct, strict=True):
        volts = cell_volts(setup.curve, np.array([start, end]), setup)
        up, down = (
            charge_pct(setup.curve, volts * (1 + step), setup)
            for step in (VOLTAGE_GAIN_SD, -VOLTAGE_GAIN_SD)
        )
        slope = (up - down) / (2 * VOLTAGE_GAIN_SD)
        change.append(float(slope[0] - slope[1]))
    return np.array(change)

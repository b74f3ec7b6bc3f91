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

from analyzer.ageing_curve import KNOT_STEP_PCT, KNOTS_PCT, bend_prior
from analyzer.ageing_levels import Moves, moves_of
from analyzer.ageing_parts import ORIGIN_SD, Kept, origin_columns, widened, years
from analyzer.estimate import Z_95, Estimate
from analyzer.quantities import Floats
from analyzer.rest_voltage import USUAL_PART, cell_volts, charge_pct
from analyzer.trend import FEWEST, fit_trend
from analyzer.trend_fit import TAIL
from importers.setup_types import Setup

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
FADE_WIDER = 1.5
"""By how much the interval of a fade is wider than the fit says, with the cells' own curve or a
learned one: a load's slow rest, lights' part of the charge, what bends cannot follow. Measured on
simulated books, benchmarks/tables/ageing_rides.py."""
LEVEL_WIDER = 1.1
"""Likewise of a capacity through a learned curve: levels that scatter make bends look flatter, and
the capacity 4 % larger than it is. Measured on the same books."""
USUAL_SD = 0.15
"""A pack in use holds `USUAL_PART` of its rating within this, one standard deviation of ln. Our
choice: hardly one holds a tenth more than is printed on it, and an old one two thirds."""
OWN_SD_AS_RIDES = 2.0
"""What is believed of a ride's own scatter beforehand counts as much as what so many rides show of
it. Our choice, on simulated books: levels repeat two to eight times better than one ride knows."""
PASSES = 4
"""Fits about the bends found before; more change nothing."""
LEAST_SLOPE = 0.3
"""A bent curve is not made steeper than 1 / this times the setup's. Our choice."""
LEAST_DEPTH_PCT = 3.0
"""A ride is not made shallower than this by the bends [points]. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class CapacityAgeing:
    """The course of the capacity between rest at empty and at full."""

    now_ah: Estimate
    new_ah: Estimate
    fade_pct_per_year: Estimate | None
    """None where rides tell a level only."""
    used: tuple[str, ...]
    """Names of the rides it rests on, in time order (n)."""
    each_ah: Floats
    """n capacities, one per ride, through the bent curve."""
    each_half_ah: Floats
    """n half widths of what each ride alone leaves open (95 %), what all rides share left out."""
    fitted_ah: Floats


def capacity_course(
    rides: Sequence[Kept], *, own_curve: bool, setup: Setup | None = None
) -> CapacityAgeing | None:
    """The course over rides and charges that moved enough charge, or None where they are few.

    With the `setup`, levels are read anew from rest voltages, all through its one curve. Where
    those are few, what rides tell each for itself gives a level, and no fade.
    """
    moves = moves_of(rides, setup)
    course = None if moves is None else _course(moves, own_curve, setup)
    return course or _level_only(rides)


def _course(moves: Moves, own_curve: bool, setup: Setup | None) -> CapacityAgeing | None:
    expected, points, sd_points = _bends(moves, own_curve, setup)
    origin, _ = origin_columns(moves.rides)
    held = np.concatenate([sd_points, np.full(origin.shape[1], ORIGIN_SD)])
    mean, root = bend_prior(setup, own_curve=own_curve)
    when = years(moves.rides)
    bent, trend, part = np.zeros(sd_points.size), None, 1.0
    for _ in range(PASSES):
        depth = np.maximum(moves.depth_pct + expected + points @ bent, LEAST_DEPTH_PCT)
        y = 100.0 * moves.moved_ah / depth
        extra = np.column_stack([points / depth[:, None], origin])
        own_sd = _depth_sd(moves, mean + root @ bent[: KNOTS_PCT.size]) / depth
        trend = fit_trend(
            when,
            y,
            part * own_sd * y,
            regressors=extra,
            prior_mean=np.concatenate([-bent, np.zeros(origin.shape[1])]),
            prior_sd=held,
            look_for_jumps=False,
            sds_hold=True,
            level=_expected(setup, own_curve),
        )
        if trend is None:
            return None
        found = np.array([one.value for one in trend.regressors])
        bent = bent + found[: bent.size]
        each = y * np.exp(-extra @ found)
        part = _shown(np.log(each / trend.fitted) / own_sd, trend.begun.free)
    assert trend is not None
    return CapacityAgeing(
        now_ah=_level(trend.now, own_curve),
        new_ah=_level(trend.new, own_curve),
        fade_pct_per_year=_fade(trend.growth_pct_per_year, FADE_WIDER),
        used=tuple(one.name for one in moves.rides),
        each_ah=each,
        each_half_ah=Z_95 * part * own_sd * each,
        fitted_ah=trend.fitted,
    )


def _shown(z: Floats, free: float) -> float:
    """What part of their own uncertainty the rides (n distances `z` from the course, over it) show
    by scattering, over `free` rows, 1 at most. What they share is in the fit's common errors, and
    makes no ride scatter."""
    weight = (TAIL + 1.0) / (TAIL + z**2)
    square = z.size / free * float(np.average(z**2, weights=weight))
    return float(np.sqrt(min((OWN_SD_AS_RIDES + free * square) / (OWN_SD_AS_RIDES + free), 1.0)))


def _level_only(rides: Sequence[Kept]) -> CapacityAgeing | None:
    """The middle of what rides tell by themselves (a logger's own counting of charge, or a deep
    ride), as wide as the usual one of them: what they are wrong by they share."""
    told = [one for one in rides if one.summary.capacity_ah is not None]
    if len(told) < FEWEST:
        return None
    each = np.array([one.summary.capacity_ah or (np.nan,) * 3 for one in told], np.float64)
    value = float(np.median(each[:, 0]))
    down, up = (float(np.nanmedian(abs(each[:, at] / each[:, 0] - 1))) for at in (1, 2))
    level = Estimate(value, value * (1 - down), value * (1 + up))
    return CapacityAgeing(
        now_ah=level,
        new_ah=level,
        fade_pct_per_year=None,
        used=tuple(one.name for one in told),
        each_ah=each[:, 0],
        each_half_ah=np.nan_to_num((each[:, 2] - each[:, 1]) / 2),
        fitted_ah=np.full(len(told), value),
    )


def _expected(setup: Setup | None, own_curve: bool) -> tuple[float, float] | None:
    """What a pack holds of its rating at the first ride; where its own curve is known, what it
    moves says that better."""
    if setup is None or own_curve:
        return None
    return USUAL_PART * setup.pack.capacity_ah, USUAL_SD


def _level(one: Estimate, own_curve: bool) -> Estimate:
    """The capacity with the current's scale in its interval."""
    whole = widened(one, CURRENT_GAIN_SD)
    if own_curve or whole.low is None or whole.high is None:
        return whole
    return Estimate(
        whole.value,
        whole.value - LEVEL_WIDER * (whole.value - whole.low),
        whole.value + LEVEL_WIDER * (whole.high - whole.value),
    )


def _fade(growth: Estimate, wider: float) -> Estimate:
    """Growth the other way round."""
    value = -growth.value
    low = None if growth.high is None else value - wider * (growth.high - growth.value)
    high = None if growth.low is None else value + wider * (growth.value - growth.low)
    return Estimate(value, low, high)


def _bends(moves: Moves, own_curve: bool, setup: Setup | None) -> tuple[Floats, Floats, Floats]:
    """n points of depth to be expected beside what the setup's curve says, n x k that a unit of
    each common error adds, and the k standard deviations: the curve's bends, the unrested end, the
    voltage's scale."""
    along = (moves.sign * moves.by_curve)[:, None]
    curve = along * (_hats(moves.start_pct) - _hats(moves.end_pct))
    mean, root = bend_prior(setup, own_curve=own_curve)
    columns = [curve @ root, -_unrested(moves)[:, None]]
    sd = [np.ones(KNOTS_PCT.size), np.array([UNRESTED_SD_PCT])]
    if setup is not None:
        columns.append(along * _voltage_scale(moves, setup)[:, None])
        sd.append(np.array([VOLTAGE_GAIN_SD]))
    return curve @ mean, np.column_stack(columns), np.concatenate(sd)


def _depth_sd(moves: Moves, bends: Floats) -> Floats:
    """Of each depth: where the bent curve is flatter than the setup's, a volt means more points."""
    knots = np.concatenate([[0.0], KNOTS_PCT, [100.0]])
    slope = 1 + np.diff(np.concatenate([[0.0], bends, [0.0]])) / np.diff(knots)

    def at(level: Floats) -> Floats:
        place = np.clip(np.searchsorted(knots, level, side="right") - 1, 0, slope.size - 1)
        return np.maximum(slope[place], LEAST_SLOPE)

    return np.hypot(moves.start_sd_pct * at(moves.start_pct), moves.end_sd_pct * at(moves.end_pct))


def _hats(level: Floats) -> Floats:
    """Tents of one point at each knot, n x knots; none at empty and full."""
    away = np.abs(level[:, None] - KNOTS_PCT) / KNOT_STEP_PCT
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
    level = np.stack([moves.start_pct, moves.end_pct])
    volts = cell_volts(setup.curve, level, setup)
    up, down = (
        charge_pct(setup.curve, volts * (1 + step), setup)
        for step in (VOLTAGE_GAIN_SD, -VOLTAGE_GAIN_SD)
    )
    slope = (up - down) / (2 * VOLTAGE_GAIN_SD)
    return np.asarray(slope[0] - slope[1], np.float64)

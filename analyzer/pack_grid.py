"""What the pack's fit is made of: lags of the current, and pieces of rest voltage bent as the
curve bends, on the even grid of the ride's stretches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analyzer.lags import TAUS_S, lag_columns, lagged
from analyzer.quantities import Floats
from analyzer.spells import Stretch

RAMP_DEPTH = 0.04
"""Length of the rest voltage's straight pieces [of the rated charge]. Our choice: published
curves (references in `importers/curves`) bend by less than 3 mV per cell within it, ends apart."""
MOST_RAMPS = 14
BEND_C = 5.0
"""Charge transfer answers a current as asinh(I / I_bend), less than in proportion (Butler-Volmer
with equal halves); where it bends [rated capacities per hour]. Our choice, mid of usual cells."""
SLOPED = [3, 4, 5]
"""Lags (10, 30 and 100 s) that may follow the slope of the rest voltage as well: diffusion moves
the charge at the surface, and the curve turns that into volts."""
STEEPEST = 5.0
"""Slopes beyond this times the one at the mean charge are cut. Our choice."""
SURFACE_DEPTH = 0.01
"""How far along the curve the surface is from the mean under load [of the rated charge]."""
SCALE_SD = 0.3
"""How far the charge held may be from what the setup rates, one standard deviation [of it]. Our
choice: wide, so that a ride that tells the capacity tells it by itself."""
FINE = 400
"""Points of the curve over the ride."""


@dataclass(frozen=True, slots=True)
class ExpectedRest:
    """What is known of the rest voltage before the ride."""

    rest_v: Callable[[float, Floats], Floats]
    """From the pack's rest voltage at the start and the charge drawn since [Ah]."""
    rated_ah: float
    shape_sd: float
    """How far the slope of a piece may lie from that, one standard deviation [of the slope]."""


@dataclass(frozen=True, slots=True, eq=False)
class PackGrid:
    """The stretches strung together: N samples."""

    time_s: Floats
    voltage_v: Floats
    current_lags: Floats
    charge_ah: Floats
    ramps: Floats
    knots_ah: Floats
    step_s: float
    first: tuple[int, ...]
    mean_ah: float
    bent_current: Floats
    """What a current loses against a straight line where charge transfer bends, behind 1 s."""
    expected: Floats
    """What the curve says the pieces' slopes are [V/Ah]; empty before the first fit."""
    spread: Floats
    """Covariance of what the curve says [(V/Ah)^2]: its scale and its shape are uncertain."""
    bend: float = 1.0
    """Slope at the mean charge over the mean slope of its piece."""


def pack_grid(stretches: list[Stretch], step_s: float, rated_ah: float) -> PackGrid:
    """The fit's columns before anything is known of where on the curve the ride lay."""
    charge = np.concatenate([one.charge_ah for one in stretches])
    pieces = int(np.clip(np.ptp(charge) / rated_ah / RAMP_DEPTH, 1, MOST_RAMPS))
    knots = np.unique(np.quantile(charge, np.linspace(0, 1, pieces + 1)))
    ramps = np.column_stack([np.clip(charge - a, 0, b - a) for a, b in pairwise(knots)])
    sizes = np.cumsum([0, *(one.time_s.size for one in stretches)])
    return PackGrid(
        time_s=np.concatenate([one.time_s for one in stretches]),
        voltage_v=np.concatenate([one.voltage_v for one in stretches]),
        current_lags=np.vstack(lag_columns(stretches, step_s)),
        charge_ah=charge,
        ramps=ramps,
        knots_ah=knots,
        step_s=step_s,
        first=tuple(int(k) for k in sizes[:-1]),
        mean_ah=float(charge.mean()),
        bent_current=np.concatenate([_bent_current(one, step_s, rated_ah) for one in stretches]),
        expected=np.zeros(0),
        spread=np.zeros((0, 0)),
    )


def _bent_current(one: Stretch, step_s: float, rated_ah: float) -> Floats:
    at = BEND_C * rated_ah
    return lagged(one.current_a - at * np.arcsinh(one.current_a / at), 1.0, step_s, 0.0)


def bend_along(
    grid: PackGrid, start_v: float, curve: ExpectedRest, surface_v: Floats | None = None
) -> PackGrid:
    """The same pieces, each bent as the curve bends where the ride lay on it.

    `surface_v` are the volts (N) that diffusion took at the slope of the mean charge: at the
    electrodes' surface the charge is further down the curve than on the whole by so much.
    """
    drawn = grid.charge_ah
    ends = drawn.min(), drawn.max()
    fine = np.linspace(*ends, FINE)
    volts = curve.rest_v(start_v, fine - drawn[0])
    at_knots = np.interp(grid.knots_ah, fine, volts)
    at_samples = np.interp(drawn, fine, volts)
    widths, falls = np.diff(grid.knots_ah), -np.diff(at_knots)
    if not np.all(falls > 0):
        return grid
    ramps = np.column_stack(
        [
            np.clip(a - at_samples, 0, a - b) / fall * width
            for (a, b), fall, width in zip(pairwise(at_knots), falls, widths, strict=True)
        ]
    )
    reach = max(round(SURFACE_DEPTH * curve.rated_ah / max(float(fine[1] - fine[0]), 1e-9)), 1)
    slopes = -_smooth(np.gradient(volts, fine), reach)
    piece = piece_at_mean(grid)
    slope = float(np.interp(grid.mean_ah, fine, slopes))
    bend = slope * widths[piece] / falls[piece]
    ratio = np.interp(drawn, fine, slopes) / slope
    if surface_v is not None:
        ratio = _to_surface(drawn, surface_v / slope, start_v, curve, reach * (fine[1] - fine[0]))
        ratio = ratio / slope
    ratio = np.clip(ratio, 1 / STEEPEST, STEEPEST)[:, None]
    plain = grid.current_lags[:, : len(TAUS_S)]
    lags = np.hstack([plain, plain[:, SLOPED] * ratio])
    expected = falls / widths
    spread = np.diag((curve.shape_sd * expected) ** 2)
    spread += SCALE_SD**2 * np.outer(expected, expected)
    return replace(
        grid,
        current_lags=lags,
        ramps=ramps,
        expected=expected,
        spread=spread,
        bend=bend,
    )


def _to_surface(
    drawn: Floats, beyond_ah: Floats, start_v: float, curve: ExpectedRest, reach_ah: float
) -> Floats:
    """Mean slopes of the curve between the charge drawn and that at the surface [V/Ah]."""
    beyond = np.where(np.abs(beyond_ah) < reach_ah, reach_ah, beyond_ah)
    low = min(drawn.min(), (drawn + beyond).min())
    high = max(drawn.max(), (drawn + beyond).max())
    fine = np.linspace(low, high, 2 * FINE)
    volts = curve.rest_v(start_v, fine - drawn[0])
    fall = np.interp(drawn, fine, volts) - np.interp(drawn + beyond, fine, volts)
    return np.asarray(fall / beyond, np.float64)


def _smooth(values: Floats, reach: int) -> Floats:
    """Means over `reach` points to either side, fewer at the ends."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(values.size)
    low, high = np.maximum(at - reach, 0), np.minimum(at + reach + 1, values.size)
    return np.asarray((total[high] - total[low]) / (high - low), np.float64)


def piece_at_mean(grid: PackGrid) -> int:
    """Which piece the mean charge lies in."""
    at = int(np.searchsorted(grid.knots_ah, grid.mean_ah, side="right")) - 1
    return min(max(at, 0), grid.knots_ah.size - 2)

"""How much charge does a rest voltage stand for, and how sure is that?

State of charge is counted as the contract does: 0 % at rest at `cell_empty_v`, 100 % at rest at
`cell_full_v`. A curve brings its own 0 and 100 %; it is rescaled.
"""

from __future__ import annotations

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from importers.setup_types import RestVoltageCurve, Setup

OWN_CURVE_SD_V = 0.003
"""A curve given for these very cells, one standard deviation [V per cell]. Our choice: what cells
of one batch and a careful measurement differ by."""
BEYOND_FAMILY_V = 0.025
"""How far outside a chemistry's published curves a cell's may still run [V per cell]. Our choice:
three curves do not mark the ends of what is sold."""
LONE_CURVE_V = 0.060
"""Likewise where only one curve of the chemistry is published [V per cell]: what the three nmc
curves spread over at mid charge (78 mV), most of it to either side."""
STRAIGHT_PART = 0.05
"""Part of a straight line mixed into a curve's shape. Our choice."""
USUAL_PART = 0.92
"""A pack in use holds about this part of its rating. Our choice."""
OWN_SHAPE_SD = 0.1
BUILT_IN_SHAPE_SD = 0.4
"""The slopes of the three published nmc curves over 4 % of charge differ by about this."""
WIDEST_PCT = 70.0
"""An interval wider than this says nothing and is not given [points of charge]. Our choice."""


def charge_pct(curve: RestVoltageCurve, cell_v: Floats | float, setup: Setup) -> Floats:
    """State of charge [%] of cells resting at `cell_v`, on the setup's scale.

    Beyond the curve's ends it goes on straight as over the curve's outermost hundredth.
    """
    soc, volts = curve.state_of_charge, curve.volts_per_cell
    ends = np.array([setup.cell_empty_v, setup.cell_full_v])
    low, high = np.interp(ends, volts, soc)
    cell_v = np.asarray(cell_v, np.float64)
    inside = np.interp(cell_v, volts, soc)
    under = np.minimum(cell_v - volts[0], 0.0) * _end_slope(soc, volts, 0)
    over = np.maximum(cell_v - volts[-1], 0.0) * _end_slope(soc, volts, -1)
    return np.asarray(100 * (inside + under + over - low) / max(high - low, 1e-9), np.float64)


def _end_slope(soc: Floats, volts: Floats, end: int) -> float:
    at = (0, 1) if end == 0 else (-2, -1)
    return float((soc[at[1]] - soc[at[0]]) / max(volts[at[1]] - volts[at[0]], 1e-6))


def cell_volts(curve: RestVoltageCurve, pct: Floats | float, setup: Setup) -> Floats:
    """Volts per cell at rest at a state of charge on the setup's scale [%]."""
    soc, volts = curve.state_of_charge, curve.volts_per_cell
    low, high = np.interp([setup.cell_empty_v, setup.cell_full_v], volts, soc)
    at = low + (high - low) * np.asarray(pct, np.float64) / 100
    return np.asarray(np.interp(at, soc, volts), np.float64)


def rest_after(setup: Setup, start_v: float, drawn_ah: Floats) -> Floats:
    """The pack's rest voltages after drawing charge from rest at `start_v`, as the setup's curve
    and a usual capacity have it.

    Part of a straight line between full and empty is mixed in, so that it falls everywhere, also
    on a plateau and beyond the curve's ends.
    """
    series = setup.pack.series
    start = float(charge_pct(setup.curve, start_v / series, setup))
    pct = start - 100 * drawn_ah / (USUAL_PART * setup.pack.capacity_ah)
    straight = (setup.cell_full_v - setup.cell_empty_v) * pct / 100
    volts = cell_volts(setup.curve, pct, setup) + STRAIGHT_PART * straight
    return np.asarray(series * volts, np.float64)


def shape_sd(setup: Setup) -> float:
    """How far the slope of a stretch of the curve may lie from the setup's, one standard
    deviation [of the slope]."""
    return OWN_SHAPE_SD if not setup.curve.built_in else BUILT_IN_SHAPE_SD


def fall_sd_v(setup: Setup, start_v: float, drawn_ah: float) -> float:
    """How much the curves these cells may follow differ in the fall of rest voltage over a charge
    drawn, half their range as one standard deviation [V]; 0 with the cells' own curve.

    Over minutes a falling rest voltage and a slow part of the resistance look alike, and the fit
    leans on the setup's curve to tell them apart: a curve that is not the cells' misleads it so.
    """
    series = setup.pack.series
    points = 100 * drawn_ah / (USUAL_PART * setup.pack.capacity_ah)
    falls = []
    for curve in family(setup):
        level = float(charge_pct(curve, start_v / series, setup))
        falls.append(float(start_v - series * cell_volts(curve, level - points, setup)))
    return (max(falls) - min(falls)) / 2


def family(setup: Setup) -> tuple[RestVoltageCurve, ...]:
    """The curves these cells may follow: their own alone, or all published of the chemistry."""
    if not setup.curve.built_in:
        return (setup.curve,)
    return setup.curve_family or (setup.curve,)


def beyond_v(setup: Setup) -> float:
    """How far the true curve may lie outside the family [V per cell], 95 %."""
    if not setup.curve.built_in:
        return 1.96 * OWN_CURVE_SD_V
    return LONE_CURVE_V if len(family(setup)) == 1 else BEYOND_FAMILY_V


def charge_from_rest(rest_v: float, sd_v: float, setup: Setup) -> Estimate | None:
    """State of charge [%] behind a pack's rest voltage; None where the curve is too flat to say.

    The interval is the widest that the rest voltage's own, read from every curve the cells may
    follow, spans.
    """
    series = setup.pack.series
    reach = 1.96 * sd_v / series
    curve_reach = beyond_v(setup)
    each = reach + curve_reach if setup.curve.built_in else float(np.hypot(reach, curve_reach))
    cell = rest_v / series
    lows = [float(charge_pct(c, cell - each, setup)) for c in family(setup)]
    highs = [float(charge_pct(c, cell + each, setup)) for c in family(setup)]
    value = float(charge_pct(setup.curve, cell, setup))
    low, high = max(min(lows), min(0.0, value)), min(max(highs), max(100.0, value))
    if high - low > WIDEST_PCT:
        return None
    return Estimate(value, low, high)

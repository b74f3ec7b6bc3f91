"""What can be said of a pack's voltage on paper, before any ride has measured its resistance?"""

from __future__ import annotations

import numpy as np

from analyzer.estimate import Estimate
from importers.setup_types import Setup

CELL_OHM_AH = Estimate(0.10, 0.05, 0.20)
"""Resistance after 10 s of one cell times its capacity [Ohm Ah] at 25 degC, wiring included:
cells built for power lie low, cells built for energy and aged ones high. Common practice, no
source; references used for a check: a 3.5 Ah cell of 29.6 mOhm gives 0.10."""
COLD_FACTOR = 2.5
"""Resistance at 0 degC over that at 25 degC, about 25 kJ/mol by Arrhenius. Common practice."""
_GRID = 1001


def paper_resistance_ohm(setup: Setup) -> Estimate:
    """The pack's resistance after 10 s as cells of its size usually have it, with an interval
    wide enough for makes that differ."""
    scale = setup.pack.series / setup.pack.capacity_ah
    low, high = CELL_OHM_AH.low, CELL_OHM_AH.high
    assert low is not None
    assert high is not None
    return Estimate(CELL_OHM_AH.value * scale, low * scale, high * scale)


def rest_cell_v(setup: Setup, charge_pct: float) -> float:
    """Volts per cell after long rest at a state of charge counted as the contract does: between
    rest at `cell_empty_v` and at `cell_full_v`."""
    charge, volts = setup.curve.state_of_charge, setup.curve.volts_per_cell
    empty, full = np.interp([setup.cell_empty_v, setup.cell_full_v], volts, charge)
    return float(np.interp(empty + charge_pct / 100.0 * (full - empty), charge, volts))


def charge_at_rest_pct(setup: Setup, cell_v: float) -> float:
    """The state of charge [%] whose rest voltage is `cell_v`, 0 below empty, 100 above full."""
    grid = np.linspace(0.0, 100.0, _GRID)
    volts = np.array([rest_cell_v(setup, pct) for pct in grid])
    return float(np.interp(cell_v, volts, grid))


def fade_from_pct(setup: Setup, current_a: float, derate_v: float) -> Estimate:
    """Below which state of charge does a steady current pull the pack under the derate voltage?
    From the usual resistance of such cells, so the interval is wide."""
    ohm = paper_resistance_ohm(setup)
    series = setup.pack.series

    def at(resistance_ohm: float | None) -> float:
        sag_v = current_a * (resistance_ohm or 0.0)
        return charge_at_rest_pct(setup, (derate_v + sag_v) / series)

    return Estimate(at(ohm.value), at(ohm.low), at(ohm.high))


def braking_room_pct(setup: Setup, current_a: float, high_v: float) -> Estimate:
    """Above which state of charge does braking with this current lift the pack over `high_v`?"""
    ohm = paper_resistance_ohm(setup)
    series = setup.pack.series

    def at(resistance_ohm: float | None) -> float:
        rise_v = current_a * (resistance_ohm or 0.0)
        return charge_at_rest_pct(setup, (high_v - rise_v) / series)

    return Estimate(at(ohm.value), at(ohm.high), at(ohm.low))

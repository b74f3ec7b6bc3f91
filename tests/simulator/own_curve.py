"""A published rest-voltage curve between the pack's own empty and full, as the loop reads it."""

from __future__ import annotations

import numpy as np

from simulator.curves import published_curve

LOW, HIGH, POINTS = -0.10, 1.10, 1201
"""The loop's even grid of charge, a little past empty and full."""


def own_curve(name: str, empty_v: float, full_v: float) -> tuple[np.ndarray, np.ndarray]:
    """The curve rescaled so that 0 and 1 are rest at the pack's own empty and full voltage."""
    soc, volts = published_curve(name)
    full_v = min(full_v, float(volts[-1]))
    empty_v = max(empty_v, float(volts[0]))
    at_empty, at_full = np.interp([empty_v, full_v], volts, soc)
    inside = soc[(soc > at_empty) & (soc < at_full)]
    fine = np.union1d(np.linspace(at_empty, at_full, 201), inside)
    return (fine - at_empty) / (at_full - at_empty), np.interp(fine, soc, volts)


def grid_curve(name: str, empty_v: float, full_v: float) -> np.ndarray:
    """Volts per cell on the loop's even grid, carried on straight past both ends."""
    soc, volts = own_curve(name, empty_v, full_v)
    grid = np.linspace(LOW, HIGH, POINTS)
    out = np.interp(grid, soc, volts)
    low_slope = (np.interp(0.02, soc, volts) - volts[0]) / 0.02
    high_slope = (volts[-1] - np.interp(0.98, soc, volts)) / 0.02
    out = np.where(grid < 0, volts[0] + low_slope * grid, out)
    return np.where(grid > 1, volts[-1] + high_slope * (grid - 1), out)

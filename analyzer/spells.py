"""The pack's voltage and current on an even grid, one stretch between holes in the log each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.quantities import Floats

GRID_STEP_S = 0.1
"""Finest grid of the fit [s]. Our choice: a step of a tenth of a second is the finest that the
trade calls "instant", and faster logs are averaged onto it, which costs no information."""
MIN_STRETCH_S = 5.0
"""Stretches shorter than this are left out [s]. Our choice: nothing relaxes in less."""
SHORT_HOLE_S = 60.0
"""Across a hole up to this long the current is taken to run on; across a longer one the pack
rests [s]. Our choice: a logger that hangs comes back within a minute, a stop takes longer."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """An unbroken part of the ride on an even grid; m samples."""

    time_s: Floats
    """Middle of each step, on the ride's clock."""
    voltage_v: Floats
    current_a: Floats
    charge_ah: Floats
    """Drawn since the ride's first usable sample, holes bridged, half of this step included."""
    hole_s: float
    """How long the hole before it was; 0 for the first."""
    hole_current_a: float
    """What is taken to have been drawn in that hole."""


def grid_step_s(time_s: Floats) -> float:
    """The grid's step: the log's own, but no finer than `GRID_STEP_S`."""
    return max(float(np.median(np.diff(time_s))), GRID_STEP_S)


def even_stretches(
    time_s: Floats, voltage_v: Floats, current_a: Floats, *, gap_s: float
) -> tuple[float, list[Stretch]]:
    """The grid's step [s] and the ride's unbroken stretches on it.

    Samples without voltage or current are left out; where more than `gap_s` is then missing the
    ride is split. Logs faster than the grid are averaged, slower ones interpolated in a straight
    line. All arrays have n samples.
    """
    good = np.isfinite(time_s) & np.isfinite(voltage_v) & np.isfinite(current_a)
    time_s, voltage_v, current_a = time_s[good], voltage_v[good], current_a[good]
    if time_s.size < 3:
        return GRID_STEP_S, []
    step = grid_step_s(time_s)
    limit = max(gap_s, 2.5 * step)
    cuts = np.flatnonzero(np.diff(time_s) > limit) + 1
    out: list[Stretch] = []
    charge, last_time, last_current = 0.0, float(time_s[0]), 0.0
    for rows in np.split(np.arange(time_s.size), cuts):
        span = float(time_s[rows[-1]] - time_s[rows[0]])
        if span < MIN_STRETCH_S or rows.size < 5:
            continue
        grid, volts, amps = _on_grid(time_s[rows], voltage_v[rows], current_a[rows], step)
        hole = float(time_s[rows[0]]) - last_time if out else 0.0
        through = (last_current + float(amps[0])) / 2 if hole <= SHORT_HOLE_S else 0.0
        charge += hole * through / 3600
        drawn = charge + (np.cumsum(amps) - amps / 2) * step / 3600
        out.append(Stretch(grid, volts, amps, drawn, hole, through))
        charge = float(drawn[-1] + amps[-1] * step / 7200)
        last_time, last_current = float(time_s[rows[-1]]), float(amps[-1])
    return step, out


def _on_grid(
    time_s: Floats, voltage_v: Floats, current_a: Floats, step: float
) -> tuple[Floats, Floats, Floats]:
    """Step means where samples are denser than the grid, straight lines where they are not."""
    count = max(int((time_s[-1] - time_s[0]) / step + 1e-6), 1)
    grid = time_s[0] + (np.arange(count) + 0.5) * step
    index = np.minimum(((time_s - time_s[0]) / step + 1e-6).astype(np.intp), count - 1)
    held = np.bincount(index, minlength=count)
    if time_s.size < 1.5 * count:  # as dense as the grid: no means to take
        grid = time_s[0] + np.arange(count + 1) * step
        return grid, np.interp(grid, time_s, voltage_v), np.interp(grid, time_s, current_a)
    empty = held == 0
    held = np.maximum(held, 1)
    middle = np.bincount(index, time_s, count) / held
    out = []
    for values in (voltage_v, current_a):
        mean = np.bincount(index, values, count) / held
        if empty.any():
            mean[empty] = np.interp(grid[empty], middle[~empty], mean[~empty])
        out.append(mean)
    return grid, out[0], out[1]

"""Stamps that come in lumps -> the even spacing the samples really had.

Two causes: stamps cut to whole seconds or minutes, so that many rows share one; and rows that
wait for a radio link and arrive together, stamped on arrival. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LUMP_ROWS = 3.0
"""Lumps of fewer rows in the mean are left as they are: two messages sent together. Our choice."""
TIGHT_SHARE = 0.25
"""Rows inside a lump lie closer than this part of the mean step. Our choice."""
SHARED_SHARE = 0.02
"""From this share of repeated stamps on they are a coarse clock, not slips. Our choice."""
GRIDS_S = (3600.0, 60.0, 1.0, 0.1, 0.01, 0.001)


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """n times, rising or equal, and what was done about lumps; empty when nothing was."""

    time_s: NDArray[np.float64]
    remark: str = ""
    sure: float = 1.0


def spread(time_s: NDArray[np.float64], epoch_s: float = 0.0) -> Spread:
    """When were these rows really sampled? `time_s` are n stamps that rise or stay equal."""
    n = time_s.size
    steps = np.diff(time_s)
    if n < 10 or not (steps > 0).any():
        return Spread(time_s)
    if float(steps.min()) > TIGHT_SHARE * float(steps.mean()):
        return Spread(time_s)  # nothing lies close together
    shared = float((steps == 0).mean())
    grid = _grid(time_s[:-1][steps > 0], steps, epoch_s)
    # Held against the mean pace, for in a burst the median step is next to nothing.
    if shared >= SHARED_SHARE and grid is not None and grid >= 0.5 * _pace(steps):
        return _fill_grid(time_s, grid)
    ends = _lump_ends(time_s)
    if ends is None:
        return Spread(time_s)
    even = _through(ends, time_s[ends], n, tight_s=float(np.median(np.diff(time_s[ends]))))
    return Spread(even, "rows came in bursts, as over a radio link: their even spacing is restored")


def _grid(stamps: NDArray[np.float64], steps: NDArray[np.float64], epoch_s: float) -> float | None:
    """The coarse tick all stamps stand on, when each step is a whole number of it."""
    rising = steps[steps > 0]
    least = float(np.percentile(rising, 5))
    for grid in GRIDS_S:
        if grid > least * 1.5:
            continue
        off = np.abs(rising / grid - np.round(rising / grid))
        return grid if float((off < 1e-3).mean()) > 0.98 else None
    return None


def _fill_grid(time_s: NDArray[np.float64], grid: float) -> Spread:
    """Rows that share a coarse stamp, spread over its length."""
    firsts = np.flatnonzero(np.concatenate([[True], np.diff(time_s) > 0]))
    counts = np.diff(np.concatenate([firsts, [time_s.size]]))
    typical = float(np.median(counts[1:-1])) if counts.size > 3 else float(counts.max())
    name = {3600.0: "hours", 60.0: "minutes", 1.0: "seconds"}.get(grid, f"{grid:g} s")
    hint = ", as a spreadsheet does: export the log again without it" if grid >= 60.0 else ""
    remark = f"times are cut to whole {name}{hint}; rows are spread evenly between them"
    sure = 0.8 if grid >= 60.0 else 0.96
    period = grid / max(typical, 1.0)
    if counts.size > 8:
        line = _line(firsts[1:-1], time_s[firsts[1:-1]] + period / 2, time_s.size)
        behind = line - time_s
        if behind.min() > -1.5 * period - 0.02 * grid and behind.max() < grid * 1.02 + 1.5 * period:
            return Spread(line, remark, sure)
    at = np.repeat(np.arange(firsts.size), counts)
    place = np.arange(time_s.size) - firsts[at]
    room = np.minimum(np.diff(np.concatenate([time_s[firsts], [np.inf]])), grid)
    share = np.maximum(counts, typical)[at]
    offset = np.where(at == 0, np.maximum(typical - counts[0], 0.0), 0.0)
    return Spread(time_s + room[at] * (place + offset + 0.5) / share, remark, sure)


def _pace(steps: NDArray[np.float64]) -> float:
    """The mean step while the log runs [s]: pauses do not count."""
    pause = np.percentile(steps, 99.5) * 5
    return float(steps[steps <= max(pause, 1e-9)].mean())


def _lump_ends(time_s: NDArray[np.float64]) -> NDArray[np.intp] | None:
    """Last row of each lump, when the rows do come in lumps."""
    steps = np.diff(time_s)
    mean = _pace(steps)
    long_steps = np.flatnonzero(steps > mean)
    if long_steps.size < 5 or mean <= 0:
        return None
    rows_each = time_s.size / (long_steps.size + 1)
    inside = np.delete(steps, long_steps)
    if rows_each < LUMP_ROWS or float(np.median(inside)) > TIGHT_SHARE * mean:
        return None
    return np.asarray(np.append(long_steps, time_s.size - 1), np.intp)


def _through(
    rows: NDArray[np.intp], stamps: NDArray[np.float64], n: int, *, tight_s: float
) -> NDArray[np.float64]:
    """Even times through the ends of the lumps; from end to end where samples were lost."""
    line = _line(rows, stamps, n)
    if float(np.abs(line[rows] - stamps).max()) <= 1.5 * tight_s:
        return line
    pace = float(np.median(np.diff(stamps) / np.diff(rows)))
    inner = np.interp(np.arange(n), rows, stamps)
    head = np.arange(rows[0])
    inner[: rows[0]] = stamps[0] - (rows[0] - head) * pace
    return inner


def _line(rows: NDArray[np.intp], stamps: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """The straight line of time over row number, lumps that came late weighing nothing."""
    x, y = rows.astype(np.float64), stamps - stamps[0]
    use = np.ones(x.size, np.bool_)
    slope, base = 0.0, 0.0
    for _ in range(4):
        slope, base = np.polyfit(x[use], y[use], 1)
        rest = y - (slope * x + base)
        limit = 3 * 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 1e-9
        use = np.abs(rest - np.median(rest)) <= limit
        if use.sum() < 5:
            break
    return np.asarray(stamps[0] + base + slope * np.arange(n), np.float64)

"""Columns that are filled only now and then, as one file brings them: their values held in between.

A log that writes pack voltage in every tenth row did not lose the other nine: the reading stands
until the next. Without that every span and window mean of it would break at each blank cell. What
is missing for longer than the column's own habit stays missing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyzer.quantities import Floats
from importers.ride import Ride

MOSTLY_BLANK = 0.3
"""A column with more than this part of blanks may be a slow one. Our choice."""
HABIT = 1.6
"""A value is held for up to this many of the column's usual steps. Our choice: one late reading."""
REGULAR = 0.6
"""So much of the steps must be within a fifth of the usual one. Our choice."""


def with_slow_channels_held(ride: Ride) -> Ride:
    """The ride with regularly sparse columns held between their readings; the ride itself stays."""
    time_s = ride.time_s
    held = {}
    for name in ride.table.columns:
        column = ride.table[name]
        if name == "time_s" or column.dtype.kind != "f":
            continue
        values = column.to_numpy(np.float64)
        known = np.flatnonzero(np.isfinite(values))
        if 10 < known.size < (1 - MOSTLY_BLANK) * values.size:
            filled = _held(values, known, time_s)
            if filled is not None:
                held[str(name)] = filled
    return replace(ride, table=ride.table.assign(**held)) if held else ride


def _held(values: Floats, known: np.ndarray, time_s: Floats) -> Floats | None:
    steps = np.diff(known)
    usual = float(np.median(steps))
    if usual < 2 or np.mean(np.abs(steps - usual) <= max(0.2 * usual, 1)) < REGULAR:
        return None
    last = np.maximum.accumulate(np.where(np.isfinite(values), np.arange(values.size), -1))
    usual_s = float(np.median(np.diff(time_s[known])))
    fresh = (last >= 0) & (time_s - time_s[np.maximum(last, 0)] <= HABIT * usual_s)
    return np.where(fresh, values[np.maximum(last, 0)], np.nan)

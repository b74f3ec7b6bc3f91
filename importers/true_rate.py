"""How often a logged channel really changes, not how often it is written. Pure."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MIN_CHANGES = 6
"""Fewer changes say nothing about a channel's pace. Our choice."""
QUICK_QUANTILE = 0.1
"""The pace is read off the quickest tenth of the changes: a held value that happens to repeat
makes longer pauses, never shorter ones. Our choice."""


def true_rate_hz(time_s: NDArray[np.float64], values: NDArray[np.float64]) -> float | None:
    """How many times a second does this channel get a new value?

    `time_s` and `values` are n numbers each. Held values (sample and hold) are found by their
    runs of equal readings. None for a channel that changes fewer than six times, or never.
    """
    good = np.isfinite(values)
    if good.all():
        kept, at_s = values, time_s
    else:
        kept, at_s = values[good], time_s[good]
    if kept.size < 2:
        return None
    changes = np.flatnonzero(kept[1:] != kept[:-1]) + 1
    if changes.size < MIN_CHANGES:
        return None
    rows = np.diff(changes)
    quick = float(np.quantile(rows, QUICK_QUANTILE))
    if quick <= 1.0:
        alone = rows[rows <= 2]
        if float((rows == 1).mean()) > 0.9 or alone.size > rows.size / 2:
            usual = np.diff(at_s)
            return float(1.0 / np.median(usual))
    near = rows <= 1.6 * max(quick, 1.0)
    steps_s = (at_s[changes[1:]] - at_s[changes[:-1]])[near]
    return float(1.0 / np.mean(steps_s)) if steps_s.size and steps_s.mean() > 0 else None

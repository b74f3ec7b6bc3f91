"""A pack current counted without sign, beside drives whose own currents have one. Pure.

It shows what flows back as drawn: a ride's sums by it are too large by twice what braking gave.
Where the drives' sum is known it says more, and the total is left out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from importers.ride import Unjudged

NAME = "pack_current_a"
STRONG = 0.15
"""Rows in which the drives give back more than this part of their highest current are compared. Our
choice."""
LEAST_ROWS = 20
HALF = 0.5
"""A total that is at least this part of what flows back, upward, counts it without sign; one cut
off at zero shows next to nothing. Our choice."""


def without_unsigned_total(
    table: pd.DataFrame, drives: Sequence[str], unjudged: Sequence[Unjudged]
) -> tuple[pd.DataFrame, tuple[Unjudged, ...], list[str]]:
    """The ride's table, what is not judged in it, and what was left out and why."""
    lost = {one.channel for one in unjudged if one.side <= 0}
    own = [f"{name}.battery_current_a" for name in drives]
    if NAME not in lost or NAME not in table or lost & set(own):
        return table, tuple(unjudged), []
    if not own or not all(name in table for name in own):
        return table, tuple(unjudged), []
    total = table[NAME].to_numpy(np.float64)
    summed = np.sum([table[name].to_numpy(np.float64) for name in own], axis=0)
    known = np.isfinite(total) & np.isfinite(summed)
    if not known.any():
        return table, tuple(unjudged), []
    back = known & (summed < -STRONG * float(np.max(np.abs(summed[known]))))
    if back.sum() < LEAST_ROWS or float(np.median(-total[back] / summed[back])) < HALF:
        return table, tuple(unjudged), []
    told = (
        f"{NAME}: it counts what flows back as drawn, as the drives' own currents show; left out, "
        "their sum is used"
    )
    return table.drop(columns=NAME), tuple(one for one in unjudged if one.channel != NAME), [told]

"""A current called the total: a true sum, one side's own times the number of drives, or one side's.

A controller that knows its partner only by number writes its own current times the number of
drives. Such a total moves with one side alone; a share worked out from it, or a rating judged by
it, would be wrong. Arithmetic between the columns tells. Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from importers.scatter import log_step

Floats = NDArray[np.float64]
Columns = Mapping[str, NDArray[np.float64] | NDArray[np.object_]]

LOAD = 0.2
"""Rows with a current above this part of its top are compared. Our choice."""
LEAST_ROWS = 100
ENOUGH_ROWS = 20_000
"""About so many rows of a long file, evenly picked, tell a ratio. Our choice."""
EXACT = 0.004
"""A product of one column follows it this closely, rounding apart. Our choice: two drives' own
currents never keep one ratio to half a per cent."""


def odd_total(columns: Columns, drives: int) -> str | None:
    """Why the pack current in this file is not the pack's; None where it may be.

    `columns` are one file's, named as in `LogTable`; `drives` how many the setup has.
    """
    total = columns.get("pack_current_a")
    if total is None or total.dtype == object or drives < 2:
        return None
    some = slice(None, None, max(total.size // ENOUGH_ROWS, 1))
    own = {
        name: np.asarray(values[some], np.float64)
        for name, values in columns.items()
        if name.rpartition(".")[2] == "battery_current_a" and values.dtype != object
    }
    amps = np.asarray(total[some], np.float64)
    names = list(own)
    for size in range(2, len(names) + 1):
        for these in combinations(names, size):
            if _follows(amps, np.asarray(sum(own[one] for one in these)), 1.0):
                return None if size == drives else f"it is the sum of {' and '.join(these)} only"
    for name in names:
        for times in range(1, drives + 1):
            if _follows(amps, own[name], float(times)):
                what = "itself" if times == 1 else f"times {times}"
                return f"it is {name} {what}, to the last digit, and knows nothing of the others"
    return None


def _follows(total: Floats, part: Floats, times: float) -> bool:
    """Whether one is the other times a number, but for rounding of both."""
    good = np.isfinite(total) & np.isfinite(part)
    if good.sum() < LEAST_ROWS:
        return False
    top = float(np.quantile(np.abs(total[good]), 0.99))
    loaded = good & (np.abs(total) > LOAD * top)
    if top <= 0 or loaded.sum() < LEAST_ROWS:
        return False
    apart = np.abs(total - times * part)[loaded]
    room = 0.51 * (log_step(total[loaded]) + times * log_step(part[loaded])) + EXACT * np.abs(
        total[loaded]
    )
    return float(np.mean(apart <= room)) > 0.98

"""A ride cut into short blocks: half a second is enough to compare sides or find a plateau.

Sums over blocks cost one pass over the rows; everything after works on the few blocks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import Bools, Floats, step_s
from importers.ride import Ride

BLOCK_S = 0.5
"""Our choice [s]: noise of single samples averages out, a firm start still has several blocks."""


class Blocks:
    """m blocks of a ride; a hole in the log ends a block."""

    def __init__(self, ride: Ride, block_s: float = BLOCK_S) -> None:
        time_s, step = ride.time_s, step_s(ride)
        self._step = step
        if time_s.size == 0:
            self._first: NDArray[np.intp] = np.zeros(0, np.intp)
            self.start_s = self.length_s = np.zeros(0)
            return
        number = np.floor(time_s / block_s)
        holes = np.concatenate([[0], np.cumsum(step[:-1] == 0.0)])
        new = (np.diff(number) != 0) | (np.diff(holes) != 0)
        self._first = np.concatenate([[0], np.flatnonzero(new) + 1])
        self.start_s = time_s[self._first]
        self.length_s = self._sum(step)

    def _sum(self, values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, self._first), np.float64)

    @property
    def size(self) -> int:
        """How many blocks."""
        return int(self._first.size)

    def mean(self, values: Floats | None) -> Floats | None:
        """The channel's mean in each block; NaN where more than half of a block is missing."""
        if values is None:
            return None
        if self.size == 0:
            return np.zeros(0)
        good = np.isfinite(values)
        whole = bool(good.all())
        held = self.length_s if whole else self._sum(np.where(good, self._step, 0.0))
        known = values if whole else np.where(good, values, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = self._sum(known * self._step) / held
        return np.where(held > 0.5 * self.length_s, mean, np.nan)

    def part(self, mask: Bools) -> Floats:
        """Which part of each block's time the mask holds, 0 to 1."""
        if self.size == 0:
            return np.zeros(0)
        with np.errstate(invalid="ignore", divide="ignore"):
            part = self._sum(np.where(mask, self._step, 0.0)) / self.length_s
        return np.nan_to_num(part)

    def expand(self, values: NDArray[np.generic], rows: int) -> NDArray[np.generic]:
        """Block values repeated for each row of the ride."""
        counts = np.diff(np.append(self._first, rows))
        return np.repeat(values, counts)

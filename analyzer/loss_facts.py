"""What was to be seen just before, at and after a loss: numbers for sentences, levels for chances.

A level that the log or the setup cannot tell is left out: it then speaks for no cause.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analyzer.conditions import Conditions
from analyzer.loss_search import Loss, Search
from analyzer.loss_signals import DriveSignals
from analyzer.losses import DriveLoss
from analyzer.quantities import Floats

BEFORE_S = 0.6
"""What stood just before a loss is read from this long [s]. Our choice."""

FEW_ROWS = 3
"""... and from so many rows at least. Our choice: one may be odd."""


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """A loss with the windows its features are read from."""

    loss: Loss
    search: Search
    state: Conditions
    part: DriveLoss
    """The first drive to stop."""
    one: DriveSignals
    step_s: float
    pre: slice
    """Rows just before, with full current."""
    full: int
    """Last row with most of the current."""

    @property
    def time_s(self) -> Floats:
        """The ride's time."""
        return self.search.ride.time_s

    def rows(self, from_s: float, to_s: float) -> slice:
        """Rows from and to so many seconds after the current was gone."""
        t0 = self.time_s[self.loss.first]
        a, b = np.searchsorted(self.time_s, [t0 + from_s - 1e-9, t0 + to_s + 1e-9])
        return slice(int(a), int(max(b, a + 1)))

    def lost(self) -> list[DriveSignals]:
        """The drives that stopped."""
        return [self.search.drive(name) for name in self.loss.drives]


@dataclass(slots=True)
class Facts:
    """Numbers by name with the unit at the end, and levels by sign."""

    numbers: dict[str, float] = field(default_factory=dict)
    signs: dict[str, str] = field(default_factory=dict)
    unseen: dict[str, str] = field(default_factory=dict)
    """Signs that could not be read, and what they would need."""

    def put(self, sign: str, level: str | None, missing: str = "") -> None:
        """State a sign's level; None where it cannot be told."""
        if level is not None:
            self.signs[sign] = level
        elif missing:
            self.unseen[sign] = missing

    def at(self, name: str) -> float | None:
        """The number, or None."""
        return self.numbers.get(name)


def around(loss: Loss, search: Search, state: Conditions) -> Around:
    """The loss with the windows around it."""
    part = loss.parts[0]
    one = search.drive(part.drive)
    time_s = search.ride.time_s
    step = float(np.median(np.diff(time_s)))
    asked = search.rows[part.drive].asked
    full = _full_row(one, part, asked, time_s)
    a = int(np.searchsorted(time_s, time_s[full] - BEFORE_S))
    # A hand that has just come over from the other way: what that gave is not what was lost.
    other = np.flatnonzero(asked[a : full + 1] == -part.sign)
    if other.size and asked[full] == part.sign:
        a = min(a + int(other[-1]) + 1, max(full + 1 - FEW_ROWS, a))
    return Around(loss, search, state, part, one, step, slice(max(a, 0), full + 1), full)


def _full_row(one: DriveSignals, part: DriveLoss, asked: Floats, time_s: Floats) -> int:
    """The last row with most of the current of the second before; the loss's row without one. What
    drove before the hand went to braking is not the braking that was lost."""
    first = part.first
    if one.work_a is None or part.how in ("log_end", "hole"):
        return first
    a = int(np.searchsorted(time_s, time_s[first] - 1.0))
    before = np.nan_to_num(one.work_a[a:first])
    for same in (one.braking[a:first] == (part.sign < 0), asked[a:first] == part.sign):
        if before.size and before[same].max(initial=0.0) > 2 * one.floor_a:
            before = np.where(same, before, 0.0)
            break
    if before.size == 0 or before.max() <= 2 * one.floor_a:
        return max(first - 1, 0)
    most = np.flatnonzero(before >= 0.7 * before.max())
    return a + int(most[-1])


def median_of(values: Floats | None, rows: slice) -> float | None:
    """The middle of the readings in these rows, or None."""
    part = np.zeros(0) if values is None else values[rows]
    good = part[np.isfinite(part)]
    return float(np.median(good)) if good.size else None


def lowest_of(values: Floats | None, rows: slice) -> float | None:
    """The lowest reading, or None."""
    part = np.zeros(0) if values is None else values[rows]
    good = part[np.isfinite(part)]
    return float(good.min()) if good.size else None


def highest_of(values: Floats | None, rows: slice) -> float | None:
    """The highest reading, or None."""
    part = np.zeros(0) if values is None else values[rows]
    good = part[np.isfinite(part)]
    return float(good.max()) if good.size else None


def level(value: float | None, edges: tuple[tuple[float, str], ...], last: str) -> str | None:
    """The name of the first edge that the value is at or below; None for None."""
    if value is None:
        return None
    for edge, name in edges:
        if value <= edge:
            return name
    return last

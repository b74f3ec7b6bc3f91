"""Which of many choices on a grid are probable, without trying them all?

A fit whose hidden settings nobody knows is scored under each choice of them. The scores may have
more than one hollow: `valley` finds the best of every row, `flood` fills what counts from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Protocol, TypeVar

Choice = tuple[int, int]
"""Row and column of the grid."""

COUNTS_WITHIN = 6.0
"""A choice whose score (minus twice the log likelihood) is this far above the best counts for under
5 % of it. Our choice."""


class Scored(Protocol):
    """What a choice gives."""

    @property
    def score(self) -> float:
        """Minus twice the log likelihood; lower is more probable."""


T = TypeVar("T", bound=Scored)


def valley(
    size: Choice, tried: Callable[[Choice], T], rows: range, start: Choice
) -> dict[Choice, T]:
    """For each of these rows of the grid the column where its score is lowest, starting at
    `start` and going outwards, from one row's best to the next row. Returns all that were tried."""
    found: dict[Choice, T] = {}
    first, column = start
    outwards = [*range(first, rows.stop), *range(first - 1, rows.start - 1, -1)]
    for row in outwards:
        if row == first - 1:
            column = min((c for r, c in found if r == first), key=lambda c: found[first, c].score)
        found[row, column] = tried((row, column))
        for step in (-1, 1):
            while 0 <= column + step < size[1]:
                beside = (row, column + step)
                if beside not in found:
                    found[beside] = tried(beside)
                if found[beside].score >= found[row, column].score:
                    break
                column += step
    return found


def flood(size: Choice, tried: Callable[[Choice], T], found: dict[Choice, T]) -> dict[Choice, T]:
    """All choices that count, reached from those already found through others that count."""
    known = dict(found)
    open_, done = list(found), set[Choice]()
    while open_:
        at = min(open_, key=lambda one: known[one].score)
        open_.remove(at)
        done.add(at)
        if known[at].score > min(one.score for one in known.values()) + COUNTS_WITHIN:
            break
        for one in _neighbours(at, size):
            if one not in known:
                known[one] = tried(one)
                open_.append(one)
    return known


def _neighbours(choice: Choice, size: Choice) -> Iterator[Choice]:
    row, column = choice
    for one in ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)):
        if 0 <= one[0] < size[0] and 0 <= one[1] < size[1]:
            yield one

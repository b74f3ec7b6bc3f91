"""Thinning a long text while it is read: quiet rows never enter memory.

What a channel is called is not known yet, so every column of numbers decides but those that only
run on (times, positions, counters). Whole stretches stay for those who ask about single rows: what
the columns are, how often they truly change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from importers.errors import LogError
from importers.header_words import read_header
from importers.log_ids import find_ids
from importers.log_time import log_time
from importers.raw_table import RawColumn, RawTable
from importers.thin_rows import (
    BLOCK_S,
    LEAST_ROWS,
    LONG_RIDE_ROWS,
    kept,
    spread_of,
    unrest,
)
from importers.time_spread import spread

RUNNING = frozenset({"time", "date", "latitude", "longitude", "charge", "energy", "distance"})
"""Ideas of columns that only run on: no event shows in them first."""
HEAD_ROWS = 40_000
"""So many rows at the beginning stay whole: `log_file` tells each channel's own pace by them."""
STRETCH_ROWS = 12_000
"""... and so many of some parts after it."""
STRETCHES = 5


@dataclass(slots=True)
class Thinner:
    """What is known of a long log's rows while its pieces come in."""

    size: int
    """Rows in a block."""
    deciding: tuple[int, ...]
    """Positions of the columns that decide."""
    every: int
    """A stretch of each so many pieces stays whole."""
    spreads: dict[int, float] = field(default_factory=dict)
    pieces: int = 0
    rows: int = 0
    left_out: int = 0
    whole: list[tuple[int, int]] = field(default_factory=list)
    """Stretches of rows, as kept, in which none is left out."""

    def rows_of(self, columns: Sequence[RawColumn], restarts: Sequence[int]) -> NDArray[np.intp]:
        """Which rows of the next piece are kept."""
        n = len(columns[0].numbers if columns[0].numbers is not None else columns[0].texts or ())
        blocks = (n - 1) // self.size
        quiet = np.ones(max(blocks, 0), np.bool_)
        stay = np.zeros(n, np.bool_)
        for at in self.deciding:
            quiet &= self._quiet(columns[at], at, blocks, stay)
        for row in restarts:
            quiet[max(row // self.size - 1, 0) : row // self.size + 1] = False
        keep = kept(quiet, n, self.size) | stay
        full = HEAD_ROWS if self.pieces == 0 else STRETCH_ROWS
        if self.pieces % self.every == 0:
            keep[:full] = True
            begin = self.rows - self.left_out
            self.whole.append((begin, begin + min(full, n)))
        rows = np.flatnonzero(keep)
        self.pieces += 1
        self.rows += n
        self.left_out += n - rows.size
        return rows

    def _quiet(
        self, column: RawColumn, at: int, blocks: int, stay: NDArray[np.bool_]
    ) -> NDArray[np.bool_]:
        if blocks < 1:
            return np.ones(0, np.bool_)
        values = column.numbers
        if values is None:
            assert column.texts is not None
            values = _changes(column.texts)
        self.spreads[at] = max(self.spreads.get(at, 0.0), spread_of(values[:: self.size]))
        return unrest(values, blocks, self.size, self.spreads[at], stay) <= 1.0


def thinner_of(head: RawTable, expected_rows: float, pieces: int) -> Thinner | None:
    """How to thin this log, from its first piece; None where it is better read whole: it is not
    that long, slow already, of several ids, or its clock needs all of its rows to be understood."""
    if expected_rows <= LONG_RIDE_ROWS or find_ids(head, (), {}) is not None:
        return None
    try:
        clock = log_time(head, file="")
    except LogError:
        return None
    time_s = clock.reading.time_s
    steps = np.diff(time_s)
    size = round(BLOCK_S / float(np.median(steps)))
    clean = clock.reading.dropped == 0 and not spread(time_s).remark
    if size < LEAST_ROWS or not clean or time_s.size < HEAD_ROWS:
        return None
    clocks = {*clock.columns, *clock.others}
    deciding = tuple(
        at for at, one in enumerate(head.columns)
        if at not in clocks
        and not read_header(one.header, one.unit).ideas & RUNNING
        and not _always_new(one)
    )  # fmt: skip
    if not deciding:
        return None
    return Thinner(size, deciding, max(pieces // (STRETCHES + 1), 1))


def _always_new(column: RawColumn) -> bool:
    """Words that differ from row to row: a text that is a clock of some kind."""
    return column.texts is not None and float(np.mean(np.diff(_changes(column.texts)) > 0)) > 0.3


def _changes(texts: pa.Array) -> NDArray[np.float64]:
    """A number that rises by one wherever the word changes: a new word is an event."""
    words = pc.fill_null(texts, "")
    same = pc.equal(words[1:], words[:-1]).to_numpy(zero_copy_only=False)
    return np.concatenate([[0.0], np.cumsum(~same.astype(np.bool_))])

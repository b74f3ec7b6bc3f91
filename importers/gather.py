"""A table too long to hold at once, gathered piece by piece: thinned as it comes, numbers in single
precision but for times, positions and counters that single precision would blur.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
from numpy.typing import DTypeLike, NDArray

from importers.header_words import read_header
from importers.raw_table import RawColumn, RawTable
from importers.thin_text import Thinner, thinner_of

SPARE = 1.02
"""Rows are estimated from the first piece; this much more is set aside."""
EXACT_IDEAS = frozenset({"time", "date", "latitude", "longitude", "charge", "energy", "distance"})
"""What single precision would blur: kept in double."""
HALF_DIGIT, BLURS = 6e-8, 1e-4
"""What rounding to single precision is off by, of a number (IEEE 754: 2^-24), and the part of a
column's span from which that blurs it. Our choice."""
Numbers = NDArray[np.float64]


class Gathered:
    """The pieces of one table, added in order."""

    def __init__(self, problems: Sequence[str] = ()) -> None:
        self.columns: list[_Column] = []
        self.problems: Counter[str] = Counter(dict.fromkeys(problems, 1))
        self.thinner: Thinner | None = None
        self.rows = 0
        self.dropped = 0
        self.restarts: list[int] = []

    def add(
        self, piece: Sequence[RawColumn], again: Sequence[int], part: float, pieces: int
    ) -> None:
        """Put a piece behind those that are there: `again` are rows of it before which the header
        stood again, `part` its share of the whole, which comes in so many `pieces`."""
        n = _rows_of(piece)
        if not self.columns:
            expected = int(n / part * SPARE) + 1024
            self.thinner = thinner_of(RawTable(tuple(piece), n), expected, pieces)
            share = 1 if self.thinner is None else self.thinner.size // 2
            self.columns = [_Column(one.header, one.unit, expected // share) for one in piece]
        if self.thinner is not None:
            taken = self.thinner.rows_of(piece, again)
            piece = [_taken(one, taken) for one in piece]
            again = np.searchsorted(taken, again).tolist()
            n = taken.size
        for one, column in zip(self.columns, piece, strict=True):
            one.add(column, self.rows)
        self.restarts += [self.rows + one for one in again]
        self.rows += n

    def table(self, *, preamble: tuple[str, ...], header_trusted: bool) -> RawTable:
        """All of it, once every piece is in."""
        thinner = self.thinner
        if thinner is not None:
            self.problems[_left_out(thinner)] = 1
        whole = tuple(one.whole(self.rows) for one in self.columns)
        pa.default_memory_pool().release_unused()
        return RawTable(
            columns=whole,
            rows=self.rows if thinner is None else thinner.rows,
            whole=() if thinner is None else tuple(thinner.whole),
            rows_dropped=self.dropped,
            problems=tuple(
                text if count == 1 else f"{text} (in {count} parts of the file)"
                for text, count in self.problems.items()
            ),
            preamble=preamble,
            restarts=tuple(self.restarts),
            header_trusted=header_trusted,
            form="read in parts",
        )


def _rows_of(piece: Sequence[RawColumn]) -> int:
    first = piece[0]
    return len(first.numbers if first.numbers is not None else first.texts or ())


def _taken(column: RawColumn, rows: NDArray[np.intp]) -> RawColumn:
    """The column with these rows only."""
    if column.numbers is not None:
        return replace(column, numbers=column.numbers[rows])
    assert column.texts is not None
    return replace(column, texts=column.texts.take(pa.array(rows)))


def _left_out(thinner: Thinner) -> str:
    return (
        f"a very long log: of {thinner.rows} rows {thinner.left_out} are left out, in which no "
        "column did more than follow its line within its noise or a fiftieth of its range; what "
        "happened is there row by row"
    )


@dataclass(slots=True)
class _Column:
    """One column being filled."""

    name: str
    unit: str
    expected: int
    numbers: Numbers | None = None
    texts: list[pa.Array] | None = None
    odd_cells: int = 0

    def add(self, piece: RawColumn, at: int) -> None:
        """Put a piece's cells after those that are there."""
        self.unit = self.unit or piece.unit
        if piece.texts is not None and (self.texts is not None or self._mostly_empty(at)):
            self._add_texts(piece.texts, at)
            return
        if self.texts is not None and piece.numbers is not None:
            self._add_texts(_written(piece.numbers), at)
            return
        values = piece.numbers
        if values is None:
            assert piece.texts is not None
            self.odd_cells += len(piece.texts) - piece.texts.null_count
            values = np.full(len(piece.texts), np.nan)
        self._add_numbers(values, at)
        self.odd_cells += piece.odd_cells

    def _add_numbers(self, values: Numbers, at: int) -> None:
        if self.numbers is None:
            words = read_header(self.name, self.unit)
            kind = np.float64 if words.ideas & EXACT_IDEAS else np.float32
            self.numbers = np.empty(max(self.expected, values.size), kind)
            assert self.numbers is not None
            self.numbers[:at] = np.nan
        if self.numbers.dtype == np.float32 and _blurred(values):
            self.numbers = _moved(self.numbers, at, self.numbers.size, np.float64)
        need = at + values.size
        if need > self.numbers.size:
            self.numbers = _moved(self.numbers, at, int(need * 1.1), self.numbers.dtype)
        self.numbers[at:need] = values

    def _mostly_empty(self, at: int) -> bool:
        return self.numbers is None or bool(np.isnan(self.numbers[:at]).all())

    def _add_texts(self, cells: pa.Array, at: int) -> None:
        if self.texts is None:
            self.texts = [pa.nulls(at, pa.string())]
            self.numbers = None
        self.texts.append(cells.dictionary_encode())

    def whole(self, rows: int) -> RawColumn:
        """The column when all pieces are in."""
        if self.texts is not None:
            cells = pa.concat_arrays([one.cast(pa.string()) for one in self.texts])
            return RawColumn(self.name, self.unit, texts=cells, odd_cells=self.odd_cells)
        numbers = np.full(rows, np.nan) if self.numbers is None else self.numbers[:rows]
        return RawColumn(self.name, self.unit, numbers=numbers, odd_cells=self.odd_cells)


def _moved(numbers: Numbers, rows: int, size: int, kind: DTypeLike) -> Numbers:
    """The first ``rows`` values in new memory; what lies behind them was never set."""
    more = np.empty(size, kind)
    more[:rows] = numbers[:rows]
    return more


def _blurred(values: Numbers) -> bool:
    """Whether single precision loses more than `BLURS` of the column's own span."""
    good = values[np.isfinite(values)]
    if not good.size:
        return False
    top = float(np.abs(good).max())
    span = float(np.ptp(good))
    return top * HALF_DIGIT > BLURS * span > 0


def _written(values: Numbers) -> pa.Array:
    known = np.isfinite(values)
    return pa.array([f"{one:g}" if ok else None for one, ok in zip(values, known, strict=True)])

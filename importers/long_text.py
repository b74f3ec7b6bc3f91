"""Text tables too long to hold at once: read piece by piece into columns of half the size.

Each piece is read exactly as a short file is; numbers are kept in single precision but for
times, positions and counters that single precision would blur. What has been read is let go.
"""

from __future__ import annotations

import mmap
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
from numpy.typing import DTypeLike, NDArray

from importers.cell_values import column_of
from importers.header_words import read_header
from importers.raw_table import RawColumn, RawTable
from importers.text_bytes import Data, as_text
from importers.text_table import TextLayout, find_text_layout, named_twice, names_of, parse
from importers.thin_text import Thinner, thinner_of

LONG_BYTES = 256 << 20
"""From this size on a text is read in pieces. Our choice: its table would take over 1 GB."""
PIECE_BYTES = 24 << 20
HEAD_BYTES = 1 << 22
SPARE = 1.02
"""Rows are estimated from the first piece; this much more is set aside."""
EXACT_IDEAS = frozenset({"time", "date", "latitude", "longitude", "charge", "energy", "distance"})
"""What single precision would blur: kept in double."""
Numbers = NDArray[np.float64]


def is_long(data: Data) -> bool:
    """Whether this text is to be read in pieces (UTF-16 is not: it is rare and read at once)."""
    return len(data) >= LONG_BYTES and bytes(data[:2]) not in (b"\xff\xfe", b"\xfe\xff")


def read_long_table(data: Data) -> RawTable:
    """The table in a long text as columns of numbers and of words. Raises `NoTable`."""
    head = as_text(bytes(data[:HEAD_BYTES]))
    found = find_text_layout(head)
    mark = 3 if bytes(data[:3]) == b"\xef\xbb\xbf" else 0
    begin = mark + found.layout.body_at
    columns: list[_Column] = []
    problems: Counter[str] = Counter(
        dict.fromkeys((*head.problems, *found.layout.problems, *named_twice(found.layout)), 1)
    )
    rows, dropped, restarts = 0, 0, []
    thinner: Thinner | None = None
    for low, high in _pieces(data, begin):
        text = as_text(bytes(data[low:high]))
        table, mended = parse(text, _within(found))
        if not columns:
            expected = int(table.num_rows * (len(data) - begin) / (high - low) * SPARE) + 1024
            columns = [
                _Column(name, found.layout.units[at], expected)
                for at, name in enumerate(names_of(found.layout))
            ]
        piece = [
            column_of(table.column(at), one.name, one.unit, found.dialect)
            for at, one in enumerate(columns)
        ]
        again = () if mended is None else mended.restarts
        if not rows:
            first = RawTable(tuple(piece), table.num_rows)
            thinner = thinner_of(first, expected, -(-(len(data) - begin) // PIECE_BYTES))
            if thinner is not None:
                for one in columns:
                    one.expected //= thinner.size // 2
        if thinner is not None:
            taken = thinner.rows_of(piece, again)
            piece = [_taken(one, taken) for one in piece]
            again = np.searchsorted(taken, again).tolist()
        for one, part in zip(columns, piece, strict=True):
            one.add(part, rows)
        problems.update(text.problems)
        if mended is not None:
            problems.update(mended.problems)
            dropped += mended.rows_dropped
            restarts += [rows + one for one in again]
        rows += table.num_rows if thinner is None else taken.size
        _let_go(data, low, high)
    if thinner is not None:
        problems[_left_out(thinner)] = 1
    whole = tuple(one.whole(rows) for one in columns)
    del text, table, piece
    pa.default_memory_pool().release_unused()
    return RawTable(
        columns=whole,
        rows=rows if thinner is None else thinner.rows,
        whole=() if thinner is None else tuple(thinner.whole),
        rows_dropped=dropped,
        problems=tuple(
            text if count == 1 else f"{text} (in {count} parts of the file)"
            for text, count in problems.items()
        ),
        preamble=found.layout.preamble,
        restarts=tuple(restarts),
        header_trusted=found.layout.trusted,
        form="read in parts",
    )


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


def _within(found: TextLayout) -> TextLayout:
    """The same table, with values from the first byte on."""
    return replace(found, layout=replace(found.layout, body_at=0))


def _pieces(data: Data, begin: int) -> Iterator[tuple[int, int]]:
    """Whole lines, some megabytes at a time."""
    low = begin
    while low < len(data):
        high = min(low + PIECE_BYTES, len(data))
        if high < len(data):
            end = data.rfind(b"\n", low, high)
            high = end + 1 if end >= 0 else high
        yield low, high
        low = high


def _let_go(data: Data, low: int, high: int) -> None:
    """Pages that were read need not stay in memory."""
    if isinstance(data, mmap.mmap):
        page = mmap.PAGESIZE
        first, last = -(-low // page) * page, high // page * page
        if last > first:
            data.madvise(mmap.MADV_DONTNEED, first, last - first)


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
    """Whether single precision loses more than a ten-millionth of the column's own span."""
    good = values[np.isfinite(values)]
    if not good.size:
        return False
    top = float(np.abs(good).max())
    return top * 6e-8 > 1e-4 * float(np.ptp(good)) and float(np.ptp(good)) > 0


def _written(values: Numbers) -> pa.Array:
    known = np.isfinite(values)
    return pa.array([f"{one:g}" if ok else None for one, ok in zip(values, known, strict=True)])

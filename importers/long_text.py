"""Text tables too long to hold at once: read piece by piece, each exactly as a short file is.
What has been read is let go.
"""

from __future__ import annotations

import mmap
from collections.abc import Iterator
from dataclasses import replace

from importers.cell_values import column_of
from importers.gather import Gathered
from importers.raw_table import RawTable
from importers.text_bytes import Data, as_text
from importers.text_table import TextLayout, find_text_layout, named_twice, names_of, parse

LONG_BYTES = 256 << 20
"""From this size on a text is read in pieces. Our choice: its table would take over 1 GB."""
PIECE_BYTES = 24 << 20
HEAD_BYTES = 1 << 22


def is_long(data: Data) -> bool:
    """Whether this text is to be read in pieces (UTF-16 is not: it is rare and read at once)."""
    return len(data) >= LONG_BYTES and bytes(data[:2]) not in (b"\xff\xfe", b"\xfe\xff")


def read_long_table(data: Data) -> RawTable:
    """The table in a long text as columns of numbers and of words. Raises `NoTable`."""
    head = as_text(bytes(data[:HEAD_BYTES]))
    found = find_text_layout(head)
    mark = 3 if bytes(data[:3]) == b"\xef\xbb\xbf" else 0
    begin = mark + found.layout.body_at
    names = names_of(found.layout)
    out = Gathered((*head.problems, *found.layout.problems, *named_twice(found.layout)))
    for low, high in _pieces(data, begin):
        text = as_text(bytes(data[low:high]))
        table, mended = parse(text, _within(found))
        piece = [
            column_of(table.column(at), name, found.layout.units[at], found.dialect)
            for at, name in enumerate(names)
        ]
        again = () if mended is None else mended.restarts
        part = (high - low) / (len(data) - begin)
        out.add(piece, again, part, -(-(len(data) - begin) // PIECE_BYTES))
        out.problems.update(text.problems)
        if mended is not None:
            out.problems.update(mended.problems)
            out.dropped += mended.rows_dropped
        _let_go(data, low, high)
    del text, table, piece
    return out.table(preamble=found.layout.preamble, header_trusted=found.layout.trusted)


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

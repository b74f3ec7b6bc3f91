"""Any delimited text as a table: dialect and header found out, values parsed by pyarrow.

The even part of a file is parsed as it stands; only a file with uneven rows, repeated headers,
comments between its rows or runs of blanks is mended first (`importers.mend`).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.csv as pc

from importers.cell_values import column_of
from importers.cells import MISSING, is_when
from importers.dialect import (
    END_LINES,
    HEAD_LINES,
    MIDDLE_LINES,
    Dialect,
    find_dialect,
    split_rows,
)
from importers.layout import HEAD_BYTES, LONGEST_LINE, MOST_COLUMNS, Layout, find_layout
from importers.mend import Mended, collapse_blanks, mend
from importers.raw_table import RawTable
from importers.text_bytes import Data, Text

PIECE = 1 << 14
"""Bytes looked at in the middle and at the end. Our choice."""
BLOCK = 1 << 20
"""Bytes pyarrow parses at once; longest row allowed. Our choice: pyarrow's own default."""


class NoTable(ValueError):
    """There is no table in this text."""


@dataclass(frozen=True, slots=True)
class TextLayout:
    """How a text is written and where its values begin."""

    dialect: Dialect
    layout: Layout
    first_line: int
    """Number of the first line of values, counted from 1."""


def find_text_layout(text: Text) -> TextLayout:
    """How is this text written, and where do its values begin? Raises `NoTable`."""
    head = _whole_lines(text.data, 0, HEAD_BYTES, first=True)
    if not head:
        raise NoTable
    size = len(text.data)
    sample = head[:HEAD_LINES]
    if size > HEAD_BYTES or len(head) > HEAD_LINES + MIDDLE_LINES + END_LINES:
        sample = sample + _whole_lines(text.data, size // 2, PIECE)[:MIDDLE_LINES]
        sample = sample + _whole_lines(text.data, max(0, size - PIECE), PIECE)[-END_LINES:-1]
    else:
        sample = head
    dialect = find_dialect(sample)
    if dialect is None or dialect.width > MOST_COLUMNS:
        raise NoTable
    layout = find_layout(head, dialect)
    above = bytes(text.data[: layout.body_at]).count(b"\n")
    return TextLayout(dialect, layout, above + 1)


def _whole_lines(data: Data, at: int, size: int, *, first: bool = False) -> list[str]:
    """Whole lines of a stretch of bytes, their ends kept."""
    piece = bytes(data[at : at + size])
    if at + size < len(data):
        end = piece.rfind(b"\n")
        if end < 0 and first:
            end = data.find(b"\n", at, at + LONGEST_LINE)
            if end < 0:
                return []
            piece = bytes(data[at : end + 1])
        else:
            piece = piece[: end + 1]
    if not first:
        piece = piece[piece.find(b"\n") + 1 :]
    return [line + "\n" for line in piece.decode("utf-8", "replace").split("\n")][
        : -1 if piece.endswith(b"\n") else None
    ]


def read_text_table(text: Text) -> RawTable:
    """The table in a text as columns of numbers and of words. Raises `NoTable`."""
    found = find_text_layout(text)
    dialect, layout = found.dialect, found.layout
    table, mended = parse(text, found)
    problems = [
        *text.problems,
        *layout.problems,
        *named_twice(layout),
        *(mended.problems if mended else ()),
    ]
    columns = tuple(
        column_of(table.column(at), name, layout.units[at], dialect)
        for at, name in enumerate(names_of(layout))
    )
    named = [at for at, one in enumerate(columns) if layout.names[at] or not _empty(table, at)]
    return RawTable(
        columns=tuple(columns[at] for at in named),
        rows=table.num_rows,
        rows_dropped=mended.rows_dropped if mended else 0,
        problems=tuple(problems),
        preamble=layout.preamble,
        restarts=mended.restarts if mended else (),
        header_trusted=layout.trusted,
        form=_form(text, dialect, layout),
    )


def _empty(table: pa.Table, at: int) -> bool:
    column = table.column(at)
    return bool(pa.types.is_null(column.type) or column.null_count == len(column))


def names_of(layout: Layout) -> list[str]:
    """A name for every column, none twice: a map file names columns by their headers."""
    seen: Counter[str] = Counter()
    out = []
    for at, name in enumerate(layout.names):
        seen[name] += 1
        again = f" ({seen[name]})" if seen[name] > 1 else ""
        out.append(f"{name}{again}" if name else f"column {at + 1}")
    return out


def named_twice(layout: Layout) -> list[str]:
    """What is said of headers that stand more than once."""
    return [
        f"{count} columns are called '{name}': the further ones are named '{name} (2)' and so on"
        for name, count in Counter(layout.names).items() if name and count > 1
    ]  # fmt: skip


def parse(
    text: Text, found: TextLayout, *, as_text: bool = False
) -> tuple[pa.Table, Mended | None]:
    """The values as an Arrow table, and what had to be mended (None: nothing)."""
    dialect, layout = found.dialect, found.layout
    body: Data | memoryview = memoryview(text.data)[layout.body_at :]
    if len(body) == 0:
        return _no_rows(layout), None
    if dialect.delimiter != " " and not _needs_mending(text, layout):
        try:
            return _parse(body, dialect, layout, as_text=as_text), None
        except pa.ArrowInvalid:
            pass
    plain = bytes(body)
    if dialect.delimiter == " ":
        plain = collapse_blanks(plain)
    mended = mend(plain, layout, dialect, found.first_line)
    if not mended.data.strip():
        return _no_rows(layout), mended
    try:
        return _parse(mended.data, dialect, layout, as_text=as_text), mended
    except pa.ArrowInvalid as error:
        raise NoTable from error


def _needs_mending(text: Text, layout: Layout) -> bool:
    """Whether a header or a comment stands between the rows; uneven rows show in parsing."""
    data, at = text.data, layout.body_at
    for line in layout.header_lines:
        needle = line.strip().encode("utf-8")
        if len(needle) > 1 and data.find(needle, at) >= 0:
            return True
    return any(
        data.find(mark[:1], at) >= 0 and data.find(b"\n" + mark, at - 1 if at else 0) >= 0
        for mark in (b"#", b"%", b"//")
    )


def _no_rows(layout: Layout) -> pa.Table:
    return pa.table(
        [pa.nulls(0)] * len(layout.names), names=[str(i) for i in range(len(layout.names))]
    )


def _parse(body: Data | memoryview, dialect: Dialect, layout: Layout, *, as_text: bool) -> pa.Table:
    """The values by pyarrow, exactly in this dialect. Raises `ArrowInvalid` for uneven rows."""
    width = dialect.width
    names = [str(at) for at in range(width)]
    quoted = bytes(body[: 1 << 20]).find(dialect.quote.encode()) >= 0
    types = (
        dict.fromkeys(names, pa.string())
        if as_text
        else {names[at]: pa.string() for at in _text_columns(body, dialect)}
    )
    return pc.read_csv(
        pa.BufferReader(pa.py_buffer(body)),
        read_options=pc.ReadOptions(column_names=names, block_size=BLOCK),
        parse_options=pc.ParseOptions(
            delimiter=dialect.delimiter,
            quote_char=dialect.quote,
            double_quote=True,
            newlines_in_values=quoted,
        ),
        convert_options=pc.ConvertOptions(
            check_utf8=False,
            decimal_point=dialect.decimal,
            null_values=list(MISSING),
            strings_can_be_null=not as_text,
            quoted_strings_can_be_null=not as_text,
            column_types=types,
            timestamp_parsers=["%s-"],
            true_values=[],
            false_values=[],
        ),
    )


def _text_columns(body: Data | memoryview, dialect: Dialect) -> list[int]:
    """Columns of dates, times and grouped numbers, which pyarrow must not interpret."""
    piece = bytes(body[:PIECE])
    lines = [line + "\n" for line in piece.decode("utf-8", "replace").splitlines()][:HEAD_LINES]
    rows = [row for row in split_rows(lines, dialect.delimiter, dialect.quote)[0] if any(row)]
    return [
        at
        for at in range(dialect.width)
        if any(at < len(row) and is_when(row[at]) for row in rows[:20])
    ]


def _form(text: Text, dialect: Dialect, layout: Layout) -> str:
    """How the file is written, in a few words."""
    marks = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", " ": "blanks"}
    parts = [marks[dialect.delimiter]]
    if dialect.decimal == ",":
        parts.append("decimal comma")
    if dialect.thousands:
        parts.append("thousands marked")
    if text.encoding not in ("ASCII", "UTF-8"):
        parts.append(text.encoding)
    if layout.preamble:
        parts.append(f"{len(layout.preamble)} lines above the header")
    if any(layout.units):
        parts.append("a row of units")
    return ", ".join(parts)

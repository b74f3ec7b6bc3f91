"""Where a text table's header, units row and first row of values are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from importers.cells import is_missing, is_value
from importers.dialect import COMMENT, Dialect, Rows, split_rows
from importers.units import looks_like_unit

HEAD_BYTES = 1 << 16
"""How far down the first row of values is looked for [bytes]. Our choice."""
LONGEST_LINE = 1 << 22
"""A first line longer than this is no header [bytes]. Our choice."""
MOST_COLUMNS = 20_000
"""Our choice, far beyond any logger's."""
NUMERIC_ROW = 0.5
"""Share of cells with a value from which a row is one of values, in a file of numbers. Our
choice."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The table's parts above its values."""

    names: tuple[str, ...]
    """As many as the rows have cells; empty where a column has no name."""
    units: tuple[str, ...]
    preamble: tuple[str, ...]
    header_lines: tuple[str, ...]
    """Header and units row as they stand, to find them again further down."""
    body_at: int
    """Byte at which the values begin."""
    trusted: bool
    problems: tuple[str, ...] = ()


def find_layout(lines: Sequence[str], dialect: Dialect) -> Layout:
    """Which of the first lines (line ends kept) are preamble, header, units and values?"""
    rows, starts = split_rows(lines, dialect.delimiter, dialect.quote)
    typical = _typical(rows, dialect)
    first = next(
        (
            at
            for at, row in enumerate(rows)
            if _is_body(row, dialect, typical) and not _is_comment(lines[starts[at]])
        ),
        len(rows),
    )
    words_alone = first == len(rows)
    header = None if words_alone else _header_above(rows, starts, lines, first, dialect)
    units_row: int | None = None
    if header is not None and _is_units(rows[header]) and not _only_values(rows, first):
        above = _header_above(rows, starts, lines, header, dialect)
        if above is not None:
            header, units_row = above, header
    if typical < NUMERIC_ROW / 2 and header is None:
        header, first = _first_wide(rows, dialect)
    elif header is not None and typical < NUMERIC_ROW / 2:
        first = min(first, max(header, units_row or header) + 1)
    group = None if header is None else _group_row(rows, header, dialect)
    return _assemble(rows, starts, lines, dialect, header, units_row, first, group)


def _is_comment(line: str) -> bool:
    return bool(COMMENT.match(line))


def _share(row: Sequence[str], decimal: str) -> float:
    """Share of the cells that are there and hold a value."""
    cells = [cell for cell in row if not is_missing(cell)]
    return sum(is_value(cell, decimal) for cell in cells) / len(cells) if cells else 0.0


def _typical(rows: Rows, dialect: Dialect) -> float:
    """The middle row's share of values among rows of the usual width."""
    alike = [row for row in rows if len(row) == dialect.width]
    shares = sorted(_share(row, dialect.decimal) for row in alike[-60:])
    return shares[len(shares) // 2] if shares else 0.0


def _is_body(row: Sequence[str], dialect: Dialect, typical: float) -> bool:
    if abs(len(row) - dialect.width) > 1 or not any(row):
        return False
    if len(row) != dialect.width and dialect.width < 4:
        return False
    share = _share(row, dialect.decimal)
    return share > 0 and share >= min(NUMERIC_ROW, 0.6 * typical)


def _only_values(rows: Rows, first: int) -> bool:
    return first == 0


def _header_above(
    rows: Rows, starts: list[int], lines: Sequence[str], below: int, dialect: Dialect
) -> int | None:
    """The nearest row of names above a row, blank lines skipped."""
    for at in range(below - 1, -1, -1):
        row = _uncommented(rows[at], lines[starts[at]], dialect)
        if not any(row):
            continue
        near = abs(len(row) - dialect.width) <= max(1, dialect.width // 4)
        wide = len(row) == dialect.width or (len(row) > 1 and near)
        wordy = _share(row, dialect.decimal) < NUMERIC_ROW
        return at if wide and wordy else None
    return None


def _uncommented(row: list[str], line: str, dialect: Dialect) -> list[str]:
    """A header behind a comment sign, without the sign."""
    if not _is_comment(line):
        return row
    bare = re.sub(COMMENT.pattern + r"+\s*", "", line, count=1)
    return split_rows([bare], dialect.delimiter, dialect.quote)[0][0] if bare.strip() else []


def _is_units(row: Sequence[str]) -> bool:
    cells = [cell for cell in row if cell]
    return bool(cells) and sum(looks_like_unit(cell) for cell in cells) >= max(1, 0.6 * len(cells))


def _first_wide(rows: Rows, dialect: Dialect) -> tuple[int | None, int]:
    """In a table of words the first row of the usual width is its header."""
    for at, row in enumerate(rows):
        if len(row) == dialect.width and any(row):
            return at, at + 1
    return None, 0


def _group_row(rows: Rows, header: int, dialect: Dialect) -> int | None:
    """The row right above a header with names that stand twice: what each stretch is of, written
    once over its first column (`Left,,,Right,,`), as a spreadsheet's merged cells are."""
    names = [cell for cell in rows[header] if cell]
    if header == 0 or len(set(names)) == len(names):
        return None
    row = rows[header - 1]
    over = [cell for cell in row if cell]
    apart = len(set(over)) == len(over) >= 2
    if len(row) != len(rows[header]) or not apart or len(over) >= len(names):
        return None
    if any(is_value(cell, dialect.decimal) for cell in over):
        return None
    whole = _under(row, rows[header])
    return header - 1 if len(set(whole)) > len(set(rows[header])) else None


def _under(groups: Sequence[str], names: Sequence[str]) -> list[str]:
    """Names with the group they stand under before them."""
    out, group = [], ""
    for over, name in zip(groups, names, strict=True):
        group = over or group
        out.append(f"{group} {name}" if group and name else name)
    return out


def _assemble(
    rows: Rows,
    starts: list[int],
    lines: Sequence[str],
    dialect: Dialect,
    header: int | None,
    units_row: int | None,
    first: int,
    group: int | None,
) -> Layout:
    ends = [*starts[1:], len(lines)]
    offsets = [0]
    for line in lines:
        offsets.append(offsets[-1] + len(line.encode("utf-8")))
    body_line = starts[first] if first < len(rows) else len(lines)
    problems: list[str] = []
    names: list[str] = []
    units: list[str] = []
    taken: list[int] = []
    if header is not None:
        names = _uncommented(rows[header], lines[starts[header]], dialect)
        if group is not None:
            names = _under(rows[group], names)
            taken.append(group)
        taken.append(header)
        if units_row is None and first > header + 1 and _is_units(rows[header + 1]):
            units_row = header + 1
    if units_row is not None:
        units = _uncommented(rows[units_row], lines[starts[units_row]], dialect)
        taken.append(units_row)
    trusted = header is not None
    if header is None:
        problems.append("no header: columns are numbered")
    elif len(names) != dialect.width:
        extra = names[dialect.width :] if len(names) > dialect.width else []
        if any(extra) or len(names) < dialect.width - 1:
            trusted = False
            problems.append(f"the header has {len(names)} names, most rows {dialect.width} cells")
    top = min(taken, default=first)
    kept = [lines[at].strip() for at in range(starts[top] if top < len(starts) else 0)]
    width = dialect.width
    return Layout(
        names=tuple((names + [""] * width)[:width]),
        units=tuple((units + [""] * width)[:width]),
        preamble=tuple(one for one in kept if one),
        header_lines=tuple("".join(lines[starts[at] : ends[at]]) for at in taken),
        body_at=offsets[body_line],
        trusted=trusted,
        problems=tuple(problems),
    )

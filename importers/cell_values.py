"""A parsed column as numbers or as words; cells that pyarrow could not read as numbers mended."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from importers.dialect import Dialect
from importers.raw_table import RawColumn

MOSTLY = 0.5
"""A column is one of numbers when more than this share of its cells are. Our choice."""
MOST_NUMBER = 1e30
"""What is larger was never measured, nor is it a time or a count: it would only overflow in sums.
Our choice."""
_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?$"
_DAY_MONTH = (
    r"^(?:\d{1,2}[. /-]{1,2}(?:\pL{3,9}|\d{1,2}[./-]\d{2,4})\.?(?:[ -]\d{2,4})?"
    r"|\pL{3,9}[. -]{1,2}\d{1,4})$"
)
_MONTH = r"^\d{1,2}[. -]{1,2}(?:[JjFfMmAaSsOoNnDd]\pL{2,8})\.?$"
_WITH_UNIT = r"^([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*[A-Za-z°%µΩ/²³]{1,6}$"
_UNIT_ONLY = r"^[+-]?[\d.,]+(?:[eE][+-]?\d{1,3})?\s*([A-Za-z°%µΩ/²³]{1,6})$"
HEAD_CELLS = 2000
"""Cells that rule a mark out quickly. Our choice."""
GROUP_MARKS = "'’ .,"
"""What may part thousands; a file's first lines, at a standstill, often hold none."""


def column_of(column: pa.ChunkedArray, name: str, unit: str, dialect: Dialect) -> RawColumn:
    """One column of the parsed table, as numbers wherever most of its cells are."""
    kind = column.type
    if pa.types.is_null(kind):
        return RawColumn(name, unit, numbers=np.full(len(column), np.nan))
    if pa.types.is_floating(kind) or pa.types.is_integer(kind):
        return _numbers(name, unit, column)
    if pa.types.is_boolean(kind):
        return _numbers(name, unit, column.cast(pa.int8()))
    texts = pc.utf8_trim_whitespace(_flat(column.cast(pa.string())))
    return text_column(texts, name, unit, dialect.decimal, dialect.thousands)


def text_column(
    texts: pa.StringArray, name: str, unit: str, decimal: str = ".", thousands: str = ""
) -> RawColumn:
    """Cells of text as numbers, where most of them are some after mending the marks."""
    filled = len(texts) - texts.null_count
    if filled == 0:
        return RawColumn(name, unit, numbers=np.full(len(texts), np.nan))
    plain = _plain(_ungrouped(texts, decimal), decimal, thousands)
    good = pc.match_substring_regex(plain, _NUMBER)
    count = _true(good)
    if count < filled:
        bare = pc.replace_substring_regex(plain, _WITH_UNIT, r"\1")
        bare = pc.if_else(pc.match_substring_regex(texts, _MONTH), plain, bare)
        with_unit = pc.match_substring_regex(bare, _NUMBER)
        if _true(with_unit) > count:
            plain, good, count = bare, with_unit, _true(with_unit)
            unit = unit or _unit_in(texts)
    dates = _dates_beside(texts, good) if 0 < count < filled else 0
    if count <= MOSTLY * filled:
        return RawColumn(name, unit, texts=texts, date_cells=dates)
    numbers = pc.if_else(pc.fill_null(good, False), plain, None).cast(pa.float64())
    found = _numbers(name, unit, numbers)
    return replace(found, odd_cells=found.odd_cells + filled - count, date_cells=dates)


def _numbers(name: str, unit: str, column: pa.ChunkedArray | pa.Array) -> RawColumn:
    numbers, absurd = _finite(column)
    return RawColumn(name, unit, numbers=numbers, odd_cells=absurd)


def _dates_beside(texts: pa.StringArray, good: pa.BooleanArray) -> int:
    """Cells that look like a day and a month, in a column that also has numbers."""
    others = texts.filter(pc.invert(pc.fill_null(good, True)))
    return _true(pc.match_substring_regex(others, _DAY_MONTH))


def _plain(texts: pa.StringArray, decimal: str, thousands: str) -> pa.StringArray:
    """Digits with a point and without marks between thousands."""
    out = pc.replace_substring(texts, "−", "-")
    for mark in {thousands, "\u00a0", "\u202f"} - {"", decimal}:
        out = pc.replace_substring(out, mark, "")
    return pc.replace_substring(out, ",", ".") if decimal == "," else out


def _ungrouped(texts: pa.StringArray, decimal: str) -> pa.StringArray:
    """Numbers without the marks between their thousands, in a column where nothing but thousands
    explains the mark: no cell has it before other than three digits, or after a zero."""
    for mark in GROUP_MARKS.replace(decimal, ""):
        if _all_grouped(texts.slice(0, HEAD_CELLS), mark, decimal) and _all_grouped(
            texts, mark, decimal
        ):
            texts = pc.replace_substring(texts, mark, "")
    return texts


def _all_grouped(texts: pa.StringArray, mark: str, decimal: str) -> bool:
    """Whether every cell with this mark is a number grouped by it."""
    some = pc.fill_null(pc.match_substring(texts, mark), False)
    grouped = rf"^[+\-−]?[1-9]\d{{0,2}}(?:[{mark}]\d{{3}})+(?:[{decimal}]\d+)?$"
    return _true(pc.match_substring_regex(texts.filter(some), grouped)) == _true(some)


def _unit_in(texts: pa.StringArray) -> str:
    """The unit written behind every number of a column; empty where they differ."""
    behind = pc.replace_substring_regex(texts.drop_null(), _UNIT_ONLY, r"\1").unique().to_pylist()
    words = [one for one in behind if not one[:1].isdigit()]
    return str(words[0]) if len(words) == 1 == len(behind) else ""


def _true(mask: pa.BooleanArray) -> int:
    return int(pc.sum(mask).as_py() or 0)


def _flat(column: pa.ChunkedArray) -> pa.Array:
    flat = column.combine_chunks()
    return flat.combine_chunks() if isinstance(flat, pa.ChunkedArray) else flat


def _finite(column: pa.ChunkedArray | pa.Array) -> tuple[NDArray[np.float64], int]:
    """float64 values, infinite and absurd ones as missing, and how many absurd ones there were."""
    if isinstance(column, pa.ChunkedArray):
        values = column.to_numpy()
    else:
        values = column.to_numpy(zero_copy_only=False)
    out = np.asarray(values, np.float64)
    with np.errstate(over="ignore", invalid="ignore"):
        if float(np.dot(out, out)) < MOST_NUMBER**2:  # as nearly every column without a gap
            return out, 0
        beyond = np.abs(out) > MOST_NUMBER
    absurd = int(np.isfinite(out[beyond]).sum())
    return (np.where(beyond, np.nan, out), absurd) if beyond.any() else (out, 0)

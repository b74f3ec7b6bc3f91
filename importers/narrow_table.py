"""A table with one signal's value on each row (`time; signal; value`) as one with a column each.

Rows of one round of signals become one row, at the time of its first; a signal that says nothing
in a round is missing there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from importers.guess_name import name_guesses
from importers.header_words import read_header
from importers.raw_table import RawColumn, RawTable
from importers.time_text import NS, read_text_times
from importers.units import looks_like_unit

Floats = NDArray[np.float64]

MOST_COLUMNS, MOST_SIGNALS = 6, 200
"""Such a table has few columns, and a file not more signals than this. Our choice."""
ROWS_EACH = 10
"""Each signal stands in so many rows on average. Our choice."""
KNOWN = 0.5
"""Share of the signals' names that must name a channel. Our choice."""
SAME_ROUND = 0.25
"""Rows within this part of the usual time between a signal's values are one round. Our choice."""


@dataclass(frozen=True, slots=True)
class _Parts:
    label: int
    value: int
    unit: int | None
    times: tuple[int, ...]


def widened(raw: RawTable) -> RawTable:
    """The table with a column for each signal; as it is where rows hold several."""
    parts = _parts(raw)
    if parts is None:
        return raw
    texts = raw.columns[parts.label].texts
    assert texts is not None
    coded = texts.dictionary_encode()
    names: list[str] = coded.dictionary.to_pylist()
    codes = np.asarray(coded.indices, np.intp)
    starts, rounds = _rounds(codes, len(names), _seconds(raw, parts.times))
    values = raw.columns[parts.value].numbers
    assert values is not None
    columns = [_picked(raw.columns[at], starts) for at in parts.times]
    for code, name in enumerate(names):
        out = np.full(starts.size, np.nan)
        mine = codes == code
        out[rounds[mine]] = values[mine]
        columns.append(RawColumn(name, _unit_of(raw, parts.unit, mine), numbers=out))
    told = (
        f"each row holds one signal's value: {raw.rows} rows are read as {starts.size} with "
        f"{len(names)} signals each"
    )
    return replace(
        raw, columns=tuple(columns), rows=int(starts.size), restarts=(),
        problems=(*raw.problems, told),
    )  # fmt: skip


def _parts(raw: RawTable) -> _Parts | None:
    """Which columns hold the signals' names, their values and the time."""
    if not 3 <= len(raw.columns) <= MOST_COLUMNS or raw.whole:
        return None
    times = tuple(at for at, one in enumerate(raw.columns) if _of_time(one))
    rest = [at for at in range(len(raw.columns)) if at not in times]
    labels = [at for at in rest if _names_signals(raw.columns[at])]
    values = [at for at in rest if raw.columns[at].numbers is not None]
    units = [at for at in rest if at not in labels and _of_units(raw.columns[at])]
    if not times or len(labels) != 1 or len(values) != 1:
        return None
    value = raw.columns[values[0]]
    if name_guesses(read_header(value.header, value.unit)):
        return None
    return _Parts(labels[0], values[0], units[0] if units else None, times)


def _of_time(one: RawColumn) -> bool:
    words = read_header(one.header, one.unit)
    in_time = words.unit is not None and words.unit.dimension == "time"
    return bool(words.ideas & {"time", "date"}) or in_time


def _distinct(one: RawColumn) -> list[str] | None:
    """The different cells of a column of words, None where they are too many or one is missing."""
    if one.texts is None or one.texts.null_count or len(one.texts) == 0:
        return None
    found = one.texts.dictionary_encode().dictionary
    return found.to_pylist() if len(found) <= MOST_SIGNALS else None


def _names_signals(one: RawColumn) -> bool:
    names = _distinct(one)
    if names is None or len(names) < 2 or len(one.texts or ()) < ROWS_EACH * len(names):
        return False
    known = [bool(name_guesses(read_header(name))) for name in names]
    return sum(known) >= max(2, KNOWN * len(known))


def _of_units(one: RawColumn) -> bool:
    words = _distinct(one)
    return words is not None and all(looks_like_unit(word) for word in words)


def _unit_of(raw: RawTable, at: int | None, mine: NDArray[np.bool_]) -> str:
    if at is None:
        return ""
    texts = raw.columns[at].texts
    assert texts is not None
    found = texts.filter(pa.array(mine)).unique().to_pylist()
    return str(found[0]) if len(found) == 1 else ""


def _seconds(raw: RawTable, times: Sequence[int]) -> Floats:
    """The rows' times in any unit: of the column that changes most often."""
    best = np.zeros(raw.rows)
    for at in times:
        one = raw.columns[at]
        if one.numbers is not None:
            mine = one.numbers
        else:
            read = None if one.texts is None else read_text_times(one.texts)
            if read is None:
                continue
            mine = np.where(read.valid, read.ns / NS, np.nan)
        if _changes(mine) > _changes(best):
            best = mine
    return best


def _changes(values: Floats) -> int:
    return int((np.diff(values) != 0).sum())


def _rounds(
    codes: NDArray[np.intp], signals: int, time_s: Floats
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The first row of each round, and each row's round."""
    often = int(np.argmax(np.bincount(codes, minlength=signals)))
    period = float(np.median(np.abs(np.diff(time_s[codes == often]))))
    far = np.abs(np.diff(time_s, prepend=time_s[0])) > SAME_ROUND * period
    seen = np.full(signals, -1, np.intp)
    starts, number = [0], 0
    rounds = np.zeros(codes.size, np.intp)
    begun = 0.0
    for row, (code, apart) in enumerate(zip(codes.tolist(), far.tolist(), strict=True)):
        long = abs(time_s[row] - begun) > SAME_ROUND * period
        if row and (seen[code] == number or apart or long):
            number += 1
            starts.append(row)
        if starts[-1] == row:
            begun = float(time_s[row])
        seen[code] = number
        rounds[row] = number
    return np.asarray(starts, np.intp), rounds


def _picked(one: RawColumn, rows: NDArray[np.intp]) -> RawColumn:
    if one.numbers is not None:
        return replace(one, numbers=one.numbers[rows])
    assert one.texts is not None
    return replace(one, texts=one.texts.take(pa.array(rows)))

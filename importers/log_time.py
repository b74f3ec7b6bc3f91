"""The time columns of a raw table: picked by header words and cells, handed to `timebase`."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from importers.cells import is_when
from importers.channel_map import time_line
from importers.errors import LogError
from importers.header_words import MEASURES, HeaderWords, read_header
from importers.raw_table import RawColumn, RawTable
from importers.timebase import MIN_ROWS, TimeColumn, TimeReading, read_time
from importers.units import Unit, units_of
from importers.words import ideas_of, tokens_of

UNNAMED_SURE = 0.9
"""A column of numbers that only behaves like a clock is never called sure."""
EVEN_SHARE = 0.95
EVEN_WITHIN = 0.2
"""... and it must step evenly: this share of its steps within this part of the median. Our
choice: distances, charge and energy rise, too, but not evenly."""
FALLS = 0.2
"""A column that falls at more than this share of its rows is no clock while another runs on. Our
choice: rows out of order are far rarer."""
SAMPLE = 40
_UNIT = {"s": "s", "ms": "ms", "µs": "us", "ns": "ns", "min": "min", "h": "h"}
_TIME_IDEAS = frozenset({"time", "date"})


@dataclass(frozen=True, slots=True, eq=False)
class LogTime:
    """When the rows of a raw table were sampled, and from which of its columns."""

    reading: TimeReading
    columns: tuple[int, ...]
    """Numbers of the raw table's columns that are the time."""
    others: tuple[int, ...]
    """Further columns that tell the time, not used."""


def log_time(
    raw: RawTable,
    *,
    file: str,
    header: str | None = None,
    unit: str = "",
    groups: NDArray[np.intp] | None = None,
) -> LogTime:
    """When was each row of this table sampled?

    `header` names the time column outright, as a map file does, with its `unit` if it has one;
    `groups` is the id number of each row of a long file.

    Raises
    ------
    LogError : as `timebase.read_time`
    """
    if header is not None:
        picked = [
            (at, _candidate(one, 1.0, unit)) for at, one in enumerate(raw.columns)
            if one.header == header
        ]  # fmt: skip
    else:
        picked = _named(raw) or _unnamed(raw)
        if not picked and (odd := _no_known_time(raw, file)) is not None:
            raise odd
    reading = read_time(
        [column for _, column in picked], file=file, groups=groups, lumps=not raw.whole
    )
    used = tuple(picked[at][0] for at in reading.used)
    if header is None and all(picked[at][1].named == 0.0 for at in reading.used):
        sure = min(reading.sure, UNNAMED_SURE)
        header = raw.columns[used[0]].header
        text = (
            f"no header speaks of time: '{header}' steps like a clock. A map line settles it: "
            f"{time_line(header)}"
        )
        reading = replace(reading, sure=sure, problems=(*reading.problems, text))
    elif header is None and all(picked[at][1].named < 0.75 for at in reading.used):
        reading = replace(reading, sure=min(reading.sure, UNNAMED_SURE))
    others = tuple(at for at, column in picked if at not in used and column.named > 0.5)
    return LogTime(reading, used, others)


def _named(raw: RawTable) -> list[tuple[int, TimeColumn]]:
    """Columns whose header speaks of time, or whose cells are dates or times of day."""
    out = []
    for at, column in enumerate(raw.columns):
        words = read_header(column.header, column.unit)
        bare = _bare_unit(column.header)
        other_unit = words.unit is not None and words.unit.dimension not in ("time", "other")
        named = bool(words.ideas & _TIME_IDEAS) and not other_unit
        measured = {one for one in words.ideas if one in MEASURES} - _TIME_IDEAS
        in_time = words.unit is not None and words.unit.dimension == "time"
        looks = column.texts is not None and _looks_like_times(column)
        if looks:
            out.append((at, _candidate(column, 1.0 if named else 0.6, "")))
        elif column.numbers is not None and bare is not None and not measured:
            out.append((at, _in_its_unit(column, 0.7, bare)))
        elif column.numbers is not None and (named or in_time) and not measured:
            chance = 0.7 if not named or _is_letter(words.words) else 1.0
            out.append((at, _in_its_unit(column, chance, words.unit)))
        elif column.numbers is not None and _in_seconds(words) and _runs_on(column.numbers):
            out.append((at, _candidate(column, 0.7, "s")))
    # A lone `t` is the time only where nothing else is.
    clear = [one for one in out if one[1].named >= 1.0]
    letters = {at for at, _ in out if _is_letter(tuple(tokens_of(raw.columns[at].header)))}
    return _rising([one for one in out if not clear or one[0] not in letters])


def _in_seconds(words: HeaderWords) -> bool:
    """`received_s`: the unit of time at the end of words that name nothing."""
    alone = words.unit is None and not words.ideas
    return alone and len(words.words) > 1 and words.words[-1] == "s"


def _runs_on(numbers: NDArray[np.float64]) -> bool:
    """Whether the numbers rise again and again and never fall."""
    steps = np.diff(numbers[np.isfinite(numbers)])
    return steps.size >= MIN_ROWS and bool((steps >= 0).all() and (steps > 0).sum() >= MIN_ROWS)


def _no_known_time(raw: RawTable, file: str) -> LogError | None:
    """What is said of a column that speaks of time and holds something else; None without one."""
    for column in raw.columns:
        words = read_header(column.header, column.unit)
        if column.texts is None or not words.ideas & _TIME_IDEAS:
            continue
        cell = next((one for one in column.texts.to_pylist() if one), None)
        if cell is None:
            continue
        return LogError(
            where=file,
            what=f"the time '{column.header}' holds '{cell[:40]}', which may mean several times",
            remedy="Write it as hh:mm:ss.f, mm:ss.f or 2031-05-04T09:12:05.3, or log seconds.",
        )
    return None


def _bare_unit(header: str) -> Unit | None:
    """The unit of time that is all a header says: `ms`; a lone letter says nothing."""
    if len(header) < 2:
        return None
    return next((one for one in units_of(header) if one.dimension == "time"), None)


def _in_its_unit(column: RawColumn, named: float, unit: Unit | None) -> TimeColumn:
    """A column of numbers in the unit its header states; ticks of another length as seconds."""
    name = "" if unit is None else unit.name.partition("\n")[0]
    if unit is None or unit.dimension != "time" or name in _UNIT or column.numbers is None:
        return _candidate(column, named, _UNIT.get(name, ""))
    return TimeColumn(column.header, column.numbers * unit.factor, "s", named)


def _rising(picked: list[tuple[int, TimeColumn]]) -> list[tuple[int, TimeColumn]]:
    """Without columns of numbers that fall again and again, where another one runs on."""
    on = [one for one in picked if not _falls(one[1])]
    return on or picked


def _falls(column: TimeColumn) -> bool:
    if not isinstance(column.values, np.ndarray):
        return False
    values = column.values[np.isfinite(column.values)]
    return values.size > 1 and float(np.mean(values[1:] < values[:-1])) > FALLS


def _is_letter(words: tuple[str, ...]) -> bool:
    """Whether the letter t, with a number perhaps, is all that speaks of time."""
    return "t" in words and not any(
        idea in _TIME_IDEAS
        for one in words
        if one != "t"
        for part in ideas_of(one)
        for idea in part
    )


def _unnamed(raw: RawTable) -> list[tuple[int, TimeColumn]]:
    """Columns of numbers that step like a clock and whose words name nothing else."""
    out = []
    for at, column in enumerate(raw.columns):
        if column.numbers is None:
            continue
        words = read_header(column.header, column.unit)
        if any(one in MEASURES for one in words.ideas) or words.unit is not None:
            continue
        steps = np.diff(column.numbers[np.isfinite(column.numbers)])
        if steps.size < 9:
            continue
        usual = float(np.median(steps))
        if usual > 0 and float((np.abs(steps - usual) <= EVEN_WITHIN * usual).mean()) > EVEN_SHARE:
            out.append((at, _candidate(column, 0.0, "")))
    return out


def _candidate(column: RawColumn, named: float, unit: str) -> TimeColumn:
    values = column.numbers if column.numbers is not None else column.texts
    assert values is not None
    return TimeColumn(column.header, values, _UNIT.get(unit, unit), named)


def _looks_like_times(column: RawColumn) -> bool:
    assert column.texts is not None
    filled = [one for one in column.texts.slice(0, 20 * SAMPLE).to_pylist() if one]
    sample = filled[:: max(len(filled) // SAMPLE, 1)]
    return bool(sample) and sum(map(is_when, sample)) > 0.8 * len(sample)

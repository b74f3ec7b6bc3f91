"""Dates and times of day written as text -> whole nanoseconds, and what is not certain about them.

Reads ISO 8601 and RFC 3339 (extended and basic, decimal point or comma, with or without offset),
day-month-year and month-day-year with any of the usual separators, month names, 12-hour clocks,
times of day alone, minutes and seconds alone. The order of day and month is decided over the
whole column. Pure; vectorised through arrow's regular expressions.

Sources: ISO 8601-1:2019; RFC 3339 (2002) section 5.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from importers.time_spelling import usual_cells

MIN_SHARE = 0.8
"""A column is a time only when at least this share of its cells reads as one. Our choice."""
SAMPLE = 400
"""Cells looked at before the whole column is taken apart. Our choice."""

NS = 1_000_000_000
_TIME = (
    r"(?P<h>\d{1,4}):(?P<m>\d{1,2})(?::(?P<s>\d{1,2}))?(?:[.,:](?P<f>\d{1,9}))?"
    r"\s*(?P<half>[AaPp]\.?\s?[Mm]\.?)?"
)
_ZONE = r"\s*(?P<zone>[Zz]|(?:UTC|GMT)?[+\-−]\d{1,2}(?::?\d{2})?|[A-Z]{2,5})?"
_ZONE_HOURS = {
    "Z": 0, "UT": 0, "UTC": 0, "GMT": 0, "EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7,
    "MDT": -6, "PST": -8, "PDT": -7, "WET": 0, "WEST": 1, "CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2,
    "EET": 2, "EEST": 3,
}  # fmt: skip
"""Hours ahead of UTC: RFC 5322 section 4.3, and Europe's zones of the IANA time zone database, in
German, too. Other letters mean several zones."""
_DAYS = r"(?:(?P<days>\d{1,4}) ?(?:days?|d|Tage?|jours?|j)[, ]+)?\+?"
"""Days before hours, minutes and seconds, as a count of elapsed time is printed."""
_NUMERIC_DATE = r"(?P<a>\d{1,4})(?P<sep>[-/.])(?P<b>\d{1,2})[-/.](?P<c>\d{1,4})"
_WEEK_DATE = r"(?P<a>\d{4})-?[Ww](?P<week>\d{2})-?(?P<c>[1-7])"
"""ISO 8601-1:2019, 5.2.3: year, week and day of the week."""
_DAY_OF_YEAR = r"(?P<a>\d{4})-(?P<yday>\d{3})"
"""ISO 8601-1:2019, 5.2.2: year and day of the year."""
_NAMED_DATE = (
    r"(?:\pL{2,10}[.,]{0,2} +)?(?P<a>\d{1,2})\.?[- ]+(?P<b>\pL{3,10})\.?,?[- ]+(?P<c>\d{2,4})"
)
_MONTH_FIRST = r"(?:\pL{2,10}[.,]{0,2} +)?(?P<b>\pL{3,10})\.? +(?P<a>\d{1,2}),? +(?P<c>\d{2,4})"
_BASIC = (
    r"(?P<a>\d{4})(?P<b>\d{2})(?P<c>\d{2})(?:[Tt ]?(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})?"
    r"(?:[.,](?P<f>\d{1,9}))?)"
)
_BASIC_TIME = r"[Tt](?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?"
_JOIN = r"(?:[Tt_]|[ ,;]+)"
_SHAPES: tuple[tuple[str, str], ...] = (
    ("instant", rf"^{_NUMERIC_DATE}{_JOIN}{_TIME}{_ZONE}$"),
    ("instant", rf"^{_BASIC}{_ZONE}$"),
    ("instant", rf"^{_NAMED_DATE}{_JOIN}{_TIME}{_ZONE}$"),
    ("instant", rf"^{_MONTH_FIRST}{_JOIN}{_TIME}{_ZONE}$"),
    ("instant", rf"^{_WEEK_DATE}{_JOIN}{_TIME}{_ZONE}$"),
    ("instant", rf"^{_WEEK_DATE}{_BASIC_TIME}{_ZONE}$"),
    ("instant", rf"^{_DAY_OF_YEAR}{_JOIN}{_TIME}{_ZONE}$"),
    ("clock", rf"^[Tt]?{_TIME}{_ZONE}$"),
    ("clock", rf"^{_DAYS}{_TIME}$"),
    ("date", rf"^{_NUMERIC_DATE}$"),
    ("date", rf"^{_NAMED_DATE}$"),
    ("date", rf"^{_MONTH_FIRST}$"),
    ("date", rf"^{_WEEK_DATE}$"),
)
# First three letters of the months in English, German, French, Spanish, Italian, Portuguese and
# Dutch; French juin and juillet need four.
_MONTH_WORDS: tuple[str, ...] = (
    "jan jän ene gen janv", "feb fév fev fevr", "mar mär maa mrt mrz", "apr abr avr",
    "may mai mei mag", "jun giu juin", "jul lug juil", "aug ago aoû aou aout",
    "sep set", "oct okt out ott", "nov", "dec dez dic déc",
)  # fmt: skip
_MONTHS = {word: number for number, words in enumerate(_MONTH_WORDS, 1) for word in words.split()}


class Shape(StrEnum):
    """What a text column says about time."""

    INSTANT = "instant"
    """Date and time of day."""
    CLOCK = "clock"
    """Time of day, or hours, minutes and seconds since something."""
    DATE = "date"


@dataclass(frozen=True, slots=True, eq=False)
class TextTimes:
    """A text column read as time: n nanosecond counts and what was decided on the way."""

    shape: Shape
    ns: NDArray[np.int64]
    """n: since 1970-01-01 (UTC when `zoned`, else wall clock), or since midnight for a clock."""
    valid: NDArray[np.bool_]
    zoned: bool
    offset_s: int
    """The first cell's offset from UTC; 0 when not zoned."""
    wrap_s: float | None
    """A clock starts again after this long: a day, half a day, an hour; None for instants."""
    sure: float
    remarks: tuple[str, ...] = ()


def read_text_times(values: pa.Array | pa.ChunkedArray) -> TextTimes | None:
    """Whether these cells are dates or times, and which; None when they are neither."""
    cells = values.combine_chunks() if isinstance(values, pa.ChunkedArray) else values
    fast = _plain_iso(cells)
    if fast is not None:
        return fast
    cells = pc.utf8_trim_whitespace(pc.cast(cells, pa.string()))
    filled = cells.filter(pc.greater(pc.utf8_length(cells), 0))
    quick = _even_cells(cells)
    if quick is not None:
        return quick
    if len(filled) == 0:
        return None
    picks = pa.array(np.unique(np.linspace(0, len(filled) - 1, SAMPLE).astype(np.int64)))
    rows = np.flatnonzero(np.asarray(pc.fill_null(pc.greater(pc.utf8_length(cells), 0), False)))
    cells, remarks = usual_cells(cells, pa.array(rows).take(picks), MIN_SHARE)
    quick = _even_cells(cells)
    if quick is not None:
        return replace(quick, remarks=(*remarks, *quick.remarks))
    sample = cells.take(pa.array(rows).take(picks))
    best, share = None, 0.0
    for shape, pattern in _SHAPES:
        got = pc.mean(pc.cast(pc.match_substring_regex(sample, pattern), pa.float64())).as_py()
        if got is not None and got > share:
            best, share = (shape, pattern), got
    if best is None or share < MIN_SHARE:
        return None
    parts = _Parts(pc.extract_regex(cells, best[1]))
    if parts.found.sum() < MIN_SHARE * len(filled):
        return None
    times = _assemble(Shape(best[0]), parts)
    return replace(times, remarks=(*remarks, *times.remarks)) if remarks else times


def _plain_iso(cells: pa.Array) -> TextTimes | None:
    """The quick way for the commonest spelling, which arrow reads by itself."""
    for zone in (None, "UTC"):
        try:
            pc.cast(cells.slice(0, 10), pa.timestamp("ns", tz=zone))  # failing late is dear
            stamps = pc.cast(cells, pa.timestamp("ns", tz=zone))
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
            continue
        valid = np.asarray(stamps.is_valid())
        if not valid.any():
            return None
        first = str(cells[int(np.flatnonzero(valid)[0])])
        if len(first) < len("2031-05-04T09:12"):
            return None
        ns = pc.fill_null(pc.cast(stamps, pa.int64()), 0).to_numpy(zero_copy_only=False)
        offset = _offset_s(first) if zone else 0
        return TextTimes(Shape.INSTANT, ns, valid, zone is not None, offset, None, 0.99)
    return None


def _even_cells(cells: pa.Array) -> TextTimes | None:
    """The quick way for cells of one length that end in hh:mm:ss; None for all others.

    Days are few and are taken apart once each; arrow reads the times of day by itself.
    """
    lengths = pc.unique(pc.utf8_length(cells)).to_pylist()
    first = str(cells[0]) if len(cells) else ""
    found = re.fullmatch(r"(?:(\S{6,10})([T ]))?\d{2}:\d{2}:\d{2}(?:[.,]\d{1,9})?", first)
    if len(lengths) != 1 or found is None or cells.null_count:
        return None
    at = 0 if found[1] is None else len(found[1]) + 1
    times = pc.replace_substring(pc.utf8_slice_codeunits(cells, at), ",", ".")
    try:
        clock = pc.cast(pc.binary_join_element_wise("1970-01-01", times, " "), pa.timestamp("ns"))
    except pa.ArrowInvalid:
        return None
    ns = np.asarray(pc.cast(clock, pa.int64()).to_numpy(zero_copy_only=False), np.int64)
    valid = np.ones(ns.size, np.bool_)
    if at == 0:
        if _twelve_hours(ns // (3600 * NS)):
            ns, wrap_s = ns % (43_200 * NS), 43_200.0
        else:
            wrap_s = 86_400.0
        return TextTimes(Shape.CLOCK, ns, valid, False, 0, wrap_s, 0.99)
    days = pc.dictionary_encode(pc.utf8_slice_codeunits(cells, 0, at - 1))
    parts = _Parts(pc.extract_regex(days.dictionary, rf"^{_NUMERIC_DATE}$"))
    if not parts.found.all():
        return None
    day, ok, sure, remarks = _days(parts)
    rows = np.asarray(days.indices.to_numpy(zero_copy_only=False), np.intp)
    ns = ns + day[rows] * (86_400 * NS)
    return TextTimes(Shape.INSTANT, ns, ok[rows], False, 0, None, sure, tuple(remarks))


class _Parts:
    """Named groups of the matched pattern as numpy arrays."""

    def __init__(self, struct: pa.StructArray) -> None:
        self._struct = struct
        self.names = [one.name for one in struct.type]
        self.found: NDArray[np.bool_] = np.asarray(struct.is_valid())

    def text(self, name: str) -> Any:
        """The group's text, empty where the row did not match."""
        if name not in self.names:
            return pa.array([""] * len(self._struct), pa.string())
        return pc.fill_null(pc.struct_field(self._struct, name), "")

    def whole(self, name: str) -> NDArray[np.int64]:
        """The group as whole numbers, 0 where empty."""
        text = self.text(name)
        text = pc.if_else(pc.equal(text, ""), "0", text)
        return np.asarray(pc.cast(text, pa.int64()).to_numpy(zero_copy_only=False), np.int64)

    def constant(self, name: str) -> str | None:
        """The group's one text when all matched rows share it."""
        kinds = pc.unique(self.text(name).filter(pa.array(self.found))).to_pylist()
        return kinds[0] if len(kinds) == 1 else None


def _assemble(shape: Shape, parts: _Parts) -> TextTimes:
    valid, remarks, sure = parts.found.copy(), [], 0.99
    ns = np.zeros(valid.size, np.int64)
    wrap_s, zoned, offset_s = None, False, 0
    if shape is not Shape.DATE:
        ns, wrap_s, time_remarks = _clock_ns(parts, alone=shape is Shape.CLOCK)
        remarks += time_remarks
    if "days" in parts.names:
        ns, wrap_s = ns + parts.whole("days") * (86_400 * NS), None
    if shape is not Shape.CLOCK:
        days, ok, date_sure, date_remarks = _days(parts)
        ns = ns + days * (86_400 * NS)
        valid &= ok
        sure = min(sure, date_sure)
        remarks += date_remarks
    if shape is not Shape.DATE and "zone" in parts.names:
        offsets, known, unknown = _offsets(parts)
        zoned = bool(known[parts.found].all())
        if unknown:
            remarks.append(f"time zone '{unknown}' may mean several: read as local time")
        if zoned and shape is Shape.INSTANT:
            ns = ns - offsets * NS
            offset_s = int(offsets[np.flatnonzero(parts.found)[0]])
    return TextTimes(shape, ns, valid, zoned, offset_s, wrap_s, sure, tuple(remarks))


def _clock_ns(parts: _Parts, *, alone: bool) -> tuple[NDArray[np.int64], float | None, list[str]]:
    """Hours, minutes, seconds -> nanoseconds since midnight; how a clock alone wraps."""
    first, second, third = parts.whole("h"), parts.whole("m"), parts.whole("s")
    found = parts.found
    fraction, remarks = _fraction_ns(parts, first * 3600 + second * 60 + third)
    two_parts = bool(np.asarray(pc.equal(parts.text("s"), ""))[found].all())
    has_fraction = bool(fraction[found].any()) or parts.constant("f") not in ("", None)
    if alone and two_parts and (has_fraction or _counts_minutes(first[found])):
        if has_fraction:
            remarks.append("times hold minutes and seconds only, as a spreadsheet shows them")
        return (first * 60 + second) * NS + fraction, 3600.0, remarks
    half = parts.text("half")
    if parts.constant("half") != "":
        after_noon = np.asarray(pc.match_substring_regex(half, r"^[Pp]"))
        first = np.where(np.asarray(pc.not_equal(half, "")), first % 12 + 12 * after_noon, first)
    wrap_s = 86_400.0 if alone else None
    if alone and parts.constant("half") == "" and _twelve_hours(first[found]):
        first, wrap_s = first % 12, 43_200.0
    return (first * 3600 + second * 60 + third) * NS + fraction, wrap_s, remarks


def _counts_minutes(first: NDArray[np.int64]) -> bool:
    """`59:07` after `58:55` is minutes and seconds: no clock's hour goes past 23 and back."""
    return bool(first.max(initial=0) > 24)


def _twelve_hours(hours: NDArray[np.int64]) -> bool:
    """A clock that goes from 12:59 to 1:00 and says neither am nor pm."""
    falls = np.flatnonzero(np.diff(hours) < 0)
    return bool(falls.size and np.all(hours[falls] == 12) and np.all(hours[falls + 1] == 1))


def _fraction_ns(parts: _Parts, seconds: NDArray[np.int64]) -> tuple[NDArray[np.int64], list[str]]:
    """Digits after the seconds -> ns; `.7` may be 0.7 s or, unpadded, 7 ms: the order tells."""
    text = parts.text("f")
    length = pc.utf8_length(text).to_numpy(zero_copy_only=False)[parts.found]
    if not length.any():
        return np.zeros(seconds.size, np.int64), []
    padded = pc.utf8_rpad(text, 9, "0")
    proper = pc.cast(padded, pa.int64()).to_numpy(zero_copy_only=False).astype(np.int64)
    if length.min() == length.max() or length.max() > 3 or length.min() == 0:
        return proper, []
    plain = parts.whole("f") * 1_000_000
    falls_proper = int((np.diff((seconds * NS + proper)[parts.found]) < 0).sum())
    falls_plain = int((np.diff((seconds * NS + plain)[parts.found]) < 0).sum())
    if falls_plain < falls_proper / 4:
        return plain, ["milliseconds are written without leading zeros; read as such"]
    return proper, []


def _days(parts: _Parts) -> tuple[NDArray[np.int64], NDArray[np.bool_], float, list[str]]:
    """Year, month, day -> days since 1970; the order of day and month over the whole column."""
    a, c, found = parts.whole("a"), parts.whole("c"), parts.found
    if {"week", "yday"} & set(parts.names):
        return _counted_days(parts)
    named = bool(np.asarray(pc.match_substring_regex(parts.text("b"), r"^\pL"))[found].all())
    if named:
        year, month, day, sure = _full_year(c), _month_numbers(parts), a, 0.99
        remarks: list[str] = []
    else:
        b = parts.whole("b")
        year, month, day, sure, remarks = _date_order(parts, a, b, c)
    ok = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = (year - 1970) * 12 + np.where(ok, month, 1) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return first + np.where(ok, day, 1) - 1, ok, sure, remarks


def _counted_days(
    parts: _Parts,
) -> tuple[NDArray[np.int64], NDArray[np.bool_], float, list[str]]:
    """Days since 1970 of dates that count weeks (the first has 4 January) or days of the year."""
    years = np.where(parts.found, parts.whole("a"), 1970) - 1970
    new_year = years.astype("datetime64[Y]").astype("datetime64[D]").astype(np.int64)
    if "yday" in parts.names:
        day = parts.whole("yday")
        return new_year + day - 1, (day >= 1) & (day <= 366), 0.97, []
    week = parts.whole("week")
    fourth = new_year + 3
    monday = fourth - (fourth + 3) % 7  # 1970 began on a Thursday
    return monday + 7 * (week - 1) + parts.whole("c") - 1, (week >= 1) & (week <= 53), 0.99, []


def _date_order(
    parts: _Parts,
    a: NDArray[np.int64],
    b: NDArray[np.int64],
    c: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], float, list[str]]:
    found = parts.found
    if a[found].max() > 31:
        return a, b, c, 0.99, []
    year = _full_year(c)
    if a[found].max() > 12:
        return year, b, a, 0.99, []
    if b[found].max() > 12:
        return year, a, b, 0.99, []
    dots = parts.constant("sep") == "."
    half = "half" in parts.names and parts.constant("half") not in ("", None)
    day_first = year * 372 + b * 31 + a
    month_first = year * 372 + a * 31 + b
    steps_day, steps_month = np.diff(day_first[found]), np.diff(month_first[found])
    if steps_day.any():  # the ride passes midnight: the right order moves on by a day, no more
        moved_day, moved_month = np.abs(steps_day).max(), np.abs(steps_month).max()
        if moved_day != moved_month:
            return (year, b, a, 0.97, []) if moved_day < moved_month else (year, a, b, 0.97, [])
    if half:
        return year, a, b, 0.9, ["dates read as month/day/year, as 12-hour clocks go with"]
    sure = 0.95 if dots else 0.8
    same = bool((a[found] == b[found]).all())
    text = [] if same or dots else [
        "dates could be day-month or month-day; read as day-month. `--start` with the ride's day "
        "settles it"
    ]  # fmt: skip
    return year, b, a, 0.99 if same else sure, text


def _full_year(year: NDArray[np.int64]) -> NDArray[np.int64]:
    """Two digits mean 1970 to 2069. Common practice (POSIX strptime pivots at 69)."""
    short = np.where(year >= 70, 1900 + year, 2000 + year)
    return np.asarray(np.where(year >= 100, year, short), np.int64)


def _month_numbers(parts: _Parts) -> NDArray[np.int64]:
    coded = pc.dictionary_encode(pc.utf8_lower(parts.text("b")))
    numbers = [
        _MONTHS.get(word[:4], _MONTHS.get(word[:3], 0)) for word in coded.dictionary.to_pylist()
    ]
    at = np.asarray(coded.indices.to_numpy(zero_copy_only=False), np.intp)
    return np.asarray(np.asarray(numbers, np.int64)[at], np.int64)


def _offsets(parts: _Parts) -> tuple[NDArray[np.int64], NDArray[np.bool_], str]:
    """Seconds ahead of UTC, whether they are known, and a zone's letters that say too little."""
    coded = pc.dictionary_encode(parts.text("zone"))
    words = coded.dictionary.to_pylist()
    at = coded.indices.to_numpy(zero_copy_only=False)
    open_ = [one for one in words if one.isalpha() and one.upper() not in _ZONE_HOURS]
    seconds = np.asarray([_offset_s(word) for word in words], np.int64)
    known = np.asarray([bool(word) and word not in open_ for word in words], np.bool_)
    return seconds[at], known[at], open_[0] if open_ else ""


def _offset_s(text: str) -> int:
    """Seconds ahead of UTC that the end of this text states; 0 for Z."""
    word = text.strip()
    if word.upper() in _ZONE_HOURS:
        return _ZONE_HOURS[word.upper()] * 3600
    got = re.search(r"([+\-−])(\d{1,2}):?(\d{2})?$", word)
    if got is None:
        return 0
    seconds = int(got[2]) * 3600 + int(got[3] or 0) * 60
    return seconds if got[1] == "+" else -seconds

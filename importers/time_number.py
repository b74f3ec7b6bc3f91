"""Numbers that are times -> which kind and which unit: counts since the start, since 1970, of day.

The header's unit is taken when there is one and the rows do not speak against it; otherwise the
usual pace of loggers decides, and `sure` says how clearly. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

EPOCH_FROM_S, EPOCH_TO_S = 9.8e8, 4.2e9
"""2001 to 2103 in seconds since 1970: a number in here, paced like a log, is a date."""
SERIAL_FROM_D, SERIAL_TO_D = 36_526.0, 73_051.0
"""2000 to 2100 in spreadsheet days, counted from 1899-12-30. Common practice, no source."""
SERIAL_ZERO_S = -25_569 * 86_400.0
"""1899-12-30 in seconds since 1970."""
USUAL_HZ = (0.5, 200.0)
"""Rows a second of the loggers we expect; outside, a unit is less likely. Our choice."""
ABSURD_HZ = (1 / 120.0, 5_000.0)
"""A header's unit that gives a pace outside this is not believed. Our choice."""
LONGEST_S = 48 * 3600.0
"""A log longer than this makes a unit less likely. Our choice."""
SAMPLE_ROWS = 500_000
"""Rows at either end of a very long column that tell its kind. Our choice."""

SCALES = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0, "d": 86_400.0}
WORDS = {"us": "µs"}


class Count(StrEnum):
    """From where a number counts."""

    ELAPSED = "elapsed"
    EPOCH = "since 1970"
    SERIAL = "spreadsheet days"
    CLOCK = "hhmmss"
    DATE = "date digits"
    DAY_PART = "part of a day"


@dataclass(frozen=True, slots=True, eq=False)
class NumberTimes:
    """What a numeric column counts, in which unit, and how sure that is."""

    count: Count
    unit: str
    scale_s: float
    sure: float
    remark: str = ""


def read_number_times(
    values: NDArray[np.float64], unit: str = "", *, named: bool = False
) -> NumberTimes | None:
    """What these numbers count, given the header's unit if it had one; None when nothing fits.

    `values` are n numbers in file order, NaN where missing; `named` says that the header speaks
    of time.
    """
    values = head_and_tail(values)
    good = values[np.isfinite(values)]
    if good.size < 2:
        return None
    steps = np.diff(good)
    rising = steps[steps > 0]
    if rising.size == 0:
        return _one_day(good, named=named)
    pace = float(np.median(rising)) * rising.size / max(int((steps >= 0).sum()), 1)
    top = float(np.percentile(good, 98))
    whole = bool(np.all(good == np.round(good)))
    if unit in SCALES:
        return _by_header(unit, pace, top, rising)
    packed = _packed_digits(good, whole=whole, named=named)
    if packed is not None:
        return packed
    return _by_pace(pace, top, whole=whole, rising=rising, good=good, named=named)


def _one_day(good: NDArray[np.float64], *, named: bool) -> NumberTimes | None:
    """Date digits that are the same in every row: the day beside a time of day."""
    if not named or good[0] < 19_700_101 or good.min() != good.max():
        return None
    return _date_digits(good)


def _date_digits(good: NDArray[np.float64]) -> NumberTimes | None:
    if good.min() < 19_700_101 or good.max() > 21_001_231:
        return None
    month, day = good // 100 % 100, good % 100
    if np.all((month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)):
        return NumberTimes(Count.DATE, "yyyymmdd", 1.0, 0.97)
    return None


def head_and_tail(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Enough of a very long column to tell its kind."""
    if values.size <= 2 * SAMPLE_ROWS:
        return values
    return np.concatenate([values[:SAMPLE_ROWS], values[-SAMPLE_ROWS:]])


def _by_header(
    unit: str, pace: float, top: float, rising: NDArray[np.float64]
) -> NumberTimes | None:
    scale = SCALES[unit]
    count = Count.EPOCH if EPOCH_FROM_S <= top * scale <= EPOCH_TO_S else Count.ELAPSED
    if count is Count.EPOCH and float(rising.sum()) * scale > EPOCH_FROM_S / 2:
        count = Count.EPOCH  # a clock that started in 1970 and was set on the way
    hertz = 1.0 / (pace * scale)
    if ABSURD_HZ[0] <= hertz <= ABSURD_HZ[1]:
        return NumberTimes(count, unit, scale, 0.99)
    other = _best_unit(pace, top, whole=False)
    if other is None:
        return None
    text = f"the header says {WORDS.get(unit, unit)} but the rows are paced like {other[0]}"
    return NumberTimes(Count.ELAPSED, other[0], SCALES[other[0]], 0.6, text)


def _packed_digits(good: NDArray[np.float64], *, whole: bool, named: bool) -> NumberTimes | None:
    """Date digits (20310504) and clock digits (91205.25 is 9:12:05.25), when named as time."""
    if not named or good.min() < 0:
        return None
    if whole and (date := _date_digits(good)) is not None:
        return date
    if good.max() < 10_000 or good.max() >= 240_000:
        return None
    minute, second = good // 100 % 100, good % 100
    if good.size >= 60 and np.all((minute < 60) & (second < 60)) and np.unique(good // 1).size > 3:
        jumps = np.diff(np.unique(np.floor(good / 100)))
        if np.all(jumps >= 1) and (second.max() < 60) and np.any(np.diff(good) > 40):
            return NumberTimes(Count.CLOCK, "hhmmss", 1.0, 0.95)
    return None


def _by_pace(
    pace: float,
    top: float,
    *,
    whole: bool,
    rising: NDArray[np.float64],
    good: NDArray[np.float64],
    named: bool,
) -> NumberTimes | None:
    for unit in ("s", "ms", "us", "ns"):
        scale = SCALES[unit]
        if EPOCH_FROM_S <= top * scale <= EPOCH_TO_S and pace * scale <= 60.0:
            rival = _score(pace * SCALES["ms"], top * 1e-3) if unit == "s" else -9.0
            if _score(pace * scale, LONGEST_S) > rival - 1.0:
                return NumberTimes(Count.EPOCH, unit, scale, 0.99)
    serial = SERIAL_FROM_D <= top <= SERIAL_TO_D and not whole and pace * 86_400 <= 120.0
    if serial and pace < 2e-3:
        return NumberTimes(Count.SERIAL, "d", 86_400.0, 0.97)
    if named and good.min() >= 0 and top < 1.0 and pace < 2e-4 and pace * 86_400 > 1e-3:
        return NumberTimes(Count.DAY_PART, "d", 86_400.0, 0.9)
    ones = whole and bool(np.all(rising == 1.0)) and rising.size == good.size - 1
    if ones and not named:
        return NumberTimes(Count.ELAPSED, "s", 1.0, 0.4, "may be a row number")
    best = _best_unit(pace, top, whole=whole)
    if best is None:
        return None
    return NumberTimes(Count.ELAPSED, best[0], SCALES[best[0]], best[1])


def _best_unit(pace: float, top: float, *, whole: bool) -> tuple[str, float] | None:
    """The unit whose pace is most usual, and the chance that it is right."""
    scores = {}
    for unit in ("s", "ms", "us", "min"):
        score = _score(pace * SCALES[unit], top * SCALES[unit])
        if unit == "min":
            score -= 2.0  # nobody counts a ride's rows in minutes without saying so
        if unit == "us" and not whole:
            score -= 1.0
        scores[unit] = score
    order = sorted(scores, key=lambda one: -scores[one])
    best = order[0]
    if scores[best] < -6.0:
        return None
    ahead = scores[best] - scores[order[1]]
    return best, float(min(1.0 / (1.0 + 10.0 ** (-1.2 * ahead)), 0.99))


def _score(pace_s: float, top_s: float) -> float:
    """Log-10 likelihood of rows this far apart in a log this long. Our choice."""
    hertz = 1.0 / pace_s
    slow = max(np.log10(USUAL_HZ[0] / hertz), 0.0)
    fast = max(np.log10(hertz / USUAL_HZ[1]), 0.0)
    too_long = max(np.log10(max(top_s, 1.0) / LONGEST_S), 0.0)
    return float(-2.0 * slow - 2.0 * fast - 2.0 * too_long)

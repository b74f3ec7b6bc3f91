"""Columns that may tell the time -> clocks on one footing, and the best of them. Pure.

A clock is a column, or two that belong together (date and time of day, seconds and milliseconds),
read as seconds; the finest one that rises paces the log, one that knows the date says when it
began.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from importers.time_number import (
    SERIAL_ZERO_S,
    WORDS,
    Count,
    head_and_tail,
    read_number_times,
)
from importers.time_text import NS, Shape, TextTimes, read_text_times

COUNTER_BITS = (16, 24, 31, 32)
"""Sizes of counters that start again when full; 31 for those read as signed. Common practice."""


@dataclass(frozen=True, slots=True, eq=False)
class TimeColumn:
    """A column that may be, or belong to, the time: its header and its cells."""

    header: str
    values: NDArray[np.float64] | pa.Array | pa.ChunkedArray
    """n numbers (NaN missing), or arrow text or timestamps (null missing)."""
    unit: str = ""
    """`s ms us ns min h d` where the header states one."""
    named: float = 0.0
    """0 to 1: how surely the header's words speak of time."""


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """One reading of the time for every row, not yet mended."""

    used: tuple[int, ...]
    """Positions of the columns it is made of."""
    time_s: NDArray[np.float64]
    """n seconds counted from `epoch_s`; NaN where missing."""
    epoch_s: float | None
    """What 0 means, in seconds since 1970; None when the clock knows no date."""
    zoned: bool
    offset_s: int
    wraps_s: tuple[float, ...]
    unit: str
    sure: float
    named: float
    remarks: tuple[str, ...] = ()
    part: str = ""
    """`date` or `clock` for halves of a time, `rest` for milliseconds within a second."""

    def _steps(self) -> NDArray[np.float64]:
        some = head_and_tail(self.time_s)
        return np.diff(some[np.isfinite(some)])

    @property
    def rising(self) -> float:
        """Share of steps that do not fall."""
        steps = self._steps()
        return float((steps >= 0).mean()) if steps.size else 0.0

    @property
    def fineness(self) -> float:
        """Share of rows whose reading differs from the row before."""
        steps = self._steps()
        return float((steps != 0).mean()) if steps.size else 0.0


def clocks_of(columns: Sequence[TimeColumn]) -> list[Clock]:
    """Every reading of the time these columns allow, those made of two columns first."""
    clocks = [one for at, column in enumerate(columns) if (one := _clock(at, column)) is not None]
    dates = [one for one in clocks if one.part == "date"]
    halves = [one for one in clocks if one.part == "clock"]
    joined = [_date_and_clock(day, time) for day in dates[:1] for time in halves[:1]]
    rests = [one for one in clocks if one.part == "rest"]
    whole = [one for one in clocks if one.part not in ("date", "rest")]
    coarse = [one for one in [*joined, *whole] if _whole_seconds(one)]
    finer = [_with_rest(one, rest) for one in coarse[:1] for rest in rests[:1]]
    return [*(one for one in finer if one is not None), *joined, *whole]


def best_clock(clocks: Sequence[Clock]) -> Clock | None:
    """The clock that paces the log: it rises, and it tells most rows apart."""
    usable = [one for one in clocks if one.fineness > 0]
    if not usable:
        return None
    top = max(one.rising for one in usable)
    steady = [one for one in usable if one.rising >= top - 0.05]
    return max(
        steady,
        key=lambda one: (
            round(one.fineness, 1) + 0.3 * (one.named > 0.5) + 0.15 * (one.epoch_s is not None)
            + 0.2 * one.sure,
            -one.used[0],
        ),
    )  # fmt: skip


def dated_clock(clocks: Sequence[Clock], chosen: Clock) -> Clock | None:
    """The clock that says when the log began: the chosen one, else the surest with a date."""
    if chosen.epoch_s is not None:
        return chosen
    dated = [one for one in clocks if one.epoch_s is not None]
    return max(dated, key=lambda one: (one.zoned, one.sure, one.named), default=None)


def _clock(at: int, column: TimeColumn) -> Clock | None:
    if isinstance(column.values, np.ndarray):
        return _number_clock(at, column, column.values)
    if pa.types.is_timestamp(column.values.type):
        return _stamp_clock(at, column, column.values)
    times = read_text_times(column.values)
    return None if times is None else _text_clock(at, column, times)


def _text_clock(at: int, column: TimeColumn, times: TextTimes) -> Clock:
    first = int(times.ns[np.flatnonzero(times.valid)[0]]) if times.valid.any() else 0
    dated = times.shape is not Shape.CLOCK
    zero = first if dated else 0
    time_s = np.where(times.valid, (times.ns - zero) / NS, np.nan)
    part = {Shape.DATE: "date", Shape.CLOCK: "clock"}.get(times.shape, "")
    return Clock(
        (at,), time_s, zero / NS if dated else None, times.zoned, times.offset_s,
        () if times.wrap_s is None else (times.wrap_s,),
        {"instant": "date and time", "clock": "time of day", "date": "date"}[times.shape],
        times.sure, column.named, times.remarks, part,
    )  # fmt: skip


def _stamp_clock(at: int, column: TimeColumn, stamps: pa.Array | pa.ChunkedArray) -> Clock | None:
    kind = stamps.type
    whole = stamps.combine_chunks() if isinstance(stamps, pa.ChunkedArray) else stamps
    valid = np.asarray(whole.is_valid())
    if not valid.any():
        return None
    per_s = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": NS}[kind.unit]
    counts = whole.cast(pa.int64()).fill_null(0).to_numpy(zero_copy_only=False)
    first = int(counts[np.flatnonzero(valid)[0]])
    time_s = np.where(valid, (counts - first) / per_s, np.nan)
    return Clock(
        (at,), time_s, first / per_s, kind.tz is not None, 0, (), "date and time", 0.99,
        column.named,
    )  # fmt: skip


def _number_clock(at: int, column: TimeColumn, values: NDArray[np.float64]) -> Clock | None:
    kind = read_number_times(values, column.unit, named=column.named > 0.5)
    if kind is None:
        return None
    word = WORDS.get(kind.unit, kind.unit)
    remarks = (kind.remark,) if kind.remark else ()
    finite = np.flatnonzero(np.isfinite(values))
    first = float(values[finite[0]])
    if kind.count is Count.DATE:
        day = values.astype(np.int64, copy=True) if finite.size == values.size else None
        if day is None:
            return None
        stamps = _digit_dates(day)
        return Clock((at,), (stamps - stamps[0]).astype(np.float64), float(stamps[0]), False, 0,
                     (), word, kind.sure, column.named, remarks, "date")  # fmt: skip
    if kind.count is Count.CLOCK:
        return Clock((at,), _digit_clock(values), None, False, 0, (86_400.0,), word, kind.sure,
                     column.named, remarks, "clock")  # fmt: skip
    if kind.count is Count.DAY_PART:
        return Clock((at,), values * kind.scale_s, None, False, 0, (86_400.0,), word, kind.sure,
                     column.named, remarks, "clock")  # fmt: skip
    if kind.count in (Count.EPOCH, Count.SERIAL):
        zero = first * kind.scale_s + (SERIAL_ZERO_S if kind.count is Count.SERIAL else 0.0)
        return Clock((at,), (values - first) * kind.scale_s, zero, kind.count is Count.EPOCH, 0,
                     (), f"{word}, {kind.count}", kind.sure, column.named, remarks)  # fmt: skip
    wraps = [kind.scale_s * 2.0**bits for bits in COUNTER_BITS] + [86_400.0, 3600.0]
    rest = kind.unit == "ms" and float(np.nanmax(values)) < 1000 and float(np.nanmin(values)) >= 0
    return Clock((at,), values * kind.scale_s, None, False, 0, tuple(sorted(wraps)), word,
                 kind.sure, column.named, remarks, "rest" if rest else "")  # fmt: skip


def _digit_dates(digits: NDArray[np.int64]) -> NDArray[np.int64]:
    """20310504 -> seconds since 1970 at that midnight."""
    months = (digits // 10_000 - 1970) * 12 + digits // 100 % 100 - 1
    days = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return np.asarray((days + digits % 100 - 1) * 86_400, np.int64)


def _digit_clock(digits: NDArray[np.float64]) -> NDArray[np.float64]:
    """91205.25 -> seconds since midnight."""
    return np.asarray(digits // 10_000 * 3600 + digits // 100 % 100 * 60 + digits % 100, np.float64)


def _date_and_clock(day: Clock, time: Clock) -> Clock:
    assert day.epoch_s is not None
    return replace(
        time, used=(*day.used, *time.used), time_s=day.time_s + time.time_s, epoch_s=day.epoch_s,
        unit="date and time", sure=min(day.sure, time.sure), named=max(day.named, time.named),
        remarks=(*day.remarks, *time.remarks), part="",
    )  # fmt: skip


def _whole_seconds(clock: Clock) -> bool:
    time_s = head_and_tail(clock.time_s)
    time_s = time_s[np.isfinite(time_s)]
    zero = clock.epoch_s or 0.0
    return bool(np.all(np.abs((time_s + zero) - np.round(time_s + zero)) < 1e-6))


def _with_rest(coarse: Clock, rest: Clock) -> Clock | None:
    """Whole seconds and the milliseconds within them, when together they rise as neither does."""
    total = coarse.time_s + rest.time_s
    steps = np.diff(total[np.isfinite(total)])
    if steps.size == 0 or float((steps > 0).mean()) < 0.95 or rest.rising > 0.999:
        return None
    return replace(
        coarse, used=(*coarse.used, *rest.used), time_s=total,
        sure=min(coarse.sure, rest.sure, 0.98), named=max(coarse.named, rest.named), part="",
    )  # fmt: skip

"""Which columns are the time, when each row was sampled, and when the log began. Pure.

`read_time` puts together what its neighbours do: `clock_columns` finds the clocks, `time_mend`
makes them run forward only, `time_spread` undoes lumps. `true_rate` says how often a channel
really changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from importers.clock_columns import Clock, TimeColumn, best_clock, clocks_of, dated_clock
from importers.errors import LogError
from importers.ride import GAP_FACTOR, GAP_FLOOR_S
from importers.time_mend import UNSET_BEFORE_S, Mended, mend
from importers.time_spread import Spread, spread
from importers.true_rate import true_rate_hz

__all__ = ["MIN_ROWS", "TimeColumn", "TimeReading", "rate_hz", "read_time", "true_rate_hz"]

NEWEST_FIRST = 0.9
"""A log that falls at more than this share of its steps is turned round. Our choice: a counter
that starts again rises far more often."""
LATEST_S = 4_200_000_000.0
"""2103 in seconds since 1970: no log is of later. Our choice."""
MIN_ROWS = 10
"""Fewer rows with a time than this are no log of a ride. The project's own rule."""


@dataclass(frozen=True, slots=True, eq=False)
class TimeReading:
    """When each row of a file was sampled, on the file's own clock."""

    time_s: NDArray[np.float64]
    """m times since the first, rising strictly (per id in a long file, where ids share times)."""
    keep: NDArray[np.intp]
    """m row numbers of the file in the order of time: apply to every other column."""
    start: datetime | None
    """The instant of the first; without a zone where the file states none."""
    used: tuple[int, ...]
    """Positions of the columns that are the time."""
    unit: str
    sure: float
    dropped: int
    problems: tuple[str, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    restarts: tuple[int, ...] = ()
    """Positions in `time_s` from which the logger began anew."""
    first_s: float = 0.0
    """What the file's own clock showed at the first row: seconds since its start, or midnight."""
    of_day: bool = False
    """True when that clock shows the time of day."""


def read_time(
    columns: Sequence[TimeColumn],
    *,
    file: str,
    groups: NDArray[np.intp] | None = None,
    lumps: bool = True,
) -> TimeReading:
    """When was each row of this file sampled?

    `columns` are the ones that may tell; `groups` is the number of the id of each row in a long
    file, whose ids share times; without `lumps` rows that lie close together are taken as they are.

    Raises
    ------
    LogError : no column is a usable time, it never rises, or fewer than 10 rows have one
    """
    clocks = clocks_of(columns)
    clock = best_clock(clocks)
    if clock is None:
        raise _no_time(columns, file)
    finite = np.isfinite(clock.time_s)
    rows = np.arange(finite.size) if finite.all() else np.flatnonzero(finite)
    if rows.size < MIN_ROWS:
        raise LogError(
            where=file,
            what=f"only {rows.size} rows have a time",
            remedy=f"A ride needs at least {MIN_ROWS}; look at the file with `hillproof look`.",
        )
    # A count that falls may run down: only a date or a time of day says which row came first.
    tells = clock.epoch_s is not None or _tells_time_of_day(clock)
    turned = groups is None and tells and _newest_first(clock.time_s[rows])
    rows = rows[::-1] if turned else rows
    _check_rising(clock, rows, groups, file)
    parts = _mend_groups(clock, rows, groups, lumps)
    time_s, keep = parts.time_s, parts.keep
    problems = [*clock.remarks, *parts.problems]
    if turned:
        problems.append("the newest row stands first: turned round")
    missing = clock.time_s.size - rows.size
    if missing:
        problems.append(f"{missing} rows without a time left out")
    start, notes = _start(clocks, clock, time_s, keep)
    return TimeReading(
        time_s - time_s[0], keep, start, clock.used, clock.unit, min(clock.sure, parts.sure),
        clock.time_s.size - keep.size, tuple(problems), notes, parts.restarts,
        0.0 if clock.epoch_s is not None else float(time_s[0]), _tells_time_of_day(clock),
    )  # fmt: skip


def _tells_time_of_day(clock: Clock) -> bool:
    return clock.part == "clock" and 3600.0 not in clock.wraps_s


def rate_hz(time_s: NDArray[np.float64]) -> float | None:
    """Rows a second while the log runs: gaps do not count; None for fewer than two rows."""
    steps = np.diff(time_s)
    if not steps.size:
        return None
    usual = steps[steps <= max(GAP_FACTOR * float(np.median(steps)), GAP_FLOOR_S)]
    return float(1.0 / usual.mean()) if usual.size and usual.mean() > 0 else None


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    time_s: NDArray[np.float64]
    keep: NDArray[np.intp]
    restarts: tuple[int, ...]
    sure: float
    problems: tuple[str, ...]


def _mend_groups(
    clock: Clock, rows: NDArray[np.intp], groups: NDArray[np.intp] | None, lumps: bool
) -> _Parts:
    if groups is None:
        return _mend_rows(clock, rows, lumps)
    parts = [_mend_rows(clock, rows[groups[rows] == one], lumps) for one in np.unique(groups[rows])]
    time_s = np.concatenate([one.time_s for one in parts])
    keep = np.concatenate([one.keep for one in parts])
    order = np.lexsort((keep, time_s))
    where = np.empty(order.size, np.intp)
    where[order] = np.arange(order.size)
    at = np.cumsum([0, *(one.time_s.size for one in parts)])
    restarts = sorted(
        int(where[at[n] + one]) for n, part in enumerate(parts) for one in part.restarts
    )
    problems = tuple(dict.fromkeys(text for one in parts for text in one.problems))
    return _Parts(
        time_s[order], keep[order], tuple(restarts), min(one.sure for one in parts), problems
    )


def _mend_rows(clock: Clock, rows: NDArray[np.intp], lumps: bool) -> _Parts:
    epoch_s = clock.epoch_s or 0.0
    every = rows.size == clock.time_s.size and rows[0] == 0
    readings_s = clock.time_s if every else clock.time_s[rows]
    done: Mended = mend(
        readings_s, wraps_s=clock.wraps_s, dated=clock.epoch_s is not None,
        wall=not clock.zoned, of_day=_tells_time_of_day(clock), epoch_s=epoch_s,
    )  # fmt: skip
    even = spread(done.time_s, epoch_s) if lumps else Spread(done.time_s)
    remarks = [*done.remarks, *([even.remark] if even.remark else [])]
    ends = float(np.abs(even.time_s[[0, -1]]).max())
    least = 2.0 * float(np.spacing(ends))
    steps = np.diff(even.time_s)
    if bool((steps > least).all()):
        same = done.order.size == rows.size and every
        kept = done.order if same else rows[done.order]
        return _Parts(even.time_s, kept, done.restarts, even.sure, tuple(remarks))
    rises = np.concatenate([[True], np.diff(np.maximum.accumulate(even.time_s)) > least])
    again = int(rises.size - rises.sum())
    if again:
        remarks.append(f"{again} rows repeat an earlier time and are left out")
    where = np.cumsum(rises) - 1
    return _Parts(
        even.time_s[rises], rows[done.order][rises],
        tuple(int(where[one]) for one in done.restarts), even.sure, tuple(remarks),
    )  # fmt: skip


def _start(
    clocks: Sequence[Clock],
    clock: Clock,
    time_s: NDArray[np.float64],
    keep: NDArray[np.intp],
) -> tuple[datetime | None, tuple[tuple[str, str], ...]]:
    """The instant of the first row, from the clock that knows the date."""
    dated = dated_clock(clocks, clock)
    if dated is None or dated.epoch_s is None:
        return None, ()
    if dated is clock:
        since_1970 = dated.epoch_s + float(time_s[0])
    else:
        ahead = dated.time_s[keep] - time_s
        if not np.isfinite(ahead).any():
            return None, ()
        since_1970 = dated.epoch_s + float(np.nanmedian(ahead)) + float(time_s[0])
    if not UNSET_BEFORE_S <= since_1970 <= LATEST_S:
        return None, (("ride.start", "the log's clock was never set: it has no usable date"),)
    whole = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=since_1970)
    if not dated.zoned:
        return whole.replace(tzinfo=None), ()
    return whole.astimezone(timezone(timedelta(seconds=dated.offset_s))), ()


def _newest_first(time_s: NDArray[np.float64]) -> bool:
    """Whether the time falls from row to row: an app that lists what came last on top."""
    steps = np.diff(time_s)
    return bool((steps < 0).sum() > NEWEST_FIRST * max(int((steps != 0).sum()), 1))


def _check_rising(
    clock: Clock, rows: NDArray[np.intp], groups: NDArray[np.intp] | None, file: str
) -> None:
    """Refuse a clock that mostly stands still or falls."""
    time_s = clock.time_s[rows]
    if groups is not None:
        order = np.argsort(groups[rows], kind="stable")
        time_s = time_s[order]
    falls = int((time_s[1:] < time_s[:-1]).sum())
    rises = int((time_s[1:] > time_s[:-1]).sum())
    if rises and falls <= 0.4 * (time_s.size - 1):
        return
    raise LogError(
        where=file,
        what="the time never rises" if not rises else "the time falls as often as not",
        remedy="A log needs a time that runs on; name the right column with a map file "
        "(`hillproof look --write-map`).",
    )


def _no_time(columns: Sequence[TimeColumn], file: str) -> LogError:
    if columns:
        names = ", ".join(f"'{one.header}'" for one in columns[:4])
        what = f"{names} cannot be read as a time that rises"
    else:
        what = "no column with a time was found"
    return LogError(
        where=file,
        what=what,
        remedy="Log a time with every row, or name its column in a map file "
        "(`hillproof look --write-map`).",
    )

"""A clock's raw readings in file order -> times that only rise, and what had to be mended.

Counters that wrap, clocks that start in 1970 until they are set, clocks set back, summer time,
rows out of order, single corrupt readings, loggers that began anew. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

NEAR_STEPS = 50.0
"""A reading within this many usual steps of another still belongs to it. Our choice."""
LATE_ROWS = 64
"""Rows that arrive out of order do so within this many rows. Our choice."""
CLOCK_SET_S = 300 * 86_400.0
"""A jump this long is a clock being set, not a pause: no ride waits most of a year."""
UNSET_BEFORE_S = 1_009_843_200.0
"""2002 in seconds since 1970: clocks that were never set start in 1970, 1980, 2000 or 2001."""
RESTART_GAP_S = 5.0
"""Pause put where a logger began anew and its clock says nothing about how long. Our choice."""
HOUR_S = 3600.0
LONG_ROWS = 1_000_000
"""Rows that tell the usual step. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Mended:
    """m rows kept: their times, rising or equal, and their positions in the readings given."""

    time_s: NDArray[np.float64]
    order: NDArray[np.intp]
    restarts: tuple[int, ...]
    """Positions in `time_s` from which the logger began anew."""
    dropped: int
    remarks: tuple[str, ...]


def usual_step(time_s: NDArray[np.float64]) -> float:
    """The median step between readings that differ [s]; 0 when none rises."""
    if time_s.size > LONG_ROWS:
        time_s = time_s[:LONG_ROWS]
    steps = np.diff(time_s)
    rising = steps[steps > 0]
    return float(np.median(rising)) if rising.size else 0.0


def mend(
    readings_s: NDArray[np.float64],
    *,
    wraps_s: tuple[float, ...] = (),
    dated: bool = False,
    wall: bool = False,
    of_day: bool = False,
    epoch_s: float = 0.0,
) -> Mended:
    """In which order did these rows happen, and when?

    `readings_s` are n finite clock readings in file order; `wraps_s` the lengths after which
    this clock may start again, `of_day` clocks at midnight; `dated` clocks know the date, `wall`
    ones do not know summer time; `epoch_s` is what reading 0 means in seconds since 1970.
    """
    pace = usual_step(readings_s)
    remarks: list[str] = []
    if not dated and bool((readings_s[1:] >= readings_s[:-1]).all()):
        everything = np.arange(readings_s.size, dtype=np.intp)
        return Mended(readings_s, everything, (), 0, ())
    rows = _without_spikes(readings_s, pace)
    dropped = readings_s.size - rows.size
    if dropped:
        remarks.append(f"{dropped} rows with an impossible time left out")
    time_s = readings_s[rows]
    time_s = _unwrap(time_s, wraps_s, pace, remarks, of_day=of_day)
    if dated:
        time_s = _set_clock(time_s, pace, epoch_s, remarks)
        if wall:
            time_s = _summer_time(time_s, pace, epoch_s, remarks)
    time_s, starts, late = _only_forward(time_s, pace, dated=dated, remarks=remarks)
    if (np.diff(time_s) >= 0).all():
        return Mended(time_s, rows, tuple(starts), dropped, tuple(remarks))
    order = np.argsort(time_s, kind="stable")
    if late:
        remarks.append(f"{late} rows were out of order and put back by their time")
    where = np.empty(order.size, np.intp)
    where[order] = np.arange(order.size)
    return Mended(
        time_s[order],
        rows[order],
        tuple(int(where[one]) for one in starts),
        dropped,
        tuple(remarks),
    )


def _without_spikes(time_s: NDArray[np.float64], pace: float) -> NDArray[np.intp]:
    """Rows but those whose reading lies far off while both neighbours fit each other."""
    everything = np.arange(time_s.size, dtype=np.intp)
    if time_s.size < 3:
        return everything
    before, here, after = time_s[:-2], time_s[1:-1], time_s[2:]
    far = max(NEAR_STEPS * pace, 10.0)
    together = (after >= before) & (after - before <= 3 * pace + 1e-9)
    off = (here > after + far) | (here < before - far)
    return np.delete(everything, np.flatnonzero(together & off) + 1)


def _unwrap(
    time_s: NDArray[np.float64],
    wraps_s: tuple[float, ...],
    pace: float,
    remarks: list[str],
    *,
    of_day: bool,
) -> NDArray[np.float64]:
    """Counters and times of day that start again at a fixed length, made to run on."""
    steps = np.diff(time_s)
    falls = np.flatnonzero(steps < 0)
    if not falls.size:
        return time_s
    added = np.zeros(time_s.size)
    for wrap in wraps_s:
        near = max(NEAR_STEPS * pace, 2.0 * pace)
        if wrap < 20 * pace:
            continue
        after_s = steps[falls] + wrap
        from_top = np.minimum(np.abs(wrap - time_s[falls]), np.abs(wrap / 2 - time_s[falls]))
        hit = (after_s > 0) & (after_s <= near) & (from_top <= near)
        if of_day and wrap >= 43_200.0:
            hit |= steps[falls] < -wrap / 2
        elif hit.sum() > 3:  # surely this counter: every large fall is at least one turn of it
            hit |= steps[falls] < -max(near, wrap / 20)
        if hit.any():
            added[falls[hit] + 1] += wrap
            name = "passes midnight" if wrap == 86_400.0 else f"starts again every {wrap:g} s"
            times = int(hit.sum())
            again = f", {times} times" if times > 1 else ""
            remarks.append(f"the clock {name}{again}: run on")
            break
    return np.asarray(time_s + np.cumsum(added), np.float64)


def _set_clock(
    time_s: NDArray[np.float64], pace: float, epoch_s: float, remarks: list[str]
) -> NDArray[np.float64]:
    """Rows logged before the clock was set are put right before the moment it was set."""
    steps = np.diff(time_s)
    time_s = time_s.copy()
    for jump in np.flatnonzero(steps > CLOCK_SET_S):
        if time_s[jump] + epoch_s > UNSET_BEFORE_S:
            continue
        earlier = np.flatnonzero(steps[:jump] < -CLOCK_SET_S)
        begin = int(earlier[-1]) + 1 if earlier.size else 0
        time_s[begin : jump + 1] += steps[jump] - pace
        remarks.append(
            f"the clock was set after {jump + 1 - begin} rows: those are put before that moment "
            "without a pause"
        )
    return time_s


def _summer_time(
    time_s: NDArray[np.float64], pace: float, epoch_s: float, remarks: list[str]
) -> NDArray[np.float64]:
    """Wall clocks put forward or back by one hour at a full hour, undone."""
    steps = np.diff(time_s)
    slack = max(5 * pace, 2.0)
    to_hour = np.abs((time_s[:-1] + epoch_s + pace + HOUR_S / 2) % HOUR_S - HOUR_S / 2)
    at_hour = to_hour <= slack
    back = at_hour & (steps < 0) & (np.abs(steps + HOUR_S - pace) <= slack)
    forth = at_hour & (np.abs(steps - HOUR_S - pace) <= slack)
    if not (back.any() or forth.any()):
        return time_s
    remarks.append("the clock was changed by one hour at a full hour (summer time): undone")
    shift = np.concatenate([[0.0], np.cumsum(HOUR_S * back - HOUR_S * forth)])
    return np.asarray(time_s + shift, np.float64)


def _only_forward(
    time_s: NDArray[np.float64], pace: float, *, dated: bool, remarks: list[str]
) -> tuple[NDArray[np.float64], list[int], int]:
    """Falls that are left: late rows are for sorting, the rest a clock set back or a new start."""
    falls = np.flatnonzero(np.diff(time_s) < 0)
    shift = np.zeros(time_s.size)
    starts: list[int] = []
    late = 0
    done = -1
    for fall in falls:
        if fall <= done:
            continue
        back_at = _late_until(time_s, int(fall), pace)
        if back_at is not None:
            late += back_at - int(fall) - 1
            done = back_at - 1
            continue
        down = float(time_s[fall] - time_s[fall + 1])
        top = float(time_s[done + 1 : fall + 1].max())
        if dated:
            shift[fall + 1] += top - time_s[fall + 1] + pace
            remarks.append(f"the clock was set back by {down:.3g} s: later rows follow on")
        else:
            shift[fall + 1] += top - time_s[fall + 1] + max(RESTART_GAP_S, 10 * pace)
            starts.append(int(fall) + 1)
            remarks.append(
                f"the logger began anew at row {int(fall) + 2}; how long it was off is not known, "
                f"{max(RESTART_GAP_S, 10 * pace):g} s are put"
            )
        done = int(fall)
    return time_s + np.cumsum(shift), starts, late


def _late_until(time_s: NDArray[np.float64], fall: int, pace: float) -> int | None:
    """The row at which time has caught up again, when rows `fall + 1` on were merely late."""
    top = time_s[fall]
    ahead = time_s[fall + 1 : fall + 1 + LATE_ROWS]
    caught = np.flatnonzero(ahead >= top)
    if not caught.size:
        last = fall + 1 + ahead.size == time_s.size
        if not last:
            return None
        caught = np.asarray([ahead.size])
    late = ahead[: caught[0]]
    low = float(late.min())
    if top - low > LATE_ROWS * pace:
        return None
    earlier = time_s[max(0, fall - 2 * LATE_ROWS) : fall + 1]
    there = int((earlier >= low).sum()) + late.size
    room = (top - low) / pace + 1.0
    fits = there <= 1.5 * room + 1 or _written_twice(ahead[: caught[0] + 1], earlier)
    return fall + 1 + int(caught[0]) if fits else None


def _written_twice(again: NDArray[np.float64], earlier: NDArray[np.float64]) -> bool:
    """Whether the last rows before a fall come once more, as of a block that is sent or saved
    twice. A logger that began anew repeats its times from the first on, which does not count."""
    n = again.size
    return 1 < n < earlier.size and bool(np.array_equal(again, earlier[-n:]))

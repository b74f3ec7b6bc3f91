"""When did one drive lose drive or braking that was asked for? Spans per drive, causes aside."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analyzer.loss_rows import AskedRows
from analyzer.loss_signals import DriveSignals
from analyzer.quantities import Bools, Floats, next_true, spans_where
from importers.ride import Ride

SUDDEN_S = 0.3
"""Gone within this is sudden, slower has faded [s]. The contract's."""
ONE_BETWEEN = 2.2
"""Steps of a log that a fall takes at most with one reading on its way. Our choice: two, and the
readings' own jitter."""
JOIN_S = 0.3
"""Stretches without current this near to each other are one [s]. Our choice."""
SHORTEST_S = 0.15
"""Shorter absences are ripple, or a hand moving from braking to driving [s]. Our choice."""
SHORTEST_FROM_START_S = 0.5
"""... and where the demand has only just begun, a soft start, where the hand sweeps, or where the
current dwindled [s]. Our choice."""
SHORTEST_UNSTARTED_S = 1.0
"""... and where nothing has been given yet since it began [s]. Our choice."""
SWEEP, SWEEP_S = 0.3, 0.4
"""A hand that moves by this part of its range within so long [s] is ahead of the current. Our
choice."""
MOSTLY_GONE = 0.5
"""Of a stretch's rows at least are without current. Our choice."""
RETRY_S = 5.0
"""Retries within this are one loss [s]. The contract's."""
STEADY_PART = 0.6
"""Of the expected current: still there. Our choice."""
OUTRUN_PART, OUTRUN_S, GAINS = 0.97, 0.6, 1.003
"""A slope outruns a motor at this part of the fastest it pulled at, over so long [s], where speed
gains at least this factor before and after. Our choice."""
SLOWED_PART, SLOWED_ROWS = 0.97, 3
"""Slower than this part of the speed (the median of so many rows) at which current ended, a motor
has room for current again: its own voltage is 3 % lower, a sixth to a third of what its windings
take at full load (5 to 20 % of the supply, common practice, no source). Our choice."""
EASED_S, SAME_PART = 3.0, 0.98
"""A hand that eased so lately [s], at no less than this part of the speed, leaves a motor at its
top speed with as little. Our choice."""
CLEAR = 3.0
"""So many times the least current stands clear of noise. Our choice."""
FASTEST, PULLED_ROWS = 0.98, 50
"""The fastest it pulled at is this quantile of the speeds of at least so many rows. Our choice:
single readings err."""


@dataclass(frozen=True, slots=True)
class DriveLoss:
    """One drive's loss, as rows of `ride.table`."""

    drive: str
    sign: int
    """1 drive, -1 braking was asked for."""
    begin: int
    """Where fading began; the first row without current where it was sudden."""
    first: int
    """First row without current (or the last row with a reading)."""
    last: int
    """Last row of the loss."""
    back: int | None
    """First row with current again; None where it never came back in this log."""
    fall_s: float
    """From still there to gone [s]."""
    how: str
    """What showed it: `gone`, `dead`, `frozen`, `hole`, `log_end`, `demand_jump`, `no_demand`."""
    spells: int = 1
    """So many stretches without current, tries in between."""

    @property
    def faded(self) -> bool:
        """Whether it went slower than a protection acts."""
        return self.begin < self.first


def asked_and_gone(
    one: DriveSignals, others: list[DriveSignals], rows: AskedRows, ride: Ride
) -> list[DriveLoss]:
    """Stretches in which the demand is there, and current is not."""
    found = []
    time_s = ride.time_s
    for span in spans_where(rows.gone, ride, join_s=JOIN_S, min_s=0.0):
        # Two moments with current between them are a hand moving to and fro.
        if int(rows.gone[span.rows].sum()) < 2 or rows.gone[span.rows].mean() < MOSTLY_GONE:
            continue
        begun = _asked_since(rows.asked, span.first)
        fresh = time_s[span.first] - time_s[begun] < SUDDEN_S
        least = SHORTEST_FROM_START_S if fresh else SHORTEST_S
        if _still_starting(rows, begun, span.first, time_s):
            least = SHORTEST_UNSTARTED_S
        elif _sweeps(one, span.first, time_s):
            least = SHORTEST_FROM_START_S
        if span.length_s < least:
            continue
        if fresh and not _held(one, span.first, span.last):
            continue
        fall_s = 0.0 if fresh else _fall_s(one, rows, span.first, time_s)
        if fall_s > SUDDEN_S and span.length_s < SHORTEST_FROM_START_S:
            # What dwindles while the hand eases has no current to lose at its end.
            continue
        by_itself = _left_by_itself(one, others, rows, span.first, time_s, fall_s)
        if by_itself and not _room_again(one, span.first, span.last):
            continue
        found.append(
            DriveLoss(
                one.name,
                int(rows.asked[span.first]),
                span.first,
                span.first,
                span.last,
                _back(rows, one, span.last),
                fall_s,
                "gone",
            )
        )
    return found


def _still_starting(rows: AskedRows, begun: int, first: int, time_s: Floats) -> bool:
    """Whether the demand has only just begun and has given nothing yet: slow ramps, dead bands."""
    just = time_s[first] - time_s[begun] < SHORTEST_UNSTARTED_S
    return bool(just and not rows.given[begun:first].any())


def _sweeps(one: DriveSignals, first: int, time_s: Floats) -> bool:
    """Whether the hand is on its way from one demand to quite another."""
    assert one.demand is not None
    a = int(np.searchsorted(time_s, time_s[first] - SWEEP_S))
    part = one.demand[a : first + 1]
    part = part[np.isfinite(part)]
    return bool(part.size and np.ptp(part) > SWEEP)


def _held(one: DriveSignals, first: int, last: int) -> bool:
    """Whether the demand goes well beyond where it begins, not just brushes it."""
    assert one.demand is not None
    part = np.abs(one.demand[first : last + 1])
    return bool(np.nanmax(part) > 0.15)


def _asked_since(asked: Floats, at: int) -> int:
    high, some = at + 1, 64
    while high > 0:
        low = max(high - some, 0)
        other = np.flatnonzero(asked[low:high] != asked[at])
        if other.size:
            return low + int(other[-1]) + 1
        high, some = low, 2 * some
    return 0


def _fall_s(one: DriveSignals, rows: AskedRows, first: int, time_s: Floats) -> float:
    """How long ago was most of the current still there? At most 30 s back."""
    assert one.work_a is not None
    a = int(np.searchsorted(time_s, time_s[first] - 30.0))
    work, expected = one.work_a[a:first], rows.expected_a[a:first]
    same = rows.asked[a:first] == rows.asked[first]
    with np.errstate(invalid="ignore"):
        recent = np.nan_to_num(work[-3:]).max() if work.size else 0.0
        there = same & (work >= np.minimum(STEADY_PART * expected, max(recent, 4 * one.floor_a)))
    at = np.flatnonzero(there)
    if at.size == 0:
        return 0.0
    return float(time_s[first] - time_s[a + int(at[-1])])


def _left_by_itself(
    one: DriveSignals,
    others: list[DriveSignals],
    rows: AskedRows,
    first: int,
    time_s: Floats,
    fall_s: float,
) -> bool:
    """At its top speed a motor takes less and less current, and none when a slope pushes it."""
    if _outrun(one, rows, first, time_s) and all(_gains(x, first, time_s) for x in others):
        return True
    a = int(np.searchsorted(time_s, time_s[first] - 0.7))
    near_top = float(np.mean(rows.top_speed[a : first + 1])) > 0.3
    near_top |= _eased_at_top(one, rows, first, time_s)
    if not near_top or rows.asked[first] < 0:
        return False
    if rows.pushed is not None and rows.pushed[first]:
        # A cut lets the voltage rise and the speed sink: only a slope turns the motor on from here.
        return True
    assert one.work_a is not None
    with np.errstate(invalid="ignore"):
        before = np.nan_to_num(one.work_a[max(first - 3, 0) : first])
    step = float(before.max()) if before.size else 0.0
    # A slow log may catch one reading on the way down.
    at_once_s = max(SUDDEN_S, ONE_BETWEEN * float(time_s[first] - time_s[first - 1]))
    least = max(0.3 * np.nan_to_num(rows.expected_a[first]), CLEAR * one.floor_a)
    return not (step > least and fall_s < at_once_s)


def _eased_at_top(one: DriveSignals, rows: AskedRows, first: int, time_s: Floats) -> bool:
    """Whether the hand gives less than a moment ago at the top speed, and the vehicle is no slower:
    what had no voltage left then has none now."""
    if one.speed_mps is None or one.demand is None:
        return False
    a = int(np.searchsorted(time_s, time_s[first] - EASED_S))
    at = np.flatnonzero(rows.top_speed[a : first + 1]) + a
    if at.size == 0:
        return False
    with np.errstate(invalid="ignore"):
        more = one.demand[at] > one.demand[first]
        no_slower = np.abs(one.speed_mps[first]) >= SAME_PART * np.abs(one.speed_mps[at])
    return bool((more & no_slower).any())


def _room_again(one: DriveSignals, first: int, last: int) -> bool:
    """Whether the drive slowed below where its current ended while it was asked for and not given:
    then the motor's own voltage is not what keeps current away."""
    if one.speed_mps is None or first < SLOWED_ROWS or last - first < SLOWED_ROWS:
        return False
    speed = np.abs(one.speed_mps)
    before, after = speed[first - SLOWED_ROWS : first], speed[last - SLOWED_ROWS + 1 : last + 1]
    with np.errstate(invalid="ignore"):
        return bool(np.median(after) < SLOWED_PART * np.median(before))


def _outrun(one: DriveSignals, rows: AskedRows, first: int, time_s: Floats) -> bool:
    """Current dwindles while a slope still speeds the vehicle up, at or beyond the fastest that
    this drive pulls at elsewhere: no voltage is left, nobody took it. A cut takes one step."""
    speed, work = one.speed_mps, one.work_a
    if speed is None or work is None or rows.asked[first] <= 0:
        return False
    a, b = np.searchsorted(time_s, [time_s[first] - OUTRUN_S, time_s[first] + OUTRUN_S])
    b = min(int(b), time_s.size - 1)
    if first - a < 2 or b <= first:
        return False
    with np.errstate(invalid="ignore"):
        gains = speed[first] > GAINS * speed[a] and speed[b] > GAINS * speed[first]
        dwindled = work[first - 1] < STEADY_PART * np.nanmax(np.append(work[a:first], 0.0))
        pulled = (work > 2 * one.floor_a) & (rows.asked > 0) & np.isfinite(speed)
    elsewhere = np.flatnonzero(pulled & (np.abs(time_s - time_s[first]) > 2 * OUTRUN_S))
    if not gains or not dwindled or elsewhere.size < PULLED_ROWS:
        return False
    return bool(speed[first] >= OUTRUN_PART * np.quantile(speed[elsewhere], FASTEST))


def _gains(other: DriveSignals, first: int, time_s: Floats) -> bool:
    """Whether this drive gains speed, too: a motor whose belt broke speeds up alone."""
    if other.speed_mps is None:
        return True
    a, b = np.searchsorted(time_s, [time_s[first] - OUTRUN_S, time_s[first] + OUTRUN_S])
    before, after = other.speed_mps[a], other.speed_mps[min(int(b), time_s.size - 1)]
    return bool(not np.isfinite(before + after) or abs(after) > abs(before))


def _back(rows: AskedRows, one: DriveSignals, last: int) -> int | None:
    return next_true(rows.given, last + 1)


def merged_per_drive(
    losses: list[DriveLoss], given: dict[str, Bools], ride: Ride
) -> list[DriveLoss]:
    """Retries within 5 s, and stretches between which current never came back, are one loss."""
    time_s = ride.time_s
    out: list[DriveLoss] = []
    for one in sorted(losses, key=lambda x: (x.drive, x.begin)):
        before = out[-1] if out and out[-1].drive == one.drive else None
        if before is not None and _same_loss(before, one, given[one.drive], time_s):
            # Only where current came between was it tried again.
            tried = bool(given[one.drive][before.last + 1 : one.first].any())
            out[-1] = replace(
                before,
                last=max(before.last, one.last),
                back=one.back if one.last >= before.last else before.back,
                spells=before.spells + one.spells if tried else max(before.spells, one.spells),
            )
        else:
            out.append(one)
    return sorted(out, key=lambda x: x.begin)


def _same_loss(before: DriveLoss, one: DriveLoss, given: Bools, time_s: Floats) -> bool:
    if one.begin <= before.last:
        return True
    if time_s[one.first] - time_s[before.last] < RETRY_S:
        return True
    return not given[before.last + 1 : one.first].any()

"""Losses of the demand itself: it jumps in one sample where a hand takes a tenth of a second."""

from __future__ import annotations

import numpy as np

from analyzer.loss_signals import DriveSignals
from analyzer.losses import DriveLoss
from analyzer.quantities import Bools, Floats
from importers.ride import Ride

LEAST_DROP = 0.2
"""A demand must fall by this part of its range to be a loss. Our choice."""
FAST_PER_S = 8.0
"""A hand lets go of the whole range in 0.1 s at the least [1/s] (a ramp of 0.1 to 0.5 s: common
practice, no source). The rest is for the sample's own width."""
BEYOND_OWN = 1.7
"""Times faster than this rider's other releases. Our choice."""
LARGE_S, LARGE_PART = 0.5, 0.7
"""Falls of this part of one's size within so long [s] compare with it: a small one is over within
a row, however slow the hand. Our choice."""
IN_ROWS, LEAST_FALLS, SO_MANY = 1.5, 3, 0.8
"""This part of at least so many of them take so many times longer, row for row. Our choice."""
SLOW_LOG_S = 0.07
"""From here on only a jump both ways tells [s]. Our choice."""
SLOWEST_LOG_S = 0.13
"""Slower logs cannot tell a jump from a hand [s]. Our choice."""
WENT_PART = 0.15
"""Of the current before, half a second later: gone with the demand. Our choice."""
BOTH_WAYS = 1.5
"""Times faster than this rider's other movements, down and up again. Our choice."""
AS_FAST, OPENS_FASTER = 0.9, 1.6
"""A fall at the hand's own pace counts with a return so many times faster than its own. Our
choice."""
REOPENS_FASTER = 2.2
"""... and with any fall to rest where it is so many times faster: a hand lets go at any pace, but
opens to where it had stood at its own only. Our choice."""
ONCE_FASTER = 2.2
"""In a slow log a fall counts that is so many times faster than any other and happens once. Our
choice."""
ODD_PART, ODD_ROWS = 0.02, 0.005
"""A demand that falls to a value this far from rest, at which it stands in no more than this part
of the ride's other rows, ... Our choice."""
ODD_S, ODD_USUAL = 0.8, 1.5
"""... and stays there to the last digit for so long [s], and so many times longer than this hand
holds still, is a signal's, not a hand's. Our choice."""
UPDATE_QUANTILE, UPDATE_MOVES = 0.1, 30
"""How many rows apart a demand is renewed is this quantile over at least so many of its moves. Our
choice: a hand on the move changes it every time."""
LEAST_SAMPLES = 10
"""Fewer samples of a hand on the move tell nothing of it. Our choice."""
MOST_ALIKE, ALIKE_PART = 4, 0.7
"""More falls of this part of one's pace and above are this hand's. Our choice."""
TRACKS = 0.08
"""Demands this near to each other follow one hand. Our choice."""
MOST_JUMPS, MOST_SLOW_JUMPS = 8, 2
"""More of them in a ride (the second: in a slow log) are this throttle's habit. Our choice."""
MOVES, STANDS = 0.004, 0.012
"""A demand moves by more than the first from row to row, and stands within the second. Our choice:
its resolution and its noise."""
FLAT_S = 0.25
"""After a jump the value stands still for this long [s]. Our choice."""
BLINK_S = 0.7
"""A shorter fall counts only where the demand comes back in a jump, too [s]. Our choice: current
takes a moment to follow."""
LONGEST_S = 900.0
"""... and for no longer than this, else nobody missed it [s]. Our choice."""


def demand_jumps(
    one: DriveSignals, others: list[DriveSignals], ride: Ride, given: Bools
) -> list[DriveLoss]:
    """Where did this drive's demand fall in one sample to a value that then stands still, and come
    back in a jump too, or while the other side's demand, which it had followed, went on?"""
    if one.demand is None or one.demand.size < 50:
        return []
    time_s, demand = ride.time_s, one.demand
    step = np.diff(time_s)
    if float(np.median(step)) > SLOWEST_LOG_S:
        return []
    every = _update_rows(demand)
    falls = _falls(demand, np.diff(demand), step, one.dead, every)
    if not falls:
        return []
    seen = _Hand(demand, step, falls, every)
    given_rows = np.flatnonzero(given)
    found = []
    for at in falls:
        flat_to = flat_until(demand, at + 1)
        alone = any(_goes_on(one, other, at, time_s) for other in others)
        if alone and flat_to == at + 1 and _between(demand, at):
            flat_to = flat_until(demand, at + 2)
        lasted = time_s[flat_to] - time_s[at + 1]
        if lasted < FLAT_S or lasted > LONGEST_S or abs(demand[at + 1]) > 0.7 * abs(demand[at]):
            continue
        if not _current_went(one, at, flat_to, time_s) or _stops(one, at, time_s):
            continue
        if lasted < BLINK_S and not seen.returns(at, flat_to, 1 if demand[at] > 0 else -1):
            continue
        if not alone and not seen.no_hand(at, flat_to, _nothing_flows(one, at, flat_to)):
            continue
        later = int(np.searchsorted(given_rows, flat_to))
        back = int(given_rows[later]) if later < given_rows.size else None
        sign = 1 if demand[at] > 0 else -1
        found.append(DriveLoss(one.name, sign, at + 1, at + 1, flat_to, back, 0.0, "demand_jump"))
    return found


class _Hand:
    """What this rider's hand does in this ride, bar the falls in question."""

    def __init__(self, demand: Floats, step: Floats, falls: list[int], every: int) -> None:
        # What the hand may move for between two readings.
        self.demand, self.step, self.falls, self.rows_s = demand, every * step, falls, step
        self.every = every
        self.flat_s = _usual_flat_s(demand, step)
        around = range(-every, every + 1)
        near = [f + x for f in falls for x in around if 0 <= f + x < step.size]
        near += [x for f in falls if (x := flat_until(demand, f + 1)) < step.size]
        self.own: dict[tuple[int, int], float | None] = {}
        for side in (1, -1):
            # Down to the hand at rest only: going on into braking is another movement.
            pull = np.clip(side * demand, 0.0, None)
            for way in (1, -1):
                rate = np.delete(way * np.diff(pull) / self.step, near)
                rate = rate[np.isfinite(rate) & (rate > 0.5)]
                enough = rate.size >= LEAST_SAMPLES
                self.own[side, way] = float(np.quantile(rate, 0.999)) if enough else None

    def _fast(self, at: int) -> bool:
        """Whether no hand is that fast: within one sample it may move for the whole of it."""
        fall = abs(self.demand[at]) - max(abs(self.demand[at + 1]), 0.0)
        return bool(fall > np.clip(FAST_PER_S * self.step[at], LEAST_DROP, 0.4))

    def _beyond_own(self, row: int, way: int, side: int) -> float:
        """How many times faster than the fastest this hand does otherwise; 0 where not known."""
        own = self.own[side, way]
        if own is None:
            return 0.0
        if way < 0:
            # Two falls alike may be one fault twice; a third is this hand's.
            alike = sorted(
                (self._rate(f) for f in self.falls if f != row and side * self.demand[f] > 0),
                reverse=True,
            )
            own = max([own, *alike[1:2]])
        moved = way * side * (self.demand[row + 1] - self.demand[row])
        return float(moved / self.step[row] / own)

    def _alike(self, at: int, side: int) -> int:
        """How many falls of this ride are too fast for a hand and nearly as large as this one, it
        among them."""
        least = ALIKE_PART * self._rate(at)
        near = [f for f in self.falls if side * self.demand[f] > 0 and self._rate(f) >= least]
        return sum(self._fast(f) for f in near)

    def _rate(self, at: int) -> float:
        return float(abs(self.demand[at + 1] - self.demand[at]) / self.step[at])

    def no_hand(self, at: int, flat_to: int, nothing: bool) -> bool:
        """Whether the fall, and what came after it, is not a hand's; `nothing` when no current at
        all flowed after it."""
        demand, side = self.demand, 1 if self.demand[at] > 0 else -1
        fast, slow_log = self._fast(at), self.step[at] > SLOW_LOG_S
        alike = self._alike(at, side)
        down, flat_s = self._beyond_own(at, -1, side), float(self.rows_s[at + 1 : flat_to].sum())
        still = flat_s > max(ODD_S, ODD_USUAL * self.flat_s)
        held = still or (fast and flat_s > ODD_S)
        if side > 0 and nothing and held and self._odd(at + 1):
            return True
        if self.returns(at, flat_to, side):
            up = self._beyond_own(flat_to, 1, side)
            if down > BOTH_WAYS and up > BOTH_WAYS:
                return True
            if side > 0 and up > REOPENS_FASTER:
                return True
            # Letting go is quick; to open from rest to where it had stood in one sample is not.
            if down > AS_FAST and up > OPENS_FASTER and side > 0 and not slow_log:
                return True
            # A brake demand saturates and lets go faster than a throttle: its jumps alone tell
            # nothing.
            if fast and side > 0 and alike <= (MOST_SLOW_JUMPS if slow_log else MOST_JUMPS):
                return True
        if side > 0 and self._slower_elsewhere(at) and alike <= MOST_ALIKE:
            return True
        if fast and slow_log and side > 0 and down > ONCE_FASTER and alike == 1:
            return True
        if not fast or slow_log or alike > MOST_ALIKE:
            return False
        odd = nothing and demand[at + 1] > 0.03 and side > 0 and flat_s > 2.0 * self.flat_s
        return bool(odd or (side > 0 and down > BEYOND_OWN))

    def _odd(self, row: int) -> bool:
        """Whether the demand stands beside its rest where it never is otherwise."""
        value = self.demand[row]
        if abs(value) < ODD_PART:
            return False
        with np.errstate(invalid="ignore"):
            same = np.abs(self.demand - value) <= STANDS
            same[self.every :] &= (
                np.abs(self.demand[self.every :] - self.demand[: -self.every]) <= MOVES
            )
        for fall in self.falls:
            same[fall + 1 : flat_until(self.demand, fall + 1) + 1] = False
        return bool(np.mean(same) <= ODD_ROWS)

    def _slower_elsewhere(self, at: int) -> bool:
        """Whether this hand's other falls of such a size take more rows than this one did."""
        pull = np.nan_to_num(np.clip(self.demand, 0.0, None))
        size = float(pull[at] - pull[at + 1])
        n = max(2, round(LARGE_S / float(np.median(self.rows_s))))
        rows = np.flatnonzero(pull[:-n] - pull[n:] >= LARGE_PART * size)
        rows = rows[(rows < at - 2 * n) | (rows > at + n)]
        if rows.size == 0:
            return False
        spans = np.split(rows, np.flatnonzero(np.diff(rows) > n) + 1)
        worst = [float(-np.diff(pull[one[0] : one[-1] + n + 1]).min()) for one in spans]
        slow = sum(one * IN_ROWS <= size for one in worst)
        return slow >= LEAST_FALLS and slow >= SO_MANY * len(worst)

    def returns(self, at: int, flat_to: int, side: int) -> bool:
        """Whether the demand comes back in a jump, too."""
        if flat_to + 1 >= self.demand.size:
            return False
        fell = side * (self.demand[at] - self.demand[at + 1])
        rose = side * (self.demand[flat_to + 1] - self.demand[flat_to])
        part = 0.6 if self.step[at] > SLOW_LOG_S else 0.4
        return bool(rose > max(0.12, part * fell))


def _usual_flat_s(demand: Floats, step: Floats) -> float:
    """How long this demand stands still between its ends in this ride [s]."""
    moves = np.flatnonzero(np.abs(np.diff(demand)) > MOVES)
    if moves.size < 20:
        return FLAT_S
    rows = np.concatenate([[0.0], np.cumsum(step)])
    length = rows[moves[1:]] - rows[moves[:-1] + 1]
    level = np.abs(demand[moves[:-1] + 1])
    between = length[(level > 0.03) & (level < 0.97)]
    return float(np.quantile(between, 0.98)) if between.size >= 20 else FLAT_S


def _update_rows(demand: Floats) -> int:
    """How many rows apart this demand is renewed."""
    with np.errstate(invalid="ignore"):
        moves = np.flatnonzero(np.abs(np.diff(demand)) > MOVES)
    if moves.size < UPDATE_MOVES:
        return 1
    return max(1, int(np.quantile(np.diff(moves), UPDATE_QUANTILE)))


def _falls(demand: Floats, change: Floats, step: Floats, dead: Bools, every: int) -> list[int]:
    """Rows before falls in one sample from a demand that had stood."""
    with np.errstate(invalid="ignore"):
        toward = -np.sign(demand[:-1]) * change
        fell = toward > LEAST_DROP
        fell &= ~dead[1:] & ~dead[:-1] & (step < SLOWEST_LOG_S * 2)
    rows = np.flatnonzero(fell)
    return [
        r
        for r in rows.tolist()
        if r >= 2 and abs(demand[r] - demand[max(r - every, 0)]) < 0.3 * abs(change[r])
    ]


def _current_went(one: DriveSignals, at: int, flat_to: int, time_s: Floats) -> bool:
    """Whether the current followed the demand to nothing."""
    if one.work_a is None:
        return True
    lasted = time_s[flat_to] - time_s[at]
    edges = np.minimum(np.array([0.3, 0.7]), lasted * np.array([0.5, 1.0]))
    a, b = np.searchsorted(time_s, time_s[at] + edges)
    after = one.work_a[a : max(b, a + 1)]
    after, before = after[np.isfinite(after)], one.work_a[at]
    if after.size == 0 or not np.isfinite(before):
        return True
    return bool(np.median(after) <= max(2.0 * one.floor_a, WENT_PART * before))


def _nothing_flows(one: DriveSignals, at: int, flat_to: int) -> bool:
    """Whether the value that the demand fell to drives nothing: a small demand that is obeyed is
    a small demand. True where no current is logged."""
    if one.work_a is None:
        return True
    after = one.work_a[at + 1 : flat_to + 1]
    after = after[np.isfinite(after)]
    return bool(after.size == 0 or np.median(after) <= one.floor_a)


def _stops(one: DriveSignals, at: int, time_s: Floats) -> bool:
    """Whether the vehicle stood at once, as no vehicle does: then the log skipped a stop."""
    if one.speed_mps is None:
        return False
    # A motor behind a freewheel takes half a second.
    before, after = abs(one.speed_mps[at]), np.abs(one.speed_mps[at + 1 : at + 3])
    after = after[np.isfinite(after)]
    return bool(after.size and before > 1.0 and after.min() < 0.3 * before)


def _between(demand: Floats, at: int) -> bool:
    """Whether the row after a fall lies between two readings, as where logs were joined: the
    smaller part of the fall is seen a row later."""
    if at + 2 >= demand.size:
        return False
    fell, rest = demand[at] - demand[at + 1], demand[at + 1] - demand[at + 2]
    return bool(0.0 < rest / fell < 1.0)


def flat_until(demand: Floats, at: int, within: float = STANDS) -> int:
    """The last row up to which the demand stays near its value at `at`."""
    low, some = at, 64
    while low < demand.size:
        with np.errstate(invalid="ignore"):
            moved = np.abs(demand[low : low + some] - demand[at]) > within
        if moved.any():
            return low + int(np.argmax(moved)) - 1
        low, some = low + some, 2 * some
    return demand.size - 1


def _goes_on(one: DriveSignals, other: DriveSignals, at: int, time_s: Floats) -> bool:
    """Whether the other side's demand, which this one had followed, goes on without it."""
    if other.demand is None or one.demand is None:
        return False
    mine, its = one.demand, other.demand
    a, b = np.searchsorted(time_s, time_s[at] + np.array([-1.0, FLAT_S])).tolist()
    if a >= at or b <= at + 2 or b >= mine.size:
        return False
    side = np.sign(mine[at])
    before = np.abs(mine[a : at + 1] - its[a : at + 1])
    after = side * (its[at + 2 : b + 1] - mine[at + 2 : b + 1])
    if not (np.isfinite(before).all() and np.isfinite(after).all()):
        return False
    left = max(0.4 * abs(mine[at]), 0.12)
    return bool(np.median(before) < TRACKS and after.min() > left)

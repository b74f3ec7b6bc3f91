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
SLOW_LOG_S = 0.07
"""From here on only a jump both ways tells [s]. Our choice."""
SLOWEST_LOG_S = 0.13
"""Slower logs cannot tell a jump from a hand [s]. Our choice."""
WENT_PART = 0.15
"""Of the current before, half a second later: gone with the demand. Our choice."""
MOST_JUMPS = 8
"""More of them in a ride are this throttle's habit. Our choice."""
FLAT_S = 0.25
"""After a jump the value stands still for this long [s]. Our choice."""
LONGEST_S = 900.0
"""... and for no longer than this, else nobody missed it [s]. Our choice."""


def demand_jumps(
    one: DriveSignals, others: list[DriveSignals], ride: Ride, given: Bools
) -> list[DriveLoss]:
    """Where did this drive's demand fall in one sample to a value that then stands still, and come
    back in a jump too, or while the other side's demand went on?"""
    if one.demand is None or one.demand.size < 50:
        return []
    time_s, demand = ride.time_s, one.demand
    step = np.diff(time_s)
    if float(np.median(step)) > SLOWEST_LOG_S:
        return []
    change = np.diff(demand)
    falls = _falls(demand, change, step, one.dead)
    given_rows = np.flatnonzero(given) if falls else np.zeros(0, np.intp)
    found = []
    for at in falls:
        flat_to = _flat_until(demand, at + 1)
        lasted = time_s[flat_to] - time_s[at + 1]
        if lasted < FLAT_S or lasted > LONGEST_S or abs(demand[at + 1]) > 0.7 * abs(demand[at]):
            continue
        returns = flat_to + 1 < demand.size and (
            abs(demand[flat_to + 1] - demand[flat_to]) > max(0.12, 0.4 * abs(change[at]))
        )
        if not _current_went(one, at, time_s) or _stops(one, at, time_s):
            continue
        slow = step[at] > SLOW_LOG_S
        odd = demand[at + 1] > 0.03 and demand[at] > 0 and not slow
        if slow and returns:
            returns = abs(demand[flat_to + 1] - demand[flat_to]) > 0.6 * abs(change[at])
        alone = _others_go_on(others, at, flat_to, time_s)
        # A brake demand saturates and lets go faster than a throttle: its jumps alone tell nothing.
        returns = returns and len(falls) <= MOST_JUMPS and demand[at] > 0
        own = not slow and demand[at] > 0 and _beyond_own(demand, step, at, falls)
        if not (returns or odd or alone or own):
            continue
        later = int(np.searchsorted(given_rows, flat_to))
        back = int(given_rows[later]) if later < given_rows.size else None
        sign = 1 if demand[at] > 0 else -1
        found.append(DriveLoss(one.name, sign, at + 1, at + 1, flat_to, back, 0.0, "demand_jump"))
    return found


def _falls(demand: Floats, change: Floats, step: Floats, dead: Bools) -> list[int]:
    """Rows before falls that no hand is fast enough for."""
    with np.errstate(invalid="ignore"):
        toward = -np.sign(demand[:-1]) * change
        # Within one sample a hand may move for the whole of it.
        fast = toward > np.clip(FAST_PER_S * step, LEAST_DROP, 0.4)
        fast &= ~dead[1:] & ~dead[:-1] & (step < SLOWEST_LOG_S * 2)
    rows = np.flatnonzero(fast)
    steady = [
        r for r in rows.tolist() if r >= 2 and abs(demand[r] - demand[r - 1]) < 0.3 * abs(change[r])
    ]
    return steady


def _current_went(one: DriveSignals, at: int, time_s: Floats) -> bool:
    """Whether the current followed the demand to nothing."""
    if one.work_a is None:
        return True
    a, b = np.searchsorted(time_s, time_s[at] + np.array([0.3, 0.7]))
    after = one.work_a[a : max(b, a + 1)]
    after, before = after[np.isfinite(after)], one.work_a[at]
    if after.size == 0 or not np.isfinite(before):
        return True
    return bool(np.median(after) <= max(2.0 * one.floor_a, WENT_PART * before))


def _stops(one: DriveSignals, at: int, time_s: Floats) -> bool:
    """Whether the vehicle stood at once, as no vehicle does: then the log skipped a stop."""
    if one.speed_mps is None:
        return False
    a, b = np.searchsorted(time_s, time_s[at] + np.array([0.2, 0.7]))
    before, after = abs(one.speed_mps[at]), np.abs(one.speed_mps[a : max(b, a + 1)])
    after = after[np.isfinite(after)]
    return bool(after.size and before > 1.0 and np.median(after) < 0.3 * before)


def _flat_until(demand: Floats, at: int) -> int:
    low, some = at, 64
    while low < demand.size:
        with np.errstate(invalid="ignore"):
            moved = np.abs(demand[low : low + some] - demand[at]) > 0.012
        if moved.any():
            return low + int(np.argmax(moved)) - 1
        low, some = low + some, 2 * some
    return demand.size - 1


def _others_go_on(others: list[DriveSignals], at: int, until: int, time_s: Floats) -> bool:
    until = min(until, int(np.searchsorted(time_s, time_s[at] + 0.3)))
    for other in others:
        if other.demand is None:
            continue
        before, after = other.demand[at], other.demand[min(at + 2, until)]
        if abs(before) > 0.1 and before * after > 0 and abs(after) > 0.7 * abs(before):
            return True
    return False


def _beyond_own(demand: Floats, step: Floats, at: int, falls: list[int]) -> bool:
    """Whether this fall is far faster than any other release of the ride, bar falls like it."""
    if len(falls) > 4:
        return False
    # Down to the hand at rest only: going on into braking is another movement.
    rate = -np.diff(np.clip(np.sign(demand[at]) * demand, 0.0, None)) / step
    rest = np.delete(rate, [x for f in falls for x in (f - 1, f, f + 1) if 0 <= x < rate.size])
    releases = rest[np.isfinite(rest) & (rest > 0.5)]
    if releases.size < 10:
        return False
    return bool(rate[at] > BEYOND_OWN * np.quantile(releases, 0.999))

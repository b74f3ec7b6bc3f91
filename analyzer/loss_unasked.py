"""Losses in logs without a demand: a current that falls at once is a loss only with a witness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.loss_ends import high_load_a
from analyzer.loss_signals import DriveSignals
from analyzer.losses import SUDDEN_S, DriveLoss
from analyzer.quantities import Bools, Floats, next_true
from importers.ride import Ride

FROM_PART = 0.3
"""Of the high load must have flowed. Our choice."""
STAYS_S = 0.3
"""Gone for this long at least [s]. Our choice."""
COLLAPSE_V_PER_CELL = 0.15
"""Let go of its load a pack rises; a bus that falls instead by this much [V per cell] has lost its
pack. Our choice: far beyond noise and sag."""
GOES_ON_PART = 0.6
"""The other side keeps this part of its current. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Witnesses:
    """Rows at which something else than the rider may have stopped a drive."""

    lines: Bools
    """A protection's line is reached: a stop voltage, a temperature, a trip's level and delay."""
    status: Bools
    """A status or fault code changed within half a second."""
    series: int


def unasked_falls(
    one: DriveSignals, others: list[DriveSignals], ride: Ride, seen: Witnesses
) -> list[DriveLoss]:
    """Where did this drive's current fall from load to nothing at once, with a witness that it was
    not the rider: the bus collapsed, the other side went on, a protection's line was reached?"""
    if one.work_a is None or one.demand is not None or one.work_a.size < 20:
        return []
    time_s, work = ride.time_s, one.work_a
    high = high_load_a(one)
    if high < 4 * one.floor_a:
        return []
    step = float(np.median(np.diff(time_s)))
    back_rows = max(1, round(SUDDEN_S / step))
    low = work <= max(one.floor_a, 0.05 * high)
    before = np.concatenate([np.zeros(back_rows), work[:-back_rows]])
    with np.errstate(invalid="ignore"):
        starts = low & ~np.concatenate([[True], low[:-1]]) & (before >= FROM_PART * high)
    found, up = [], ~low
    for first in np.flatnonzero(starts & ~one.dead).tolist():
        stop = int(np.searchsorted(time_s, time_s[first] + STAYS_S))
        if stop >= time_s.size or not low[first : stop + 1].all():
            continue
        if time_s[first] - time_s[first - back_rows] > ride.gap_s:
            continue
        if not _witnessed(one, others, first, back_rows, time_s, seen):
            continue
        back = next_true(up, first)
        last = time_s.size - 1 if back is None else back - 1
        at = max(first - back_rows, 0)
        sign = -1 if one.battery_a is not None and one.battery_a[at] < 0 else 1
        found.append(DriveLoss(one.name, sign, first, first, last, back, 0.0, "no_demand"))
    return found


def _witnessed(
    one: DriveSignals,
    others: list[DriveSignals],
    first: int,
    back_rows: int,
    time_s: Floats,
    seen: Witnesses,
) -> bool:
    near = slice(max(first - back_rows - 2, 0), first + 2)
    if bool(seen.lines[near].any()) or bool(seen.status[near].any()):
        return True
    if collapses(one.voltage_v, first, back_rows, time_s, seen.series):
        return True
    return any(_goes_on(other, first, back_rows, time_s) for other in others)


def collapses(
    voltage: Floats | None, first: int, back_rows: int, time_s: Floats, series: int
) -> bool:
    """Whether the bus falls after the current is gone, where it should rise."""
    if voltage is None:
        return False
    stop = int(np.searchsorted(time_s, time_s[first] + 3.0))
    before = voltage[max(first - back_rows - 3, 0) : max(first - back_rows + 1, 1)]
    after = voltage[first:stop]
    good, late = before[np.isfinite(before)], after[np.isfinite(after)]
    if good.size == 0 or late.size == 0:
        return False
    return bool(late.min() < np.median(good) - COLLAPSE_V_PER_CELL * series)


def _goes_on(other: DriveSignals, first: int, back_rows: int, time_s: Floats) -> bool:
    if other.work_a is None:
        return False
    stop = int(np.searchsorted(time_s, time_s[first] + 0.6))
    before = other.work_a[max(first - back_rows - 1, 0)]
    after = other.work_a[first:stop]
    after = after[np.isfinite(after)]
    loaded = before > 0.25 * high_load_a(other) and before > 4 * other.floor_a
    return bool(loaded and after.size >= 2 and np.quantile(after, 0.25) >= GOES_ON_PART * before)

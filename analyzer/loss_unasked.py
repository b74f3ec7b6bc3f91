"""Losses in logs without a demand: a current that falls at once is a loss only with a witness."""

from __future__ import annotations

import math
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
BLINKS_S = 0.15
"""... and this long where the bus fell with it: a contact may close again at once [s]. Our choice:
as short as a loss with a demand."""
COLLAPSE_V_PER_CELL = 0.15
"""Let go of its load a pack rises; a bus that falls instead by this much [V per cell] has lost its
pack. Our choice: far beyond noise and sag."""
BRAKE_COLLAPSE_V_PER_CELL = 0.35
"""Likewise after braking [V per cell]. Our choice: a full cell relaxes by 0.1 to 0.2 V."""
GONE_PART = 0.05
"""Under this part of the high load is gone. The contract's: a twentieth."""
DRAWS_PART = 0.1
"""A drive that gives this part of its high load draws the bus down. Our choice."""
LEAST_FLOORS, FEW_ROWS = 4.0, 10
"""A load must be so many times what counts as none, and be seen in more rows than these. Our
choice."""
DWINDLES_S, STAYS_LOW_S, MOSTLY_LOW = 20.0, 2.0, 0.8
"""Heat takes a current away within so long, and it stays away for so long [s], this part of that
time at least under what counts as gone. Our choice."""
GOES_ON_PART = 0.6
"""The other side keeps this part of its current. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Witnesses:
    """Rows at which something else than the rider may have stopped a drive."""

    lines: Bools
    """A protection's line is reached: a stop voltage, a temperature, a trip's level and delay."""
    too_hot: Bools
    """The controller or its motor is as hot as where it stops: what went slowly went by that."""
    too_high: Bools
    """The controller's overvoltage line is reached, at which it stops braking."""
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
    return [
        loss
        for sign, high in ((1, high_load_a(one)), (-1, _high_braking_a(one)))
        if high >= LEAST_FLOORS * one.floor_a
        for loss in _falls(one, others, ride, seen, sign, high)
    ]


def _high_braking_a(one: DriveSignals) -> float:
    """What this drive gives when it brakes hard in this ride."""
    assert one.work_a is not None
    hard = one.work_a[one.braking & ~one.dead]
    return float(np.quantile(hard, 0.9)) if hard.size > FEW_ROWS else 0.0


def _falls(
    one: DriveSignals,
    others: list[DriveSignals],
    ride: Ride,
    seen: Witnesses,
    sign: int,
    high: float,
) -> list[DriveLoss]:
    """Those of driving, or those of braking, of which `high` is much."""
    time_s, work = ride.time_s, one.work_a
    assert work is not None
    # A fall within the 0.3 s touches the rows on either side of it.
    back_rows = max(1, math.ceil(SUDDEN_S / float(np.median(np.diff(time_s))) - 0.01))
    low = work <= max(one.floor_a, GONE_PART * high)
    before = np.concatenate([np.zeros(back_rows), work[:-back_rows]])
    braked = np.concatenate([np.zeros(back_rows, np.bool_), one.braking[:-back_rows]])
    with np.errstate(invalid="ignore"):
        starts = low & ~np.concatenate([[True], low[:-1]]) & (before >= FROM_PART * high)
    starts &= braked == (sign < 0)
    line = COLLAPSE_V_PER_CELL if sign > 0 else BRAKE_COLLAPSE_V_PER_CELL
    found, up, fallen_v = [], ~low, seen.series * line
    quiet_v = _unloaded_v(one, others)
    if sign > 0:
        found += _dwindled(one, others, ride, seen, low, high)
    for first in np.flatnonzero(starts & ~one.dead).tolist():
        opened = collapses(one.voltage_v, quiet_v, first, back_rows, time_s, fallen_v)
        stays_s = BLINKS_S if opened else STAYS_S
        stop = int(np.searchsorted(time_s, time_s[first] + stays_s))
        if stop >= time_s.size or not low[first : stop + 1].all():
            continue
        if time_s[first] - time_s[first - back_rows] > ride.gap_s:
            continue
        if not opened and not _witnessed(others, first, back_rows, time_s, seen, sign):
            continue
        back = next_true(up, first)
        last = time_s.size - 1 if back is None else back - 1
        found.append(DriveLoss(one.name, sign, first, first, last, back, 0.0, "no_demand"))
    return found


def _dwindled(
    one: DriveSignals,
    others: list[DriveSignals],
    ride: Ride,
    seen: Witnesses,
    low: Bools,
    high: float,
) -> list[DriveLoss]:
    """Where driving current went slowly with this side at its stop temperature, while another side
    pulled on: one hand lets go of both."""
    time_s, work, found = ride.time_s, one.work_a, []
    assert work is not None
    edges = low & ~np.concatenate([[True], low[:-1]]) & seen.too_hot & ~one.dead
    for first in np.flatnonzero(edges).tolist():
        a = int(np.searchsorted(time_s, time_s[first] - DWINDLES_S))
        stop = int(np.searchsorted(time_s, time_s[first] + STAYS_LOW_S))
        if stop >= time_s.size or np.mean(low[first : stop + 1]) < MOSTLY_LOW:
            continue
        with np.errstate(invalid="ignore"):
            fell = (work[a:first] >= FROM_PART * high) & ~one.braking[a:first]
        if fell.any() and any(_goes_on(other, first, 1, time_s, 1) for other in others):
            back = next_true(~low, stop)
            last = time_s.size - 1 if back is None else back - 1
            found.append(DriveLoss(one.name, 1, first, first, last, back, 0.0, "no_demand"))
    return found


def _witnessed(
    others: list[DriveSignals],
    first: int,
    back_rows: int,
    time_s: Floats,
    seen: Witnesses,
    sign: int,
) -> bool:
    near = slice(max(first - back_rows - 2, 0), first + 2)
    if sign > 0 and (bool(seen.lines[near].any()) or bool(seen.status[near].any())):
        return True
    if sign < 0 and bool(seen.too_high[near].any()):
        return True
    return any(_goes_on(other, first, back_rows, time_s, sign) for other in others)


def _unloaded_v(one: DriveSignals, others: list[DriveSignals]) -> Floats | None:
    """The bus where it is told by itself what became of it: blank where any drive draws from it,
    for a hand that has let go and opens again makes it sag, and in a single row without reading."""
    if one.voltage_v is None:
        return None
    draws = one.dead.copy()
    draws[1:] &= ~one.dead[:-1]
    draws[:-1] &= ~one.dead[1:]
    for each in (one, *others):
        if each.work_a is not None:
            with np.errstate(invalid="ignore"):
                much = np.maximum(each.floor_a, DRAWS_PART * high_load_a(each))
                draws |= (each.work_a > much) & ~each.braking & ~each.dead
    return np.where(draws, np.nan, one.voltage_v)


def collapses(
    voltage: Floats | None,
    quiet_v: Floats | None,
    first: int,
    back_rows: int,
    time_s: Floats,
    least_v: float,
) -> bool:
    """Whether the bus falls by so much after the current is gone, where it should rise; `quiet_v`
    is blank where a load draws it down."""
    if voltage is None or quiet_v is None:
        return False
    stop = int(np.searchsorted(time_s, time_s[first] + 3.0))
    before = voltage[max(first - back_rows - 3, 0) : max(first - back_rows + 1, 1)]
    after = quiet_v[first:stop]
    good, late = before[np.isfinite(before)], after[np.isfinite(after)]
    if good.size == 0 or late.size == 0:
        return False
    return bool(late.min() < np.median(good) - least_v)


def _goes_on(other: DriveSignals, first: int, back_rows: int, time_s: Floats, sign: int) -> bool:
    """Whether another drive goes on driving, or braking, as before."""
    if other.work_a is None:
        return False
    stop = int(np.searchsorted(time_s, time_s[first] + 0.6))
    same = np.where(other.braking == (sign < 0), other.work_a, 0.0)
    before, after = same[max(first - back_rows - 1, 0)], same[first:stop]
    after = after[np.isfinite(after)]
    loaded = before > 0.25 * high_load_a(other) and before > 4 * other.floor_a
    return bool(loaded and after.size >= 2 and np.quantile(after, 0.25) >= GOES_ON_PART * before)

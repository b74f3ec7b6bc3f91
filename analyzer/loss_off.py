"""Power that went away while standing idle: a sleep timer, or a hand on the switch."""

from __future__ import annotations

import numpy as np

from analyzer.loss_signals import DriveSignals
from analyzer.losses import DriveLoss
from analyzer.quantities import Bools, Floats, spans_where
from importers.ride import Ride

IDLE_S = 30.0
"""So long without current, and a timer may have run out [s]. Our choice: the shortest timer."""
OFF_PART = 0.75
"""A bus under this part of its usual voltage at work has no pack behind it. Our choice."""
BACK_S = 5.0
"""Supply that comes back for so long was not just switched off at the end [s]. Our choice."""
FELL_PART = 0.9
"""Standing with nothing drawn a pack's voltage does not fall to this part. Our choice."""
LASTS_S = 1.0
"""Away for this long at least [s]. Our choice."""
STANDING_MPS, SPEED_S = 0.5, 2.0
"""Slower is standing [m/s], over so long [s]: a satellite's speed comes once a second. Our
choice."""
ROUND_S = 30.0
"""Sleep timers run for whole half minutes [s] (common practice, no source)."""
BLOCK_S, SLACK_S = 3.0, 2.0
"""The last block of a log goes with the supply, and standing still begins a little before or
after the last current [s]. Our choice."""


def switched_off(
    drives: tuple[DriveSignals, ...], ride: Ride, speed: Floats | None
) -> list[DriveLoss]:
    """Where did all drives lose their supply while standing, nothing having flowed for a while,
    and get it back? At the end of a log that is just the switch."""
    off = np.ones(ride.time_s.size, np.bool_)
    busy = np.zeros(ride.time_s.size, np.bool_)
    for one in drives:
        off &= _without_supply(one)
        if one.work_a is not None:
            with np.errstate(invalid="ignore"):
                busy |= (one.work_a > 3.0 * one.floor_a) & ~one.dead & ~off
    found: list[DriveLoss] = []
    time_s, busy_rows = ride.time_s, np.flatnonzero(busy)
    for span in spans_where(off, ride, join_s=3.0, min_s=LASTS_S):
        earlier = int(np.searchsorted(busy_rows, span.first)) - 1
        back_s = time_s[-1] - time_s[min(span.last + 1, time_s.size - 1)]
        if earlier < 0 or back_s < BACK_S:
            continue
        idle_s = time_s[span.first] - time_s[busy_rows[earlier]]
        if idle_s < IDLE_S or _rolls(speed, span.first, ride):
            continue
        back = span.last + 1
        found += [
            DriveLoss(one.name, 1, span.first, span.first, span.last, back, 0.0, "off")
            for one in drives
        ]
    return found


def switched_off_logger(
    drives: tuple[DriveSignals, ...], ride: Ride, speed: Floats | None, powered_by: str | None
) -> list[DriveLoss]:
    """The same for a logger that lives on the pack: a hole in the log while standing, in whose
    last rows the bus falls, or after an interval since anything flowed that is round, or the same
    again, as timers have and hands have not."""
    if powered_by == "own_battery":
        return []
    busy = np.zeros(ride.time_s.size, np.bool_)
    for one in drives:
        if one.work_a is not None:
            with np.errstate(invalid="ignore"):
                busy |= (one.work_a > 3.0 * one.floor_a) & ~one.dead
    time_s, holes = ride.time_s, []
    for row in np.flatnonzero(np.diff(time_s) > max(ride.gap_s, LASTS_S)).tolist():
        rows = np.flatnonzero(busy[: row + 1])
        back_s = float(time_s[-1] - time_s[row + 1])
        if rows.size == 0 or back_s < BACK_S or _rolls(speed, row + 1, ride):
            continue
        idle = float(time_s[row] - time_s[rows[-1]])
        if idle >= IDLE_S:
            holes.append((row, idle))
    found = []
    for row, idle in holes:
        over = (idle + BLOCK_S) % ROUND_S <= BLOCK_S + SLACK_S and powered_by == "pack"
        again = any(abs(idle - x) <= SLACK_S for other, x in holes if other != row)
        if over or again or _falling(drives, row, time_s):
            found += [DriveLoss(one.name, 1, row, row, row, row + 1, 0.0, "off") for one in drives]
    return found


def _falling(drives: tuple[DriveSignals, ...], row: int, time_s: Floats) -> bool:
    """Whether every bus had left its voltage when the log stopped, or its columns had died."""
    a = int(np.searchsorted(time_s, time_s[row] - 2.0 * LASTS_S))
    known = False
    for one in drives:
        if one.dead[row]:
            known = True
            continue
        if one.voltage_v is None:
            continue
        before = one.voltage_v[max(2 * a - row, 0) : a + 1]
        before = before[np.isfinite(before)]
        if before.size == 0 or not one.voltage_v[row] < FELL_PART * float(np.median(before)):
            return False
        known = True
    return known


def _without_supply(one: DriveSignals) -> Bools:
    out = one.dead.copy()
    if one.voltage_v is not None and np.isfinite(one.voltage_v).any():
        with np.errstate(invalid="ignore"):
            out |= one.voltage_v < OFF_PART * _usual_v(one)
    return out


def _usual_v(one: DriveSignals) -> float:
    """The bus at work, else over the whole log: long spells without supply are no usual voltage."""
    assert one.voltage_v is not None
    if one.work_a is not None:
        with np.errstate(invalid="ignore"):
            working = one.voltage_v[(one.work_a > 3.0 * one.floor_a) & ~one.dead]
        if np.isfinite(working).any():
            return float(np.nanmedian(working))
    return float(np.nanmedian(one.voltage_v))


def _rolls(speed: Floats | None, row: int, ride: Ride) -> bool:
    """Whether the vehicle moves just before `row`, by its motors or by satellite: a motor behind a
    freewheel stands while the vehicle coasts."""
    a = int(np.searchsorted(ride.time_s, ride.time_s[max(row - 1, 0)] - SPEED_S))
    for values in (speed, ride.get("gps_speed_mps")):
        part = np.zeros(0) if values is None else np.abs(values[a:row])
        part = part[np.isfinite(part)]
        if part.size and np.median(part) > STANDING_MPS:
            return True
    return False

"""Where did fading begin? A loss by low voltage or heat starts where power was first reduced."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyzer.loss_rows import AskedRows
from analyzer.loss_signals import DriveSignals
from analyzer.losses import SUDDEN_S, DriveLoss
from analyzer.quantities import Bools, Floats, spans_where
from importers.ride import Ride
from importers.setup_types import Drive

BRIDGE_S = 1.0
"""Fading may pause for this long and still be one [s]. Our choice."""
LONGEST_S = 900.0
"""No fading is followed further back [s]. Our choice."""
FADE_DEMAND = 0.15
"""Less demand is not held back by a fading limit. Our choice."""


VOLTAGE_PART, HEAT_PART, LEANS_A = 0.85, 0.97, 0.3
"""A current at this part of what is left, or so many amperes under it, is held there [A]. Our
choice: voltage bands ripple and hunt, heat moves slowly."""
END_PART = 0.3
"""Less of the limit than this is left near the end of a band. Our choice."""
SMOOTH_S = 0.5
"""Currents are compared as means over this long [s]. Our choice."""
FADED_PART = 0.065
"""Of the limit: the contract's twentieth, widened by what a reading may be off. Our choice."""
FADED_S = 1.0
"""... held for this long [s]: a start from rest passes there in less. Our choice."""


def with_fading(
    loss: DriveLoss, one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride
) -> DriveLoss:
    """The loss with `begin` where derating began, for one that faded; a sudden one as it is."""
    if loss.how not in ("gone", "no_demand", "dead"):
        return loss
    held = held_back_rows(one, rows, drive, ride)
    time_s = ride.time_s
    near = held[max(loss.first - 3, 0) : loss.first + 1]
    if not near.any() or not _near_the_end(loss.first, one, drive, ride):
        return loss
    begin = _since(held, loss.first, time_s)
    if time_s[loss.first] - time_s[begin] <= SUDDEN_S:
        return loss
    return replace(loss, begin=begin)


def _near_the_end(first: int, one: DriveSignals, drive: Drive, ride: Ride) -> bool:
    """Whether the last second came near to where the band ends: a protection that opens within
    the band is no fading."""
    # Rows in which the current was going already may show a bus without its pack.
    a, b = np.searchsorted(ride.time_s, ride.time_s[first] - np.array([1.2, 0.2])).tolist()
    voltage = one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")
    pairs = [(voltage, drive.derate_from_v, drive.stop_at_v, 1.0)]
    for part in ("controller", "motor"):
        heat = ride.get(f"{one.name}.{part}_temp_c")
        pairs.append(
            (heat, getattr(drive, f"{part}_derate_c"), getattr(drive, f"{part}_stop_c"), -1.0)
        )
    for values, begin, stop, sign in pairs:
        if values is None or begin is None or stop is None or begin == stop:
            continue
        part_left = _left(sign * values[a : max(b, a + 1)], sign * begin, sign * stop)
        good = part_left[np.isfinite(part_left)]
        if good.size and float(good.min()) < END_PART:
            return True
    return False


def held_back_rows(one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride) -> Bools:
    """Rows in which voltage or heat lies in a derate band and the current leans on what is left of
    its limit there; where the limit is not given, rows in the band with the demand there."""
    out = np.zeros(one.dead.size, np.bool_)
    voltage = one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")
    with np.errstate(invalid="ignore"):
        asking = rows.asked > 0
        if one.demand is None and one.work_a is not None:
            asking = one.work_a > one.floor_a
        elif one.demand is not None:
            asking = asking & (one.demand > FADE_DEMAND)
        if voltage is not None and drive.derate_from_v is not None:
            left = _left(voltage, drive.derate_from_v, drive.stop_at_v)
            battery = None if one.battery_a is None else smoothed(one.battery_a, ride.time_s)
            out |= asking & _leans(battery, drive.battery_drive_a, left, VOLTAGE_PART)
        for part in ("controller", "motor"):
            line, stop = getattr(drive, f"{part}_derate_c"), getattr(drive, f"{part}_stop_c")
            heat = ride.get(f"{one.name}.{part}_temp_c")
            if line is not None and heat is not None:
                left = _left(-heat, -line, None if stop is None else -stop)
                limit = np.where(
                    rows.asked < 0, drive.phase_brake_a or np.nan, drive.phase_drive_a or np.nan
                )
                phase = None if one.phase_a is None else smoothed(np.abs(one.phase_a), ride.time_s)
                out |= (rows.asked != 0) & _leans(phase, limit, left, HEAT_PART)
    return out


def _left(values: Floats, begin: float, stop: float | None) -> Floats:
    """What part of a limit a derate band leaves: 1 above it, 0 at its end; without a known end,
    a half throughout."""
    if stop is None or begin <= stop:
        return np.where(values < begin, 0.5 if stop is None else 0.0, 1.0)
    return np.clip((values - stop) / (begin - stop), 0.0, 1.0)


def smoothed(values: Floats, time_s: Floats) -> Floats:
    """Means over half a second around each row."""
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    n = max(1, round(SMOOTH_S / step)) | 1
    if n < 3 or values.size < n:
        return values
    known = np.nan_to_num(values)
    total = np.cumsum(np.concatenate([[0.0], known]))
    out = values.copy()
    half = n // 2
    out[half : values.size - half] = (total[n:] - total[:-n]) / n
    return out


def faded_away(one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride) -> Bools:
    """Rows in which low voltage has taken the battery current to about a twentieth of its limit
    with the demand there: gone, though a crawling motor still turns it into some pull."""
    out = np.zeros(one.dead.size, np.bool_)
    voltage = one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")
    limit, line = drive.battery_drive_a, drive.derate_from_v
    if one.demand is None or one.battery_a is None or voltage is None:
        return out
    if limit is None or line is None:
        return out
    with np.errstate(invalid="ignore"):
        low = smoothed(one.battery_a, ride.time_s) <= FADED_PART * limit
        asked = (one.demand > 2 * FADE_DEMAND) & (rows.asked > 0) & ~one.dead
        out = low & asked & (voltage < line)
    for span in spans_where(~out, ride, join_s=0.0, min_s=0.0):
        if span.length_s < BRIDGE_S and span.first > 0 and span.last < out.size - 1:
            out[span.rows] = asked[span.rows]
    kept = np.zeros(out.size, np.bool_)
    for span in spans_where(out, ride, join_s=0.0, min_s=FADED_S):
        kept[span.rows] = True
    return kept


def _leans(
    current: Floats | None, limit: Floats | float | None, left: Floats, part: float
) -> Bools:
    """Whether a current sits at what is left of its limit."""
    band = left < 0.99
    if current is None or limit is None:
        return np.asarray(band, np.bool_)
    at = current >= part * limit * left - LEANS_A
    return np.asarray(band & (at | ~np.isfinite(limit)), np.bool_)


def _since(held: Bools, first: int, time_s: Floats) -> int:
    """First row of the run of `held` that ends at `first`, pauses bridged."""
    a = int(np.searchsorted(time_s, time_s[first] - LONGEST_S))
    at = np.flatnonzero(held[a : first + 1]) + a
    if at.size == 0:
        return first
    gaps = np.flatnonzero(np.diff(time_s[at]) > BRIDGE_S)
    return int(at[gaps[-1] + 1]) if gaps.size else int(at[0])

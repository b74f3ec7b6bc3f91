"""Where did fading begin? A loss by low voltage or heat starts where power was first reduced."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analyzer.loss_rows import AskedRows
from analyzer.loss_signals import DriveSignals
from analyzer.losses import SUDDEN_S, DriveLoss
from analyzer.quantities import Bools, Floats, spans_where
from analyzer.sensors import TEMP_RATE_K_PER_S
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
OPENED_V_PER_CELL = 0.3
"""A bus that falls by this much when its load goes has lost its pack [V per cell]. Our choice."""
FALL_STEP_S = 0.25
"""A falling current is followed back in steps of this [s]. Our choice."""
FALL_PART, LONGEST_FALL_S = 1.04, 20.0
"""... while each is this much higher than the next, no further than this [s]. Our choice."""
SLOWEST_UPDATE_S = 2.0
"""A temperature that is renewed more seldom is not looked ahead in [s]. Our choice."""
LEVEL_S, BEND_PART, STEADY_HAND = 3.0, 0.6, 0.03
"""A current is looked at from so long before its band [s] until it has fallen to this part, while
the demand moves by no more than the last. Our choice."""
LEAST_BEND, MOST_BENDS = 10, 60
"""Readings that a bend needs, and places it is tried at. Our choice."""
FADED_PART = 0.065
"""Of the limit: the contract's twentieth, widened by what a reading may be off. Our choice."""
MOST_LEFT = 0.3
"""... by a voltage that leaves no more than this part of it. Our choice: a twentieth, widened by
what noise and hunting move a narrow band."""
FADED_S = 1.0
"""... held for this long [s]: a start from rest passes there in less. Our choice."""


def with_fading(
    loss: DriveLoss, one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride, series: int
) -> DriveLoss:
    """The loss with `begin` where derating began, for one that faded; a sudden one as it is."""
    if loss.how not in ("gone", "no_demand", "dead"):
        return loss
    band = _ending_band(loss, one, rows, drive, ride)
    if band is None or _path_opened(loss.first, one, ride, series):
        return loss
    begin = loss.first
    if band.held[max(loss.first - 3, 0) : loss.first + 1].any():
        begin = _since(band.held, loss.first, ride.time_s)
        begin = max(begin, _bend(begin, loss.first, one, ride))
    begin = min(begin, _since_falling(loss.first, one, ride))
    if ride.time_s[loss.first] - ride.time_s[begin] <= SUDDEN_S:
        return loss
    return replace(loss, begin=begin)


@dataclass(frozen=True, slots=True, eq=False)
class _Band:
    """One derate band over the ride."""

    left: Floats
    """What part of the limit it leaves at each row, the readings' lateness allowed for."""
    held: Bools
    """Whether the current leans on what the readings leave."""


def _ending_band(
    loss: DriveLoss, one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride
) -> _Band | None:
    """The band that the last second came nearest to the end of; None where none was near: a
    protection that opens within a band is no fading."""
    # Rows in which the current was going already may show a bus without its pack.
    a, b = np.searchsorted(ride.time_s, ride.time_s[loss.first] - np.array([1.2, 0.2])).tolist()
    best, least = None, END_PART
    for band in _bands(one, rows, drive, ride):
        near = band.left[a : max(b, a + 1)]
        near = near[np.isfinite(near)]
        if near.size and float(near.min()) < least:
            best, least = band, float(near.min())
    return best


def _path_opened(first: int, one: DriveSignals, ride: Ride, series: int) -> bool:
    """Whether the bus fell when the load went, where it should rise: nothing faded."""
    if one.voltage_v is None:
        return False
    edges = ride.time_s[first] + np.array([-1.0, -0.2, 0.6])
    a, b, c = np.searchsorted(ride.time_s, edges).tolist()
    before, after = one.voltage_v[a : max(b, a + 1)], one.voltage_v[first : max(c, first + 1)]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if before.size == 0 or after.size == 0:
        return False
    return bool(after.min() < np.median(before) - OPENED_V_PER_CELL * series)


def _bend(begin: int, first: int, one: DriveSignals, ride: Ride) -> int:
    """Where a current that was level at the same demand began to fall, for bands and readings of
    setup and log are not the controller's own: least squares of a level and the line that leaves
    it, down to `BEND_PART`; `begin` where the demand moved or nothing was level."""
    if one.work_a is None or one.demand is None:
        return begin
    time_s = ride.time_s
    a = int(np.searchsorted(time_s, time_s[begin] - LEVEL_S))
    work = smoothed(one.work_a[a : first + 1], time_s[a : first + 1])
    level = float(np.nanmedian(work[: begin - a + 1]))
    low = np.flatnonzero(work < BEND_PART * level)
    low = low[low > begin - a]
    rows = slice(a, a + int(low[0]) if low.size else first + 1)
    t, y, hand = time_s[rows], one.work_a[rows], one.demand[rows]
    good = np.isfinite(y) & np.isfinite(hand)
    if good.sum() < LEAST_BEND or np.ptp(hand[good]) > STEADY_HAND:
        return begin
    stride = max(1, t.size // MOST_BENDS)
    best, found = np.inf, begin
    for at in range(begin - a, t.size - 2, stride):
        ramp = np.clip(t[good] - t[at], 0.0, None)
        line = np.column_stack([np.ones(ramp.size), ramp])
        fit, *_ = np.linalg.lstsq(line, y[good], rcond=None)
        off = float(np.sum((line @ fit - y[good]) ** 2))
        if off < best and fit[1] < 0.0:
            best, found = off, a + at
    return found


def _since_falling(first: int, one: DriveSignals, ride: Ride) -> int:
    """From where the current fell all the way at no less demand: a reading of heat comes late,
    the current does not."""
    if one.work_a is None or one.demand is None:
        return first
    time_s, begin, reach = ride.time_s, first, first
    while time_s[first] - time_s[reach] < LONGEST_FALL_S:
        a = int(np.searchsorted(time_s, time_s[reach] - FALL_STEP_S))
        if a >= reach or a == 0:
            break
        now, before = one.work_a[a:reach], one.work_a[max(2 * a - reach, 0) : a]
        if now.size == 0 or before.size == 0:
            break
        rises = np.nanmedian(before) > np.nanmedian(now) * FALL_PART + 0.2 * one.floor_a
        eased = np.nanmedian(one.demand[a:reach]) < 0.97 * np.nanmedian(one.demand[a - 1 : a + 1])
        if not rises or eased:
            break
        begin = reach = a
    return begin if time_s[first] - time_s[begin] > 2 * FALL_STEP_S else first


def _bands(one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride) -> list[_Band]:
    """Voltage, controller and motor heat, as far as setup and log tell them."""
    out = []
    voltage = one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")
    asking = rows.asked > 0
    if one.demand is None and one.work_a is not None:
        asking = np.nan_to_num(one.work_a) > one.floor_a
    elif one.demand is not None:
        asking = asking & (np.nan_to_num(one.demand) > FADE_DEMAND)
    if voltage is not None and drive.derate_from_v is not None:
        left = _left(voltage, drive.derate_from_v, drive.stop_at_v)
        battery = None if one.battery_a is None else smoothed(one.battery_a, ride.time_s)
        held = asking & _leans(battery, drive.battery_drive_a, left, VOLTAGE_PART)
        out.append(_Band(left, held))
    for part in ("controller", "motor"):
        line, stop = getattr(drive, f"{part}_derate_c"), getattr(drive, f"{part}_stop_c")
        channel = f"{one.name}.{part}_temp_c"
        heat = ride.get(channel)
        if line is None or heat is None:
            continue
        end = None if stop is None else -stop
        left = _left(-heat, -line, end)
        limit = np.where(
            rows.asked < 0, drive.phase_brake_a or np.nan, drive.phase_drive_a or np.nan
        )
        phase = None if one.phase_a is None else smoothed(np.abs(one.phase_a), ride.time_s)
        held = (rows.asked != 0) & _leans(phase, limit, left, HEAT_PART)
        out.append(_Band(_left(-_true_by_then(heat, ride, channel), -line, end), held))
    return out


def _true_by_then(heat: Floats, ride: Ride, channel: str) -> Floats:
    """The hottest it may be: what the next update will say, and what rounding took off."""
    rate = ride.rate_hz(channel)
    wait_s = min(1.0 / rate, SLOWEST_UPDATE_S) if rate else 0.0
    step = float(np.median(np.diff(ride.time_s))) if heat.size > 2 else 1.0
    ahead = min(round(wait_s / step), max(heat.size - 1, 0))
    later = np.concatenate([heat[ahead:], np.full(ahead, heat[-1])]) if ahead else heat
    moves = np.abs(np.diff(heat[np.isfinite(heat)]))
    moves = moves[moves > 0]
    rounded = min(float(moves.min()), 1.0) if moves.size else 0.0
    # What no mass can do is a wire, not what comes next.
    later = np.where(later < heat + TEMP_RATE_K_PER_S * SLOWEST_UPDATE_S, later, heat)
    return np.fmax(heat, later) + 0.5 * rounded


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
    # A motor that stands draws little, whatever the voltage leaves it.
    stop = line if drive.stop_at_v is None else drive.stop_at_v
    with np.errstate(invalid="ignore"):
        low = smoothed(one.battery_a, ride.time_s) <= FADED_PART * limit
        asked = (one.demand > 2 * FADE_DEMAND) & (rows.asked > 0) & ~one.dead
        out = low & asked & (voltage < stop + MOST_LEFT * max(line - stop, 0.0))
    for span in spans_where(~out, ride, join_s=0.0, min_s=0.0):
        if span.length_s < BRIDGE_S and span.first > 0 and span.last < out.size - 1:
            out[span.rows] = asked[span.rows]
    kept = np.zeros(out.size, np.bool_)
    for span in spans_where(out, ride, join_s=0.0, min_s=FADED_S):
        kept[span.rows] = True
    return kept


def refused(one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride) -> Bools:
    """Rows in which a drive that this ride never saw give anything for such a demand gives nothing
    at or below its own stop voltage."""
    out = np.zeros(one.dead.size, np.bool_)
    voltage = one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")
    if one.demand is None or one.work_a is None or voltage is None or drive.stop_at_v is None:
        return out
    with np.errstate(invalid="ignore"):
        nothing = (one.work_a <= one.floor_a) & (one.demand > 2 * FADE_DEMAND) & ~one.dead
        return np.asarray(nothing & np.isnan(rows.expected_a) & (voltage <= drive.stop_at_v))


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

"""When did a driven wheel let go of the road?

A wheel that slips parts from the other in tenths of a second, in the direction of its own torque;
bends part them too, but slowly. With one drive there is nothing to compare and none is claimed.
"""

from __future__ import annotations

import numpy as np

from analyzer.events import Event, Peak
from analyzer.quantities import (
    SLOW_RATE_HZ,
    Bools,
    Floats,
    Span,
    spans_where,
    step_s,
    wheel_speed_mps,
    window_mean,
)
from analyzer.words import EventKind, Severity
from importers.ride import Ride
from importers.setup_types import Setup

SMOOTH_S = 0.12
"""Noise of single speed samples is averaged over this [s]. Our choice."""
HABIT_S = 4.0
"""How the wheels differ anyway (bends, tyres) is the mean over this [s] about a moment. Our
choice: a bend lasts seconds, a slip mostly less than one."""
APART_MPS, APART_PART = 0.8, 0.15
"""A slipping wheel parts from the other by more than both, in m/s and as a part of the speed. Our
choice: a bend of 5 m radius makes 0.6 m/s at 5 m/s between wheels 0.6 m apart."""
APART_MPS2 = 3.0
"""... and faster than this [m/s²]. Our choice: steering parts wheels by about 1 m/s²."""
BEFORE_S = 0.4
"""The fast parting lies in the span or this shortly before it [s]. Our choice."""
TORQUE_A = 2.0
"""Less phase or battery current than this slips no wheel [A]. Our choice."""
LONG_S = 1.0
"""A slip this long is worth watching [s]. Our choice: most regain in under a second."""


def find_wheel_slip(ride: Ride, setup: Setup) -> list[Event]:
    """When did a driven wheel spin up, or lock under motor braking? Any length is listed."""
    names = [n for n in setup.drive_names if wheel_speed_mps(ride, setup, n) is not None]
    if len(names) < 2:
        return []
    speeds = {}
    for name in names:
        speed = wheel_speed_mps(ride, setup, name)
        if speed is None or speed.at_least:
            return []
        speeds[name] = speed.values
    if _rate_hz(ride) < SLOW_RATE_HZ:
        return []
    events = []
    for name in names:
        others = np.vstack([speeds[one] for one in names if one != name])
        apart = speeds[name] - others.mean(axis=0)
        events += _slips(ride, name, apart, others.mean(axis=0))
    return events


def _rate_hz(ride: Ride) -> float:
    step = step_s(ride)
    positive = step[step > 0]
    return 1.0 / float(np.median(positive)) if positive.size else 0.0


def _slips(ride: Ride, name: str, apart: Floats, road: Floats) -> list[Event]:
    way = _torque_way(ride, name)
    if way is None:
        return []
    usual = _usual(apart, road)
    with np.errstate(invalid="ignore"):
        if not bool((way * (apart - usual * road) > APART_MPS / 2).any()):
            return []
    near = window_mean(apart, ride, SMOOTH_S)
    mean = window_mean(apart, ride, HABIT_S)
    # The mean over the window about each moment: the one that ends half a window later.
    later = np.searchsorted(ride.time_s, ride.time_s + HABIT_S / 2).clip(0, apart.size - 1)
    beyond = way * (near - np.where(np.isfinite(mean[later]), mean[later], mean))
    with np.errstate(invalid="ignore"):
        # Off what the two read over the whole ride, too: after a long slip the habit lags.
        off = way * (near - usual * road)
        mask: Bools = np.asarray(
            (beyond > APART_MPS) & (beyond > APART_PART * np.abs(road)) & (off > APART_MPS / 2),
            np.bool_,
        )
    events = []
    for span in spans_where(mask, ride, min_s=0.0):
        if not _parts_fast(ride, span, near, way):
            continue
        top = float(np.nanmax(beyond[span.rows]))
        length_s = span.length_s
        events.append(
            Event(
                EventKind.WHEEL_SLIP,
                span.start_s,
                span.end_s,
                (name,),
                Severity.WATCH if length_s >= LONG_S else Severity.NOTE,
                Peak(f"{name}.wheel_speed_mps", float(np.nanmax(np.abs(road + apart)[span.rows]))),
                facts=(f"The wheel was {3.6 * top:.0f} km/h off the other for {length_s:.1f} s.",),
                measures=(("length_s", length_s), ("apart_mps", top)),
            )
        )
    return events


def _usual(apart: Floats, road: Floats) -> float:
    """By which part of the speed the wheel usually reads off the others."""
    moving = np.isfinite(apart) & np.isfinite(road) & (road > 1.0)
    return float(np.median(apart[moving] / road[moving])) if moving.any() else 0.0


def _torque_way(ride: Ride, name: str) -> Floats | None:
    """+1 where the drive pulls, -1 where it brakes, 0 where it does hardly anything."""
    values = ride.get(f"{name}.phase_current_a")
    if values is None:
        values = ride.get(f"{name}.battery_current_a")
    if values is None:
        return None
    with np.errstate(invalid="ignore"):
        return np.where(values > TORQUE_A, 1.0, np.where(values < -TORQUE_A, -1.0, 0.0))


def _parts_fast(ride: Ride, span: Span, near: Floats, way: Floats) -> bool:
    time_s = ride.time_s
    first = int(np.searchsorted(time_s, span.start_s - BEFORE_S))
    rows = slice(first, span.last + 1)
    part, at = near[rows] * np.sign(np.nansum(way[span.rows]) or 1.0), time_s[rows]
    back = np.searchsorted(at, at - 0.2).clip(0)
    time = at - at[back]
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(time > 0.05, (part - part[back]) / time, np.nan)
    return bool(np.isfinite(rate).any() and np.nanmax(rate) > APART_MPS2)

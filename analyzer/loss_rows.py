"""Row by row: was current asked for, and is it under a twentieth of what that demand gave?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.loss_signals import DriveSignals
from analyzer.loss_usual import ASKED, Usual, classes
from analyzer.quantities import Bools, Floats

GONE_PART = 0.05
"""Under this part of what the same demand gave is gone. The contract's: a twentieth."""
FADED_FLOOR_A = 0.5
"""Battery current below this is none where something still flows in the motor [A]. Our choice."""
FADED_PART = 0.3
"""... as long as that is less than this part of what the same demand gave. Our choice."""
BRAKES_FROM_MPS = 2.0
"""Slower, controllers let go of motor braking by themselves [m/s]. Our choice: a few km/h."""
CARRY_S = 1.0
"""So long what was expected holds on where a slowing vehicle gets to speeds not learnt [s]. Our
choice: a slope or a hand changes little in it."""
SAME_DEMAND = 0.95
"""... while the demand is this part of what it was, or more. Our choice."""
HALF_DEMAND = 0.5
"""A brake demand of this part of what it was still asks for braking. Our choice."""
LASTING_PART = 0.3
"""Braking that flows for this part of `CARRY_S` tells what braking gives; what pushes into an open
path for a moment does not, where there is both. Our choice."""
FEW_ROWS = 4
"""So many rows of braking at least tell what braking gives. Our choice."""
TELLING = 4.0
"""What a demand gives must be this many times the floor for its absence to be seen. Our choice."""
TOP_DUTY_PCT = 90.0
"""From here the motor's own voltage leaves no room for current [%]. Our choice: controllers end
at 93 to 100 % (common practice, no source)."""
TOP_PART, SLOWER_PART = 0.93, 0.85
"""Of the highest speed per volt at which the drive pulled, likewise. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class AskedRows:
    """One drive's rows judged."""

    asked: Floats
    """1 where drive is asked for, -1 braking, 0 nothing or unknown."""
    expected_a: Floats
    """What the same demand at the same speed gave elsewhere in the ride; NaN where not learnt."""
    gone: Bools
    """Asked for and under a twentieth of it, with a reading."""
    given: Bools
    """Asked for and clearly there."""
    top_speed: Bools
    """Near the speed at which the motor's voltage leaves no room for current."""
    pushed: Bools | None = None
    """Beyond it: a slope turns the motor faster than this voltage can. None where not known."""


def asked_rows(
    one: DriveSignals,
    duty_pct: Floats | None,
    speed: Floats | None,
    usual: Usual | None,
    carry_rows: int = 0,
) -> AskedRows:
    """Was current asked of this drive at each row, and was it there? Without a logged demand
    nothing is asked."""
    rows = one.dead.size
    nothing = np.zeros(rows, np.bool_)
    top, pushed = _top_speed(one, duty_pct, rows)
    if one.demand is None or one.work_a is None or usual is None:
        empty = np.full(rows, np.nan)
        return AskedRows(np.zeros(rows), empty, nothing, nothing, top, pushed)
    demand = np.where(np.isfinite(one.demand), one.demand, 0.0)
    asked = np.where(demand > ASKED, 1.0, np.where(demand < -ASKED, -1.0, 0.0))
    if speed is not None:
        # Motor braking ends before the vehicle stands.
        asked = np.where((asked < 0) & (np.abs(np.nan_to_num(speed)) < BRAKES_FROM_MPS), 0.0, asked)
    places = classes(demand, speed)
    expected = np.asarray(usual.work_a[places], np.float64)
    expected = _or_any_braking(one, demand, asked, expected, carry_rows)
    if speed is not None and carry_rows > 0:
        expected = _carried(expected, asked, np.abs(demand), np.abs(speed), carry_rows)
    if carry_rows > 0:
        expected = _under_way(one, expected, asked, np.abs(demand), carry_rows)
    with np.errstate(invalid="ignore"):
        readable = np.isfinite(one.work_a) & ~one.dead
        least = np.maximum(GONE_PART * expected, one.floor_a)
        telling = expected > TELLING * one.floor_a
        gone = readable & (asked != 0) & telling & (one.work_a <= least)
        given = readable & (asked != 0) & (one.work_a > np.maximum(2.0 * least, 0.15 * expected))
        if usual.battery_a is not None and one.battery_a is not None:
            # A fading limit on battery current leaves some motor current at low speed.
            power = np.asarray(usual.battery_a[places], np.float64)
            drawn = np.abs(one.battery_a)
            low = (power > TELLING * FADED_FLOOR_A) & (
                drawn <= np.maximum(GONE_PART * power, FADED_FLOOR_A)
            )
            gone |= readable & (asked > 0) & telling & low & (one.work_a <= FADED_PART * expected)
    return AskedRows(asked, expected, gone, given, top, pushed)


def _carried(
    expected: Floats, asked: Floats, demand: Floats, speed: Floats, carry_rows: int
) -> Floats:
    """A vehicle that slows into speeds not ridden before gets, at no less demand, no less current
    than a moment ago."""
    known = np.where(np.isfinite(expected), np.arange(expected.size), -1)
    last = np.maximum.accumulate(known)
    at = np.maximum(last, 0)
    rows = np.arange(expected.size)
    with np.errstate(invalid="ignore"):
        same = (asked > 0) & (asked[at] > 0) & (demand >= SAME_DEMAND * demand[at])
        slower = speed <= speed[at]
    good = (last >= 0) & (rows - at <= carry_rows) & same & slower & np.isnan(expected)
    return np.where(good, expected[at], expected)


def _under_way(
    one: DriveSignals, expected: Floats, asked: Floats, demand: Floats, carry_rows: int
) -> Floats:
    """Braking that was under way a moment ago goes on in proportion to the demand: where its class
    was not learnt, or only from braking that was lost, what flowed then says what to expect."""
    assert one.work_a is not None
    flows = (asked < 0) & one.braking & (np.nan_to_num(one.work_a) > TELLING * one.floor_a)
    # Two rows of it, so that one spike teaches nothing.
    flows[1:] &= flows[:-1].copy()
    last = np.maximum.accumulate(np.where(flows, np.arange(flows.size), -1))
    at, rows = np.maximum(last, 0), np.arange(flows.size)
    same = (asked < 0) & (asked[at] < 0) & (demand >= HALF_DEMAND * demand[at])
    good = (last >= 0) & (rows - at <= carry_rows) & same
    with np.errstate(invalid="ignore", divide="ignore"):
        flowed = one.work_a[at] * np.clip(demand / demand[at], 0.0, 1.0)
    return np.where(good, np.fmax(expected, flowed), expected)


def _or_any_braking(
    one: DriveSignals, demand: Floats, asked: Floats, expected: Floats, carry_rows: int
) -> Floats:
    """Braking is rare: where its class was not learnt, what any braking of this ride gave, the
    weaker part of it, in proportion to the demand."""
    assert one.work_a is not None
    flows = (asked < 0) & one.braking
    lasting = _lasting(flows, max(round(LASTING_PART * carry_rows), FEW_ROWS))
    flows = lasting if lasting.any() else flows
    open_rows = (asked < 0) & np.isnan(expected)
    if int(flows.sum()) < FEW_ROWS or not open_rows.any():
        return expected
    usual = float(np.quantile(one.work_a[flows], 0.3))
    middle = float(np.median(np.abs(demand[flows])))
    out = expected.copy()
    out[open_rows] = usual * np.clip(np.abs(demand[open_rows]) / middle, 0.0, 1.0)
    return out


def _lasting(on: Bools, least: int) -> Bools:
    """The runs of at least so many rows."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(np.int8), [0]])))
    out = np.zeros(on.size, np.bool_)
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        out[first:stop] = stop - first >= least
    return out


def _top_speed(one: DriveSignals, duty_pct: Floats | None, rows: int) -> tuple[Bools, Bools | None]:
    """Where the drive is near the top of its speed, and where beyond it."""
    if duty_pct is not None and bool(np.isfinite(duty_pct).any()):
        with np.errstate(invalid="ignore"):
            return np.asarray(duty_pct >= TOP_DUTY_PCT, np.bool_), None
    if one.speed_mps is None or one.work_a is None:
        return np.zeros(rows, np.bool_), None
    volts = one.voltage_v
    with np.errstate(invalid="ignore", divide="ignore"):
        per_volt = np.abs(one.speed_mps) / (
            1.0 if volts is None else np.where(volts > 5, volts, np.nan)
        )
        pulling = (one.work_a > 2 * one.floor_a) & np.isfinite(per_volt)
        # Downhill the motors brake at speeds that they cannot pull at.
        if one.demand is not None:
            pulling &= one.demand > 0.0
        if one.battery_a is not None:
            pulling &= one.battery_a > 0.0
    if int(pulling.sum()) < 50:
        return np.zeros(rows, np.bool_), None
    top = float(np.quantile(per_volt[pulling], 0.995))
    with np.errstate(invalid="ignore"):
        near, slower = per_volt >= TOP_PART * top, per_volt < SLOWER_PART * top
        slower &= per_volt > 0.5 * top
    # Only where the drive really pulls less up there is it the motor's top; else the rider's.
    at_top, below = one.work_a[pulling & near], one.work_a[pulling & slower]
    if at_top.size < 20 or below.size < 50 or np.median(at_top) > 0.6 * np.median(below):
        return np.zeros(rows, np.bool_), None
    with np.errstate(invalid="ignore"):
        return np.asarray(near, np.bool_), np.asarray(per_volt >= top, np.bool_)

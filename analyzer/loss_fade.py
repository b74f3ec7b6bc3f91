"""Where did fading begin? A loss by low voltage or heat starts where power was first reduced."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyzer.loss_rows import AskedRows
from analyzer.loss_signals import DriveSignals
from analyzer.losses import SUDDEN_S, DriveLoss
from analyzer.quantities import Bools, Floats
from importers.ride import Ride
from importers.setup_types import Drive

BRIDGE_S = 1.0
"""Fading may pause for this long and still be one [s]. Our choice."""
LONGEST_S = 900.0
"""No fading is followed further back [s]. Our choice."""
FADE_DEMAND = 0.15
"""Less demand is not held back by a fading limit. Our choice."""


def with_fading(
    loss: DriveLoss, one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride
) -> DriveLoss:
    """The loss with `begin` where derating began, for one that faded; a sudden one as it is."""
    if loss.how not in ("gone", "no_demand", "dead"):
        return loss
    held = held_back_rows(one, rows, drive, ride)
    time_s = ride.time_s
    near = held[max(loss.first - 3, 0) : loss.first + 1]
    if not near.any():
        return loss
    begin = _since(held, loss.first, time_s)
    if time_s[loss.first] - time_s[begin] <= SUDDEN_S:
        return loss
    return replace(loss, begin=begin)


def held_back_rows(one: DriveSignals, rows: AskedRows, drive: Drive, ride: Ride) -> Bools:
    """Rows in which the demand is there and voltage or heat lies in a derate band."""
    out = np.zeros(one.dead.size, np.bool_)
    voltage = one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")
    with np.errstate(invalid="ignore"):
        asking = rows.asked > 0
        if one.demand is None and one.work_a is not None:
            asking = one.work_a > one.floor_a
        elif one.demand is not None:
            asking = asking & (one.demand > FADE_DEMAND)
        if voltage is not None and drive.derate_from_v is not None:
            out |= asking & (voltage < drive.derate_from_v)
        for part in ("controller", "motor"):
            line = getattr(drive, f"{part}_derate_c")
            heat = ride.get(f"{one.name}.{part}_temp_c")
            if line is not None and heat is not None:
                out |= (rows.asked != 0) & (heat > line)
    return out


def _since(held: Bools, first: int, time_s: Floats) -> int:
    """First row of the run of `held` that ends at `first`, pauses bridged."""
    a = int(np.searchsorted(time_s, time_s[first] - LONGEST_S))
    at = np.flatnonzero(held[a : first + 1]) + a
    if at.size == 0:
        return first
    gaps = np.flatnonzero(np.diff(time_s[at]) > BRIDGE_S)
    return int(at[gaps[-1] + 1]) if gaps.size else int(at[0])

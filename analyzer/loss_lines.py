"""At which rows was a protection's own line reached: trips by level and time, voltage, heat?"""

from __future__ import annotations

import numpy as np

from analyzer.loss_signals import DriveSignals
from analyzer.quantities import Bools, Floats, drives_current_a, pack_current_a
from importers.ride import Ride
from importers.setup_types import Drive, Ports, Setup

LEVEL_ACCURACY = 0.03
"""A reading this far under a trip's level may be above it in truth. Common practice, no source:
a controller's battery current is right within 3 to 5 %, a shunt's within 1 to 3 %."""
NEAR_V = 0.4
"""A loaded voltage this near to a line may have touched it between samples [V]. Our choice."""
NEAR_K = 2.0
"""Likewise a temperature [K]. Our choice."""
STATUS_S = 0.5
"""A code that changes this near to a loss belongs to it [s]. The issue's."""


FAST_HZ = 8.0
"""A management system that tells its current less often may still show the second before a trip of
half a second [Hz]. Our choice."""


def prompt_current_a(ride: Ride, setup: Setup) -> Floats | None:
    """The pack's current [A] as it was at each moment: where the management system reads slowly,
    the drives' own currents and what flows past them."""
    logged = ride.get("pack_current_a")
    rate = ride.rate_hz("pack_current_a")
    own = drives_current_a(ride, setup)
    if logged is None or own is None or "pack_current_a" in own.channels:
        known = pack_current_a(ride, setup)
        return None if known is None else known.values
    if rate is None or rate >= FAST_HZ:
        return logged
    beside = setup.pack.aux_a
    if beside is None:
        apart = logged - own.values
        beside = float(np.nanmedian(apart)) if np.isfinite(apart).any() else 0.0
    return np.where(np.isfinite(own.values), own.values + beside, logged)


def trip_used(ride: Ride, setup: Setup) -> dict[str, Floats]:
    """How much of each current trip's delay had been used up at each row, as a part of it? Counted
    from level and time, allowing for the reading's accuracy; empty where the setup has no trip."""
    current = prompt_current_a(ride, setup)
    if current is None or ride.time_s.size < 2:
        return {}
    values = _mended(current)
    out = {}
    for word, sign in (("discharge", 1.0), ("charge", -1.0)):
        level = getattr(setup.bms, f"{word}_trip_a")
        delay_s = getattr(setup.bms, f"{word}_trip_delay_s")
        if level is None or (word == "charge" and setup.bms.ports is Ports.SEPARATE):
            continue
        above = sign * values > level * (1.0 - LEVEL_ACCURACY)
        held = _held_s(above, ride)
        out[word] = held / delay_s if delay_s else above.astype(np.float64)
    return out


def _mended(values: Floats) -> Floats:
    """One low reading between two high ones is the reading's noise."""
    out = np.nan_to_num(values)
    if out.size > 2:
        middle = np.maximum(out[1:-1], np.minimum(out[:-2], out[2:]))
        out = np.concatenate([out[:1], middle, out[-1:]])
    return out


def _held_s(above: Bools, ride: Ride) -> Floats:
    """For how long has it been so, at each row [s]? Holes start anew."""
    time_s = ride.time_s
    step = np.diff(time_s, prepend=time_s[0])
    fresh = ~above | (step > ride.gap_s)
    count = np.cumsum(np.where(above, np.minimum(step, ride.gap_s), 0.0))
    base = np.maximum.accumulate(np.where(fresh, count, 0.0))
    return np.where(above, count - base + float(np.median(step[1:])), 0.0)


def line_rows(one: DriveSignals, drive: Drive, ride: Ride) -> Bools:
    """Rows at which this controller's own stop line was reached: voltage low or high, heat."""
    out, voltage = too_high_rows(one, drive, ride), _bus_v(one, ride)
    with np.errstate(invalid="ignore"):
        if voltage is not None and drive.stop_at_v is not None:
            out |= voltage <= drive.stop_at_v + NEAR_V
    return out | too_hot_rows(one, drive, ride)


def too_hot_rows(one: DriveSignals, drive: Drive, ride: Ride) -> Bools:
    """Rows at which this controller or its motor was as hot as where it stops."""
    out = np.zeros(one.dead.size, np.bool_)
    for part in ("controller", "motor"):
        stop, heat = getattr(drive, f"{part}_stop_c"), ride.get(f"{one.name}.{part}_temp_c")
        if stop is not None and heat is not None:
            with np.errstate(invalid="ignore"):
                out |= heat >= stop - NEAR_K
    return out


def too_high_rows(one: DriveSignals, drive: Drive, ride: Ride) -> Bools:
    """Rows at which this controller's own overvoltage line was reached: it stops braking there."""
    voltage = _bus_v(one, ride)
    if voltage is None or drive.overvoltage_v is None:
        return np.zeros(one.dead.size, np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray(voltage >= drive.overvoltage_v - NEAR_V, np.bool_)


def _bus_v(one: DriveSignals, ride: Ride) -> Floats | None:
    return one.voltage_v if one.voltage_v is not None else ride.get("pack_voltage_v")


def status_rows(ride: Ride) -> Bools:
    """Rows within half a second of a change of a status or fault code."""
    rows = ride.time_s.size
    out = np.zeros(rows, np.bool_)
    for name in ride.table.columns:
        if str(name).split(".")[-1] != "status":
            continue
        codes = ride.table[name].astype(str).to_numpy()
        changed = np.flatnonzero(codes[1:] != codes[:-1]) + 1
        if changed.size > 0.02 * rows:
            continue
        for row in changed.tolist():
            a, b = np.searchsorted(ride.time_s, ride.time_s[row] + np.array([-STATUS_S, STATUS_S]))
            out[a:b] = True
    return out

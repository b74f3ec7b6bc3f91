"""When was the pack's path open, so that the controllers' voltage was not the pack's?

A bus whose pack has been cut off shows what the turning motors generate and sinks with the wheels:
far below rest voltage with hardly any current. Such rows say nothing of sag, stop voltages or
margins; the loss itself is `cutouts`' business.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analyzer.events import Event
from analyzer.pack_state import PackFit
from analyzer.quantities import Bools, Floats, pack_current_a
from analyzer.words import CutoutCause
from importers.ride import Ride
from importers.setup_types import Setup

FAR_PART = 0.04
"""This part of rest voltage beyond what the load explains is far. Our choice: readings of one
voltage differ by 1 % at most."""
DEAD_PART = 0.5
"""Below this part of the empty pack's voltage no pack is read, whatever the load. Our choice: cells
that low are destroyed."""
IDLE_PART, IDLE_C_RATE = 0.85, 0.25
"""Below this part of the empty pack's voltage with less current than this part of the capacity in
an hour, the pack is not what is read. Our choice: such a current sags a pack by
hundredths of its voltage."""
OPENING = frozenset(
    {
        CutoutCause.BMS_OVERCURRENT_DISCHARGE,
        CutoutCause.BMS_OVERCURRENT_CHARGE,
        CutoutCause.BMS_OVERHEAT,
        CutoutCause.CELL_LOW_VOLTAGE,
        CutoutCause.CELL_HIGH_VOLTAGE,
        CutoutCause.SUPPLY_INTERRUPTED,
        CutoutCause.IDLE_SHUTDOWN,
    }
)
"""Causes that take the pack off the controllers' bus."""
APART_PART = 0.7
"""Controllers on one pack read one voltage: one below this part of another's is cut off from it.
Our choice: readings differ by 1 %, leads take a few volts at most."""
OPEN_PART = 0.9
"""A bus below this part of what it read before a loss is not the pack's. Our choice: without its
load a pack reads more, not less."""
BEFORE_S, AFTER_S = 2.0, 0.5
"""What was read before is the middle of this long; power needs a moment to come back [s]. Our
choice."""
LOAD_MARGIN = 1.5
"""Sag is allowed to be this many times what the fit says. Our choice: a weak moment is no cut."""


def path_open(ride: Ride, setup: Setup, fit: PackFit | None) -> Bools:
    """n flags: true where a voltage reading is too far below rest for the current drawn."""
    rows = ride.time_s.size
    volts = list(pack_voltages(ride).values())
    known = np.zeros(0, np.intp) if fit is None else np.flatnonzero(np.isfinite(fit.rest_voltage_v))
    if not volts:
        return np.zeros(rows, np.bool_)
    lowest = np.fmin.reduce(np.vstack(volts))
    current = pack_current_a(ride, setup)
    amps = np.zeros(rows) if current is None else np.abs(np.nan_to_num(current.values))
    dead = np.asarray(lowest < DEAD_PART * setup.empty_v, np.bool_)
    if current is not None:
        dead |= _idle_below_empty(lowest, amps, setup)
    if fit is None or known.size == 0:
        return _with_neighbours(dead)
    # The fit leaves such rows out: rest voltage runs on across them.
    rest_v = np.interp(np.arange(rows), known, fit.rest_voltage_v[known])
    sag_v = LOAD_MARGIN * sum(fit.resistances_ohm) * amps
    floor_v = rest_v * (1 - FAR_PART) - sag_v
    with np.errstate(invalid="ignore"):
        far = np.asarray(lowest < floor_v, np.bool_)
    return _with_neighbours(far | dead)


def _idle_below_empty(lowest: Floats, amps: Floats, setup: Setup) -> Bools:
    """Whole stretches far below the empty pack in which hardly any current flowed: without a load
    no pack reads that."""
    with np.errstate(invalid="ignore"):
        low = np.asarray(lowest < IDLE_PART * setup.empty_v, np.bool_)
    if not low.any():
        return low
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(np.int8)))
    found = np.zeros_like(low)
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        found[a:b] = np.median(amps[a:b]) < IDLE_C_RATE * setup.pack.capacity_ah
    return found


def open_in_losses(ride: Ride, losses: Sequence[Event]) -> Bools:
    """n flags: true while a loss that opened the pack's path lasts and the bus stands far below
    what it read before."""
    flags = np.zeros(ride.time_s.size, np.bool_)
    volts = list(pack_voltages(ride).values())
    opened = [one for one in losses if one.causes and one.causes[0].cause in OPENING]
    if not volts or not opened:
        return flags
    lowest = np.fmin.reduce(np.vstack(volts))
    for one in opened:
        ends = np.array([one.start_s - BEFORE_S, one.start_s, one.end_s + AFTER_S])
        first, start, end = np.searchsorted(ride.time_s, ends).tolist()
        before = lowest[first : start + 1]
        before = before[np.isfinite(before)]
        if before.size:
            with np.errstate(invalid="ignore"):
                flags[start:end] |= lowest[start:end] < OPEN_PART * float(np.median(before))
    return _with_neighbours(flags)


def _with_neighbours(far: Bools) -> Bools:
    """The samples before and after lie within the fall or the return."""
    near = far.copy()
    near[1:] |= far[:-1]
    near[:-1] |= far[1:]
    return near


def pack_voltages(ride: Ride) -> dict[str, Floats]:
    """Every channel that is meant to be the pack's voltage, with its n values."""
    names = ("pack_voltage_v", *(f"{one}.battery_voltage_v" for one in ride.drives))
    return {name: values for name in names if (values := ride.get(name)) is not None}


def without_open_path(ride: Ride, open_rows: Bools) -> Ride:
    """The ride with the pack's voltage missing where its path was open, and a controller's where
    it alone was cut off; the ride itself stays."""
    volts = pack_voltages(ride)
    if not volts:
        return ride
    highest = np.fmax.reduce(np.vstack(list(volts.values())))
    hidden = {}
    for name, values in volts.items():
        with np.errstate(invalid="ignore"):
            gone = np.asarray(values < APART_PART * highest, np.bool_)
        gone = open_rows | (_with_neighbours(gone) if gone.any() else gone)
        if gone.any():
            hidden[name] = np.where(gone, np.nan, values)
    if not hidden:
        return ride
    return replace(ride, table=ride.table.assign(**hidden))

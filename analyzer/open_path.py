"""When was the pack's path open, so that the controllers' voltage was not the pack's?

A bus whose pack has been cut off shows what the turning motors generate and sinks with the wheels:
far below rest voltage with hardly any current. Such rows say nothing of sag, stop voltages or
margins; the loss itself is `cutouts`' business.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyzer.pack_state import PackFit
from analyzer.quantities import Bools, Floats, pack_current_a
from importers.ride import Ride
from importers.setup_types import Setup

FAR_PART = 0.04
"""This part of rest voltage beyond what the load explains is far. Our choice: readings of one
voltage differ by 1 % at most."""
DEAD_PART = 0.5
"""Below this part of the empty pack's voltage no pack is read, whatever the load. Our choice: cells
that low are destroyed."""
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
    dead = np.asarray(lowest < DEAD_PART * setup.empty_v, np.bool_)
    if fit is None or known.size == 0:
        return _with_neighbours(dead)
    # The fit leaves such rows out: rest voltage runs on across them.
    rest_v = np.interp(np.arange(rows), known, fit.rest_voltage_v[known])
    current = pack_current_a(ride, setup)
    amps = np.zeros(rows) if current is None else np.abs(np.nan_to_num(current.values))
    sag_v = LOAD_MARGIN * sum(fit.resistances_ohm) * amps
    floor_v = rest_v * (1 - FAR_PART) - sag_v
    with np.errstate(invalid="ignore"):
        far = np.asarray(lowest < floor_v, np.bool_)
    return _with_neighbours(far | dead)


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
    """The ride with the pack's voltage missing where its path was open; the ride itself stays."""
    if not open_rows.any():
        return ride
    hidden = {name: np.where(open_rows, np.nan, v) for name, v in pack_voltages(ride).items()}
    return replace(ride, table=ride.table.assign(**hidden))

"""Under what conditions was each moment ridden: charge, pack temperature, rest voltage, air, load?

What the events and the limits need to judge a voltage, a temperature or a braking current.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.cost_of_limit import Hill
from analyzer.limits import Tried
from analyzer.pack_state import PackFit, PackState
from analyzer.quantities import Floats, pack_current_a, step_s
from importers.ride import Ride
from importers.setup_types import Setup


@dataclass(frozen=True, slots=True, eq=False)
class Conditions:
    """Series have n values, one per row of `ride.table`; None where the ride cannot tell."""

    charge_pct: Floats | None
    pack_temp_c: Floats | None
    rest_v: Floats | None
    """What the pack would read after long rest at that moment."""
    resistance_ohm: float | None
    """After 10 s, at this ride's charge and temperature."""
    ambient_c: float | None
    mass_kg: float | None
    hills: tuple[Hill, ...] = ()
    """The ride's climbs, for what a lower limit costs on them."""
    drive_overshoot: float = 1.0
    """The most that 1 s of a drive's battery current was of its limit; 1 where none was passed."""
    brake_overshoot: float = 1.0


def _charge_moved_ah(ride: Ride, setup: Setup) -> Floats | None:
    current = pack_current_a(ride, setup)
    if current is None:
        return None
    used = np.where(np.isfinite(current.values), current.values, 0.0) * step_s(ride)
    return np.concatenate([[0.0], np.cumsum(used)[:-1]]) / 3600.0


def charge_pct(ride: Ride, setup: Setup, pack: PackState) -> Floats | None:
    """State of charge at each moment [%]: between the estimates at start and end, in step with
    the charge drawn; without those, as a BMS logs it."""
    start, end = pack.state_of_charge_start_pct, pack.state_of_charge_end_pct
    moved = _charge_moved_ah(ride, setup)
    if start is None or moved is None or moved.size == 0:
        return ride.get("state_of_charge_pct")
    drop = moved / setup.pack.capacity_ah * 100.0
    if end is not None and abs(drop[-1]) > 2.0:
        drop = drop * np.clip((start.value - end.value) / drop[-1], 0.5, 2.0)
    return np.asarray(start.value - drop, np.float64)


def _pack_temp_c(ride: Ride) -> Floats | None:
    logged = ride.get("pack_temp_c")
    if logged is not None:
        return logged
    given = ride.facts.pack_temp_c
    return None if given is None else np.full(ride.time_s.size, given)


def _ambient_c(ride: Ride) -> float | None:
    """The air's temperature: logged, else the coolest temperature at the start."""
    air = ride.get("ambient_temp_c")
    if air is not None:
        return float(np.nanmedian(air))
    names = [c for c in ride.table.columns if str(c).endswith(("pack_temp_c", "motor_temp_c"))]
    first = [_first(ride.get(str(name))) for name in names]
    known = [one for one in first if one is not None]
    if known:
        return min(known)
    return ride.facts.pack_temp_c


def _first(values: Floats | None) -> float | None:
    good = np.zeros(0) if values is None else values[np.isfinite(values)]
    return float(good[0]) if good.size else None


def _across_holes(rest_v: Floats) -> Floats | None:
    """Rest voltage is the pack's slowest quantity: across rows the fit left out it runs on."""
    known = np.flatnonzero(np.isfinite(rest_v))
    if known.size == 0:
        return None
    if known.size == rest_v.size:
        return rest_v
    return np.interp(np.arange(rest_v.size), known, rest_v[known])


def conditions(ride: Ride, setup: Setup, *, pack: PackState, fit: PackFit | None) -> Conditions:
    """Under what conditions was each moment ridden?"""
    resistance = pack.resistance_10s_ohm
    mass = ride.facts.mass_kg if ride.facts.mass_kg is not None else setup.vehicle.mass_kg
    return Conditions(
        charge_pct=charge_pct(ride, setup, pack),
        pack_temp_c=_pack_temp_c(ride),
        rest_v=None if fit is None else _across_holes(fit.rest_voltage_v),
        resistance_ohm=None if resistance is None else resistance.value,
        ambient_c=_ambient_c(ride),
        mass_kg=mass,
    )


def _range(values: Floats | None) -> tuple[float, float] | None:
    good = np.zeros(0) if values is None else values[np.isfinite(values)]
    return (float(good.min()), float(good.max())) if good.size else None


def tried(state: Conditions, *, climbs: int) -> Tried:
    """The conditions a verdict of this ride was earned under."""
    mass = None if state.mass_kg is None else (state.mass_kg, state.mass_kg)
    return Tried(_range(state.charge_pct), _range(state.pack_temp_c), mass, climbs)

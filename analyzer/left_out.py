"""Why a number of the ride is missing, and which channel or key would give it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyzer.balance import Balance
from analyzer.estimate import Note
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, wheel_speed_mps
from analyzer.totals import Totals, integral
from importers.ride import Ride
from importers.setup_types import Setup

MOSTLY_KNOWN = 0.95
"""Share of the ride from which its sums stand without a word. Our choice."""
SUMS = ("charge_out_ah", "charge_back_ah", "energy_out_wh", "energy_back_wh")


def left_out(ride: Ride, setup: Setup, totals: Totals, balance: Balance | None) -> tuple[Note, ...]:
    """A reason for each sum of the ride, and for the comparison of wheel speeds, that is None."""
    found = []
    if totals.distance_m is None:
        found.append(Note("ride.distance_m", _no_distance(ride)))
    current = pack_current_a(ride, setup)
    lost = "" if current is None else _lost_braking(ride, current.channels)
    if current is None or lost:
        found += [
            Note(f"ride.{name}", lost or "No battery current was logged.")
            for name in SUMS if getattr(totals, name) is None
        ]  # fmt: skip
    elif totals.energy_out_wh is None and pack_voltage_v(ride, setup) is None:
        found += [
            Note(f"ride.{name}", "No pack or controller voltage was logged.")
            for name in ("energy_out_wh", "energy_back_wh")
        ]
    if current is not None and totals.charge_out_ah is not None:
        found += _known_for(ride, current.values)
    if balance is None and len(ride.drives) > 1:
        found.append(Note("balance", "It takes the battery current of two drives."))
    if balance is not None and balance.speed_ratio is None:
        found.append(Note("balance.speed_ratio", _no_ratio(ride, setup)))
    if balance is not None and all(one.drive_pct is None for one in balance.shares):
        found.append(Note("balance.shares", _no_shares(ride, setup, balance)))
    return tuple(found)


def _known_for(ride: Ride, amps: Floats) -> list[Note]:
    """A word on sums that stand for a part of the ride only."""
    known_s = integral(np.where(np.isfinite(amps), 1.0, np.nan), ride)
    logged_s = integral(np.ones(amps.size), ride)
    if known_s >= MOSTLY_KNOWN * logged_s:
        return []
    text = (
        f"The current is known for {known_s:.0f} of {logged_s:.0f} s only (a log begins later or "
        "ends before the others): what flowed in the rest is not counted."
    )
    return [Note("ride.charge_out_ah", text)]


def _lost_braking(ride: Ride, channels: Sequence[str]) -> str:
    """Why a sum leaves out what flowed back: the first of its currents that did not keep it."""
    for one in channels:
        why = ride.unjudged_why(one, -1)
        if why is not None:
            return f"{one}: {why}."
    return ""


def _no_distance(ride: Ride) -> str:
    if any(ride.has(f"{drive}.motor_rpm") for drive in ride.drives):
        return (
            "Motor speed was logged, but the setup does not say how far a turn goes: it needs "
            "vehicle.wheel_diameter_m and vehicle.gear_ratio."
        )
    return "No speed, motor speed or position was logged."


def _no_ratio(ride: Ride, setup: Setup) -> str:
    known = [one for one in ride.drives if wheel_speed_mps(ride, setup, one) is not None]
    if len(known) < 2:
        return (
            "It takes the wheel or motor speed of two drives, and for motor speed "
            "vehicle.wheel_diameter_m and vehicle.gear_ratio."
        )
    return "Too little rolling straight on to compare wheel speeds."


def _no_shares(ride: Ride, setup: Setup, balance: Balance) -> str:
    logged = [one for one in ride.drives if ride.has(f"{one}.battery_current_a")]
    if pack_current_a(ride, setup) is None or len(logged) < 2:
        return "It takes the battery current of two drives."
    return (
        f"{balance.load_s:.0f} s of driving together with a quarter or more of the drives' "
        "summed battery limits: too little to compare shares."
    )

"""Unmarked motor turns where no log has a speed: told by the energy that pulling away takes. Pure.

What the vehicle's motion gains while it speeds up, m (v2² - v1²) / 2, comes out of the battery:
over pulls on a usual road a fifth to all of what the pack gave (losses, air, rolling and slopes
take the rest, or give some). Turns taken for mechanical that are electrical make the speed too
high by the pole pairs, and the motion's energy by their square: more than the pack gave.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from importers.setup_types import Setup

Floats = NDArray[np.float64]

PULL_S = 4.0
"""A pull is looked at over this long. Our choice: pulling away takes a light vehicle 4 to 10 s."""
BIG_PART = 0.3
"""Pulls that gain this part of the largest gain count. Our choice."""
LEAST_PULLS = 3
LEAST_PART, MOST_PART = 0.2, 1.2
"""Part of the pack's energy that becomes motion, in the middle of a ride's big pulls. Our choice:
motor and controller pass on half to 0.9 of it, slopes take some or help; the middle was 0.5 to 1.0
on 25 rides of `tests/probe`."""
LEAST_W_PER_KG = 1.5
"""Less power than this in the big pulls moves wheels off the ground, not a vehicle [W/kg]. Our
choice: 0.3 m/s² at 3 m/s through a drive of 60 %."""
MIDDLE_PULLS = 0.5
"""Share of the big pulls that must agree with the answer. Our choice."""


def counts_electrical(table: pd.DataFrame, setup: Setup, name: str) -> bool | None:
    """Whether this channel of motor turns counts electrical ones; None where energy cannot tell.

    `table` has n rows with `time_s`; it takes the mass, wheel, gear and pole pairs (3 or more) of
    the setup, and the current of the pack or of all drives.
    """
    vehicle = setup.vehicle
    pairs, mass_kg = vehicle.pole_pairs or 1, vehicle.mass_kg
    if not (mass_kg and vehicle.gear_ratio and vehicle.wheel_diameter_m):
        return None
    if pairs**2 * LEAST_PART <= MOST_PART:
        return None
    power_w = _power_w(table, setup)
    if power_w is None:
        return None
    per_rpm = np.pi * vehicle.wheel_diameter_m / 60.0 / vehicle.gear_ratio
    speed = np.abs(table[name].to_numpy(np.float64)) * per_rpm
    gained_j, given_j = _pulls(table["time_s"].to_numpy(np.float64), speed, power_w)
    gained_j = 0.5 * mass_kg * gained_j
    if gained_j.size < LEAST_PULLS or np.median(given_j) < LEAST_W_PER_KG * mass_kg * PULL_S:
        return None
    parts = gained_j / given_j
    for times, answer in ((1, False), (pairs**2, True)):
        agree = (parts >= LEAST_PART * times) & (parts <= MOST_PART * times)
        middle = float(np.median(parts)) / times
        if LEAST_PART <= middle <= MOST_PART and float(agree.mean()) >= MIDDLE_PULLS:
            return answer
    return None


def _power_w(table: pd.DataFrame, setup: Setup) -> Floats | None:
    """What the pack gives [W]; None where the current of one drive is missing."""
    drives = [f"{one}.battery_current_a" for one in setup.drive_names]
    volts = [one for one in table.columns if str(one).endswith("_voltage_v")
             and ("battery" in str(one) or str(one) == "pack_voltage_v")]  # fmt: skip
    if not volts:
        return None
    if all(one in table.columns for one in drives):
        amps = table[drives].sum(axis=1, skipna=False).to_numpy(np.float64)
    elif "pack_current_a" in table.columns:
        amps = table["pack_current_a"].to_numpy(np.float64)
    else:
        return None
    return np.asarray(amps * table[volts].mean(axis=1).to_numpy(np.float64), np.float64)


def _pulls(time_s: Floats, speed: Floats, power_w: Floats) -> tuple[Floats, Floats]:
    """Gain of the speed's square [m²/s²] and energy given [J] of the big pulls, apart in time."""
    known = np.isfinite(speed) & np.isfinite(power_w)
    t, v, p = time_s[known], speed[known], power_w[known]
    nothing = np.zeros(0)
    if t.size < 10:
        return nothing, nothing
    given = np.concatenate([[0.0], np.cumsum(0.5 * (p[1:] + p[:-1]) * np.diff(t))])
    end = np.searchsorted(t, t + PULL_S)
    start = np.flatnonzero(end < t.size)
    end = end[start]
    whole = t[end] - t[start] < 1.5 * PULL_S
    start, end = start[whole], end[whole]
    gain = v[end] ** 2 - v[start] ** 2
    top = float(gain.max(initial=0.0))
    found: list[int] = []
    free = np.ones(gain.size, np.bool_)
    for at in np.argsort(-gain).tolist():
        if top <= 0 or gain[at] < BIG_PART * top:
            break
        if free[at]:
            found.append(at)
            free[np.abs(t[start] - t[start[at]]) < PULL_S] = False
    picked = np.array(found, np.intp)
    energy = given[end[picked]] - given[start[picked]]
    good = energy > 0
    return gain[picked][good], energy[good]

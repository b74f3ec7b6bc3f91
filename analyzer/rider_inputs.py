"""Does the rider's demand arrive: full as full, none as none, on every drive? And a first roll.

A short, slow, flat first roll is judged as what it is: both sides turn and pull alike, no demand
gives no current, the readings agree at rest. With the wheels off the ground nothing is concluded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analyzer.estimate import Note
from analyzer.quantities import (
    Bools,
    Floats,
    Span,
    WindowMeans,
    drive_channel,
    drives_current_a,
    spans_where,
    speed_mps,
    throttle_pct,
    wheel_speed_mps,
    window_means,
)
from importers.ride import Ride
from importers.setup_types import Setup

FULL_PCT = 97.0
"""Demand that counts as full [%]. Our choice: a hand grip's end play and a signal's rounding."""
REST_PCT = 2.0
"""Demand that counts as none [%]. Our choice."""
HELD_S = 0.3
"""The highest demand must be held this long [s]. Our choice: longer than one bad sample."""
STANDING_MPS, ROLLING_MPS = 0.2, 1.0
FLOWS_A = 1.0
"""Battery current above what flows at rest that counts as answering [A]. Our choice."""
IDLE_A = 0.5
"""Battery current of one drive at rest that is still none: its own supply [A]. Our choice."""
ROLL_LONGEST_S, ROLL_FASTEST_MPS, ROLL_FARTHEST_M = 600.0, 5.0, 500.0
"""A first roll is no longer, faster or further than this. Our choice."""
FREE_MPS2 = 6.0
"""Wheels that gain speed faster than this carry nothing [m/s2]. Our choice: above what the grip of
a small vehicle allows on one or two driven wheels."""
FREE_WATTS = 150.0
"""... or turn fast on less than this [W]. Common practice: motors turning free take 10 to 60 W."""
APART_MPS = 1.5
"""Wheels turning this much faster than a satellite's speed carry nothing [m/s]. Our choice."""
FROM_REST_S = 3.0
"""The wheels stood at most this long before they turned free [s]. Our choice."""
ALIKE_PCT = 15.0
"""Sides that turn, or pull, within this of each other are alike on a first roll [%]. Our choice:
a few metres say no more."""
VOLTS_APART = 0.01
"""Two controllers' readings of one pack differ by up to this [1]. Common practice, no source."""
LEAST_SAMPLES = 20
LOAD_CHANNELS = (
    "_current_a", "_voltage_v", "_power_w", ".power_w", "_rpm", "speed_mps", "_pct", "cell_min_v",
    "cell_max_v",
)  # fmt: skip
"""Ends of the channels that say nothing of load while the wheels turn in the air."""
DEAD_BAND_LOOK_PCT, DEAD_BAND_CELL_PCT = 60.0, 2.0
"""Where a dead band is looked for, and in what steps [%]. Our choice."""


@dataclass(frozen=True, slots=True)
class DriveInput:
    """One drive's demand as it arrives; None where the log does not tell."""

    drive: str
    highest_pct: float | None
    full_arrives: bool | None
    """False where others got full demand while this one did not; None where nobody asked."""
    rest_pct: float | None
    noise_pct: float | None
    """Scatter at rest, one standard deviation."""
    rest_is_zero: bool | None
    dead_band_pct: float | None
    """Demand at which current begins to flow."""
    rest_current_a: float | None
    """Battery current standing without demand."""


@dataclass(frozen=True, slots=True)
class FirstRoll:
    """What a first roll shows; each True, False, or None where it was not tried."""

    sides_turn_alike: bool | None
    sides_pull_alike: bool | None
    zero_gives_zero: bool | None
    readings_agree: bool | None
    firm_stop: bool | None
    """Whether a stop with motor braking was part of it."""


@dataclass(frozen=True, slots=True)
class RiderInputs:
    """The demand on every drive, spans with the wheels off the ground, a first roll's verdict."""

    drives: tuple[DriveInput, ...]
    free_wheels: tuple[Span, ...]
    first_roll: FirstRoll | None
    """None where the ride is more than a first roll."""
    notes: tuple[Note, ...]


def find_rider_inputs(ride: Ride, setup: Setup, free: Sequence[Span] | None = None) -> RiderInputs:
    """Does what the hand asks arrive on every drive, and does none arrive as none? `free` are the
    stretches with the wheels off the ground where they are known already."""
    free = find_free_wheels(ride, setup) if free is None else free
    off_ground = np.zeros(ride.time_s.size, np.bool_)
    for one in free:
        off_ground[one.rows] = True
    inputs = _inputs(ride, setup, ~off_ground)
    notes = [
        Note(
            "rider_inputs",
            "Wheels turned off the ground: nothing is concluded from those stretches.",
        )
    ] * bool(free)
    notes += [_not_logged(one.drive) for one in inputs if one.highest_pct is None]
    roll = None if free else _first_roll(ride, setup, inputs)
    return RiderInputs(inputs, tuple(free), roll, tuple(notes))


def _not_logged(drive: str) -> Note:
    return Note(f"rider_inputs.{drive}", f"No demand logged for {drive}.")


def find_free_wheels(ride: Ride, setup: Setup) -> list[Span]:
    """Where driven wheels turned without carrying the vehicle: faster than a satellite's speed by
    far, or without one, gaining speed as no loaded wheel can and turning on next to no power."""
    wheels = [w.values for d in ride.drives if (w := wheel_speed_mps(ride, setup, d)) is not None]
    if not wheels:
        return []
    with np.errstate(invalid="ignore"):
        fastest = np.nanmax(np.vstack([np.nan_to_num(np.abs(w)) for w in wheels]), axis=0)
    gps = ride.get("gps_speed_mps")
    if gps is not None and np.isfinite(gps).mean() > 0.2:
        time = ride.time_s
        known = np.isfinite(gps)
        ground = np.interp(time, time[known], gps[known])
        off = (fastest > ground + APART_MPS) & (ground < 0.5)
        spans = spans_where(off, ride, join_s=5.0, min_s=3.0)
        return [one for one in spans if _from_rest(one, fastest, ride) and _light(one, ride, setup)]
    power = _power_w(ride, setup)
    if power is None:
        return []
    means = window_means(ride, 1.0)
    smooth = means.of(fastest)
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = np.gradient(smooth, ride.time_s)
    quick = np.isfinite(gain) & (gain > FREE_MPS2)
    turning = fastest > 2 * ROLLING_MPS
    light = np.nan_to_num(means.of(power), nan=np.inf) < FREE_WATTS
    spans = spans_where(turning, ride, join_s=2.0, min_s=1.0)
    # a loaded wheel that never took power was rolling downhill: only a leap gives it away
    return [one for one in spans if quick[one.rows].any() and light[one.rows].mean() > 0.5]


def _from_rest(one: Span, wheel_mps: Floats, ride: Ride) -> bool:
    """Whether the wheels stood just before: a receiver that loses the sky while the vehicle rolls
    shows none too, but there the wheels were turning."""
    first = int(np.searchsorted(ride.time_s, one.start_s - FROM_REST_S))
    before = wheel_mps[first : one.first]
    return bool(before.size) and float(before.min()) < ROLLING_MPS


def _light(one: Span, ride: Ride, setup: Setup) -> bool:
    """Whether the wheels turned on next to no power; true where power is not logged."""
    power = _power_w(ride, setup)
    if power is None:
        return True
    part = np.abs(power[one.rows])
    part = part[np.isfinite(part)]
    return part.size == 0 or float(np.median(part)) < FREE_WATTS


def without_free_wheels(ride: Ride, free: Sequence[Span]) -> Ride:
    """The ride with everything that bears on load missing while its wheels turned in the air:
    currents, voltages, speeds, demand. The ride itself stays."""
    if not free:
        return ride
    off = np.zeros(ride.time_s.size, np.bool_)
    for one in free:
        off[one.rows] = True
    hidden = {
        name: ride.table[name].mask(off)
        for column in ride.table.columns
        if (name := str(column)).endswith(LOAD_CHANNELS)
        and name != "state_of_charge_pct"
        and ride.has(name)
    }
    return replace(ride, table=ride.table.assign(**hidden))


def _power_w(ride: Ride, setup: Setup) -> Floats | None:
    from analyzer.power_balance import drive_power_w

    return drive_power_w(ride, setup)


def _inputs(ride: Ride, setup: Setup, usable: Bools) -> tuple[DriveInput, ...]:
    demands = {name: throttle_pct(ride, name) for name in setup.drive_names}
    window = window_means(ride, HELD_S)
    held = {
        name: None if demand is None else _held_pct(demand, window, usable)
        for name, demand in demands.items()
    }
    asked = any(one is not None and one >= FULL_PCT for one in held.values())
    standing = _standing(ride, setup) & usable
    return tuple(
        _input(ride, name, demands[name], held[name], asked, standing, usable)
        for name in setup.drive_names
    )


def _held_pct(demand: Floats, window: WindowMeans, usable: Bools) -> float | None:
    means = window.of(np.where(usable, demand, np.nan))
    good = means[np.isfinite(means)]
    if good.size == 0:
        good = demand[usable & np.isfinite(demand)]
    return float(good.max()) if good.size else None


def _standing(ride: Ride, setup: Setup) -> Bools:
    speed = speed_mps(ride, setup)
    if speed is None:
        return np.zeros(ride.time_s.size, np.bool_)
    return np.asarray(np.abs(speed.values) < STANDING_MPS)


def _input(
    ride: Ride,
    name: str,
    demand: Floats | None,
    highest: float | None,
    asked: bool,
    standing: Bools,
    usable: Bools,
) -> DriveInput:
    if demand is None:
        return DriveInput(name, None, None, None, None, None, None, None)
    current = drive_channel(ride, name, "battery_current_a")
    quiet = standing & np.isfinite(demand)
    if current is not None:
        quiet &= np.abs(np.nan_to_num(current)) < 2 * FLOWS_A
    rest = noise = None
    if quiet.sum() >= LEAST_SAMPLES:
        rest = float(np.median(demand[quiet]))
        noise = 1.4826 * float(np.median(np.abs(demand[quiet] - rest)))
    rest_current = None
    if current is not None and quiet.sum() >= LEAST_SAMPLES:
        low = quiet & (demand < (rest or 0.0) + REST_PCT) & np.isfinite(current)
        rest_current = float(np.median(current[low])) if low.sum() >= LEAST_SAMPLES else None
    return DriveInput(
        name,
        highest,
        (highest is not None and highest >= FULL_PCT) if asked else None,
        rest,
        noise,
        None if rest is None else abs(rest) < REST_PCT,
        _dead_band_pct(demand, current, rest_current, usable),
        rest_current,
    )


def _dead_band_pct(
    demand: Floats, current: Floats | None, rest_a: float | None, usable: Bools
) -> float | None:
    """The lowest demand at which current reliably flows: half of the samples at it do."""
    if current is None:
        return None
    low = usable & np.isfinite(demand) & np.isfinite(current) & (demand > 0)
    low &= demand < DEAD_BAND_LOOK_PCT
    if low.sum() < LEAST_SAMPLES:
        return None
    flows = current[low] > (rest_a or 0.0) + FLOWS_A
    cells = int(DEAD_BAND_LOOK_PCT / DEAD_BAND_CELL_PCT)
    cell = np.minimum((demand[low] / DEAD_BAND_CELL_PCT).astype(np.intp), cells - 1)
    count = np.bincount(cell, minlength=cells)
    part = np.bincount(cell, flows, cells) / np.maximum(count, 1)
    reliable = (count >= LEAST_SAMPLES // 4) & (part > 0.5)
    return float(np.argmax(reliable) * DEAD_BAND_CELL_PCT) if reliable.any() else None


def _first_roll(ride: Ride, setup: Setup, inputs: tuple[DriveInput, ...]) -> FirstRoll | None:
    speed = speed_mps(ride, setup)
    if speed is None or ride.time_s.size < LEAST_SAMPLES:
        return None
    values = np.nan_to_num(np.abs(speed.values))
    length_s = float(ride.time_s[-1] - ride.time_s[0])
    far = float(np.sum(values[:-1] * np.diff(ride.time_s)))
    fast = float(np.quantile(values, 0.99))
    if length_s > ROLL_LONGEST_S or fast > ROLL_FASTEST_MPS or far > ROLL_FARTHEST_M or far < 3.0:
        return None
    rests = [one.rest_current_a for one in inputs if one.rest_current_a is not None]
    total = drives_current_a(ride, setup)
    return FirstRoll(
        sides_turn_alike=_turn_alike(ride, setup, values),
        sides_pull_alike=_pull_alike(ride, setup),
        zero_gives_zero=all(abs(one) < IDLE_A for one in rests) if rests else None,
        readings_agree=_readings_agree(ride, setup, values),
        firm_stop=None if total is None else bool(np.nanmin(total.values) < -FLOWS_A),
    )


def _turn_alike(ride: Ride, setup: Setup, speed: Floats) -> bool | None:
    wheels = [w.values for d in setup.drive_names if (w := wheel_speed_mps(ride, setup, d))]
    rolling = speed > ROLLING_MPS
    if len(wheels) < 2 or rolling.sum() < LEAST_SAMPLES:
        return None
    first = float(np.nanmedian(wheels[0][rolling]))
    others = [float(np.nanmedian(one[rolling])) for one in wheels[1:]]
    return first > 0 and all(abs(one / first - 1.0) < ALIKE_PCT / 100.0 for one in others)


def _pull_alike(ride: Ride, setup: Setup) -> bool | None:
    channels = ("phase_current_a", "battery_current_a")
    for channel in channels:
        parts = [drive_channel(ride, name, channel) for name in setup.drive_names]
        known = [part for part in parts if part is not None]
        if len(known) < 2 or len(known) < len(parts):
            continue
        pull = np.vstack(known)
        loaded = np.isfinite(pull).all(axis=0) & (pull.sum(axis=0) > 3 * FLOWS_A)
        if loaded.sum() < LEAST_SAMPLES:
            return None
        shares = pull[:, loaded].sum(axis=1) / pull[:, loaded].sum()
        return bool(np.all(np.abs(shares * len(known) - 1.0) < ALIKE_PCT / 100.0))
    return None


def _readings_agree(ride: Ride, setup: Setup, speed: Floats) -> bool | None:
    parts = [drive_channel(ride, name, "battery_voltage_v") for name in setup.drive_names]
    known = [part for part in parts if part is not None]
    pack = ride.get("pack_voltage_v")
    known += [] if pack is None else [pack]
    still = speed < STANDING_MPS
    if len(known) < 2 or still.sum() < LEAST_SAMPLES:
        return None
    levels = [float(np.nanmedian(one[still])) for one in known if np.isfinite(one[still]).any()]
    return len(levels) > 1 and max(levels) / max(min(levels), 1e-9) - 1.0 < VOLTS_APART

"""What the same climb asked on two rides, each number with how well a ride repeats it.

A climb is never ridden twice alike: traffic, wind, the hand. How much each number moves between two
rides of one unchanged build was measured on made pairs (benchmarks/tables/compare_truth.py, seeds 1
to 30); the shares below are those, and other seeds are what the table is read on. What a start on
the hill costs is taken out of the energy, what charge and current differ goes into the voltage.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.climbs import Climb
from analyzer.conditions import conditions
from analyzer.estimate import Estimate
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps, step_s
from analyzer.ride_analysis import RideResult
from analyzer.road_force import GRAVITY_MPS2

PEAK_SHARE = 0.34
MEAN_SHARE = 0.16
SPEED_SHARE = 0.15
"""Each number repeats within this part of itself from ride to ride, 95 % of one ride. Measured on
made pairs, as told above."""
ENERGY_SHARE = 0.08
"""Energy of one climb, starts taken out; measured likewise. Over n climbs by the root of n less,
but never under `WIND_SHARE`."""
WIND_SHARE = 0.04
"""What the day's wind and the tyres do to all climbs of a ride alike. Measured likewise."""
HELD_SHARE = 0.15
"""How long a peak was held differs, too: as if the current differed by this part. Measured
likewise."""
HEAT_SHARE, HEAT_K = 0.13, 3.0
"""A rise above the air repeats within this part of itself, and within 3 K. Measured likewise."""
VOLTAGE_SHARE = 0.004
"""A voltage reading from day to day. Our choice."""
ROLLING = 0.012
"""Where the setup gives none, as in `next_ride`."""
MOVING_MPS = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class ClimbRide:
    """One ride's series that its climbs are compared by."""

    result: RideResult
    speed: Floats | None
    current: Floats | None
    volts: Floats | None
    rest_v: Floats | None
    ambient_c: float | None


def climb_ride(result: RideResult) -> ClimbRide:
    """The series of one ride, worked out once."""
    ride, setup = result.ride, result.setup
    state = conditions(ride, setup, pack=result.pack, fit=result.pack_fit)
    speed, current, volts = (f(ride, setup) for f in (speed_mps, pack_current_a, pack_voltage_v))
    return ClimbRide(
        result,
        None if speed is None else speed.values,
        None if current is None else current.values,
        None if volts is None else volts.values,
        state.rest_v,
        state.ambient_c,
    )


def around(value: float | None, share: float, least: float = 0.0) -> Estimate | None:
    """A number with how well it repeats as its interval."""
    if value is None or not np.isfinite(value):
        return None
    spread = max(share * abs(value), least)
    return Estimate(value, value - spread, value + spread)


def _rows(one: ClimbRide, climb: Climb) -> slice:
    time_s = one.result.ride.time_s
    return slice(*np.searchsorted(time_s, [climb.start_s, climb.end_s]).tolist())


def peak_current(_: ClimbRide, climb: Climb) -> Estimate | None:
    """The highest second of the pack's current."""
    return around(climb.peak_pack_current_a, PEAK_SHARE)


def _moving_mean(one: ClimbRide, climb: Climb, values: Floats | None) -> float | None:
    rows = _rows(one, climb)
    if values is None or one.speed is None:
        return None
    with np.errstate(invalid="ignore"):
        moving = np.isfinite(values[rows]) & (np.abs(one.speed[rows]) > MOVING_MPS)
    weight = step_s(one.result.ride)[rows] * moving
    total = float(weight.sum())
    return float(np.sum(np.where(moving, values[rows], 0.0) * weight)) / total if total else None


def mean_current(one: ClimbRide, climb: Climb) -> Estimate | None:
    """The mean current while moving."""
    return around(_moving_mean(one, climb, one.current), MEAN_SHARE)


def mean_speed(one: ClimbRide, climb: Climb) -> Estimate | None:
    """The mean speed while moving."""
    return around(_moving_mean(one, climb, one.speed), SPEED_SHARE)


def lowest_voltage(
    one: ClimbRide, climb: Climb, other: ClimbRide, other_climb: Climb
) -> Estimate | None:
    """The lowest second of the pack's voltage; its interval holds what another current and another
    rest voltage on the other ride did to it, so that only what is left counts."""
    volts, peak, other_peak = (
        climb.min_voltage_v,
        climb.peak_pack_current_a,
        other_climb.peak_pack_current_a,
    )
    ohm, rest = one.result.pack.resistance_10s_ohm, rest_on(one, climb)
    other_rest = rest_on(other, other_climb)
    if volts is None or ohm is None or rest is None or other_rest is None:
        return None
    if peak is None or other_peak is None:
        return None
    moved_a = max(abs(peak - other_peak), HELD_SHARE * peak)
    load, charge = ohm.value * moved_a, abs(rest - other_rest)
    return around(volts, 0.0, float(np.hypot(VOLTAGE_SHARE * volts, np.hypot(load, charge))))


def rest_on(one: ClimbRide, climb: Climb) -> float | None:
    """The pack's mean rest voltage on the climb."""
    if one.rest_v is None:
        return None
    part = one.rest_v[_rows(one, climb)]
    part = part[np.isfinite(part)]
    return float(part.mean()) if part.size else None


def top_rise(one: ClimbRide, climb: Climb, drive: str) -> Estimate | None:
    """How far above the air the drive's motor came."""
    top = dict(climb.top_motor_temp_c).get(drive)
    if top is None or one.ambient_c is None:
        return None
    return around(top - one.ambient_c, HEAT_SHARE, HEAT_K)


def energy_wh(one: ClimbRide, climb: Climb) -> float | None:
    """Energy out of the pack over the climb [Wh], the part that starts on it cost taken out."""
    rows = _rows(one, climb)
    if one.current is None or one.volts is None or one.speed is None:
        return None
    watts = one.current[rows] * one.volts[rows]
    good = np.isfinite(watts)
    if good.mean() < 0.9:
        return None
    spent = float(np.sum(np.where(good, watts, 0.0) * step_s(one.result.ride)[rows])) / 3600.0
    every = max(round(1.0 / max(float(np.median(step_s(one.result.ride)[rows])), 1e-3)), 1)
    kinetic = 0.5 * np.nan_to_num(one.speed[rows])[::every] ** 2
    starts = float(np.clip(np.diff(kinetic), 0.0, None).sum())
    rolling = one.result.setup.vehicle.rolling_coefficient or ROLLING
    lift = GRAVITY_MPS2 * (climb.gain_m + rolling * climb.length_m)
    return spent * lift / (lift + starts) if lift > 0 else None


def climbing_energy(
    one: ClimbRide, climbs: Sequence[Climb], gains_m: Sequence[float]
) -> Estimate | None:
    """Energy out of the pack for each metre climbed, over all climbs that both rides have;
    `gains_m` are the gains that both agree on."""
    each = [energy_wh(one, climb) for climb in climbs]
    known = [(wh, gain) for wh, gain in zip(each, gains_m, strict=True) if wh is not None]
    if not known or len(known) < len(each):
        return None
    value = sum(wh for wh, _ in known) / sum(gain for _, gain in known)
    return around(value, float(np.hypot(ENERGY_SHARE / np.sqrt(len(known)), WIND_SHARE)))

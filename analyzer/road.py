"""The road of a ride: its ways, with a height profile for each where the ride tells one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analyzer.estimate import Z_95, Estimate
from analyzer.height_fit import NOISE_FLOOR_M, POOR_FIT, HeightFit, Lean, Readings, fit_height
from analyzer.height_profile import HeightProfile, cells_for
from analyzer.lean_fit import fit_lean
from analyzer.power_balance import MASS_SD, PowerBalance, power_balance
from analyzer.quantities import Floats
from analyzer.way import Way, find_ways, stands
from analyzer.words import GradeSource
from importers.ride import Ride
from importers.setup_types import Setup

FROZEN_S = 8.0
"""A height that does not move at all for this long while the vehicle does is no reading [s].
Our choice: GPS receivers hold the last value in a tunnel."""
COARSE_M = 0.4
"""Heights logged in steps of this or more may stand still for long by rounding [m]."""
FILLED_BEND_MPS, FILLED_PART = 0.03, 0.15
"""A height whose rate changes by more than this [m/s] in under this part of its seconds is filled
in by straight lines. Our choice: rounding makes less, road and noise far more."""
FILLED_SD_M = 2.0
"""What one reading of such a channel is good for [m]. Our choice: maps and slow receivers."""
BRAKE_PART = 3.0**-0.5
"""The mechanical brake's part of a stop is anything between none and all: the root of its mean
square [1]."""
DISTANCE_ERROR_PCT = 1.5
"""Wheel size and wear leave this error of distance, 95 % [%]. Common practice, no source."""
"""Normal quantile of a 95 % interval."""


@dataclass(frozen=True, slots=True, eq=False)
class Road:
    """One way and its height profile."""

    way: Way
    profile: HeightProfile
    source: GradeSource
    balance: PowerBalance | None = None
    """The energies it was fitted with; None where power, speed or mass is not known."""
    parameters: Floats = field(default_factory=lambda: np.zeros(0))
    covariance: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """The balance's parameters after the fit, in the order of `balance.names`."""

    def grade(self, from_m: float, to_m: float) -> Estimate:
        """Mean grade between two places [%] with its interval."""
        ends = np.array([from_m, to_m])
        length = max(to_m - from_m, 1e-9)
        low, high = self.profile.height_at(ends)
        value = 100.0 * float(high - low) / length
        sd = float(self.profile.difference_sd_m(ends[:1], ends[1:])[0])
        half = float(np.hypot(Z_95 * 100.0 * sd / length, value * DISTANCE_ERROR_PCT / 100.0))
        return Estimate(value, value - half, value + half)


def height_readings(ride: Ride, way: Way) -> Readings | None:
    """The way's height readings, thinned to the rate at which they are independent: places
    (rising or equal), heights, and what each is worth. None without a usable height channel."""
    altitude = ride.get("altitude_m")
    if altitude is None:
        return None
    values = altitude[way.rows].copy()
    time_s = ride.time_s[way.rows]
    values[_frozen(values, time_s, way)] = np.nan
    rate = ride.rate_hz("altitude_m")
    period = 1.0 if not rate else max(1.0, 1.0 / rate)
    good = np.flatnonzero(np.isfinite(values))
    if good.size < 8:
        return None
    slot = np.floor((time_s[good] - time_s[good[0]]) / period).astype(np.intp)
    _, index, count = np.unique(slot, return_inverse=True, return_counts=True)
    place = np.bincount(index, way.distance_m[good]) / count
    height = np.bincount(index, values[good]) / count
    still = np.bincount(index, stands(way)[good].astype(np.float64)) / count > 0.5
    moment = np.bincount(index, time_s[good]) / count
    real = _real_readings(moment, height)
    if real is not None:
        rough = max(FILLED_SD_M, _rounding_m(values[good]))
        return Readings(place[real], height[real], np.ones(int(real.sum())), moment[real], rough)
    return Readings(place, height, _worth(still), moment, _rounding_m(values[good]))


def _worth(still: np.ndarray) -> Floats:
    """A stop's readings share one wandering error: together they count as three."""
    edges = np.flatnonzero(np.diff(still.astype(np.int8), prepend=0, append=0))
    worth = np.ones(still.size)
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        worth[a:b] = min(1.0, 3.0 / (b - a))
    return worth


def _real_readings(time_s: Floats, height_m: Floats) -> NDArray[np.bool_] | None:
    """Where a height channel is straight lines in time between few readings, those readings: the
    ends of its lines. None where it is not filled in like that."""
    if time_s.size < 60:
        return None
    slope = np.diff(height_m) / np.maximum(np.diff(time_s), 1e-9)
    bent = np.abs(np.diff(slope)) > FILLED_BEND_MPS
    if bent.mean() > FILLED_PART or np.ptp(height_m) < 1.0:
        return None
    ends = np.concatenate([[True], bent, [True]])
    # a line that ends inside one slot bends twice: one reading
    twice = ends & np.concatenate([[False], ends[:-1]])
    return np.asarray(ends & ~twice, np.bool_)


def _rounding_m(values: Floats) -> float:
    """What a reading in steps cannot be better than: it stays half a step off for long, so the
    step counts whole, not as scatter that averages out."""
    steps = np.abs(np.diff(values))
    steps = steps[steps > 1e-6]
    return max(NOISE_FLOOR_M, 0.5 * float(np.quantile(steps, 0.05)) if steps.size else 0.0)


def _frozen(values: Floats, time_s: Floats, way: Way) -> np.ndarray:
    known = values[np.isfinite(values)]
    out = np.zeros(values.size, dtype=bool)
    steps = np.abs(np.diff(known))
    steps = steps[steps > 1e-6]
    if steps.size == 0 or np.quantile(steps, 0.1) >= COARSE_M:
        return out
    rows = np.flatnonzero(np.isfinite(values))
    change = np.concatenate([[True], np.abs(np.diff(values[rows])) > 1e-6])
    run = np.cumsum(change) - 1
    starts = np.flatnonzero(change)
    begin = time_s[rows[starts]]
    end = time_s[rows[np.append(starts[1:], rows.size) - 1]]
    moved = np.abs(np.diff(way.distance_m[rows[starts]], append=way.distance_m[-1]))
    held = (end - begin > FROZEN_S) & (moved > FROZEN_S)
    out[rows] = held[run]
    return out


def find_roads(ride: Ride, setup: Setup, ways: tuple[Way, ...] | None = None) -> tuple[Road, ...]:
    """The ride's road, way by way: from height readings sharpened by the power balance where both
    are known, from either alone where not. Ways that tell nothing are left out."""
    roads = []
    for way in find_ways(ride, setup) if ways is None else ways:
        road = _road(ride, setup, way)
        if road is not None:
            roads.append(road)
    return tuple(roads)


def of_unsure_mass(balance: PowerBalance) -> PowerBalance:
    """The balance with the mass's error in it: all work is counted per weight, so a vehicle that
    is heavier than the setup says looks as if its drives lost more."""
    sd = balance.sd.copy()
    for name in ("efficiency", "return"):
        k = balance.names.index(name)
        sd[k] = np.hypot(sd[k], MASS_SD * balance.expected[k])
    return replace(balance, sd=sd)


def lean_on(balance: PowerBalance, length_m: float) -> Lean:
    """The balance's heights at the profile's places, with what the mechanical brake may have taken
    left open: no log shows it. Where motors brake or a brake may act, and in the second before and
    after, any part of the motion lost may have gone there."""
    lean = balance.lean(length_m)
    cell_m, m = cells_for(length_m)
    kinetic = balance.height_m[:, balance.names.index("turning")]
    brakes = balance.braking | balance.unsure
    brakes = brakes | np.append(brakes[1:], False) | np.append(False, brakes[:-1])
    lost = np.clip(np.diff(kinetic), 0.0, None) * brakes
    place = balance.place_m + np.arange(balance.place_m.size) * 1e-9
    along = np.concatenate([[0.0], np.cumsum(lost)])
    taken_m = np.diff(np.interp(np.arange(m) * cell_m, place, along))
    return replace(lean, open_m2=(BRAKE_PART * taken_m) ** 2)


def _road(ride: Ride, setup: Setup, way: Way) -> Road | None:
    readings = height_readings(ride, way)
    balance = power_balance(ride, setup, way)
    balance = None if balance is None else of_unsure_mass(balance)
    lean = None if balance is None else lean_on(balance, way.length_m)
    if readings is not None:
        both = None if lean is None else fit_height(readings, way.length_m, lean)
        best: HeightFit | None = both
        if both is None or both.misfit > POOR_FIT:
            plain = fit_height(readings, way.length_m)
            if plain is not None and (both is None or plain.score < both.score):
                best = plain
        if best is not None:
            trusted = best is both
            return Road(
                way,
                best.profile,
                GradeSource.ALTITUDE,
                balance if trusted else None,
                best.parameters,
                best.covariance,
            )
    if lean is None:
        return None
    profile, theta, covariance = fit_lean(lean, way.length_m)
    return Road(way, profile, GradeSource.ESTIMATED, balance, theta, covariance)

"""The road of a ride: its ways, with a height profile for each where the ride tells one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.estimate import Estimate
from analyzer.height_profile import HeightProfile, smooth_height
from analyzer.quantities import Floats
from analyzer.way import Way, stands
from analyzer.words import GradeSource
from importers.ride import Ride

FROZEN_S = 8.0
"""A height that does not move at all for this long while the vehicle does is no reading [s].
Our choice: GPS receivers hold the last value in a tunnel."""
COARSE_M = 0.4
"""Heights logged in steps of this or more may stand still for long by rounding [m]."""
DISTANCE_ERROR_PCT = 1.5
"""Wheel size and wear leave this error of distance, 95 % [%]. Common practice, no source."""
Z_95 = 1.959964
"""Normal quantile of a 95 % interval."""


@dataclass(frozen=True, slots=True, eq=False)
class Road:
    """One way and its height profile."""

    way: Way
    profile: HeightProfile
    source: GradeSource

    def grade(self, from_m: float, to_m: float) -> Estimate:
        """Mean grade between two places [%] with its interval."""
        ends = np.array([from_m, to_m])
        length = max(to_m - from_m, 1e-9)
        low, high = self.profile.height_at(ends)
        value = 100.0 * float(high - low) / length
        sd = float(self.profile.difference_sd_m(ends[:1], ends[1:])[0])
        half = float(np.hypot(Z_95 * 100.0 * sd / length, value * DISTANCE_ERROR_PCT / 100.0))
        return Estimate(value, value - half, value + half)


def height_readings(ride: Ride, way: Way) -> tuple[Floats, Floats, Floats] | None:
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
    return place, height, _worth(still)


def _worth(still: np.ndarray) -> Floats:
    """A stop's readings share one wandering error: together they count as three."""
    edges = np.flatnonzero(np.diff(still.astype(np.int8), prepend=0, append=0))
    worth = np.ones(still.size)
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        worth[a:b] = min(1.0, 3.0 / (b - a))
    return worth


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


def roads_from_height(ride: Ride, ways: tuple[Way, ...]) -> tuple[Road, ...]:
    """Height profiles of the ways that have enough height readings."""
    roads = []
    for way in ways:
        readings = height_readings(ride, way)
        if readings is None:
            continue
        profile = smooth_height(*readings)
        if profile is not None:
            roads.append(Road(way, profile, GradeSource.ALTITUDE))
    return tuple(roads)

"""How far along the road was each sample, with holes in the log bridged or left open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import Bools, Floats, speed_mps
from importers.ride import Ride
from importers.setup_types import Setup

Rows = NDArray[np.intp]

BRIDGE_S = 10.0
"""Speed missing for no longer than this is taken as the mean of its ends [s]. Our choice: at
5 m/s and a change of 1 m/s within it the way is wrong by under 5 m."""
STANDING_MPS = 0.5
"""Slower than this on both sides of a hole: it stood there [m/s]. Our choice."""
EARTH_RADIUS_M = 6_371_008.8
"""Mean radius [m], WGS84. On it, distances are right within 0.6 % anywhere."""
DETOUR_LIMIT_S = 300.0
"""Positions bridge a hole no longer than this [s]; the road bends, a chord is too short. Our
choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """An unbroken stretch of road, `first` to `last` row of the ride, inclusive."""

    first: int
    last: int
    distance_m: Floats
    """One value per row of the stretch, never falling."""
    speed_mps: Floats
    """Speed of the same rows, short holes filled."""

    @property
    def rows(self) -> slice:
        """The rows of `ride.table` it covers."""
        return slice(self.first, self.last + 1)

    @property
    def length_m(self) -> float:
        """From its first to its last row."""
        return float(self.distance_m[-1])


def chord_m(latitude_deg: Floats, longitude_deg: Floats, a: int, b: int) -> float:
    """Straight over the ground from row `a` to row `b` [m] (haversine on the mean radius)."""
    return float(
        great_circle_m(latitude_deg[a], longitude_deg[a], latitude_deg[b], longitude_deg[b])
    )


def great_circle_m(
    lat_a: float | Floats, lon_a: float | Floats, lat_b: float | Floats, lon_b: float | Floats
) -> Floats:
    """Distance over ground between two positions in degrees [m]. Source: haversine on the mean
    Earth radius; within 0.6 % of the ellipsoid."""
    phi_a, phi_b = np.radians(lat_a), np.radians(lat_b)
    half = np.sin((phi_b - phi_a) / 2) ** 2
    half = (
        half
        + np.cos(phi_a) * np.cos(phi_b) * np.sin(np.radians(np.subtract(lon_b, lon_a)) / 2) ** 2
    )
    return np.asarray(2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))


def find_ways(ride: Ride, setup: Setup) -> tuple[Way, ...]:
    """The stretches of road whose length is known; a hole in the log that neither short time nor
    positions nor standing still can bridge ends one. Empty when nothing tells the speed."""
    time_s = ride.time_s
    speed = speed_mps(ride, setup)
    values = _speed_from_positions(ride) if speed is None else speed.values
    if values is None:
        return ()
    good = np.flatnonzero(np.isfinite(values))
    if good.size < 2:
        return ()
    gap = np.diff(time_s[good])
    step_m = 0.5 * (values[good][1:] + values[good][:-1]) * gap
    breaks = _bridge(ride, good, values, gap, step_m)
    starts = np.concatenate([[0], breaks + 1])
    ends = np.concatenate([breaks, [good.size - 1]])
    ways = []
    for a, b in zip(starts, ends, strict=True):
        if b - a < 2:
            continue
        along = np.concatenate([[0.0], np.cumsum(step_m[a:b])])
        along = np.maximum.accumulate(along)  # rolling back a metre is no new road
        first, last = int(good[a]), int(good[b])
        rows = time_s[first : last + 1]
        known = time_s[good[a : b + 1]]
        ways.append(
            Way(
                first,
                last,
                np.interp(rows, known, along - along[0]),
                np.interp(rows, known, values[good[a : b + 1]]),
            )
        )
    return tuple(ways)


def _bridge(
    ride: Ride, good: np.ndarray, values: Floats, gap: Floats, step_m: Floats
) -> np.ndarray:
    """Fills the steps over long holes in place where it can; returns those where it can't."""
    long = np.flatnonzero(gap > BRIDGE_S)
    if long.size == 0:
        return long
    lat, lon = ride.get("latitude_deg"), ride.get("longitude_deg")
    keep_open = []
    for k in long:
        a, b = int(good[k]), int(good[k + 1])
        standing = values[a] < STANDING_MPS and values[b] < STANDING_MPS
        placed = (
            lat is not None
            and lon is not None
            and bool(np.isfinite([lat[a], lat[b], lon[a], lon[b]]).all())
        )
        if placed and gap[k] <= DETOUR_LIMIT_S and lat is not None and lon is not None:
            step_m[k] = chord_m(lat, lon, a, b)
        elif standing and not placed:
            step_m[k] = 0.0
        else:
            keep_open.append(k)
    return np.asarray(keep_open, dtype=np.intp)


def _speed_from_positions(ride: Ride) -> Floats | None:
    """Speed from positions alone [m/s], over at least 3 s so that their scatter counts less."""
    lat, lon = ride.get("latitude_deg"), ride.get("longitude_deg")
    if lat is None or lon is None:
        return None
    time_s = ride.time_s
    fixed = np.isfinite(lat) & np.isfinite(lon)
    moved = np.concatenate([[True], (np.diff(lat) != 0) | (np.diff(lon) != 0)])
    rows = np.flatnonzero(fixed & moved)
    if rows.size < 4:
        return None
    rows = rows[np.concatenate([[True], np.diff(np.floor(time_s[rows] / 3.0)) > 0])]
    if rows.size < 3:
        return None
    leg = great_circle_m(lat[rows[:-1]], lon[rows[:-1]], lat[rows[1:]], lon[rows[1:]])
    middle = 0.5 * (time_s[rows[1:]] + time_s[rows[:-1]])
    speed = np.interp(time_s, middle, leg / np.diff(time_s[rows]))
    return np.asarray(speed, np.float64)


def rows_between(way: Way, ride: Ride, from_m: float, to_m: float) -> tuple[int, int]:
    """First and last row (of the ride) of a stretch of the way: it begins when the place is left
    and ends when the other is reached, so that standing at either end does not count."""
    first = int(np.searchsorted(way.distance_m, from_m, side="right")) - 1
    last = int(np.searchsorted(way.distance_m, to_m, side="left"))
    first = min(max(first, 0), way.distance_m.size - 1)
    last = min(max(last, first), way.distance_m.size - 1)
    return way.first + first, way.first + last


def stands(way: Way) -> Bools:
    """Which rows of the way stand still."""
    return np.asarray(np.abs(way.speed_mps) < STANDING_MPS)

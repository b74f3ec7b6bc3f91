"""Is this the climb ridden before: by place, else by the shape of the road?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.climbs import Climb
from analyzer.quantities import Floats
from analyzer.road import Road, find_roads
from analyzer.way import great_circle_m
from importers.ride import Ride
from importers.setup_types import Setup

PLACE_M = 60.0
"""Middle and top of the same climb lie no further apart than this [m]. Our choice: GPS errors of
two rides and another choice of the foot."""
LENGTH_FACTOR = 1.35
"""Two ways of cutting the same climb differ in length by no more than this factor. Our choice."""
SHAPE_SD_PCT = 1.2
"""Grades of the same climb, piece by piece, differ by no more than this (rms) [%]. Our choice:
twice the usual error of a grade."""
SHAPE_LENGTH_FACTOR = 1.2
SHAPE_GAIN_M = 15.0
"""By shape alone a climb must be this high and as long within this factor. Our choice: little
hills look alike."""
PIECES = 8


@dataclass(frozen=True, slots=True, eq=False)
class ClimbShape:
    """What tells a climb from others."""

    climb: Climb
    places_deg: tuple[tuple[float, float], ...] | None
    """Middle and top, or None without positions."""
    course_deg: float | None
    """Heading from foot to top; a climb's other side is another climb."""
    grades_pct: Floats | None
    """Of `PIECES` equal pieces of its length."""


def climb_shapes(
    ride: Ride, setup: Setup, climbs: tuple[Climb, ...], roads: tuple[Road, ...] | None = None
) -> tuple[ClimbShape, ...]:
    """The shapes of a ride's climbs, in their order."""
    found = find_roads(ride, setup) if roads is None else roads
    return tuple(ClimbShape(one, *_places(ride, one), _grades(ride, found, one)) for one in climbs)


def _places(
    ride: Ride, climb: Climb
) -> tuple[tuple[tuple[float, float], ...] | None, float | None]:
    lat, lon = ride.get("latitude_deg"), ride.get("longitude_deg")
    if lat is None or lon is None:
        return None, None
    good = np.isfinite(lat) & np.isfinite(lon)
    time_s = ride.time_s[good]
    if time_s.size < 3 or time_s[0] > climb.start_s + 10 or time_s[-1] < climb.end_s - 10:
        return None, None
    at = np.array([climb.start_s, 0.5 * (climb.start_s + climb.end_s), climb.end_s])
    north, east = np.interp(at, time_s, lat[good]), np.interp(at, time_s, lon[good])
    across = (east[2] - east[0]) * np.cos(np.radians(north[1]))
    course = float(np.degrees(np.arctan2(across, north[2] - north[0])) % 360.0)
    places = tuple((float(a), float(o)) for a, o in zip(north[1:], east[1:], strict=True))
    return places, course


def _grades(ride: Ride, roads: tuple[Road, ...], climb: Climb) -> Floats | None:
    for road in roads:
        time_s = ride.time_s[road.way.rows]
        if time_s[0] <= climb.start_s and climb.end_s <= time_s[-1]:
            ends = np.interp([climb.start_s, climb.end_s], time_s, road.way.distance_m)
            edges = np.linspace(ends[0], ends[1], PIECES + 1)
            rise = np.diff(road.profile.height_at(edges))
            return np.asarray(100.0 * rise / np.maximum(np.diff(edges), 1e-6), np.float64)
    return None


def same_climb(a: ClimbShape, b: ClimbShape) -> bool:
    """Whether two climbs are the same hill: by the rider's own name, by place where both have
    positions, else by shape."""
    if a.climb.hill is not None and b.climb.hill is not None:
        return a.climb.hill == b.climb.hill
    factor = a.climb.length_m / max(b.climb.length_m, 1e-9)
    if a.places_deg is not None and b.places_deg is not None:
        return _same_place(a, b) and 1 / LENGTH_FACTOR < factor < LENGTH_FACTOR
    if not 1 / SHAPE_LENGTH_FACTOR < factor < SHAPE_LENGTH_FACTOR:
        return False
    if min(a.climb.gain_m, b.climb.gain_m) < SHAPE_GAIN_M:
        return False
    if a.grades_pct is None or b.grades_pct is None:
        return False
    # its ends are where two rides cut it differently
    apart = (a.grades_pct - b.grades_pct)[1:-1]
    return float(np.sqrt(np.mean(apart**2))) < SHAPE_SD_PCT


def _same_place(a: ClimbShape, b: ClimbShape) -> bool:
    assert a.places_deg is not None
    assert b.places_deg is not None
    assert a.course_deg is not None
    assert b.course_deg is not None
    turned = abs((a.course_deg - b.course_deg + 180.0) % 360.0 - 180.0)
    # two ways of cutting the same climb shift its middle by half of what they shift its ends
    reach = PLACE_M + 0.25 * abs(a.climb.length_m - b.climb.length_m)
    return turned < 60.0 and all(
        float(great_circle_m(*one, *other)) < reach
        for one, other in zip(a.places_deg, b.places_deg, strict=True)
    )


def pairs_of(
    before: tuple[ClimbShape, ...], after: tuple[ClimbShape, ...]
) -> tuple[tuple[Climb, Climb], ...]:
    """Climbs of two rides that are the same hill, each used once, the most alike first."""
    candidates = [
        (_unlike(a, b), i, j)
        for i, a in enumerate(before)
        for j, b in enumerate(after)
        if same_climb(a, b)
    ]
    used_a: set[int] = set()
    used_b: set[int] = set()
    pairs: list[tuple[int, int]] = []
    for _, i, j in sorted(candidates):
        if i not in used_a and j not in used_b:
            used_a.add(i)
            used_b.add(j)
            pairs.append((i, j))
    return tuple((before[i].climb, after[j].climb) for i, j in sorted(pairs))


def _unlike(a: ClimbShape, b: ClimbShape) -> float:
    apart = abs(np.log(max(a.climb.length_m, 1.0) / max(b.climb.length_m, 1.0)))
    if a.grades_pct is not None and b.grades_pct is not None:
        apart += float(np.mean(np.abs(a.grades_pct - b.grades_pct))) / 10.0
    return float(apart)

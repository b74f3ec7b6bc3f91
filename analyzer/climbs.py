"""Where did the road rise, and what did it ask of the build?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.climb_load import RideLoad, ride_load, stretch_load
from analyzer.climb_spans import MIN_GAIN_M, climb_spans
from analyzer.estimate import Estimate, Note
from analyzer.pack_state import PackFit
from analyzer.quantities import Floats
from analyzer.road import Road, find_roads
from analyzer.way import great_circle_m, rows_between
from analyzer.words import Governor, GradeSource
from importers.ride import Ride
from importers.setup_types import Setup

NO_ROAD = (
    "Where the road rose is not known: that needs speed and height, or speed, the drives' power "
    "and the mass."
)
ESTIMATED = (
    "No height in the logs: grades are estimated from the power the drives took, the speed and the "
    "mass in the setup; an error of the mass or of the wind goes into them."
)
NAMED_WITHIN_M = 150.0
"""A climb belongs to a named hill when it passes this near to its position [m]. Our choice."""


@dataclass(frozen=True, slots=True)
class Governed:
    """Which limit, or the rider, governed one drive over a climb: per cent of its time."""

    drive: str
    parts: tuple[tuple[Governor, float], ...]


@dataclass(frozen=True, slots=True)
class Climb:
    """A stretch that gains 10 m or more without a dip of more than 2 m, mean grade 2 % or more."""

    start_s: float
    end_s: float
    length_m: float
    gain_m: float
    grade_pct: Estimate
    grade_source: GradeSource
    peak_pack_current_a: float | None
    mean_pack_current_a: float | None
    min_voltage_v: float | None
    margin_to_derate_v: float | None
    top_motor_temp_c: tuple[tuple[str, float | None], ...]
    governed: tuple[Governed, ...]
    limits_touched: tuple[str, ...]
    hill: str | None = None
    """The rider's own name for it, from `[[hills]]`."""


def find_climbs(
    ride: Ride,
    setup: Setup,
    *,
    pack_fit: PackFit | None = None,
    roads: tuple[Road, ...] | None = None,
    load: RideLoad | None = None,
) -> tuple[tuple[Climb, ...], tuple[Note, ...]]:
    """Where did the road rise by 10 m or more, and what did that ask of the build? In the order
    ridden, with notes on what could not be told."""
    found = find_roads(ride, setup) if roads is None else roads
    if not found:
        return (), (Note("climbs", NO_ROAD),)
    if load is None:
        load = ride_load(ride, setup, None if pack_fit is None else pack_fit.rest_voltage_v)
    spans = [(road, a, b) for road in found for a, b in _spans(road)]
    rows = [rows_between(road.way, ride, a, b) for road, a, b in spans]
    next_start = [float(ride.time_s[first]) for first, _ in rows[1:]] + [np.inf] * bool(rows)
    climbs = tuple(
        _climb(ride, setup, load, road, ends, until)
        for (road, _, _), ends, until in zip(spans, rows, next_start, strict=True)
    )
    if all(road.source is GradeSource.ESTIMATED for road in found):
        return climbs, (Note("climbs", ESTIMATED),)
    return climbs, ()


def _spans(road: Road) -> list[tuple[float, float]]:
    """Climbs of a road: those that gain 10 m, or would with a height one deviation higher."""
    spans = climb_spans(road.profile.distance_m, road.profile.height_m)
    if not spans:
        return []
    ends = np.array(spans)
    gain = road.profile.height_at(ends[:, 1]) - road.profile.height_at(ends[:, 0])
    sd = road.profile.difference_sd_m(ends[:, 0], ends[:, 1])
    return [one for one, sure in zip(spans, gain + sd >= MIN_GAIN_M, strict=True) if sure]


def _climb(
    ride: Ride,
    setup: Setup,
    load: RideLoad,
    road: Road,
    rows: tuple[int, int],
    heat_until_s: float,
) -> Climb:
    asked = stretch_load(load, ride.time_s, rows[0], rows[1], heat_until_s)
    derate = [d.derate_from_v for d in setup.drives if d.derate_from_v is not None]
    # at one row a second a row may lie metres beside the place where the road begins to rise
    places = (road.way.distance_m[[row - road.way.first for row in rows]]).tolist()
    low, high = road.profile.height_at(np.asarray(places))
    return Climb(
        start_s=float(ride.time_s[rows[0]]),
        end_s=float(ride.time_s[rows[1]]),
        length_m=places[1] - places[0],
        gain_m=float(high - low),
        grade_pct=road.grade(*places),
        grade_source=road.source,
        peak_pack_current_a=asked.peak_pack_current_a,
        mean_pack_current_a=asked.mean_pack_current_a,
        min_voltage_v=asked.min_voltage_v,
        margin_to_derate_v=(
            asked.min_voltage_v - max(derate)
            if derate and asked.min_voltage_v is not None
            else None
        ),
        top_motor_temp_c=asked.top_motor_temp_c,
        governed=(),
        limits_touched=asked.limits_touched,
        hill=name_of_hill(ride, setup, rows),
    )


def name_of_hill(ride: Ride, setup: Setup, rows: tuple[int, int]) -> str | None:
    """The rider's name for a stretch that passes near one of the setup's hills; the nearest."""
    lat, lon = ride.get("latitude_deg"), ride.get("longitude_deg")
    if lat is None or lon is None or not setup.hills:
        return None
    part = slice(rows[0], rows[1] + 1)
    near: list[tuple[float, str]] = []
    for hill in setup.hills:
        away: Floats = great_circle_m(lat[part], lon[part], hill.latitude_deg, hill.longitude_deg)
        away = away[np.isfinite(away)]
        if away.size and float(away.min()) <= NAMED_WITHIN_M:
            near.append((float(away.min()), hill.name))
    return min(near)[1] if near else None

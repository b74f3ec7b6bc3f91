"""How far along the road: closed forms, geodesics, holes in the log."""

from __future__ import annotations

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.way import find_ways, great_circle_m, rows_between


def test_haversine_against_published_geodesics() -> None:
    # Geoscience Australia's example Flinders Peak - Buninyong: 54 972.271 m on the ellipsoid; on
    # the mean sphere 0.085 % short. One degree of latitude at the equator 110 574.389 m.
    flinders = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    buninyong = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
    assert float(great_circle_m(*flinders, *buninyong)) == pytest.approx(54_972.271, rel=1.0e-3)
    assert float(great_circle_m(0.0, 0.0, 1.0, 0.0)) == pytest.approx(110_574.389, rel=6e-3)


def test_distance_is_the_area_under_speed() -> None:
    time = clock(100)
    ride = make_ride(time, {"speed_mps": 0.1 * time})
    (way,) = find_ways(ride, make_setup())
    # s = a t^2 / 2
    assert way.length_m == pytest.approx(0.05 * time[-1] ** 2, rel=1e-6)


def test_a_short_hole_is_bridged_and_a_long_one_ends_the_way() -> None:
    time = np.concatenate(
        [np.arange(0, 60, 0.1), np.arange(65, 100, 0.1), np.arange(200, 260, 0.1)]
    )
    ride = make_ride(time, {"speed_mps": 5.0})
    ways = find_ways(ride, make_setup())
    assert len(ways) == 2
    assert ways[0].length_m == pytest.approx(5.0 * 99.9, abs=1.0)


def test_positions_bridge_a_hole() -> None:
    time = np.concatenate([np.arange(0, 60, 0.1), np.arange(120, 180, 0.1)])
    north = 47.0 + 5.0 * time / 111_194.9
    ride = make_ride(time, {"speed_mps": 5.0, "latitude_deg": north, "longitude_deg": 8.0})
    (way,) = find_ways(ride, make_setup())
    assert way.length_m == pytest.approx(5.0 * time[-1], rel=1e-3)


def test_standing_at_the_foot_is_not_the_climb() -> None:
    time = clock(100, 10.0)
    speed = np.where((time > 20) & (time < 50), 0.0, 5.0)
    ride = make_ride(time, {"speed_mps": speed})
    (way,) = find_ways(ride, make_setup())
    first, _ = rows_between(way, ride, 100.3, 200.0)
    assert time[first] >= 49.5


def test_nothing_known_is_no_way() -> None:
    ride = make_ride(clock(10), {"left.battery_current_a": 1.0})
    assert find_ways(ride, make_setup()) == ()
    assert find_ways(make_ride(clock(10), {"speed_mps": np.nan}), make_setup()) == ()

"""Climbs on simulated rides whose road is known; the full table is a benchmark."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.climbs import find_climbs
from analyzer.road import find_roads
from analyzer.road_load import fit_road_load
from analyzer.same_climb import climb_shapes, pairs_of
from analyzer.words import GradeSource
from importers.ride import Ride
from importers.setup_types import Hill
from simulator.build import example_trike
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import simulate
from simulator.terrain import flat, from_pieces

PIECES = [(400.0, 0.0), (350.0, 6.0), (300.0, 0.2), (400.0, -5.0), (300.0, 0.0), (500.0, 4.0),
          (300.0, 0.0)]  # fmt: skip


def ridden(pieces, seed: int, **more):
    names = ["left", "right"]
    sensors = Sensors.usual(np.random.default_rng(seed), names).but(gps_alt_sd_m=3.0)
    return simulate(
        example_trike(), from_pieces(pieces), Rider(cruise_mps=6.0), seed=seed, rate_hz=10.0,
        soc=0.85, sensors=sensors, **more,
    )  # fmt: skip


def without(ride: Ride, *channels: str) -> Ride:
    kept = [c for c in ride.table.columns if c not in channels]
    return Ride(ride.table[kept], ride.drives, ride.sources, ride.start, ride.facts)


@pytest.fixture(scope="module")
def hill():
    return ridden(PIECES, 4)


@pytest.mark.parametrize("with_height", [True, False])
def test_climbs_and_grades_of_a_known_road(hill, with_height: bool) -> None:
    ride = hill.ride if with_height else without(hill.ride, "altitude_m")
    climbs, notes = find_climbs(ride, hill.setup)
    assert len(climbs) == 2
    source = GradeSource.ALTITUDE if with_height else GradeSource.ESTIMATED
    for found, truth in zip(climbs, hill.truth.climbs, strict=True):
        assert found.grade_source is source
        assert found.grade_pct.value == pytest.approx(truth.grade_pct, abs=0.7)
        assert found.grade_pct.low <= truth.grade_pct <= found.grade_pct.high
        assert found.start_s == pytest.approx(truth.start_s, abs=8.0)
        assert found.peak_pack_current_a > found.mean_pack_current_a > 5.0
    assert bool(notes) is not with_height


def test_a_windings_heat_is_looked_for_beyond_the_top(hill) -> None:
    climbs, _ = find_climbs(hill.ride, hill.setup)
    for found, truth in zip(climbs, hill.truth.climbs, strict=True):
        for drive, top in found.top_motor_temp_c:
            assert top == pytest.approx(truth.top_temp_c[drive], abs=3.0)


def test_flat_ground_has_none() -> None:
    sensors = Sensors.usual(np.random.default_rng(9), ["left", "right"]).but(gps_alt_sd_m=3.0)
    sim = simulate(
        example_trike(), flat(2500, seed=9), Rider(cruise_mps=6.0), seed=9, rate_hz=10.0,
        sensors=sensors,
    )  # fmt: skip
    for ride in (sim.ride, without(sim.ride, "altitude_m")):
        assert find_climbs(ride, sim.setup)[0] == ()


def test_road_load_intervals_hold_the_truth(hill) -> None:
    load = fit_road_load(hill.ride, hill.setup, find_roads(hill.ride, hill.setup))
    for one, truth in (
        (load.tyres, hill.truth.crr),
        (load.drag_area_m2, hill.truth.cda_m2),
    ):
        assert one.estimate.low <= truth <= one.estimate.high
    assert load.wheel_factor is not None
    assert load.wheel_factor.estimate.value == pytest.approx(1.0, abs=0.01)


def test_the_same_climb_ridden_again_is_known_by_place_and_by_shape(hill) -> None:
    again = ridden(PIECES, 5)
    here, there = (
        climb_shapes(one.ride, one.setup, find_climbs(one.ride, one.setup)[0])
        for one in (hill, again)
    )
    assert len(pairs_of(here, there)) == 2
    places = ("latitude_deg", "longitude_deg")
    bare = [without(one.ride, *places) for one in (hill, again)]
    shapes = [climb_shapes(ride, hill.setup, find_climbs(ride, hill.setup)[0]) for ride in bare]
    assert len(pairs_of(*shapes)) == 2
    first, second = pairs_of(*shapes)
    assert abs(first[0].length_m - second[0].length_m) > 50  # not crossed


def test_another_hill_is_not_the_same(hill) -> None:
    other = ridden([(400.0, 0.0), (350.0, 8.0), (200.0, 0.0)], 6)
    shapes = [
        climb_shapes(without(one.ride, "latitude_deg", "longitude_deg"), one.setup,
                     find_climbs(one.ride, one.setup)[0])
        for one in (hill, other)
    ]  # fmt: skip
    assert pairs_of(*shapes) == ()


def test_a_hill_bears_the_riders_name(hill) -> None:
    climbs, _ = find_climbs(hill.ride, hill.setup)
    at = int(np.searchsorted(hill.ride.time_s, 0.5 * (climbs[0].start_s + climbs[0].end_s)))
    lat, lon = hill.ride.get("latitude_deg"), hill.ride.get("longitude_deg")
    named = replace(hill.setup, hills=(Hill("Mill Lane", float(lat[at]), float(lon[at])),))
    assert [one.hill for one in find_climbs(hill.ride, named)[0]] == ["Mill Lane", None]


def test_height_filled_in_by_straight_lines_is_few_readings() -> None:
    # one fix each 100 s, straight lines between, as some loggers write: not a staircase of climbs
    time = clock(1200, 10.0)
    rng = np.random.default_rng(2)
    fixes = np.arange(0, 1201, 100.0)
    height = np.interp(time, fixes, 100 + rng.normal(0, 2.0, fixes.size))
    ride = make_ride(time, {"speed_mps": 6.0, "altitude_m": np.round(height, 2)})
    assert find_climbs(ride, make_setup())[0] == ()


@pytest.mark.parametrize(
    "channels",
    [
        {},
        {"speed_mps": np.nan, "altitude_m": np.nan},
        {"speed_mps": 0.0, "altitude_m": 5.0},
        {"speed_mps": 5.0, "altitude_m": 5.0},
        {"speed_mps": 5.0, "left.battery_current_a": 4.0, "left.battery_voltage_v": 50.0},
        {"altitude_m": 5.0, "latitude_deg": 47.0, "longitude_deg": 8.0},
    ],
)
@pytest.mark.parametrize("seconds", [1.0, 60.0])
def test_odd_rides_have_no_climbs_and_do_not_break(channels, seconds: float) -> None:
    ride = make_ride(clock(seconds, 10.0), channels)
    before = ride.table.copy()
    climbs, _ = find_climbs(ride, make_setup(vehicle={"mass_kg": 150.0}))
    assert climbs == ()
    assert ride.table.equals(before)
    fit_road_load(ride, make_setup(), find_roads(ride, make_setup()))

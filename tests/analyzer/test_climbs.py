"""Climbs on simulated rides whose road is known; the full table is a benchmark."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.climbs import find_climbs
from analyzer.power_balance import power_balance
from analyzer.road import find_roads, lean_on
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


def test_a_grade_is_of_the_stretch_between_its_own_rows(hill) -> None:
    # one row a second lies up to 6 m from where the rise begins: length and grade must be those of
    # the rows that are named, by the road's own table
    table = hill.ride.table.iloc[::20].reset_index(drop=True)
    slow = replace(hill.ride, table=table)
    climbs, _ = find_climbs(slow, hill.setup)
    assert climbs
    for one in climbs:
        along = np.interp([one.start_s, one.end_s], hill.t, hill.col["s_m"])
        assert one.length_m == pytest.approx(float(np.diff(along)[0]), abs=3.0)


def test_a_wrong_mass_is_in_the_interval_with_height_too(hill) -> None:
    # all work is counted per weight: a mass 4 % off looks like drives that lose 4 % more, which
    # the efficiency's spread before the ride has to hold
    road = find_roads(hill.ride, hill.setup)[0]
    plain = power_balance(hill.ride, hill.setup, road.way)
    assert plain is not None
    k = plain.names.index("efficiency")
    assert road.balance is not None
    assert road.balance.sd[k] ** 2 == pytest.approx(
        plain.sd[k] ** 2 + (0.04 * plain.expected[k]) ** 2
    )


def test_motion_lost_while_something_brakes_is_left_open(hill) -> None:
    # a slot from 5 to 4 m/s while motors brake may have lost up to (25 - 16) / 2 g = 0.459 m of
    # height to the brake: anything between none and all has a root mean square of that over the
    # root of 3; the same slot while nothing brakes, and none beside does, loses none
    road = find_roads(hill.ride, hill.setup)[0]
    assert road.balance is not None
    n = 20
    lost_m = 9.0 / (2 * 9.80665)
    kinetic = np.zeros((n + 1, 6))
    kinetic[6:, 5] += lost_m
    kinetic[16:, 5] += lost_m
    braking = np.zeros(n, bool)
    braking[5] = True
    made = replace(
        road.balance, place_m=np.linspace(0, 200, n + 1), height_m=kinetic, braking=braking,
        unsure=np.zeros(n, bool),
    )  # fmt: skip
    open_m2 = lean_on(made, 200.0).open_m2
    assert open_m2 is not None
    assert np.sqrt(open_m2[5]) == pytest.approx(lost_m / 3**0.5, rel=1e-3)
    assert open_m2[10:] == pytest.approx(0.0, abs=1e-9)


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

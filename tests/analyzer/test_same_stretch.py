"""Two rides of one road: what held back more on the second, against forces written down here."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.height_profile import Candidate, HeightProfile
from analyzer.power_balance import PowerBalance
from analyzer.road import Road
from analyzer.same_stretch import held_back_change
from analyzer.way import Way
from analyzer.words import GradeSource

THETA = np.array([0.95, 0.0, 1.05, 0.015, 0.6, 1.05])
G = 9.80665


def road_of(height, more: float, late_m: float = 0.0, speed: float = 5.0, brake=None) -> Road:
    """A ride at one speed along `height` (a function of the place), begun `late_m` further on,
    held back by 0.015 + `more` of its 200 kg and the air on 0.6 m2; `brake`: cells of 10 m in which
    the mechanical brake may have taken something."""
    n = 400
    place = np.arange(n + 1) * 10.0
    air = 0.5 * 1.2 * speed**2 / (200.0 * G)
    work = np.diff(height(place + late_m)) + (0.015 + more + 0.6 * air) * 10.0
    columns = np.zeros((n + 1, 6))
    columns[1:, 0] = np.cumsum(work / THETA[0])
    columns[:, 3] = -place
    columns[:, 4] = -air * place
    unsure = np.zeros(n, bool)
    if brake is not None:  # such a slot's balance is set to nothing at its source
        unsure[brake] = True
        steps = np.diff(columns, axis=0) * ~unsure[:, None]
        columns = np.vstack([np.zeros(6), np.cumsum(steps, axis=0)])
    balance = PowerBalance(
        ("efficiency", "copper_share", "return", "rolling", "drag_m2", "turning"), place, columns,
        THETA, np.full(6, 0.1), np.zeros(n, bool), unsure, (1.0, 1.0), False, 200.0,
    )  # fmt: skip
    way = Way(0, n, place, np.full(n + 1, speed))
    flat = np.zeros(n + 1)
    only = Candidate(1.0, flat, None, np.zeros((n + 1, 0)), np.zeros((0, 0)))
    profile = HeightProfile(10.0, flat, (only,))
    return Road(way, profile, GradeSource.ESTIMATED, balance, THETA, np.eye(6) * 1e-4)


def hills(place):
    return 12 * np.sin(place / 200.0) + 4 * np.sin(place / 70.0)


def other_hills(place):
    return 12 * np.sin(place / 170.0 + 1) + 4 * np.sin(place / 90.0)


def change(one: Road, two: Road):
    rides = SimpleNamespace(climbs=()), SimpleNamespace(climbs=())
    return held_back_change(rides, ([one], [two]), (), THETA, np.eye(6) * 1e-4)


@pytest.mark.parametrize("late_m", [0.0, 40.0, -30.0])
def test_more_resistance_on_the_same_road_is_what_was_put_there(late_m: float) -> None:
    found = change(road_of(hills, 0.0), road_of(hills, 0.004, late_m))
    assert found is not None
    assert found.value == pytest.approx(0.004, abs=1e-4)
    assert 0.0004 < found.sd < 0.002


def test_a_brake_on_one_ride_alone_counts_on_neither() -> None:
    found = change(road_of(hills, 0.0), road_of(hills, 0.004, brake=slice(100, 140)))
    assert found is not None
    assert found.value == pytest.approx(0.004, abs=2e-4)
    assert found.length_m == pytest.approx(3600.0, abs=60.0)


def test_two_roads_and_flat_ground_tell_nothing() -> None:
    # on flat ground nothing says that it is one road: one may fall by what the other resists
    assert change(road_of(hills, 0.0), road_of(other_hills, 0.004)) is None
    level = lambda place: 0.0 * place  # noqa: E731
    assert change(road_of(level, 0.0), road_of(level, 0.004)) is None

"""Places that wander at rest and that are held under bridges. The truth: the way that was ridden,
seen by a receiver whose error wanders (first-order Gauss-Markov, as satellite errors are)."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from setup_maker import TRIKE, setup_of

from analyzer.totals import ride_totals
from importers.place_drift import without_drift
from importers.ride import ChannelReading, Ride, Source

DEG_M = 111_195.0
SETUP = setup_of(TRIKE)


@dataclass
class Track:
    time_s: np.ndarray
    speed_mps: np.ndarray
    columns: dict[str, np.ndarray]

    @property
    def way_m(self) -> float:
        return float(np.trapezoid(self.speed_mps, self.time_s))


def track(seed: int, *, halts: bool = True, wander_m: float = 2.5, hz: float = 1.0) -> Track:
    """Twenty minutes along a bending road, standing two minutes in every five."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0, 1200, 1 / hz)
    goes = (time_s % 300 < 180) if halts else np.ones(time_s.size, bool)
    speed = np.convolve(np.where(goes, 5 + np.sin(time_s / 20), 0.0), np.ones(5) / 5, "same")
    course = time_s / 200
    north = np.cumsum(speed * np.cos(course)) / hz
    east = np.cumsum(speed * np.sin(course)) / hz

    def off() -> np.ndarray:
        keep = np.exp(-1 / hz / 40)
        error = np.zeros(time_s.size)
        for n in range(1, time_s.size):
            error[n] = keep * error[n - 1] + wander_m * np.sqrt(1 - keep**2) * rng.normal()
        return error

    flicker = np.abs(rng.normal(0, 0.35, time_s.size))
    columns = {
        "latitude_deg": np.round(47 + (north + off()) / DEG_M, 7),
        "longitude_deg": np.round(8 + (east + off()) / DEG_M / np.cos(np.radians(47)), 7),
        "gps_speed_mps": np.round(np.where(speed < 0.05, flicker, speed + 0.1 * flicker), 2),
    }
    return Track(time_s, speed, columns)


def way_m(time_s: np.ndarray, columns: dict[str, np.ndarray]) -> float:
    readings = tuple(ChannelReading(n, n, "", 1, 1.0, 1.0) for n in columns)
    source = Source("gps.csv", "gps", time_s.size, 0, 1.0, None, None, readings)
    table = pd.DataFrame({"time_s": time_s, **columns})
    found = ride_totals(Ride(table, ("left",), (source,)), SETUP).distance_m
    assert found is not None
    return found


@pytest.mark.parametrize("seed", range(4))
def test_wandering_at_rest_is_no_way(seed: int) -> None:
    seen = track(seed)
    before = way_m(seen.time_s, seen.columns)
    clean, told = without_drift(seen.time_s, seen.columns)
    assert before > seen.way_m + 80
    assert way_m(seen.time_s, clean) == pytest.approx(seen.way_m, rel=0.02)
    assert "wanders while the vehicle stands" in told[0]
    rides = seen.speed_mps > 2.0
    assert np.array_equal(clean["gps_speed_mps"][rides], seen.columns["gps_speed_mps"][rides])


def test_a_ride_without_halts_is_left_as_it_is() -> None:
    for seed in range(4):
        seen = track(seed, halts=False)
        clean, told = without_drift(seen.time_s, seen.columns)
        assert told == []
        assert all(clean[name] is seen.columns[name] for name in clean)


def test_a_walk_is_no_standing() -> None:
    """Pushing the vehicle at 1 m/s is way."""
    seen = track(1, halts=False)
    scale = 0.2
    columns = {
        "latitude_deg": np.round(47 + scale * (seen.columns["latitude_deg"] - 47), 7),
        "longitude_deg": np.round(8 + scale * (seen.columns["longitude_deg"] - 8), 7),
        "gps_speed_mps": scale * seen.columns["gps_speed_mps"],
    }
    assert without_drift(seen.time_s, columns)[1] == []


@pytest.mark.parametrize("hz", [1.0, 5.0])
@pytest.mark.parametrize("begin_s", [320.0, 660.0])
def test_a_fix_held_under_a_bridge_is_neither_way_nor_speed(begin_s: float, hz: float) -> None:
    seen = track(3, hz=hz, halts=False)
    under = (seen.time_s > begin_s) & (seen.time_s <= begin_s + 25)
    last = int(np.argmax(under)) - 1
    columns = {name: np.where(under, v[last], v) for name, v in seen.columns.items()}
    clean, told = without_drift(seen.time_s, columns)
    gone = np.isnan(clean["gps_speed_mps"])
    assert not gone[~under].any()
    assert gone[under].mean() > 0.9
    assert "repeat a fix and then leap" in told[0]
    assert way_m(seen.time_s, clean) == pytest.approx(seen.way_m, rel=0.02)


def test_a_receiver_that_freezes_at_rest_is_not_under_a_bridge() -> None:
    seen = track(2)
    at = np.maximum.accumulate(np.where(seen.speed_mps > 0.05, np.arange(seen.time_s.size), 0))
    columns = {name: values[at] for name, values in seen.columns.items()}
    columns["gps_speed_mps"] = np.where(seen.speed_mps > 0.05, columns["gps_speed_mps"], 0.0)
    clean, told = without_drift(seen.time_s, columns)
    assert told == []
    assert all(clean[name] is columns[name] for name in clean)


def test_a_hole_in_the_log_is_no_bridge() -> None:
    seen = track(5, halts=False)
    keep = (seen.time_s < 400) | (seen.time_s > 430)
    columns = {name: values[keep] for name, values in seen.columns.items()}
    assert without_drift(seen.time_s[keep], columns)[1] == []


def test_places_alone_stand_where_the_halt_began() -> None:
    seen = track(6)
    columns = {n: v for n, v in seen.columns.items() if n != "gps_speed_mps"}
    clean, told = without_drift(seen.time_s, columns)
    assert len(told) == 1
    assert way_m(seen.time_s, clean) == pytest.approx(seen.way_m, rel=0.03)

"""Do the intervals of grade hold, on rides of both truths, with height and without?

    PYTHONPATH=.:tests python benchmarks/tables/grade_truth.py [RIDES] [--first SEED]

Rides of the simulator and of `tests/probe` in equal number. Tyres and drag areas differ as much as
the sources of the defaults say, and the mass in the setup is 4 % wrong (one sd): an interval can
only hold what it was told to expect, and must hold that. The height is written anew for each row:
once a second, an error that wanders over a time of its own, and scatter. Printed: the grade's error
and bias between the climb's own ends, the interval's half width, how often it holds the truth.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from probe import ask, cases, fresh
from probe.rider import Rider as ProbeRider
from probe.run import ride as probe_ride

from analyzer import power_balance as before
from analyzer.climbs import find_climbs
from importers.read_ride import read_ride
from importers.ride import Ride
from importers.setup_file import read_setup
from importers.setup_types import Setup
from simulator.build import example_trike
from simulator.random_builds import cruising_mps, random_build
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import simulate
from simulator.terrain import hilly

GPS = ("altitude_m", "latitude_deg", "longitude_deg", "gps_speed_mps", "course_deg")
ROWS: tuple[tuple[str, float, float, float, float], ...] = (
    ("1 m, wanders over 45 s", 1.0, 45.0, 0.85, 0.5),
    ("3 m, wanders over 45 s", 3.0, 45.0, 0.85, 0.5),
    ("3 m, wanders over 15 s", 3.0, 15.0, 0.85, 0.5),
    ("3 m, wanders over 180 s", 3.0, 180.0, 0.85, 0.5),
    ("1 m, scatter alone", 1.0, 45.0, 0.0, 1.0),
    ("no height", 0.0, 0.0, 0.0, 0.0),
)
"""Words, size [m], time [s] and the parts of wander and scatter."""


@dataclass
class Truth:
    """A ride as read, and where it really was."""

    ride: Ride
    setup: Setup
    time_s: np.ndarray
    place_m: np.ndarray
    height_m: np.ndarray


def wrong_mass(setup: Setup, rng: np.random.Generator) -> Setup:
    mass = setup.vehicle.mass_kg
    assert mass is not None
    return replace(setup, vehicle=replace(setup.vehicle, mass_kg=mass * rng.normal(1.0, 0.04)))


def tyres_and_air(rng: np.random.Generator) -> tuple[float, float]:
    """A rolling coefficient and a drag area [m2] as builds have them."""
    rolling = np.clip(rng.normal(before.ROLLING, before.ROLLING_SD), 0.004, 0.035)
    return float(rolling), float(np.clip(rng.normal(before.DRAG_M2, before.DRAG_SD_M2), 0.25, 1.2))


def own(seed: int) -> Truth:
    """A ride of the simulator; every other with a random build."""
    rng = np.random.default_rng(seed)
    build = random_build(rng) if seed % 2 else example_trike()
    rolling, drag_m2 = tyres_and_air(rng)
    body = replace(build.body, crr=rolling, cda_m2=drag_m2)
    build = replace(build, body=body)
    sim = simulate(
        build,
        hilly(rng.uniform(4000, 8000), seed=seed, steepest_pct=rng.uniform(5.0, 10.0)),
        Rider(cruise_mps=min(rng.uniform(5.0, 8.5), cruising_mps(build))),
        seed=seed, rate_hz=10.0, soc=0.9, temp_c=rng.uniform(8, 28),
        sensors=Sensors.usual(rng, [d.name for d in build.drives]), wind_mps=rng.normal(0, 0.7),
    )  # fmt: skip
    place = sim.col["s_m"]
    height = np.interp(place, sim.road.at_m, sim.road.altitude_m)
    return Truth(sim.ride, wrong_mass(sim.setup, rng), sim.t, place, height)


def probe(seed: int, folder: Path) -> Truth:
    """A ride of `tests/probe`, read from its logs; every other one of the newer builds."""
    rng = np.random.default_rng(seed)
    newer = bool(seed % 2)
    kinds = list(fresh.BUILDS) if newer else list(cases.ALL)
    kind = kinds[seed // 2 % len(kinds)]
    make, top = fresh.BUILDS[kind] if newer else (cases.ALL[kind], cases.TOP_MPS[kind])
    rolling, drag_m2 = tyres_and_air(rng)
    machine = replace(make(), rolling=rolling, drag_m2=drag_m2)
    road = cases.hilly(top, rng)
    hand, motors = 0.4 + 0.8 * rng.random(), 0.3 + 0.7 * rng.random()
    rider = ProbeRider(road, stiffness=hand, motor_brake=motors)
    soc, air_c = rng.uniform(0.5, 0.9), float(rng.uniform(4, 30))
    run = probe_ride(machine, rider, soc=float(soc), air_c=air_c, seed=seed)
    styles = fresh.LOGGERS if newer else cases.STYLES
    style = styles[int(rng.integers(len(styles)))]
    if style.gps == "none":
        style = replace(style, gps="apart")
    style = replace(style, current_gain=1 + 0.01 * rng.standard_normal())
    case = cases.Case(f"{kind}-{seed}", run, style)
    logs = ask.files(case, folder / case.name)
    setup = read_setup(str(folder / case.name / "setup.toml"))
    place = run.col["x"]
    height = run.road.height_at(place)  # type: ignore[attr-defined]
    return Truth(read_ride(logs, setup), wrong_mass(setup, rng), run.t_s, place, height)


def with_height(
    truth: Truth, seed: int, size_m: float, forgets_s: float, wander: float, scatter: float
) -> Ride:
    """The ride with a height written once a second; without any where its error has no size."""
    ride = truth.ride
    if size_m == 0:
        table = ride.table.drop(columns=[c for c in GPS if c in ride.table.columns])
        return replace(ride, table=table)
    rng = np.random.default_rng(seed)
    time_s = ride.time_s
    tick = np.floor(time_s - time_s[0]).astype(int)
    moments = time_s[0] + np.arange(tick[-1] + 1)
    keeps = np.exp(-1.0 / forgets_s)
    error = np.empty(moments.size)
    error[0] = rng.standard_normal()
    for k, step in enumerate(rng.standard_normal(moments.size - 1)):
        error[k + 1] = keeps * error[k] + np.sqrt(1 - keeps**2) * step
    error = size_m * (wander * error + scatter * rng.standard_normal(moments.size))
    height = np.interp(moments, truth.time_s, truth.height_m) + error
    return replace(ride, table=ride.table.assign(altitude_m=np.round(height, 1)[tick]))


def grades(truth: Truth, ride: Ride) -> list[tuple[float, float, bool]]:
    """Error, half width and whether it holds, per climb found [points]."""
    found = []
    for climb in find_climbs(ride, truth.setup)[0]:
        ends = [climb.start_s, climb.end_s]
        rise = float(np.diff(np.interp(ends, truth.time_s, truth.height_m))[0])
        length = float(np.diff(np.interp(ends, truth.time_s, truth.place_m))[0])
        e = climb.grade_pct
        assert e.low is not None
        assert e.high is not None
        true = 100.0 * rise / max(length, 1e-9)
        found.append((e.value - true, 0.5 * (e.high - e.low), e.low <= true <= e.high))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=12)
    parser.add_argument("--first", type=int, default=100)
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.rides)
    with tempfile.TemporaryDirectory() as name:
        sets = {
            "simulator": [own(seed) for seed in seeds],
            "probe": [probe(seed, Path(name)) for seed in seeds],
        }
    for which, truths in sets.items():
        for words, *error in ROWS:
            rows = [
                one
                for k, truth in enumerate(truths)
                for one in grades(truth, with_height(truth, args.first + k, *error))
            ]
            off, half, held = (np.array(column) for column in zip(*rows, strict=True))
            print(
                f"{which:10} {words:24} {off.size:4} climbs: error median "
                f"{np.median(abs(off)):.2f}, 90th {np.quantile(abs(off), 0.9):.2f}, bias "
                f"{off.mean():+.2f}, half width "
                f"{np.median(half):.2f} points, interval holds {100 * held.mean():.1f} %"
            )


if __name__ == "__main__":
    main()

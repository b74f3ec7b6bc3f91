"""Do grades from logged height agree with what energy alone says of them, on real drives?

    python benchmarks/tables/real_grades.py FOLDER

FOLDER holds logs (`*.csv`) and one setup (`*.toml`). By height: from the readings alone, over
stretches of 300 m, or from reading to reading where a log holds few (heights filled in by straight
lines are no readings). By energy: the same places with the height taken away, from power, speed and
mass. Printed: correlation, bias (energy less height), median difference, how often the interval
without height holds the grade by height; then the same for the climbs that a dense log finds.
Nothing of the logs is kept.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from analyzer.climbs import find_climbs
from analyzer.estimate import Estimate
from analyzer.height_fit import fit_height
from analyzer.road import Road, find_roads, height_readings
from hillproof.jobs import analyse_ride
from importers.ride import Ride

STRETCH_M = 300.0

Pair = tuple[float, Estimate]
"""Grade by height and by energy [%]."""


def without_height(ride: Ride) -> Ride:
    """The same ride as a logger without height writes it."""
    return replace(ride, table=ride.table.drop(columns=["altitude_m"]))


def places(road: Road, ride: Ride, moments_s: tuple[float, float]) -> tuple[float, float] | None:
    """Where on the way two moments lie; None where it does not hold both."""
    time_s = ride.time_s[road.way.rows]
    if moments_s[0] < time_s[0] or moments_s[1] > time_s[-1]:
        return None
    start, end = np.interp(moments_s, time_s, road.way.distance_m)
    return (float(start), float(end)) if end > start else None


def pairs_of(log: Path, setup: Path) -> tuple[list[Pair], list[Pair]]:
    """The drive's stretches, and its climbs where its heights are dense, both ways."""
    result = analyse_ride([str(log)], setup=str(setup))
    stretches: list[Pair] = []
    climbs: list[Pair] = []
    if not result.ride.has("altitude_m"):
        return stretches, climbs
    for road in find_roads(without_height(result.ride), result.setup):
        readings = height_readings(result.ride, road.way)
        if readings is None:
            continue
        marks, height = readings.distance_m, readings.height_m
        dense = float(np.median(np.diff(marks))) < STRETCH_M
        fit = fit_height(readings, road.way.length_m) if dense else None
        if fit is not None:
            marks = np.arange(0.0, road.way.length_m, STRETCH_M)
            height = fit.profile.height_at(marks)
            for climb in find_climbs(result.ride, result.setup)[0]:
                where = places(road, result.ride, (climb.start_s, climb.end_s))
                if where is not None:
                    rise = float(np.diff(fit.profile.height_at(np.array(where)))[0])
                    climbs.append((100.0 * rise / (where[1] - where[0]), road.grade(*where)))
        for k in np.flatnonzero(np.diff(marks) >= STRETCH_M):
            length = float(marks[k + 1] - marks[k])
            grade = 100.0 * float(height[k + 1] - height[k]) / length
            stretches.append((grade, road.grade(float(marks[k]), float(marks[k + 1]))))
    return stretches, climbs


def tell(name: str, found: list[Pair]) -> None:
    if len(found) < 2:
        print(f"{name:24} {len(found):4}: too few to compare")
        return
    height = np.array([one for one, _ in found])
    energy = np.array([one.value for _, one in found])
    held = [one.low <= by <= one.high for by, one in found if one.low and one.high]
    print(
        f"{name:24} {len(found):4}: correlation {np.corrcoef(height, energy)[0, 1]:+.2f}, bias "
        f"{np.mean(energy - height):+.2f} points, median difference "
        f"{np.median(np.abs(energy - height)):.2f}, interval holds it {100 * np.mean(held):.0f} %"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    folder: Path = parser.parse_args().folder
    setups = sorted(folder.glob("*.toml"))
    if len(setups) != 1:
        parser.error(f"{folder} needs one setup (*.toml) beside its logs, has {len(setups)}")
    stretches: list[Pair] = []
    climbs: list[Pair] = []
    for log in sorted(folder.glob("*.csv")):
        own_stretches, own_climbs = pairs_of(log, setups[0])
        tell(log.stem, own_stretches)
        stretches += own_stretches
        climbs += own_climbs
    tell("all stretches", stretches)
    tell("climbs of dense logs", climbs)


if __name__ == "__main__":
    main()

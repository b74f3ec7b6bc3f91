"""Prints, on pairs of made rides, how often `compare` calls a difference beyond chance that is
none, and how often it finds a change that was made: battery limits lowered, resistance up by a
fifth, 30 kg more, tyres softer, half as much more air.

    PYTHONPATH=.:tests python benchmarks/tables/compare_truth.py [PAIRS] [--first SEED] [--wrong]
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from analyzer.compare import CompareResult, Difference, compare_rides
from analyzer.ride_analysis import analyse_ride
from simulator.build import Build, example_trike
from simulator.random_builds import cruising_mps, random_build, steady_grade
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import SimRide, simulate
from simulator.terrain import Terrain, hilly

CHANGES = (
    "nothing",
    "limits -20 %",
    "resistance +20 %",
    "mass +30 kg",
    "rolling +40 %",
    "drag +50 %",
)
TELLS = {
    "limits -20 %": ("battery_drive_in_force_a", "full_demand_power_w"),
    "resistance +20 %": ("resistance_10s_ohm", "resistance_10s_25c_ohm"),
    "mass +30 kg": ("energy_wh_per_km", "energy_wh_per_m", "mean_pack_current_a"),
    "rolling +40 %": (
        "resistance_to_motion",
        "rolling_coefficient",
        "energy_wh_per_km",
        "energy_wh_per_m",
        "mean_pack_current_a",
    ),
    "drag +50 %": (
        "resistance_to_motion",
        "drag_area_m2",
        "energy_wh_per_km",
        "mean_pack_current_a",
    ),
}
"""What should show each change."""


def changed(build: Build, change: str) -> Build:
    """The build after the change."""
    if change == "limits -20 %":
        amps = round(0.8 * build.drives[0].controller.battery_drive_a, 1)
        return build.with_controllers(battery_drive_a=amps)
    if change == "resistance +20 %":
        cells = build.cells
        return build.with_cells(
            r0=1.2 * cells.r0, r1=1.2 * cells.r1, r2=1.2 * cells.r2, lead_ohm=1.2 * cells.lead_ohm
        )
    if change == "rolling +40 %":
        return build.with_body(crr=1.4 * build.body.crr)
    if change == "drag +50 %":
        return build.with_body(cda_m2=1.5 * build.body.cda_m2)
    return build


def pair_of(seed: int, change: str) -> tuple[SimRide, SimRide]:
    """Two rides of one build on one road, days apart: other traffic, wind, charge and weather."""
    rng = np.random.default_rng([55, seed])
    build = example_trike() if seed % 2 else random_build(rng, drives=2)
    mps = cruising_mps(build) * rng.uniform(0.8, 1.05)
    steep = float(np.clip(100 * steady_grade(build, mps, rng.uniform(0.6, 1.1)), 3.0, 12.0))
    road = hilly(rng.uniform(2500, 5000), seed=seed, steepest_pct=steep)
    names = [d.name for d in build.drives]
    sensors = Sensors.usual(np.random.default_rng(seed + 500), names).but(gps_alt_sd_m=3.0)
    soc, temp = rng.uniform(0.6, 0.9), rng.uniform(8, 25)

    def ride(build: Build, road: Terrain, number: int, extra_kg: float) -> SimRide:
        return simulate(
            build, road, Rider(cruise_mps=mps), seed=1000 * seed + number, rate_hz=20.0,
            soc=float(np.clip(soc + rng.normal(0, 0.04), 0.4, 0.97)),
            temp_c=float(temp + rng.normal(0, 2.0)), extra_mass_kg=extra_kg,
            wind_mps=float(rng.normal(0, 0.6)), sensors=sensors,
        )  # fmt: skip

    extra = 30.0 if change == "mass +30 kg" else 0.0
    return ride(build, road, 1, 0.0), ride(changed(build, change), road, 2, extra)


def kind_of(one: Difference) -> str:
    """The quantity without climb and drive."""
    return one.quantity.split(": ")[-1].split(".")[-1]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pairs", type=int, nargs="?", default=20)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--wrong", action="store_true", help="name each false one")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.pairs)
    for change in CHANGES:
        beyond: dict[str, Counter[bool]] = defaultdict(Counter)
        found = climbs = rides = 0
        for seed in seeds:
            before, after = pair_of(seed, change)
            if before.truth.losses or after.truth.losses:
                continue
            said: CompareResult = compare_rides(
                analyse_ride(before.ride, before.setup), analyse_ride(after.ride, after.setup)
            )
            rides += 1
            climbs += len(said.climbs)
            tells = False
            for one in said.differences:
                if one.change is None:
                    continue
                beyond[kind_of(one)][one.beyond_chance] += 1
                tells |= one.beyond_chance and kind_of(one) in TELLS.get(change, ())
                if args.wrong and change == "nothing" and one.beyond_chance:
                    print(f"  {seed} {one.quantity} {one.before} {one.after}")
            found += tells
        whole = sum(beyond.values(), Counter())
        told = f", the change seen in {found}" if change in TELLS else ""
        print(
            f"{change}: {rides} pairs with {climbs} climbs on both{told}; beyond chance "
            f"{whole[True]} of {whole.total()} ({100 * whole[True] / max(whole.total(), 1):.1f} %)"
        )
        for kind, count in sorted(beyond.items()):
            print(f"    {kind:28s} {count[True]:4d} of {count.total()}")


if __name__ == "__main__":
    main()

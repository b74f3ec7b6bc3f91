"""Prints, on made rides whose truth is known, how many descents are found and invented, how well
their grade, braking current and highest voltage are met.

    PYTHONPATH=.:tests python benchmarks/tables/descents_truth.py [RIDES] [--first SEED]
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "benchmarks/tables")]

from hills_truth import make, match, true_grade

from analyzer.ride_analysis import analyse_ride
from simulator.simulate import SimRide
from simulator.truth import find_climbs


def true_descents(sim: SimRide) -> tuple:
    """The simulation's climbs on the road turned upside down."""
    return find_climbs(sim.build, sim.road.at_m, -sim.road.altitude_m, sim.t, sim.col)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=30)
    parser.add_argument("--first", type=int, default=601)
    args = parser.parse_args()
    total = found = invented = 0
    grade, covered, current, volts = [], [], [], []
    for seed in range(args.first, args.first + args.rides):
        sim = make(seed)
        if sim.truth.losses:
            continue
        result = analyse_ride(sim.ride, sim.setup)
        mean = np.ones(100) / 100  # the simulation keeps 100 rows a second
        back = np.convolve(-sum(sim.col[f"{d}.i_batt"] for d in sim.drives), mean, "same")
        bus = np.convolve(sim.col["v_bus"], mean, "same")
        for _, one in match(result.descents, true_descents(sim)):
            total += 1
            if one is None:
                continue
            found += 1
            mine = true_grade(sim, one)
            grade.append(abs(one.grade_pct.value - mine))
            covered.append(one.grade_pct.low <= mine <= one.grade_pct.high)
            on = (sim.t >= one.start_s) & (sim.t <= one.end_s)
            volts.append(abs(one.max_voltage_v - bus[on].max()))
            if back[on].max() > 2.0:
                current.append(abs(one.braking_together_a / back[on].max() - 1))
        invented += sum(true_grade(sim, one) > -1.0 for one in result.descents)
    level = [make(seed, level=True) for seed in range(args.first + 500, args.first + 510)]
    on_flat = sum(len(analyse_ride(sim.ride, sim.setup).descents) for sim in level)
    print(f"descents found {found} of {total}, invented {invented}; on 10 level rides {on_flat}")
    for name, errors, unit in (
        ("grade between its own ends", np.array(grade), "points"),
        ("braking current together", 100 * np.array(current), "%"),
        ("highest voltage", np.array(volts), "V"),
    ):
        print(
            f"  {name:28s} error median {np.median(errors):.2f} {unit}, 90th "
            f"{np.quantile(errors, 0.9):.2f} {unit}"
        )
    print(f"  grade's interval holds the truth in {100 * np.mean(covered):.0f} %")


if __name__ == "__main__":
    main()

"""Prints how often a restated verdict is the one the same ride earns when it is really ridden at
30 % charge, at 0 °C, at 35 °C or with full load: made rides, simulated once as fitted and once more
under each condition with the same rider, road and seed.

    PYTHONPATH=.:tests python benchmarks/tables/restated_truth.py [RIDES] [--first SEED] [--wrong]
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "benchmarks/tables")]

from limits_truth import mean_1s, true_used_pct

from analyzer.limits import judge
from analyzer.limits_merge import HARDEST
from analyzer.restated import FULL_LOAD, restate
from analyzer.ride_analysis import analyse_ride
from analyzer.words import LimitRole
from simulator.random_builds import cruising_mps, random_build, steady_grade
from simulator.rider import Rider
from simulator.simulate import SimRide, simulate
from simulator.terrain import hilly


def rides_of(seed: int) -> tuple[SimRide, dict[str, SimRide]] | None:
    """One ride at 55 to 85 % charge and the same under each condition; None where a ride loses
    power altogether: then it is another ride."""
    rng = np.random.default_rng([91, seed])
    build = random_build(rng, drives=2)
    mps = cruising_mps(build) * rng.uniform(0.7, 1.0)
    grade = 100 * steady_grade(build, mps, rng.uniform(0.5, 0.95))
    road = hilly(rng.uniform(1200, 2500), seed=seed, steepest_pct=float(np.clip(grade, 2.5, 14)))
    rider = Rider(cruise_mps=mps, stops_every_m=rng.uniform(300, 900))
    temp, soc = float(rng.uniform(10, 27)), float(rng.uniform(0.55, 0.85))

    def run(**other: float) -> SimRide:
        at = {"soc": soc, "temp_c": temp, **other}
        return simulate(build, road, rider, seed=seed, rate_hz=20.0, **at)

    base = run()
    drop = float(base.col["soc"][0] - base.col["soc"][-1])
    with_load = (FULL_LOAD - 1.0) * build.body.mass_kg
    found = {
        "30 % charge": run(soc=0.30 + drop / 2),
        "0 °C": run(temp_c=0.0),
        "35 °C": run(temp_c=35.0),
        "full load": run(extra_mass_kg=with_load),
    }
    lost = [one for one in (base, *found.values()) if one.truth.losses]
    return None if lost else (base, found)


def true_seen(sim: SimRide, limit: str) -> float | None:
    """The true highest second of a pack current, for the error of the value."""
    if not limit.endswith("_a") or limit.startswith("drives."):
        return None
    sign = -1.0 if ".charge" in limit else 1.0
    amps = sum(sim.col[f"{n}.i_batt"] for n in sim.drives) + sim.build.cells.aux_a
    return float(mean_1s(sign * amps, sim).max())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=20)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--wrong", action="store_true", help="name each miss")
    args = parser.parse_args()
    right: dict[str, Counter[bool]] = defaultdict(Counter)
    as_ridden: dict[str, Counter[bool]] = defaultdict(Counter)
    kinds: dict[str, Counter[bool]] = defaultdict(Counter)
    covered: dict[str, Counter[bool]] = defaultdict(Counter)
    errors: dict[str, list[float]] = defaultdict(list)
    milder: Counter[str] = Counter()
    used_rides = 0
    for seed in range(args.first, args.first + args.rides):
        made = rides_of(seed)
        if made is None:
            continue
        used_rides += 1
        base, others = made
        result = analyse_ride(base.ride, base.setup)
        told = restate(result.limits, [result], base.setup)
        for check in result.limits:
            for one in told.of(check.limit):
                name = one.condition.name.split(",")[0]
                used = true_used_pct(others[name], check.limit, check.set)
                if used is None or one.verdict is None or one.value is None:
                    continue
                truth = judge(check.role, used)
                good = truth is one.verdict
                right[name][good] += 1
                as_ridden[name][truth is check.verdict] += 1
                kinds[check.limit.rsplit(".", 1)[-1]][good] += 1
                if HARDEST.index(one.verdict) < HARDEST.index(truth):
                    milder[name] += check.role is not LimitRole.LIMITER
                seen = true_seen(others[name], check.limit)
                if seen is not None and seen > 5.0:
                    errors[name].append(one.value.value / seen - 1.0)
                    covered[name][one.value.low <= seen <= one.value.high] += 1
                if args.wrong and not good:
                    print(f"  {seed} {name:12s} {check.limit} said {one.verdict.value} "
                          f"{one.value.value:.1f} of {check.set:g}, was {truth.value} {used:.0f} "
                          f"%, ridden {check.seen:.1f}")  # fmt: skip
    print(f"{used_rides} rides; verdict right (the verdict as ridden kept: right)")
    for name, count in right.items():
        e = 100 * np.array(errors[name])
        print(
            f"  {name:12s} {rate(count)} ({rate(as_ridden[name])}); ratings, trips and heat said "
            f"milder than true {milder[name]}; pack current: error median "
            f"{np.median(np.abs(e)):.1f} %, 90th {np.percentile(np.abs(e), 90):.1f} %, bias "
            f"{np.median(e):+.1f} %, interval holds {rate(covered[name])}"
        )
    for kind, count in sorted(kinds.items()):
        print(f"    {kind:22s} {rate(count)}")


def rate(count: Counter[bool]) -> str:
    return f"{count[True] / max(count.total(), 1):.1%} of {count.total()}"


if __name__ == "__main__":
    main()

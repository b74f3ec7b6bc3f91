"""Prints how near the pack's numbers come to the truth of made rides, and how often their
intervals hold it.

    PYTHONPATH=.:tests python benchmarks/tables/pack_truth.py [RIDES] [--bms] [--rate HZ] ...

With `--builds` the rides are those of the ride simulator instead: random builds at one to three
capacities per hour, charge transfer that bends, diffusion read through the curve, another
activation energy for each part. The other options then count for nothing but `--first`.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from limits_truth import random_sim

from analyzer.pack_state import estimate_pack
from importers.ride import Ride
from importers.setup_types import Setup
from simulator.pack_rides import CURVES, Sensors, random_ride

RELATIVE = ("resistance_10s_ohm", "resistance_10s_25c_ohm", "resistance_instant_ohm", "capacity_ah")
LEVELS = (
    "rest_voltage_start_v",
    "rest_voltage_end_v",
    "state_of_charge_start_pct",
    "state_of_charge_end_pct",
)


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=200)
    parser.add_argument("--first", type=int, default=5000, help="seed of the first ride")
    parser.add_argument("--bms", action="store_true")
    parser.add_argument("--rate", type=float, default=20.0)
    parser.add_argument("--built-in", action="store_true")
    parser.add_argument("--perfect", action="store_true", help="no gain errors")
    parser.add_argument("--minutes", type=float, nargs=2, default=(4.0, 60.0))
    parser.add_argument("--least-depth", type=float, default=0.0)
    parser.add_argument("--chemistry", default="nmc")
    parser.add_argument("--builds", action="store_true", help="rides of the ride simulator")
    return parser.parse_args()


def of_build(seed: int) -> tuple[Ride, Setup, SimpleNamespace]:
    """A ride of a random build and its truth under the estimates' names."""
    sim = random_sim(seed)
    true = sim.truth
    by_bms = sim.ride.has("pack_voltage_v")
    names = {
        "resistance_10s_ohm": true.resistance_10s_ohm
        if by_bms
        else true.resistance_10s_with_leads_ohm,
        "resistance_10s_25c_ohm": true.resistance_10s_25c_ohm,
        "resistance_instant_ohm": true.resistance_instant_ohm,
        "capacity_ah": true.capacity_ah,
        "state_of_charge_start_pct": true.soc_start_pct,
        "state_of_charge_end_pct": true.soc_end_pct,
        "rest_voltage_start_v": true.rest_voltage_start_v,
        "rest_voltage_end_v": true.rest_voltage_end_v,
    }
    return sim.ride, sim.setup, SimpleNamespace(**names)


def main() -> None:
    args = arguments()
    gains = {"current_gain_sd": 0.0, "voltage_gain_sd": 0.0, "bms_gain_sd": 0.0}
    sensors = Sensors(rate_hz=args.rate, bms=args.bms, **(gains if args.perfect else {}))
    curves = {
        "nmc": CURVES,
        "lfp": ("lfp_bpx2022",),
        "nca": ("nca_kim2011",),
        "lco": ("lco_ai2020",),
    }
    change = {"cell_empty_v": 2.5, "cell_full_v": 3.65} if args.chemistry == "lfp" else None
    rows: dict[str, list[tuple[float, float, float]]] = {n: [] for n in (*RELATIVE, *LEVELS)}
    asked = spent = nothing = 0
    seed = args.first
    while asked < args.rides:
        if args.builds:
            ride, setup, truth = of_build(seed)
        else:
            ride, setup, truth = random_ride(
                seed,
                sensors=sensors,
                known_curve=not args.built_in,
                minutes=tuple(args.minutes),
                curves=curves[args.chemistry],
                change=change,
            )
        seed += 1
        if not args.builds and truth.depth_pct < args.least_depth:
            continue
        asked += 1
        start = time.perf_counter()
        state, fit, _ = estimate_pack(ride, setup)
        spent += time.perf_counter() - start
        nothing += fit is None
        for name, kept in rows.items():
            estimate = getattr(state, name)
            if estimate is not None:
                kept.append((estimate.value, getattr(truth, name), estimate.low, estimate.high))
    print(f"{asked} rides, {nothing} not fitted, {spent / asked * 1e3:.0f} ms each; {vars(args)}")
    print(
        f"{'quantity':28s} {'n':>4s} {'median':>7s} {'90th':>7s} {'worst':>7s} {'bias':>7s} "
        f"{'half-width':>10s} {'covers %':>8s}  below/above"
    )
    for name, kept in rows.items():
        print(line(name, kept))


def line(name: str, kept: list[tuple[float, float, float, float]]) -> str:
    if not kept:
        return f"{name:28s}    0"
    value, true, low, high = np.array(kept).T
    error, width = value - true, (high - low) / 2
    unit = "V" if name.endswith("_v") else "points"
    if name in RELATIVE:
        error, width, unit = 100 * error / true, 100 * width / true, "%"
    far = np.abs(error)
    under, over = int((true < low).sum()), int((true > high).sum())
    covers = 100 * (1 - (under + over) / true.size)
    return (
        f"{name:28s} {true.size:4d} {np.median(far):7.2f} {np.quantile(far, 0.9):7.2f} "
        f"{far.max():7.2f} {np.median(error):7.2f} {np.median(width):10.2f} {covers:8.1f}  "
        f"{under}/{over} {unit}"
    )


if __name__ == "__main__":
    main()

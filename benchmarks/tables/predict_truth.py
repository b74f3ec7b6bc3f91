"""Are the chances that `predict` states right? Hills that the fit never saw, simulated.

    PYTHONPATH=.:tests python benchmarks/tables/predict_truth.py [RIDES] [--first SEED]

Each random build rides once to be fitted, then climbs and descends hills of its own whose load,
charge and warmth are drawn so that limits are near. Printed: errors and cover of the intervals, and
for every limit the chance said that it is touched against how often it was (reliability, Brier).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from hills_truth import make

from analyzer.predict import PredictResult, even_hill, predict_hill
from analyzer.ride_analysis import RideResult, analyse_ride
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import SimRide, simulate
from simulator.terrain import from_pieces

FOOT_M, TOP_M = 250.0, 60.0
"""Flat before and behind the hill [m]: enough before it to have reached the speed wished for."""
BINS = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98, 1.0001)
HILLS = 4


def hill_of(
    sim: SimRide, rng: np.random.Generator, down: bool
) -> tuple[float, float, float, float, float]:
    """Grade, length, charge, temperature, speed."""
    grade = -rng.uniform(3.0, 9.0) if down else rng.uniform(3.0, 11.0)
    charge = rng.uniform(70.0, 99.0) if down else rng.uniform(12.0, 90.0)
    pace = rng.uniform(0.6, 1.1)
    speed = sim.rider.cruise_mps * pace
    return grade, rng.uniform(250.0, 900.0), charge, rng.uniform(0.0, 32.0), speed


def ridden(sim: SimRide, hill: tuple[float, ...], seed: int) -> SimRide | None:
    """The hill as it really goes, or None where it is not ridden to its end."""
    grade, length, charge, temp, speed = hill
    road = from_pieces([(FOOT_M, 0.0), (length, grade), (TOP_M, 0.0)])
    rider = Rider(cruise_mps=speed, stops_every_m=1e6, speed_wander=0.02)
    held = simulate(
        sim.build, road, rider, seed=seed, rate_hz=10.0, soc=charge / 100, temp_c=temp,
        sensors=Sensors.perfect(),
    )  # fmt: skip
    return held if held.col["s_m"].max() > FOOT_M + length else None


def truth_of(held: SimRide, length: float, grade: float) -> dict[str, float]:
    """Extreme 1 s means on the hill by the names of the prediction and of the limits."""
    on = (held.col["s_m"] > FOOT_M) & (held.col["s_m"] < FOOT_M + length)
    one_s = round(1.0 / (held.t[1] - held.t[0]))
    window = np.ones(one_s) / one_s

    def mean(name: str) -> np.ndarray:
        return np.convolve(held.col[name], window, "same")[on]

    amps, bus = mean("i_pack"), mean("v_bus")
    first = int(np.flatnonzero(on)[0])
    last = int(np.flatnonzero(on)[-1]) + 60 * one_s
    out = {
        "pack": float(amps.max()), "pack_brake": float(-amps.min()),
        "lowest": float(bus.min()), "highest": float(bus.max()),
        "motor": max(float(held.col[f"{d}.mot_c"][first:last].max()) for d in held.drives),
    }  # fmt: skip
    for name in held.drives:
        out[f"{name}.battery"] = float(mean(f"{name}.i_batt").max())
        out[f"{name}.battery_brake"] = float(-mean(f"{name}.i_batt").min())
        out[f"{name}.motor"] = float(held.col[f"{name}.mot_c"][first:last].max())
    return out


def compared(
    said: PredictResult, true: dict[str, float], temp_c: float
) -> Iterator[tuple[str, float, float, float, float, float, bool]]:
    """(kind, expected, low, high, truth, chance, touched) of each limit the truth speaks of."""
    for row in said.limits:
        if row.expected_peak is None or row.chance_touched_pct is None:
            continue
        part = row.limit.split(".")
        value = None
        if part[0] in ("bms", "pack", "wiring") and row.unit == "A":
            key = "pack_brake" if "charge" in part[1] and "dis" not in part[1] else "pack"
            value = true[key]
        elif part[-1] in ("battery_drive_a", "battery_brake_a"):
            value = true[f"{part[1]}.battery" + ("_brake" if "brake" in part[-1] else "")]
        elif part[-1] in ("motor_derate_c", "motor_stop_c"):
            value = true[f"{part[1]}.motor"]
        if value is None:
            continue
        kind = part[-1]
        used = value / row.set
        if kind.startswith("motor"):
            used = (value - temp_c) / max(row.set - temp_c, 1.0)
        one = row.expected_peak
        chance = row.chance_touched_pct / 100
        yield kind, one.value, one.low, one.high, value, chance, used >= 0.95


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=20)
    parser.add_argument("--first", type=int, default=3000)
    args = parser.parse_args()
    rows: list[tuple[str, float, float, float, float, float, bool]] = []
    whole: dict[str, list[tuple[float, float, float, float]]] = {}
    for seed in range(args.first, args.first + args.rides):
        sim = make(3 * seed)  # a random build
        fitted: RideResult = analyse_ride(sim.ride, sim.setup)
        rng = np.random.default_rng(seed + 7)
        for number in range(HILLS):
            hill = hill_of(sim, rng, down=number == HILLS - 1)
            held = ridden(sim, hill, seed + 1000 * number)
            if held is None:
                continue
            grade, length, charge, temp, speed = hill
            true = truth_of(held, length, grade)
            said = predict_hill(
                sim.setup, [fitted], even_hill(grade, length, charge, temp, speed), seed=seed
            )
            rows += compared(said, true, temp)
            for name, one in (
                ("lowest", said.lowest_voltage_v),
                ("highest", said.highest_voltage_v),
                ("motor", said.motor_temp_top_c),
            ):
                if one is not None:
                    whole.setdefault(f"{name}{' down' if grade < 0 else ''}", []).append(
                        (one.value, one.low, one.high, true[name])
                    )
    for name, found in whole.items():
        value, low, high, true_value = np.array(found).T
        error = value - true_value
        held = 100 * np.mean((low <= true_value) & (true_value <= high))
        print(
            f"{name:14} {len(found):4} hills: error median {np.median(np.abs(error)):.2f}, bias "
            f"{np.median(error):+.2f}, covers {held:.0f} %"
        )
    report(rows)


def report(rows: list[tuple[str, float, float, float, float, float, bool]]) -> None:
    for kind in sorted({one[0] for one in rows}):
        mine = [one for one in rows if one[0] == kind]
        value, low, high, true, chance, touched = np.array([one[1:] for one in mine], float).T
        hit = (low <= true) & (true <= high)
        off = 100 * np.median(np.abs(value / true - 1))
        print(
            f"{kind:20} {len(mine):4}: error median {off:.1f} %, "
            f"covers {100 * hit.mean():.0f} %; touched said {100 * chance.mean():.0f} %, "
            f"was {100 * touched.mean():.0f} %, Brier {np.mean((chance - touched) ** 2):.3f}"
        )
    chance = np.array([one[5] for one in rows])
    touched = np.array([one[6] for one in rows], float)
    print(f"all limits, {chance.size}: Brier {np.mean((chance - touched) ** 2):.4f}")
    clipped = np.clip(chance, 0.0025, 0.9975)
    loss = -np.mean(touched * np.log(clipped) + (1 - touched) * np.log(1 - clipped))
    print(f"log-loss {loss:.3f}; said, how often, was:")
    for low, high in pairwise(BINS):
        on = (chance >= low) & (chance < high)
        if on.any():
            print(f"  {chance[on].mean():5.3f} {int(on.sum()):5} {touched[on].mean():6.3f}")


if __name__ == "__main__":
    main()

"""Is `predict` right on hills that the fit never saw, and are the chances it states?

    PYTHONPATH=.:tests python benchmarks/tables/predict_truth.py [BUILDS] [--first SEED]
        [--truth own|probe|both] [--rides N]

Each build rides (once, or N times) to be fitted, then climbs and descends hills of its own whose
load, charge and warmth are drawn so that limits are near. Printed: errors and cover of the
intervals, and for every limit the chance said that it is touched against how often it was
(reliability, Brier). `--truth own` is the simulator of this repository with both sets of equations,
`--truth probe` the second truth by another hand, through the logs it writes.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(Path(__file__).parent)]

from predict_cases import Hill, cases

from analyzer.estimate import Estimate
from analyzer.predict import PredictResult, even_hill, predict_hill
from analyzer.predict_limits import TOUCHED_FROM, LimitAhead

BINS = (0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98, 1.0001)
FAINT_A = 0.5
"""Currents below this are not compared in per cent [A]."""
NEAR_REST_V = 0.1
"""The contract's: a line within this of rest gives volts, not per cent [V per cell]."""


@dataclass(frozen=True)
class Said:
    """One number said and what it was."""

    what: str
    one: Estimate
    true: float
    relative: bool


def numbers(said: PredictResult, hill: Hill) -> Iterator[Said]:
    """Every estimate of a prediction the truth speaks of."""
    true, down = hill.true, hill.grade_pct < 0
    way = " down" if down else ""
    yield Said(f"lowest voltage{way}", said.lowest_voltage_v, true["lowest"], True)
    yield Said(f"highest voltage{way}", said.highest_voltage_v, true["highest"], True)
    if said.motor_temp_top_c is not None:
        yield Said(f"motor temperature{way}", said.motor_temp_top_c, true["motor"], False)
    if said.speed_mps is not None and not down:
        yield Said("speed at the top", said.speed_mps, true["speed"], True)
    if said.descent is not None:
        both = said.descent.braking_together_a
        yield Said("braking together down", both, true["both_brake"], True)
    for row in said.limits:
        peak, value = row.expected_peak, true_peak(row, true)
        right_way = ("brake" in row.limit or ".charge_" in row.limit) == down
        if peak is not None and value is not None and right_way and value > FAINT_A:
            yield Said(row.limit.split(".")[-1] + way, peak, value, row.unit == "A")


def true_peak(row: LimitAhead, true: dict[str, float]) -> float | None:
    """The extreme this limit bounds, as it really was."""
    part = row.limit.split(".")
    if part[0] in ("bms", "pack", "wiring") and row.unit == "A":
        if part[0] == "wiring":
            return max(true["pack"], true["pack_brake"])
        return true["pack_brake" if part[1].startswith("charge") else "pack"]
    if part[-1].startswith(("motor_", "controller_")):
        return true[f"{part[1]}.{part[-1].split('_')[0]}"]
    if row.unit == "V":
        return true["highest" if "over" in part[-1] or "high" in part[-1] else "lowest"]
    return true.get(".".join(part[1:]))


def used(row: LimitAhead, said: PredictResult, hill: Hill) -> float | None:
    """How much of the limit was really used: for a voltage, of the way from the rest voltage that
    the prediction's own median stands for."""
    value = true_peak(row, hill.true)
    if value is None:
        return None
    if row.unit == "A":
        return value / row.set
    if row.unit != "V":
        return (value - hill.temp_c) / max(row.set - hill.temp_c, 1.0)
    series = said.setup.pack.series
    low = row.limit.endswith(("derate_from_v", "stop_at_v"))
    rest = said.rest_low_v if low else said.rest_high_v
    way = rest - row.set if low else row.set - rest
    moved = rest - value if low else value - rest
    if way <= NEAR_REST_V * series:
        return 1.0 if moved >= way else 0.0
    return moved / way


def tell(found: list[Said]) -> None:
    """Errors and cover, kind by kind."""
    for what in sorted({one.what for one in found}):
        mine = [one for one in found if one.what == what]
        true = np.array([one.true for one in mine])
        off = np.array([one.one.value for one in mine]) - true
        unit = "K"
        if mine[0].relative:
            off, unit = 100.0 * off / true, "%"
        inside = [one.one.low <= one.true <= one.one.high for one in mine]
        print(
            f"{what:24} {len(mine):4}: error median {np.median(np.abs(off)):5.2f} {unit}, 90th "
            f"{np.quantile(np.abs(off), 0.9):5.2f}, bias {np.median(off):+5.2f}, covers "
            f"{100 * np.mean(inside):.0f} %"
        )


def reliability(rows: list[tuple[str, float, float]]) -> None:
    """Chances said against how often it was, bin by bin and limit by limit."""
    chance = np.array([one[1] for one in rows])
    touched = np.array([one[2] for one in rows])
    clipped = np.clip(chance, 0.0025, 0.9975)
    loss = -np.mean(touched * np.log(clipped) + (1 - touched) * np.log(1 - clipped))
    print(
        f"chances of {chance.size} limits: Brier {np.mean((chance - touched) ** 2):.4f}, "
        f"log-loss {loss:.4f}; said, how often, was:"
    )
    for low, high in pairwise(BINS):
        on = (chance >= low) & (chance < high)
        if on.any():
            print(f"  {chance[on].mean():5.3f} {int(on.sum()):5} {touched[on].mean():6.3f}")
    for kind in sorted({one[0] for one in rows}):
        mine = np.array([one[1:] for one in rows if one[0] == kind])
        print(
            f"  {kind:22} {len(mine):4}: said {mine[:, 0].mean():.3f}, was "
            f"{mine[:, 1].mean():.3f}, Brier {np.mean((mine[:, 0] - mine[:, 1]) ** 2):.3f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("builds", type=int, nargs="?", default=20)
    parser.add_argument("--first", type=int, default=9000)
    parser.add_argument("--truth", choices=("own", "probe", "both"), default="both")
    parser.add_argument("--rides", type=int, default=1)
    args = parser.parse_args()
    for truth in ("own", "probe") if args.truth == "both" else (args.truth,):
        print(f"== {truth}, fitted on {args.rides} each")
        table(truth, args.first, args.builds, args.rides)


def table(truth: str, first: int, builds: int, rides: int) -> None:
    """All hills of these builds: what was said against what was."""
    found: list[Said] = []
    chances: list[tuple[str, float, float]] = []
    for case in cases(truth, first, builds, rides):
        for hill in case.hills:
            ahead = even_hill(
                hill.grade_pct, hill.length_m, hill.charge_pct, hill.temp_c, hill.speed_mps
            )
            said = predict_hill(case.setup, case.rides, ahead, seed=1)
            found += numbers(said, hill)
            for row in said.limits:
                part = used(row, said, hill)
                if row.expected_peak is None or row.chance_touched_pct is None or part is None:
                    continue
                touched = float(part >= TOUCHED_FROM)
                chances.append((row.limit.split(".")[-1], row.chance_touched_pct / 100, touched))
    tell(found)
    reliability(chances)


if __name__ == "__main__":
    main()

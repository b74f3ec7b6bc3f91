"""Offset and drift between the logs of made rides, against the clocks they were made with.

Two drives' files at 20 Hz over 20 min, a BMS's and a track's at 1 Hz. Prints medians, the worst,
and how often the 95 % interval holds the truth.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests"))

from ride_logs import drive_log, made_ride, pack_log, track_log

from importers.clocks import ClockFit, fit_clock
from importers.place_logs import signals_of


def errors(kind: str, seeds: range) -> tuple[np.ndarray, int, float]:
    rows, lost, spent = [], 0, 0.0
    for seed in seeds:
        ride = made_ride(seed)
        offset, drift = ride.rng.uniform(-30, 30), ride.rng.normal(0, 40)
        clock = {"offset_s": offset, "drift_ppm": drift, "from_s": ride.rng.uniform(-20, 20)}
        first = drive_log(ride, file="left.csv", role="left")
        make = {"drive": drive_log, "bms": pack_log, "gps": track_log}[kind]
        second = make(ride, file="b.csv", **clock, **({"role": "right"} if kind == "drive" else {}))
        begun = time.perf_counter()
        fit = fit_clock(first.time_s, signals_of(first), second.time_s, signals_of(second))
        spent += time.perf_counter() - begun
        if not isinstance(fit, ClockFit):
            lost += 1
            continue
        shown = second.first_s - first.first_s
        truth = offset + drift * 1e-6 * first.first_s
        rows.append(
            (
                fit.offset_s + shown - truth,
                fit.drift_ppm - drift,
                fit.low_s <= truth - shown <= fit.high_s,
                fit.drift_low_ppm <= drift <= fit.drift_high_ppm,
                (fit.high_s - fit.low_s) / 2,
            )
        )
    return np.asarray(rows, np.float64), lost, spent / len(seeds)


HEADS = (
    "file", "rides", "not found", "offset ms: median", "worst", "± given", "held %",
    "drift ppm: median", "worst", "held %", "s each",
)  # fmt: skip


def main(count: int = 60) -> None:
    print("  ".join(HEADS))
    for kind in ("drive", "bms", "gps"):
        rows, lost, spent = errors(kind, range(count))
        off, drift = np.abs(rows[:, 0]) * 1e3, np.abs(rows[:, 1])
        cells = (
            kind, str(count), str(lost), f"{np.median(off):.1f}", f"{off.max():.1f}",
            f"{np.median(rows[:, 4]) * 1e3:.1f}", f"{100 * rows[:, 2].mean():.0f}",
            f"{np.median(drift):.1f}", f"{drift.max():.1f}", f"{100 * rows[:, 3].mean():.0f}",
            f"{spent:.2f}",
        )  # fmt: skip
        print("  ".join(cell.rjust(len(head)) for cell, head in zip(cells, HEADS, strict=True)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)

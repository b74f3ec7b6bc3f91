"""Offset and drift between two drives' files of simulated rides, read from text like any log.

The rides are the truth maker's, with losses of every cause in them; left and right log at 20 Hz
with clocks of their own. Prints each ride's error and the medians.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests"))

from importers.errors import LogError
from importers.read_ride import read_ride
from simulator.loggers import Column, LogFile, logs_of
from simulator.scenarios import ALL_CASES, make_case

CHANNELS = (
    ("battery_current_a", "Battery current [A]", 1),
    ("battery_voltage_v", "Battery voltage [V]", 1),
    ("phase_current_a", "Phase current [A]", 1),
    ("motor_rpm", "Motor speed [rpm]", 0),
)


def drive_file(drive: str, ahead_s: float, drift_ppm: float) -> LogFile:
    columns = (
        Column("Time", "clock"),
        *(Column(header, f"{drive}.{name}", decimals=digits) for name, header, digits in CHANNELS),
    )
    return LogFile(f"{drive}.csv", columns, rate_hz=20.0, ahead_s=ahead_s, drift_ppm=drift_ppm,
                   jitter_s=0.002)  # fmt: skip


def main(count: int = 24) -> None:
    rng = np.random.default_rng(0)
    rows, refused = [], 0
    cases = list(ALL_CASES)
    for seed in range(count):
        sim = make_case(cases[seed % len(cases)], seed, variant="tune")
        drives = sim.setup.drive_names
        if len(drives) < 2:
            continue
        ahead, drift = float(rng.uniform(-20, 20)), float(rng.normal(0, 40))
        texts = logs_of(sim, (drive_file(drives[0], 0.0, 0.0), drive_file(drives[1], ahead, drift)))
        with tempfile.TemporaryDirectory() as folder:
            logs = []
            for drive, (name, text) in zip(drives[:2], texts.items(), strict=True):
                path = Path(folder) / name
                path.write_text(text, "utf-8")
                logs.append(f"{drive}={path}")
            try:
                ride = read_ride(logs, sim.setup)
            except LogError as error:
                refused += 1
                print(f"{cases[seed % len(cases)]:28} refused: {str(error)[-110:]}")
                continue
        source = ride.sources[1]
        if source.clock_offset_s is None:
            print(f"{cases[seed % len(cases)]:28} not told")
            continue
        inside = source.clock_offset_low_s <= ahead <= source.clock_offset_high_s
        rows.append((source.clock_offset_s - ahead, source.clock_drift_ppm - drift, inside))
        print(
            f"{cases[seed % len(cases)]:28} {ride.time_s[-1]:6.0f} s  "
            f"offset {1e3 * rows[-1][0]:+7.1f} ms"
            f"  drift {rows[-1][1]:+7.1f} ppm  {'held' if inside else 'MISSED'}"
        )
    table = np.asarray(rows, np.float64)
    print(
        f"{len(rows)} rides, {refused} refused: "
        f"median {1e3 * np.median(np.abs(table[:, 0])):.1f} ms, "
        f"worst {1e3 * np.abs(table[:, 0]).max():.1f} ms; drift median "
        f"{np.median(np.abs(table[:, 1])):.1f} ppm; interval holds {100 * table[:, 2].mean():.0f} %"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)

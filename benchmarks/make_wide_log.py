"""Makes the benchmark's log: 1 h at 50 Hz, two drives, 22 columns, about 25 MB, and its setup.

The numbers are plausible, not a simulation: enough hills, braking and noise that every step of
the analysis has work to do.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

SETUP = """
[vehicle]
name = "benchmark trike"
mass_kg = 190.0
wheel_diameter_m = 0.5
gear_ratio = 4.0
pole_pairs = 7
[pack]
chemistry = "nmc"
series = 14
parallel = 8
capacity_ah = 28.0
discharge_rating_a = 70.0
charge_rating_a = 14.0
aux_a = 1.0
[bms]
discharge_rating_a = 50.0
charge_rating_a = 15.0
discharge_trip_a = 75.0
discharge_trip_delay_s = 1.0
[drives.left]
phase_drive_a = 70.0
phase_brake_a = 40.0
battery_drive_a = 24.0
battery_brake_a = 8.0
derate_from_v = 46.0
stop_at_v = 42.0
motor_derate_c = 100.0
motor_stop_c = 120.0
[drives.right]
same_as = "left"
"""


def make(folder: Path, *, hours: float = 1.0, rate_hz: float = 50.0) -> tuple[Path, Path]:
    """Write `wide.csv` and `setup.toml` into the folder and return their paths."""
    rng = np.random.default_rng(5)
    n = int(hours * 3600 * rate_hz)
    t = np.arange(n) / rate_hz
    grade = 0.05 * np.sin(2 * np.pi * t / 420.0) + 0.02 * np.sin(2 * np.pi * t / 97.0)
    speed = 6.0 + 1.5 * np.sin(2 * np.pi * t / 61.0) - 20.0 * grade
    stop = (t % 300.0) > 285.0
    speed = np.where(stop, 0.0, speed)
    force = 190 * 9.81 * (grade + 0.012) + 0.37 * speed**2 + 190 * np.gradient(speed, t)
    total_a = np.clip(force * speed / 0.8 / 50.0, -14.0, 47.0)
    slow_a = np.empty(n)
    keep = np.exp(-1 / (rate_hz * 10.0))
    from scipy.signal import lfilter

    slow_a = lfilter([1 - keep], [1, -keep], total_a)
    charge_ah = np.cumsum(total_a + 1.0) / rate_hz / 3600
    rest_v = 57.5 - 9.0 * charge_ah / 28.0
    volts = rest_v - 0.05 * total_a - 0.035 * slow_a
    altitude = 300 + np.cumsum(grade * speed) / rate_hz
    columns: dict[str, np.ndarray] = {"time [s]": t.round(3)}
    for side, part in (("left", 0.51), ("right", 0.49)):
        amps = total_a * part + rng.normal(0, 0.15, n)
        duty = np.clip(speed / 14.0, 0.03, 0.95)
        columns |= {
            f"{side} battery current [A]": amps.round(2),
            f"{side} battery voltage [V]": (volts + rng.normal(0, 0.03, n)).round(2),
            f"{side} phase current [A]": np.clip(amps / duty, -40, 70).round(2),
            f"{side} motor speed [rpm]": (speed / (np.pi * 0.5) * 60 * 4).round(0),
            f"{side} duty [%]": (100 * duty).round(1),
            f"{side} throttle [%]": np.clip(total_a / 47 * 100, 0, 100).round(1),
            f"{side} controller temperature [°C]": (30 + 15 * (1 - np.exp(-t / 900))).round(1),
            f"{side} motor temperature [°C]": (25 + 45 * (1 - np.exp(-t / 1200))).round(1),
        }
    columns |= {
        "pack current [A]": (total_a + 1.0 + rng.normal(0, 0.1, n)).round(2),
        "pack voltage [V]": (volts + rng.normal(0, 0.02, n)).round(2),
        "pack temperature [°C]": (20 + 5 * (1 - np.exp(-t / 2400))).round(1),
        "speed [km/h]": (speed * 3.6).round(2),
        "altitude [m]": altitude.round(1),
    }
    assert len(columns) == 22
    log, setup = folder / "wide.csv", folder / "setup.toml"
    pd.DataFrame(columns).to_csv(log, index=False)
    setup.write_text(SETUP)
    return log, setup

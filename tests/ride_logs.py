"""Logs of one made ride by loggers with clocks of their own: the truth is known to the bit.

One even stream of rider's demand gives pack current, voltage and speed at 100 Hz; each log samples
that stream at its own rate, through its own clock (offset, drift), with noise and rounding.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from importers.log_table import LogTable
from importers.ride import ChannelReading
from importers.timebase import rate_hz, true_rate_hz

STEP_S = 0.01


@dataclass(frozen=True, eq=False)
class MadeRide:
    """What really happened, at `time_s` of true time; 0 is the ride's begin."""

    time_s: np.ndarray
    current_a: np.ndarray
    voltage_v: np.ndarray
    speed_mps: np.ndarray
    rng: np.random.Generator

    def at(self, values: np.ndarray, true_s: np.ndarray) -> np.ndarray:
        return np.interp(true_s, self.time_s, values)


def made_ride(seed: int, length_s: float = 1200.0) -> MadeRide:
    """Demand in random steps, first-order answers: drives follow in 0.3 s, speed in 15 s."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(-120.0, length_s + 120.0, STEP_S)
    count = int(length_s / 3) + 200
    changes = np.cumsum(rng.exponential(6.0, count)) - 120.0
    level = rng.uniform(-10.0, 60.0, count + 1)
    level[rng.random(count + 1) < 0.15] = 0.0
    asked = level[np.searchsorted(changes, time_s)]
    current = _lag(asked, 0.3)
    speed = np.maximum(_lag(asked, 15.0) * 0.25, 0.0)
    voltage = 58.0 - 0.05 * current - _lag(current, 20.0) * 0.02 - 0.002 * time_s
    return MadeRide(time_s, current, voltage, speed, rng)


def _lag(values: np.ndarray, tau_s: float) -> np.ndarray:
    kernel = np.exp(-np.arange(0.0, 6 * tau_s, STEP_S) / tau_s)
    size = 1 << int(values.size + kernel.size).bit_length()
    out = np.fft.irfft(np.fft.rfft(values, size) * np.fft.rfft(kernel / kernel.sum(), size), size)
    return out[: values.size]


def drive_log(
    ride: MadeRide,
    *,
    file: str,
    role: str | None,
    from_s: float = 0.0,
    to_s: float = 1200.0,
    rate: float = 20.0,
    offset_s: float = 0.0,
    drift_ppm: float = 0.0,
    share: float = 0.5,
    start: datetime | None = None,
    noise: float = 1.0,
) -> LogTable:
    """One drive's log; its clock reads offset + (1 + drift) · true time."""
    rng = ride.rng
    true_s = np.arange(from_s + rng.uniform(0, 1 / rate), to_s, 1 / rate / (1 + drift_ppm * 1e-6))
    own_s = true_s * (1 + drift_ppm * 1e-6) + offset_s
    n = true_s.size
    columns = {
        "battery_voltage_v": np.round(
            rng.normal(1, 0.003) * ride.at(ride.voltage_v, true_s) + noise * rng.normal(0, 0.05, n),
            1,
        ),
        "battery_current_a": np.round(
            share * ride.at(ride.current_a, true_s - 0.05) + noise * rng.normal(0, 0.2, n), 1
        ),
        "wheel_speed_mps": np.round(
            ride.at(ride.speed_mps, true_s) + noise * rng.normal(0, 0.05, n), 2
        ),
        "motor_temp_c": np.round(20 + np.linspace(0, 30, n)),
    }
    first_s = 0.0 if start is not None else own_s[0]
    return log_of(own_s - own_s[0], columns, file=file, role=role, start=start, first_s=first_s)


def pack_log(ride: MadeRide, *, file: str = "pack.csv", to_s: float = 1200.0, **clock) -> LogTable:
    """A BMS's log at one row a second."""
    base = drive_log(ride, file=file, role="bms", rate=1.0, share=1.0, to_s=to_s, **clock)
    columns = {
        "pack_voltage_v": base.columns["battery_voltage_v"],
        "pack_current_a": base.columns["battery_current_a"],
    }
    return log_of(
        base.time_s, columns, file=file, role="bms", start=base.start, first_s=base.first_s
    )


def track_log(
    ride: MadeRide,
    *,
    file: str = "track.csv",
    from_s: float = 0.0,
    to_s: float = 1200.0,
    offset_s: float = 0.0,
    drift_ppm: float = 0.0,
    start: datetime | None = None,
) -> LogTable:
    """A track straight north at one fix a second, 0.5 m of noise."""
    drift = 1 + drift_ppm * 1e-6
    true_s = np.arange(from_s + ride.rng.uniform(0, 1), to_s, 1 / drift)
    own_s = true_s * drift + offset_s
    north = ride.at(np.cumsum(ride.speed_mps) * STEP_S, true_s)
    north += ride.rng.normal(0, 0.5, true_s.size)
    east = ride.rng.normal(0, 0.5, true_s.size)
    columns = {"latitude_deg": 47.0 + north / 111_170.0, "longitude_deg": 8.0 + east / 76_000.0}
    first_s = 0.0 if start is not None else own_s[0]
    return log_of(own_s - own_s[0], columns, file=file, role="gps", start=start, first_s=first_s)


def log_of(
    time_s: np.ndarray,
    columns: dict[str, np.ndarray],
    *,
    file: str = "a.csv",
    role: str | None = None,
    start: datetime | None = None,
    first_s: float = 0.0,
    restarts: tuple[int, ...] = (),
) -> LogTable:
    """A `LogTable` as the reader would give it."""
    readings = tuple(
        ChannelReading(name, name, "", 1, true_rate_hz(time_s, values), 0.99)
        for name, values in columns.items()
        if values.dtype != object
    )
    return LogTable(
        file=file, time_s=time_s, columns=columns, readings=readings, rows=time_s.size,
        rows_dropped=0, rate_hz=rate_hz(time_s), start=start, role=role,
        role_sure=0.9 if role else 0.0, first_s=first_s, restarts=restarts,
    )  # fmt: skip

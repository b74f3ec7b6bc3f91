"""What does one drive give for its phase current, and what does it lose in copper?

The power a drive takes per ampere of phase current is k v + R i + c: back voltage, copper and the
switches' drop. All three follow from the drive's own log by least squares held non-negative, no
road needed. Whatever sense the phase current is logged in (peak, root mean square) goes into k
and R alike. Source: power balance of the motor, references on motor relations (P = v i).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.nonneg import nonneg_normal
from analyzer.quantities import Floats, drive_channel, pack_voltage_v, speed_mps, wheel_speed_mps
from importers.ride import Ride
from importers.setup_types import Setup

LEAST_PART = 0.15
"""Phase currents below this part of the highest say little of losses. Our choice."""
LEAST_ROWS = 60
SLOT_S = 0.5
"""Samples are averaged over this, longer than any filter between the two currents [s]."""
DROP_WEIGHT = 0.02
DROP_V = 0.35
"""Drop of switches and wires where the ride does not tell [V]. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class DriveFit:
    """Watts taken from the pack = (k v + ohm i + drop) i, per drive, driving and braking."""

    drive: str
    k_n_per_a: float
    """Force at the wheel per phase ampere, losses behind the motor not taken off; also volts per
    m/s."""
    ohm: float
    drop_v: float
    spread: float
    """Scatter of the power about the fit, as a part of it."""
    peak_a: float
    """Highest phase current seen."""


def fit_drive(ride: Ride, setup: Setup, drive: str) -> DriveFit | None:
    """The drive's force and losses per phase ampere; None without phase current, power and speed,
    or too little load."""
    phase = drive_channel(ride, drive, "phase_current_a")
    battery = drive_channel(ride, drive, "battery_current_a")
    volts = drive_channel(ride, drive, "battery_voltage_v")
    if volts is None:
        pack = pack_voltage_v(ride, setup)
        volts = None if pack is None else pack.values
    wheel = wheel_speed_mps(ride, setup, drive) or speed_mps(ride, setup)
    if phase is None or battery is None or volts is None or wheel is None:
        return None
    parts = _slots(ride.time_s, phase, battery * volts, wheel.values)
    current, power, speed, even = parts
    if current.size == 0:
        return None
    most = float(np.quantile(current, 0.995))
    load = (current > LEAST_PART * most) & even & (speed > 0.5) & (power > 0)
    if most <= 0 or load.sum() < LEAST_ROWS:
        return None
    i, p, v = current[load], power[load], speed[load]
    columns = np.column_stack([v * i, i**2, i]) / np.sqrt(i)[:, None]
    target = p / np.sqrt(i)
    x, _ = _held(columns, target)
    if x[0] <= 0:
        return None
    off = columns @ x - target
    keep = np.abs(off) < 4 * 1.4826 * np.median(np.abs(off)) + 1e-9
    x, _ = _held(columns[keep], target[keep])
    spread = float(np.std((columns @ x - target)[keep]) / np.mean(target[keep]))
    return DriveFit(drive, float(x[0]), float(x[1]), float(x[2]), spread, most)


def _held(columns: Floats, target: Floats) -> tuple[Floats, np.ndarray]:
    """Non-negative, the drop held near its usual value: copper and drop are hard to tell apart."""
    gram, right = columns.T @ columns, columns.T @ target
    hold = DROP_WEIGHT * gram[2, 2]
    gram[2, 2] += hold
    right[2] += hold * DROP_V
    return nonneg_normal(gram, right)


def _slots(
    time_s: Floats, phase: Floats, power: Floats, speed: Floats
) -> tuple[Floats, Floats, Floats, np.ndarray]:
    """Means over half seconds, and those in which the phase current held still."""
    good = np.isfinite(phase) & np.isfinite(power) & np.isfinite(speed)
    if good.sum() < LEAST_ROWS:
        return np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0, bool)
    number = np.floor((time_s[good] - time_s[good][0]) / SLOT_S).astype(np.intp)
    _, index, count = np.unique(number, return_inverse=True, return_counts=True)
    mean = [np.bincount(index, one[good]) / count for one in (phase, power, speed)]
    square = np.bincount(index, phase[good] ** 2) / count
    rough = np.sqrt(np.clip(square - mean[0] ** 2, 0.0, None))
    before = np.abs(np.diff(mean[0], prepend=mean[0][0]))
    even = (rough < 0.1 * np.abs(mean[0]) + 0.5) & (before < 0.2 * np.abs(mean[0]) + 0.5)
    return mean[0], mean[1], mean[2], even

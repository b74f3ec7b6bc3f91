"""Rides and setups made by hand for closed-form checks: a few arrays in, a `Ride` out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from importers.ride import ChannelReading, Ride, RideFacts, Source
from importers.setup_types import (
    Bms,
    Chemistry,
    Drive,
    Pack,
    RestVoltageCurve,
    Setup,
    Vehicle,
    Wiring,
)

STRAIGHT = RestVoltageCurve(
    state_of_charge=np.array([0.0, 1.0]), volts_per_cell=np.array([3.0, 4.2]), source="straight"
)
"""A rest-voltage curve that is a straight line: 12 mV per % and cell."""


def make_setup(
    *,
    drives: tuple[Drive, ...] | None = None,
    pack: dict | None = None,
    bms: dict | None = None,
    wiring: dict | None = None,
    vehicle: dict | None = None,
    key_homes: tuple[tuple[str, str], ...] = (),
) -> Setup:
    """A two-drive trike: 14 cells in series, 20 Ah, 3.0 to 4.2 V per cell."""
    numbers = {
        "chemistry": Chemistry.OTHER,
        "series": 14,
        "capacity_ah": 20.0,
        "cell_full_v": 4.2,
        "cell_empty_v": 3.0,
    }
    if drives is None:
        drives = (Drive("left"), Drive("right"))
    return Setup(
        pack=Pack(**(numbers | (pack or {}))),
        drives=drives,
        curve=STRAIGHT,
        vehicle=Vehicle(**(vehicle or {})),
        bms=Bms(**(bms or {})),
        wiring=Wiring(**(wiring or {})),
        key_homes=key_homes,
        file="setup.toml",
    )


def drive_channels(
    name: str,
    amps: np.ndarray,
    speed_mps: np.ndarray,
    demand_pct: np.ndarray | None = None,
    *,
    phase_per_amp: float = 1.7,
) -> dict[str, np.ndarray]:
    """One drive's channels: 52 V at rest behind 0.2 ohm, motor current in proportion."""
    out = {
        f"{name}.battery_voltage_v": 52.0 - 0.2 * amps,
        f"{name}.battery_current_a": amps,
        f"{name}.phase_current_a": phase_per_amp * amps,
        f"{name}.wheel_speed_mps": speed_mps,
    }
    return out if demand_pct is None else out | {f"{name}.throttle_pct": demand_pct}


def make_ride(
    time_s: np.ndarray,
    channels: dict[str, np.ndarray | float],
    *,
    drives: tuple[str, ...] = ("left", "right"),
    rate_hz: float | None = None,
    facts: RideFacts | None = None,
) -> Ride:
    """A ride of these channels; a plain number becomes a constant channel."""
    columns = {"time_s": np.asarray(time_s, float)}
    for name, values in channels.items():
        columns[name] = np.broadcast_to(np.asarray(values), np.shape(time_s)).copy()
    step = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 1.0
    readings = tuple(
        ChannelReading(name, name, "", 1, rate_hz or 1.0 / step, 1.0) for name in channels
    )
    source = Source("ride.csv", "all", len(time_s), 0, 1.0 / step, None, None, readings)
    return Ride(
        table=pd.DataFrame(columns), drives=drives, sources=(source,), facts=facts or RideFacts()
    )


def clock(seconds: float, rate_hz: float = 20.0) -> np.ndarray:
    """Even times from 0 up to, and without, `seconds`."""
    return np.arange(round(seconds * rate_hz)) / rate_hz


def pulse(time_s: np.ndarray, start_s: float, end_s: float, high: float, low: float = 0.0):
    """`high` from `start_s` up to, and without, `end_s`; else `low`."""
    return np.where((time_s >= start_s - 1e-9) & (time_s < end_s - 1e-9), high, low)

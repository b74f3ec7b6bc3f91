"""How hot do motor and controller get for the current they carry?

T = air + sum over k of G_k * lag_k(phase current squared), G_k >= 0: first-order paths of heat with
time constants from a winding's to a case's, fitted as non-negative least squares. Source: the
first-order warm-up dT = P R_th (1 - exp(-t / tau)), superposed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.lags import lagged
from analyzer.nonneg import nonneg_normal
from analyzer.quantities import Floats, drive_channel
from importers.ride import Ride
from importers.setup_types import Setup

TAUS_S = (15.0, 40.0, 100.0, 250.0, 600.0, 1400.0, 3000.0)
"""Time constants of the paths [s]. Minutes for a winding, tens of minutes for a small motor's body:
common practice, no source."""
GRID_S = 2.0
LEAST_RISE_K = 6.0
"""A ride that warms it less tells nothing [K]. Our choice."""
DEFAULT_K_PER_W = (0.0, 0.15, 0.0, 0.1, 0.2, 0.4, 0.0)
DEFAULT_SD = 0.5
"""Warming per watt of copper loss, path by path [K/W], where no ride tells, and its relative
error. Common practice, no source: the worked winding of 2 K/W and 600 J/K is a small one."""
FIT_SD = 0.22
"""Relative error of a fitted warming beyond its residual: wind, speed, start. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class HeatFit:
    """What warms one part of one drive, per unit of `driver`."""

    drive: str
    part: str
    """`motor` or `controller`."""
    driver: str
    """`phase_a2` (K per A2) or `copper_w` (K per W)."""
    gain: Floats
    """One per time constant of `TAUS_S`: kelvin per unit when warmed through."""
    relative_sd: float
    air_c: float | None
    rise_k: float
    """How much the ride warmed it."""
    fitted: bool

    @property
    def resistance(self) -> float:
        """Thermal resistance to air: kelvin per unit when warmed through."""
        return float(self.gain.sum())

    @property
    def capacity(self) -> float | None:
        """Heat capacity that answers first: units times seconds per kelvin."""
        rate = float(np.sum(self.gain / np.array(TAUS_S)))
        return 1.0 / rate if rate > 0 else None


def default_heat(drive: str, part: str = "motor") -> HeatFit:
    """The stated default, per watt of copper loss."""
    return HeatFit(drive, part, "copper_w", np.array(DEFAULT_K_PER_W), DEFAULT_SD, None, 0.0, False)


def fit_heat(ride: Ride, setup: Setup, drive: str, part: str = "motor") -> HeatFit | None:
    """How that part of the drive warms, from this ride; None without its temperature, its phase
    current, or enough warming."""
    temp = drive_channel(ride, drive, f"{part}_temp_c")
    phase = drive_channel(ride, drive, "phase_current_a")
    if temp is None or phase is None:
        return None
    time_s = ride.time_s
    good = np.isfinite(temp)
    if good.sum() < 20 or time_s[-1] - time_s[0] < 120:
        return None
    grid = np.arange(time_s[0], time_s[-1], GRID_S)
    seen = np.interp(grid, time_s[good], temp[good])
    rise = float(seen.max() - seen[0])
    if rise < LEAST_RISE_K:
        return None
    square = _mean_square(time_s, phase, grid)
    cold, air = _cold_start(ride, seen)
    columns = [lagged(square, tau, GRID_S, 0.0) for tau in TAUS_S]
    # a part that starts warm cools down along the same paths
    columns += [np.exp(-(grid - grid[0]) / tau) for tau in TAUS_S] if not cold else []
    matrix = np.column_stack(columns)
    # what is held against each gain is small beside the data and keeps idle paths at zero
    normal = matrix.T @ matrix
    x, _ = nonneg_normal(normal + 1e-9 * np.diag(np.diag(normal)), matrix.T @ (seen - air))
    residual = float(np.std(matrix @ x - (seen - air)))
    gain = np.asarray(x[: len(TAUS_S)], np.float64)
    if gain.sum() <= 0:
        return None
    relative = float(np.hypot(FIT_SD, residual / max(rise, 1.0)))
    return HeatFit(drive, part, "phase_a2", gain, relative, air, rise, True)


def _mean_square(time_s: Floats, phase: Floats, grid: Floats) -> Floats:
    square = np.nan_to_num(phase) ** 2
    area = np.concatenate([[0.0], np.cumsum(square[:-1] * np.diff(time_s))])
    edges = np.append(grid, grid[-1] + GRID_S)
    return np.asarray(np.diff(np.interp(edges, time_s, area)) / GRID_S, np.float64)


def _cold_start(ride: Ride, seen: Floats) -> tuple[bool, float]:
    """Whether it began at the air's temperature, and what that is."""
    logged = ride.get("ambient_temp_c")
    if logged is not None:
        air = float(np.nanmedian(logged))
        return abs(float(seen[0]) - air) < 2.0, air
    return True, float(min(seen[0], seen.min()))

"""How hot do motor and controller get for the current they carry?

T = air + sum over k of G_k * lag_k(load), G_k >= 0: first-order paths of heat with time constants
from a winding's to a case's, fitted as non-negative least squares. A motor's load is the phase
current squared and c times the speed squared, what turning iron loses whatever the current; a
controller's is the current squared, what its switching loses in proportion to the current, and what
it takes switched on. How large the other parts are: the mean over a few sizes, each by how probable
it is. Sources: the first-order warm-up dT = P R_th (1 - exp(-t / tau)), superposed; conduction and
switching losses of a converter as any handbook of power electronics parts them (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from analyzer.lags import lagged
from analyzer.nonneg import nonneg_normal
from analyzer.quantities import Floats, drive_channel, speed_mps, wheel_speed_mps
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
IRON_PARTS, USUAL_IRON_PART = (0.05, 0.15, 0.35, 0.7, 1.4, 3.0), 0.35
"""Tried sizes of the heat of turning over the heat of current, in the ride's mean [1], and how
large it usually is. Our choice."""
PART_FACTOR, LEAST_PART = 2.5, 0.1
"""By what factor such a part may differ (one sd of its log), and what none counts as. Our
choice."""
SWITCHING_PARTS, USUAL_SWITCHING_PART = (0.0, 0.3, 1.0, 3.0), 1.0
IDLE_PARTS, USUAL_IDLE_PART = (0.0, 0.3, 1.0), 0.3
"""Tried sizes of a controller's other losses over those of its current squared, likewise. Our
choice: at the currents of a ride both matter, and a few watts go on being switched on."""
TELLS_S, SENSOR_K = 60.0, 0.2
"""Temperatures so far apart in time tell each their own [s]; none is better than this [K]. Our
choice."""
FIT_SD = 0.15
"""Relative error of a fitted warming beyond its residual: wind, speed, start. Our choice: on made
rides the currents of a hill give its warming within 0.1, and no wind blows there."""


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
    iron_a2_per_mps2: float = 0.0
    """The phase current squared that warms as much as a speed squared of 1 m2/s2 does: c."""
    switching_a: float = 0.0
    """The phase current squared that warms as much as 1 A does by switching."""
    idle_a2: float = 0.0
    """The phase current squared that warms as much as being switched on does."""

    def load(self, phase_a: Floats, speed_mps: Floats) -> Floats:
        """What warms it, as phase current squared [A2]."""
        size = np.abs(phase_a)
        turned = self.iron_a2_per_mps2 * speed_mps**2
        return np.asarray(size * (size + self.switching_a) + turned + self.idle_a2, np.float64)

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


def fit_heat(
    ride: Ride, setup: Setup, drive: str, part: str = "motor", *, parted: bool = False
) -> HeatFit | None:
    """How that part of the drive warms, from this ride; None without its temperature, its phase
    current, or enough warming. With `parted` more than the current squared may warm it: turning
    iron a motor; switching, and being switched on, a controller."""
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
    square = _mean(time_s, np.nan_to_num(phase) ** 2, grid)
    cold, air = _cold_start(ride, seen)
    others: list[_Other] = []
    if parted and part == "motor":
        speed = wheel_speed_mps(ride, setup, drive) or speed_mps(ride, setup)
        if speed is not None:
            turning = _mean(time_s, np.nan_to_num(speed.values) ** 2, grid)
            others = [_Other(turning, IRON_PARTS, USUAL_IRON_PART)]
    elif parted:
        switching = _mean(time_s, np.abs(np.nan_to_num(phase)), grid)
        others = [
            _Other(switching, SWITCHING_PARTS, USUAL_SWITCHING_PART),
            _Other(np.ones_like(square), IDLE_PARTS, USUAL_IDLE_PART),
        ]
    gain, more, residual = _most_probable(square, others, seen - air, cold)
    if gain.sum() <= 0:
        return None
    relative = float(np.hypot(FIT_SD, residual / max(rise, 1.0)))
    fit = HeatFit(drive, part, "phase_a2", gain, relative, air, rise, True)
    if part == "motor":
        return replace(fit, iron_a2_per_mps2=sum(more))
    return replace(fit, switching_a=more[0], idle_a2=more[1]) if more else fit


@dataclass(frozen=True, slots=True, eq=False)
class _Other:
    """Something else than the current squared that may warm it."""

    load: Floats
    parts: tuple[float, ...]
    """Tried sizes over the current squared's, in the ride's mean."""
    usual: float


def _most_probable(
    square: Floats, others: list[_Other], above: Floats, cold: bool
) -> tuple[Floats, list[float], float]:
    """Gains, what each other load counts against the current squared, and the residual [K]: the
    mean over a few sizes, each weighed by how well it fits and how usual it is."""
    others = [one for one in others if one.load.any() and square.any()]
    levels = [float(square.mean() / one.load.mean()) for one in others]
    tried = list(product(*(one.parts for one in others)))
    fits = []
    for parts in tried:
        load = square.copy()
        for part, level, other in zip(parts, levels, others, strict=True):
            load += part * level * other.load
        fits.append(_warming(load, above, cold))
    off = np.array([one[1] for one in fits])
    worth = above.size * GRID_S / TELLS_S * np.log(np.maximum(off, SENSOR_K))
    for i, other in enumerate(others):
        size = np.array([max(parts[i], LEAST_PART) for parts in tried])
        worth += 0.5 * (np.log(size / other.usual) / np.log(PART_FACTOR)) ** 2
    weight = np.exp(worth.min() - worth)
    gains = np.array([one[0] for one in fits])
    gain = np.average(gains, axis=0, weights=weight)
    whole = np.maximum(gains.sum(axis=1) * weight, 1e-12)
    shares = [float(np.average([p[i] for p in tried], weights=whole)) for i in range(len(others))]
    more = [share * level for share, level in zip(shares, levels, strict=True)]
    return gain, more, float(off.min())


def _warming(load: Floats, above: Floats, cold: bool) -> tuple[Floats, float]:
    """The gain of every path for this load, and how far the fit is off [K]."""
    columns = [lagged(load, tau, GRID_S, 0.0) for tau in TAUS_S]
    # a part that starts warm cools down along the same paths
    since = np.arange(above.size) * GRID_S
    columns += [np.exp(-since / tau) for tau in TAUS_S] if not cold else []
    matrix = np.column_stack(columns)
    # what is held against each gain is small beside the data and keeps idle paths at zero
    normal = matrix.T @ matrix
    x, _ = nonneg_normal(normal + 1e-9 * np.diag(np.diag(normal)), matrix.T @ above)
    return np.asarray(x[: len(TAUS_S)], np.float64), float(np.std(matrix @ x - above))


def mean_heat(fits: list[HeatFit]) -> HeatFit:
    """What several rides tell of one part together: those that warmed it more count more."""
    if len(fits) == 1:
        return fits[0]
    weight = np.array([one.rise_k**2 for one in fits])
    gain = np.average([one.gain for one in fits], axis=0, weights=weight)
    whole = np.array([one.resistance for one in fits])

    def middle(name: str) -> float:
        return float(np.average([getattr(one, name) for one in fits], weights=weight * whole))

    spread = float(np.sqrt(np.average((whole / whole.mean() - 1.0) ** 2, weights=weight)))
    among = min(max(spread, FIT_SD / np.sqrt(len(fits))), 2.0 * FIT_SD)
    most = max(fits, key=lambda one: one.rise_k)
    return replace(
        most,
        gain=np.asarray(gain, np.float64),
        iron_a2_per_mps2=middle("iron_a2_per_mps2"),
        switching_a=middle("switching_a"),
        idle_a2=middle("idle_a2"),
        relative_sd=among,
    )


def _mean(time_s: Floats, values: Floats, grid: Floats) -> Floats:
    """The mean over each step of the grid; a value holds until the next."""
    area = np.concatenate([[0.0], np.cumsum(values[:-1] * np.diff(time_s))])
    edges = np.append(grid, grid[-1] + GRID_S)
    return np.asarray(np.diff(np.interp(edges, time_s, area)) / GRID_S, np.float64)


def _cold_start(ride: Ride, seen: Floats) -> tuple[bool, float]:
    """Whether it began at the air's temperature, and what that is."""
    logged = ride.get("ambient_temp_c")
    if logged is not None:
        air = float(np.nanmedian(logged))
        return abs(float(seen[0]) - air) < 2.0, air
    return True, float(min(seen[0], seen.min()))

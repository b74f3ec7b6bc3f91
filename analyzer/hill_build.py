"""A build as a hill will find it: everything a forward run needs, drawn over what is not sure.

Arrays have d values, one per draw, or (drives, d) where a drive has its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.drive_fit import DriveFit, fit_drive
from analyzer.estimate import Estimate, Note
from analyzer.heat import HeatFit, default_heat, fit_heat
from analyzer.lags import TAUS_S as PACK_TAUS_S
from analyzer.lags import pulse_ohm
from analyzer.pack_state import PackFit, PackState
from analyzer.quantities import Floats, WindowMeans, pack_current_a, step_s
from analyzer.rest_voltage import beyond_v, cell_volts, family
from analyzer.ride_analysis import RideResult
from analyzer.road import find_roads
from analyzer.road_load import RoadLoad, fit_road_load
from analyzer.temperature import DEFAULT_E_J_PER_MOL, GAS_J_PER_MOL_K, PLAUSIBLE_E_J_PER_MOL
from importers.setup_types import Drive, RestVoltageCurve, Setup

CELL_OHM_AH, CELL_OHM_AH_SD = 0.13, 0.35
"""A cell's 10 s resistance times its capacity at 25 °C [ohm Ah], and the sd of its log. Full cell
models: 0.15 (O'Kane 2022), 0.10 (O'Regan 2022); the spread our choice."""
WIRING_OHM = 0.010
"""Cables and connectors of a small pack [ohm]. Common practice, no source."""
DEFAULT_SHAPE = np.array([0.55, 0.10, 0.12, 0.23, 0.25, 0.30, 0.20])
"""R_k of an unknown pack over its 10 s resistance. Our choice, after worked pack B of the
references."""
LIMIT_SD = 0.015
"""How exactly a controller holds its limit where no ride told. Common practice: a battery current
is often computed, 3 to 5 %, worse at small duty."""
CURVE_SD_FITTED_V = 0.025
"""Rest voltage by the curve where a ride was fitted with it [V per cell]. Our choice."""
LOW_CHARGE_RISE = 0.35
"""How much higher the resistance is at 5 % than at 50 % charge, in the mean [1]. Our choice after
published full-cell models, where it lies between nothing and doubling."""
UNSTEADY = 0.06
"""How much a rider's demand wavers on a climb where no ride tells [1]. Our choice."""
TAILS = 1.3
"""A hand wavers with longer tails than a normal spread [1]. Our choice, checked by
benchmarks/tables/hills_truth.py."""
SHAPE_SD_V = 0.003
"""How far a pack's rest voltage may stray from its own published curve over a ride [V per cell].
Our choice."""
UNKNOWN_FORCE_N = 250.0
"""Greatest force of one drive where nothing tells it [N]. Our choice; said in a note."""


@dataclass(frozen=True, slots=True, eq=False)
class BuildDraws:
    """One build, d times over."""

    setup: Setup
    mass_kg: Floats
    rolling: Floats
    drag_m2: Floats
    efficiency: Floats
    return_factor: Floats
    k_n_per_a: Floats
    """(drives, d)"""
    ohm: Floats
    drop_v: Floats
    known_phase: bool
    """False where the phase ampere of this build is a made-up unit: phase limits are not judged."""
    limit_scale: Floats
    """(drives, d): the limit in force over the limit as set."""
    pack_ohm: Floats
    """(lags, d) at 25 °C and half charge."""
    activation_j_per_mol: Floats
    rest_offset_v: Floats
    curve: NDArray[np.intp]
    """Which of the curves these cells may follow (`rest_voltage.family`) each draw follows."""
    unsteady: float
    """How much this rider's demand wavers on a climb, one sd of it over itself."""
    seed: int
    capacity_ah: Floats
    aux_a: float
    heat: tuple[tuple[str, str, HeatFit, Floats], ...]
    """(drive, part, fit, scale)."""
    notes: tuple[Note, ...]

    @property
    def drives(self) -> tuple[Drive, ...]:
        """The setup's drives, in its order: the first axis of (drives, d)."""
        return self.setup.drives

    @property
    def draws(self) -> int:
        """d."""
        return int(self.mass_kg.size)


def _normal(rng: np.random.Generator, one: Estimate, draws: int) -> Floats:
    half = one.half_width if np.isfinite(one.half_width) else abs(one.value)
    drawn = rng.normal(one.value, half / 1.96, draws)
    low = one.low if one.low is not None else -np.inf
    high = one.high if one.high is not None else np.inf
    return np.asarray(np.clip(drawn, min(low, one.value), max(high, one.value)), np.float64)


def best_ride(results: list[RideResult]) -> RideResult | None:
    """The ride that tells most of the build: the one that moved most energy uphill and down."""
    told = [one for one in results if one.totals.energy_out_wh]
    return max(told, key=lambda one: one.totals.energy_out_wh or 0.0, default=None)


def draw_build(
    setup: Setup,
    results: list[RideResult],
    rng: np.random.Generator,
    draws: int,
    extra_mass_kg: float = 0.0,
) -> BuildDraws:
    """The build as its rides showed it, else as its paper says, with wide intervals and notes."""
    best = best_ride(results)
    notes: list[Note] = []
    if best is None:
        notes.append(
            Note(
                "predict",
                "No ride to fit: resistance, rolling, drag, losses and warming are stated defaults "
                "with wide intervals. One ride with a climb makes this far surer.",
            )
        )
        load = None
    else:
        roads = find_roads(best.ride, setup)
        load = fit_road_load(best.ride, setup, roads)
        notes.extend(load.notes)
    mass = load.mass_kg if load is not None and load.mass_kg else setup.vehicle.mass_kg
    if mass is None:
        mass = 150.0
        notes.append(Note("predict.mass_kg", "No mass in the setup: 150 kg are assumed."))
    fits = _drive_fits(setup, best)
    road = _road_draws(load, setup, rng, draws, len(fits) > 0)
    k, ohm, drop, known = _drive_draws(setup, fits, rng, draws, notes)
    shape, energy = _pack_draws(setup, best, rng, draws)
    fitted_curve = best is not None and best.pack_fit is not None
    offset = CURVE_SD_FITTED_V if fitted_curve else max(beyond_v(setup) / 1.96, 0.012)
    capacity = setup.pack.capacity_ah
    told_ah = best.pack.capacity_ah if best is not None else None
    capacity_draws = (
        _normal(rng, told_ah, draws)
        if told_ah is not None
        else capacity * rng.normal(0.96, 0.04, draws)
    )
    return BuildDraws(
        setup=setup,
        mass_kg=(mass + extra_mass_kg) * rng.normal(1.0, 0.02, draws),
        rolling=road[3],
        drag_m2=road[4],
        efficiency=road[0],
        return_factor=road[2],
        k_n_per_a=k,
        ohm=ohm,
        drop_v=drop,
        known_phase=known,
        limit_scale=_limit_scale(setup, best, rng, draws),
        pack_ohm=shape,
        activation_j_per_mol=energy,
        rest_offset_v=rng.normal(0.0, offset * setup.pack.series, draws),
        curve=_curves(setup, best, rng, draws),
        unsteady=unsteadiness(best),
        seed=int(rng.integers(2**31)),
        capacity_ah=np.clip(capacity_draws, 0.3 * capacity, 1.2 * capacity),
        aux_a=setup.pack.aux_a or 0.0,
        heat=_heat_draws(setup, best, rng, draws, notes),
        notes=tuple(notes),
    )


def _curves(
    setup: Setup, best: RideResult | None, rng: np.random.Generator, draws: int
) -> NDArray[np.intp]:
    """Which published curve each draw follows: all alike likely, unless the ride's rest voltage
    fell with the charge drawn as only some of them do."""
    curves = family(setup)
    weights = np.ones(len(curves))
    if best is not None and best.pack_fit is not None and len(curves) > 1:
        misfit = [_shape_misfit_v(setup, best, one) for one in curves]
        if all(one is not None for one in misfit):
            off = np.array(misfit, np.float64) / SHAPE_SD_V
            weights = np.exp(-0.5 * (off**2 - (off**2).min()))
    return np.asarray(rng.choice(len(curves), draws, p=weights / weights.sum()), np.intp)


def _shape_misfit_v(setup: Setup, best: RideResult, curve: RestVoltageCurve) -> float | None:
    """How far the ride's rest voltage strays from this curve as charge is drawn, at the best
    starting charge [V per cell]."""
    assert best.pack_fit is not None
    current = pack_current_a(best.ride, setup)
    if current is None:
        return None
    rest = best.pack_fit.rest_voltage_v / setup.pack.series
    step = step_s(best.ride)
    drawn = (
        np.cumsum(np.nan_to_num(current.values) * step) / 3600.0 / setup.pack.capacity_ah * 100.0
    )
    good = np.flatnonzero(np.isfinite(rest))
    if good.size < 50 or np.ptp(drawn[good]) < 4.0:
        return None
    good = good[:: max(good.size // 200, 1)]
    tried = []
    for start in np.arange(100.0, 4.0, -2.0):
        volts = cell_volts(curve, np.clip(start - drawn[good], 0.0, 100.0), setup)
        tried.append(float(np.sqrt(np.mean((volts - rest[good]) ** 2))))
    return min(tried)


def unsteadiness(best: RideResult | None) -> float:
    """How much this rider's demand wavers where no limit governs, from the current on climbs."""
    if best is None or not best.climbs:
        return UNSTEADY
    current = pack_current_a(best.ride, best.setup)
    if current is None:
        return UNSTEADY
    means = WindowMeans(best.ride, 1.0).of(current.values)
    time_s = best.ride.time_s
    grid = np.arange(time_s[0], time_s[-1], 1.0)
    each = means[np.clip(np.searchsorted(time_s, grid), 0, time_s.size - 1)]
    parts = []
    for one in best.climbs:
        on = (grid > one.start_s + 10.0) & (grid < one.end_s - 5.0)
        now, then = each[on][3:], each[on][:-3]
        level = 0.5 * (now + then)
        parts.append(((now - then) / np.maximum(level, 1.0))[np.isfinite(level) & (level > 1.0)])
    change = np.concatenate(parts)
    if change.size < 60:
        return UNSTEADY
    # two moments a wavering time apart differ by 1.12 of its sd
    spread = 1.4826 * TAILS * float(np.median(np.abs(change))) / 1.12
    return float(np.clip(spread, 0.0, 0.25))


def _drive_fits(setup: Setup, best: RideResult | None) -> dict[str, DriveFit]:
    if best is None:
        return {}
    found = {name: fit_drive(best.ride, setup, name) for name in setup.drive_names}
    return {name: fit for name, fit in found.items() if fit is not None}


def _road_draws(
    load: RoadLoad | None, setup: Setup, rng: np.random.Generator, draws: int, fitted: bool
) -> list[Floats]:
    """Efficiency, copper share, return, rolling, drag, turning: drawn together, as fitted."""
    from analyzer.power_balance import UNKNOWN_MASS_KG, before_the_ride

    expected, sd = before_the_ride(setup, setup.vehicle.mass_kg or UNKNOWN_MASS_KG)
    covariance = np.diag(sd**2)
    if load is not None and load.theta.size:
        expected, covariance = load.theta, load.covariance
    drawn = rng.multivariate_normal(expected, covariance, draws).T
    if not fitted:  # copper is in the efficiency then: no phase current told it apart
        drawn[0] = drawn[0] - drawn[1]
    low = np.array([0.5, 0.0, 1.0, 0.002, 0.1, 1.0])[:, None]
    high = np.array([0.99, 0.6, 1.6, 0.08, 2.5, 1.3])[:, None]
    return list(np.clip(drawn, low, high))


def _drive_draws(
    setup: Setup,
    fits: dict[str, DriveFit],
    rng: np.random.Generator,
    draws: int,
    notes: list[Note],
) -> tuple[Floats, Floats, Floats, bool]:
    n = len(setup.drives)
    k, ohm, drop = np.ones((n, draws)), np.zeros((n, draws)), np.zeros((n, draws))
    known = len(fits) == n
    for j, drive in enumerate(setup.drives):
        fit = fits.get(drive.name) or (next(iter(fits.values())) if fits else None)
        if fit is None:
            # force is the unit: one made-up phase ampere per newton, losses in the efficiency
            continue
        k[j] = fit.k_n_per_a * rng.normal(1.0, 0.01, draws)
        ohm[j] = fit.ohm * rng.normal(1.0, 0.10, draws)
        drop[j] = fit.drop_v
    if not known:
        notes.append(
            Note(
                "predict.phase",
                "No ride with phase current, speed and power of every drive: what a phase ampere "
                "gives is not known, so phase limits are not judged.",
            )
        )
    return k, np.clip(ohm, 0.0, None), drop, known


def _limit_scale(
    setup: Setup, best: RideResult | None, rng: np.random.Generator, draws: int
) -> Floats:
    out = rng.normal(1.0, LIMIT_SD, (len(setup.drives), draws))
    in_force = {} if best is None else {one.drive: one for one in best.in_force}
    for j, drive in enumerate(setup.drives):
        seen = in_force.get(drive.name)
        same = best is not None and any(
            d.name == drive.name and d.battery_drive_a == drive.battery_drive_a
            for d in best.setup.drives
        )
        if seen is not None and seen.battery_drive_a is not None and drive.battery_drive_a and same:
            out[j] = _normal(rng, seen.battery_drive_a, draws) / drive.battery_drive_a
    return np.asarray(out, np.float64)


def _pack_draws(
    setup: Setup, best: RideResult | None, rng: np.random.Generator, draws: int
) -> tuple[Floats, Floats]:
    low_e, high_e = PLAUSIBLE_E_J_PER_MOL
    energy = np.clip(
        rng.normal(DEFAULT_E_J_PER_MOL, (high_e - low_e) / 3.92, draws), low_e * 0.7, high_e * 1.2
    )
    pack = None if best is None else best.pack
    if best is not None and pack is not None and best.pack_fit is not None:
        fitted = _fitted_ohm(best.pack_fit, pack, energy, rng, draws)
        if fitted is not None:
            return fitted, energy
    cell = CELL_OHM_AH / setup.pack.capacity_ah * np.exp(rng.normal(0, CELL_OHM_AH_SD, draws))
    whole = setup.pack.series * cell + WIRING_OHM
    shape = DEFAULT_SHAPE / float(pulse_ohm(DEFAULT_SHAPE, 10.0))
    return shape[:, None] * whole, energy


def _fitted_ohm(
    fit: PackFit, pack: PackState, energy: Floats, rng: np.random.Generator, draws: int
) -> Floats | None:
    """R_k at 25 °C, the whole scaled by the 10 s value's own interval."""
    if tuple(fit.taus_s) != PACK_TAUS_S:
        return None
    shape = np.array(fit.resistances_ohm)
    spread = 0.03
    if pack.resistance_10s_ohm is not None and np.isfinite(pack.resistance_10s_ohm.half_width):
        spread = pack.resistance_10s_ohm.half_width / 1.96 / pack.resistance_10s_ohm.value
    scale = np.exp(rng.normal(0.0, min(max(spread, 0.005), 0.5), draws))
    now_c = 25.0 if pack.temperature_c is None else pack.temperature_c
    return np.asarray(shape[:, None] * scale / warm_factor(now_c, energy), np.float64)


def warm_factor(temp_c: float | Floats, energy_j_per_mol: Floats) -> Floats:
    """R at this temperature over R at 25 °C, per draw. Source: Arrhenius."""
    away = 1.0 / (temp_c + 273.15) - 1.0 / 298.15
    return np.asarray(np.exp(energy_j_per_mol / GAS_J_PER_MOL_K * away), np.float64)


def _heat_draws(
    setup: Setup,
    best: RideResult | None,
    rng: np.random.Generator,
    draws: int,
    notes: list[Note],
) -> tuple[tuple[str, str, HeatFit, Floats], ...]:
    out = []
    for drive in setup.drives:
        for part in ("motor", "controller"):
            fit = None if best is None else fit_heat(best.ride, setup, drive.name, part)
            if fit is None and part == "controller":
                continue
            if fit is None:
                fit = default_heat(drive.name)
                notes.append(
                    Note(
                        f"predict.motor_temp.{drive.name}",
                        f"No ride warmed {drive.name}'s motor enough to tell how: a stated "
                        "default with a wide interval.",
                    )
                )
            scale = np.exp(rng.normal(0.0, fit.relative_sd, draws))
            out.append((drive.name, part, fit, np.asarray(scale, np.float64)))
    return tuple(out)

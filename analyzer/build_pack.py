"""The pack as a hill will find it: resistance, its temperature law, curve and capacity, drawn."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analyzer.estimate import Estimate
from analyzer.lags import TAUS_S as PACK_TAUS_S
from analyzer.lags import pulse_ohm
from analyzer.quantities import Floats, pack_current_a, step_s
from analyzer.rest_voltage import beyond_v, cell_volts, family
from analyzer.ride_analysis import RideResult
from analyzer.temperature import (
    DEFAULT_E_J_PER_MOL,
    GAS_J_PER_MOL_K,
    PLAUSIBLE_E_J_PER_MOL,
    pack_temperature,
)
from importers.setup_types import RestVoltageCurve, Setup

CELL_OHM_AH, CELL_OHM_AH_SD = 0.13, 0.35
"""A cell's 10 s resistance times its capacity at 25 °C [ohm Ah], and the sd of its log. Full cell
models: 0.15 (O'Kane 2022), 0.10 (O'Regan 2022); the spread our choice."""
WIRING_OHM = 0.010
"""Cables and connectors of a small pack [ohm]. Common practice, no source."""
DEFAULT_SHAPE = np.array([0.55, 0.10, 0.12, 0.23, 0.25, 0.30, 0.20])
"""R_k of an unknown pack over its 10 s resistance. Our choice, after worked pack B of the
references."""
CURVE_SD_FITTED_V = 0.025
"""Rest voltage by the curve where a ride was fitted with it [V per cell]. Our choice."""
LOW_CHARGE_RISE, MOST_LOW_CHARGE_RISE = 0.35, 0.7
"""How much higher the resistance is at 5 % than at 50 % charge, in the mean and at most [1]. Our
choice after published full-cell models, where it lies between nothing and doubling."""
LOW_CHARGE_PCT, LOW_CHARGE_MEANT_PCT, LOWEST_CHARGE_PCT = 25.0, 5.0, -5.0
"""It rises from here on, with the square of the way to empty; where the rise is meant; no further
than here [%]. Our choice: the last few per cent rise steepest."""
SLOW_TAU_S = 20.0
"""Lags slower than this are charge wandering into the electrodes: their voltage follows the slope
of the rest-voltage curve [s]. Source: diffusion overpotential, dU/dz times the surface's lag
(Plett, Battery Management Systems vol. 1, 2015, ch. 3); the time our choice."""
SLOW_PART, SLOWEST_TAU_S = 0.8, 50.0
"""A ride's slowest lags hold more than the pack's own: what the curve's shape leaves [1]. Our
choice, tuned on benchmarks/tables/predict_truth.py."""
SLOWEST_MOST = 0.5
"""The slowest lags of a pack hold together no more than this of its 10 s resistance [1]: what lies
beyond is rest voltage that fell otherwise than the curve had it. Our choice, after the unknown
pack's shape above."""
HEAT_J_PER_K_AH, HEAT_SD = 20.0, 0.3
"""What warms a pack by 1 K, per ampere hour and cell in series, and the sd of its log [J/(K Ah)]:
cells of 45 to 50 g and 2.5 to 3.5 Ah at 0.9 to 1.0 J/(g K) make 12 to 20, large flat ones of lfp
25; holder and leads warm with them. Common practice, no source."""
COOLS_S = 3600.0
"""A pack's warmth leaves it over about this [s]. Common practice, no source: an hour or two."""
SLOPE_OVER_PCT = 6.0
"""The curve's slope is taken over so much charge to either side [%]. Our choice: the surface lags
by a few per cent of charge."""
SLOPE_BAND = (0.5, 2.0)
"""No more than this do slow lags change along the curve [1]. Our choice."""
UNFITTED_PCT = 50.0
"""Charge at which the default resistance is meant [%]."""
SHAPE_SD_V = 0.003
"""How far a pack's rest voltage may stray from its own published curve over a ride [V per cell].
Our choice."""
FITTED_SD = 0.03
"""Relative error (one sd) of a ride's resistance that states no interval. Our choice."""
AMONG_RIDES_SD = 0.02
"""How far one pack's resistance differs from ride to ride beyond its intervals (charge, warmth
inside) [1, one sd of its log]. Our choice."""
MEAN_CAPACITY, CAPACITY_SD = 0.96, 0.04
"""Part of the rated capacity a pack in use holds where no ride tells, and its sd. Our choice."""


def warm_factor(temp_c: float | Floats, energy_j_per_mol: Floats) -> Floats:
    """R at this temperature over R at 25 °C, per draw. Source: Arrhenius."""
    away = 1.0 / (temp_c + 273.15) - 1.0 / 298.15
    return np.asarray(np.exp(energy_j_per_mol / GAS_J_PER_MOL_K * away), np.float64)


def low_charge_factor(charge_pct: Floats, rise: float | Floats = LOW_CHARGE_RISE) -> Floats:
    """R at this charge over R at mid charge; `rise` is how much higher it is at 5 %."""
    way = LOW_CHARGE_PCT - np.clip(charge_pct, LOWEST_CHARGE_PCT, LOW_CHARGE_PCT)
    part = way / (LOW_CHARGE_PCT - LOW_CHARGE_MEANT_PCT)
    return np.asarray(1.0 + rise * part**2, np.float64)


def heat_j_per_k_draws(setup: Setup, rng: np.random.Generator, draws: int) -> Floats:
    """What warms the whole pack by 1 K (d) [J/K]."""
    usual = HEAT_J_PER_K_AH * setup.pack.capacity_ah * setup.pack.series
    return np.asarray(usual * np.exp(rng.normal(0.0, HEAT_SD, draws)), np.float64)


def low_rise_draws(rng: np.random.Generator, draws: int) -> Floats:
    """How much higher the resistance is near empty (d) [1]."""
    return np.asarray(rng.uniform(0.0, MOST_LOW_CHARGE_RISE, draws), np.float64)


def log_resistance(result: RideResult) -> tuple[float, float] | None:
    """Log of the ride's 10 s resistance as ridden and its sd, or None."""
    told = result.pack.resistance_10s_ohm
    if told is None or told.value <= 0 or result.pack_fit is None:
        return None
    spread = FITTED_SD
    if np.isfinite(told.half_width):
        spread = told.half_width / 1.96 / told.value
    return float(np.log(told.value)), float(np.clip(spread, 0.005, 0.5))


def pack_draws(
    setup: Setup, rides: list[RideResult], rng: np.random.Generator, draws: int
) -> tuple[Floats, Floats]:
    """R_k at 25 °C (lags, d) and its activation energy (d): the rides' pooled, else defaults."""
    low_e, high_e = PLAUSIBLE_E_J_PER_MOL
    energy = np.clip(
        rng.normal(DEFAULT_E_J_PER_MOL, (high_e - low_e) / 3.92, draws), low_e * 0.7, high_e * 1.2
    )
    fitted = [
        (one, said)
        for one in rides
        if (said := log_resistance(one)) is not None
        and one.pack_fit is not None
        and tuple(one.pack_fit.taus_s) == PACK_TAUS_S
    ]
    if not fitted:
        cell = CELL_OHM_AH / setup.pack.capacity_ah * np.exp(rng.normal(0, CELL_OHM_AH_SD, draws))
        whole = setup.pack.series * cell + WIRING_OHM
        shape = DEFAULT_SHAPE / float(pulse_ohm(DEFAULT_SHAPE, 10.0))
        return shape[:, None] * whole, energy
    log_ohm = np.array([said[0] for _, said in fitted])[:, None]
    sd = np.hypot(np.array([said[1] for _, said in fitted]), AMONG_RIDES_SD * (len(fitted) > 1))
    away = np.array(  # (rides, d)
        [
            np.log(warm_factor(rng.normal(warmth.mean_c, warmth.sd_c, draws), energy))
            for warmth in (pack_temperature(one.ride) for one, _ in fitted)
        ]
    )
    weight = (1.0 / sd**2)[:, None]
    at_25 = np.sum(weight * (log_ohm - away), axis=0) / weight.sum()
    if len(fitted) > 1:  # rides at different warmth tell how it falls with warmth
        misfit = np.sum(weight * (log_ohm - away - at_25) ** 2, axis=0)
        chance = np.exp(-0.5 * (misfit - misfit.min()))
        kept = rng.choice(draws, draws, p=chance / chance.sum())
        energy, at_25 = energy[kept], at_25[kept]
    at_25 = at_25 + rng.normal(0.0, float(1.0 / np.sqrt(weight.sum())), draws)
    shapes = [
        np.array(one.pack_fit.resistances_ohm) / np.exp(said[0])
        for one, said in fitted
        if one.pack_fit is not None
    ]
    shape = _slow_part(np.average(shapes, axis=0, weights=weight[:, 0]))
    return np.asarray(shape[:, None] * np.exp(at_25), np.float64), np.asarray(energy, np.float64)


def _slow_part(shape: Floats) -> Floats:
    """A ride's R_k over its 10 s resistance, its slowest lags cut to what is the pack's own."""
    slowest = np.array(PACK_TAUS_S) >= SLOWEST_TAU_S
    whole = SLOW_PART * float(shape[slowest].sum())
    part = SLOW_PART * min(1.0, SLOWEST_MOST / max(whole, 1e-9))
    return np.where(slowest, part, 1.0) * shape


def fitted_charge_pct(rides: list[RideResult]) -> float:
    """The usual charge of the rides the resistance was fitted on [%]."""
    told = [
        part.value
        for one in rides
        if one.pack_fit is not None
        for part in (one.pack.state_of_charge_start_pct, one.pack.state_of_charge_end_pct)
        if part is not None
    ]
    return float(np.clip(np.mean(told), 5.0, 95.0)) if told else UNFITTED_PCT


def slope_part(charge: Floats, volts: Floats, at_pct: float) -> Floats:
    """How steep a curve (volts over a rising grid of charge [%]) is everywhere over how steep it
    is at one charge, within `SLOPE_BAND`."""
    above, below = charge + SLOPE_OVER_PCT, charge - SLOPE_OVER_PCT
    inside = [np.clip(one, charge[0], charge[-1]) for one in (above, below)]
    rise = np.interp(inside[0], charge, volts) - np.interp(inside[1], charge, volts)
    slope = rise / (inside[0] - inside[1])
    part = slope / max(float(np.interp(at_pct, charge, slope)), 1e-6)
    return np.asarray(np.clip(part, *SLOPE_BAND), np.float64)


def rest_offset_draws(
    setup: Setup, rides: list[RideResult], rng: np.random.Generator, draws: int
) -> Floats:
    """How far the rest voltage lies off the curve [V, whole pack]."""
    fitted = any(one.pack_fit is not None for one in rides)
    offset = CURVE_SD_FITTED_V if fitted else max(beyond_v(setup) / 1.96, 0.012)
    return np.asarray(rng.normal(0.0, offset * setup.pack.series, draws), np.float64)


def capacity_draws(
    setup: Setup, rides: list[RideResult], rng: np.random.Generator, draws: int
) -> Floats:
    """The charge between empty and full today [Ah]."""
    rated = setup.pack.capacity_ah
    told = [one.pack.capacity_ah for one in rides if one.pack.capacity_ah is not None]
    if not told:
        drawn = rated * rng.normal(MEAN_CAPACITY, CAPACITY_SD, draws)
    else:
        value, sd = pooled(told)
        drawn = rng.normal(value, sd, draws)
    return np.asarray(np.clip(drawn, 0.3 * rated, 1.2 * rated), np.float64)


def pooled(told: list[Estimate]) -> tuple[float, float]:
    """The mean of several estimates weighed by their intervals, and its sd; wider where they lie
    further apart than their intervals allow (Birge 1932, Phys. Rev. 40, 207)."""
    value = np.array([one.value for one in told])
    half = np.array([one.half_width for one in told])
    sd = np.where(np.isfinite(half) & (half > 0), half / 1.96, np.abs(value) * 0.2 + 1e-9)
    weight = 1.0 / sd**2
    mean = float(np.sum(weight * value) / weight.sum())
    apart = 1.0
    if len(told) > 1:
        apart = max(1.0, float(np.sum(weight * (value - mean) ** 2)) / (len(told) - 1))
    return mean, float(np.sqrt(apart / weight.sum()))


def curve_draws(
    setup: Setup, rides: list[RideResult], rng: np.random.Generator, draws: int
) -> NDArray[np.intp]:
    """Which published curve each draw follows: all alike likely, unless the rides' rest voltage
    fell with the charge drawn as only some of them do."""
    curves = family(setup)
    misfit = np.zeros(len(curves))
    for result in rides:
        if result.pack_fit is None or len(curves) < 2:
            continue
        off = [_shape_misfit_v(setup, result, one) for one in curves]
        if all(one is not None for one in off):
            misfit = misfit + (np.array(off, np.float64) / SHAPE_SD_V) ** 2
    weights = np.exp(-0.5 * (misfit - misfit.min()))
    return np.asarray(rng.choice(len(curves), draws, p=weights / weights.sum()), np.intp)


def _shape_misfit_v(setup: Setup, result: RideResult, curve: RestVoltageCurve) -> float | None:
    """How far the ride's rest voltage strays from this curve as charge is drawn, at the best
    starting charge [V per cell]."""
    assert result.pack_fit is not None
    current = pack_current_a(result.ride, setup)
    if current is None:
        return None
    rest = result.pack_fit.rest_voltage_v / setup.pack.series
    step = step_s(result.ride)
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

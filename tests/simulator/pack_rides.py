"""Rides of a made-up pack whose truth is known: currents drive a pack of six lags, no vehicle.

Richer than what the analysis fits, on purpose: the resistance depends on charge, temperature and
sign of the current, the time constants lie off any grid, a small hysteresis is there, the pack
warms up, and every sensor has its own gain, offset, noise, filter and step.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

from importers.curve_file import built_in_family
from importers.ride import ChannelReading, Ride, RideFacts, Source
from importers.setup_types import Chemistry, Drive, Pack, RestVoltageCurve, Setup
from simulator.curves import published_curve

Floats = NDArray[np.float64]
GAS_J_PER_MOL_K = 8.314462618


@dataclass(frozen=True)
class PackModel:
    """The true pack. Resistances at 25 °C and half charge, whole pack."""

    curve: str = "nmc811_chen2020"
    series: int = 14
    rated_ah: float = 17.5
    charge_held_ah: float = 17.5
    """Between 0 and 100 % of the published curve."""
    cell_empty_v: float = 2.8
    cell_full_v: float = 4.2
    r0_ohm: float = 0.045
    contact_ohm: float = 0.0
    """Added by a contact: the same at any charge and temperature."""
    lags: tuple[tuple[float, float], ...] = (
        (0.012, 0.7),
        (0.012, 6.0),
        (0.010, 45.0),
        (0.008, 250.0),
    )
    """(ohm, seconds) pairs."""
    activation_j_per_mol: float = 20e3
    low_charge_rise: float = 0.25
    """Resistance at 10 % over that at 50 %, less one."""
    braking_ratio: float = 1.0
    """Resistance of taking charge over that of giving it."""
    hysteresis_v_per_cell: float = 0.0
    heat_j_per_k: float = 6000.0
    cooling_w_per_k: float = 1.0

    @property
    def cell_curve(self) -> tuple[Floats, Floats]:
        return published_curve(self.curve)

    def volts(self, curve_soc: Floats | float) -> Floats:
        soc, volts = self.cell_curve
        return np.interp(curve_soc, soc, volts) * self.series

    def curve_soc(self, cell_v: float) -> float:
        soc, volts = self.cell_curve
        return float(np.interp(cell_v, volts, soc))

    @property
    def capacity_ah(self) -> float:
        """As the contract counts it: rest at cell_empty_v to rest at cell_full_v."""
        span = self.curve_soc(self.cell_full_v) - self.curve_soc(self.cell_empty_v)
        return self.charge_held_ah * span

    def contract_pct(self, curve_soc: float) -> float:
        low, high = self.curve_soc(self.cell_empty_v), self.curve_soc(self.cell_full_v)
        return 100 * (curve_soc - low) / (high - low)

    def factor(self, curve_soc: Floats | float, temp_c: Floats | float) -> Floats:
        """Resistance over that at 50 % and 25 °C."""
        heat = np.exp(
            self.activation_j_per_mol
            / GAS_J_PER_MOL_K
            * (1 / (273.15 + np.asarray(temp_c)) - 1 / 298.15)
        )
        low = self.low_charge_rise * np.exp(-(np.asarray(curve_soc) - 0.1) / 0.12)
        return heat * (1 + low)

    def resistance_ohm(self, t_s: float, curve_soc: float, temp_c: float) -> float:
        """Drop after a step from rest to C/2, over the step, fall of rest voltage counted in."""
        step = self.rated_ah / 2
        lagged = self.r0_ohm + sum(r * (1 - np.exp(-t_s / tau)) for r, tau in self.lags)
        used = step * t_s / 3600 / self.charge_held_ah
        fall = float(self.volts(curve_soc) - self.volts(curve_soc - used))
        return float(lagged * self.factor(curve_soc, temp_c)) + fall / step + self.contact_ohm


@dataclass(frozen=True)
class Sensors:
    """How the loggers see it: standard deviations of what is drawn per ride."""

    rate_hz: float = 20.0
    current_gain_sd: float = 0.017
    current_offset_a: float = 0.1
    current_noise_a: float = 0.15
    current_step_a: float = 0.1
    voltage_gain_sd: float = 0.004
    voltage_noise_v: float = 0.03
    voltage_step_v: float = 0.1
    filter_s: float = 0.08
    """Filters are drawn from 0 to twice this, voltage and current apart."""
    bms: bool = False
    """One log of the pack's own current and voltage, two drives otherwise."""
    bms_gain_sd: float = 0.01
    temperature: bool = True
    aux_a: float = 1.0
    aux_error: float = 0.2


@dataclass(frozen=True)
class Truth:
    resistance_10s_ohm: float
    resistance_10s_25c_ohm: float
    resistance_instant_ohm: float
    temperature_c: float
    rest_voltage_start_v: float
    rest_voltage_end_v: float
    state_of_charge_start_pct: float
    state_of_charge_end_pct: float
    capacity_ah: float
    depth_pct: float
    detail: dict[str, Floats] = field(default_factory=dict)


def made_current(rng: np.random.Generator, duration_s: float, top_a: float, dt: float) -> Floats:
    """Stop, pull away, cruise, climb, brake, as a rider would; amperes from the pack."""
    n = int(duration_s / dt)
    out = np.empty(n)
    i, level = 0, 0.0
    while i < n:
        kind = rng.choice(
            ["go", "cruise", "climb", "brake", "stop", "coast"],
            p=[0.24, 0.3, 0.1, 0.16, 0.08, 0.12],
        )
        length, goal = {
            "go": (rng.uniform(2, 8), top_a * rng.uniform(0.5, 1.0)),
            "cruise": (rng.exponential(18) + 3, top_a * rng.uniform(0.08, 0.35)),
            "climb": (rng.exponential(50) + 10, top_a * rng.uniform(0.4, 0.8)),
            "brake": (rng.uniform(1, 6), -top_a * rng.uniform(0.05, 0.3)),
            "stop": (rng.exponential(15) + 2, 0.0),
            "coast": (rng.exponential(6) + 1, 0.0),
        }[str(kind)]
        m = min(int(length / dt) + 1, n - i)
        ramp = 1 - np.exp(-np.arange(m) * dt / rng.uniform(0.1, 0.6))
        out[i : i + m] = level + (goal - level) * ramp
        if kind in ("cruise", "climb"):
            slow = lfilter([1 - 0.995], [1, -0.995], rng.normal(size=m)) * 8
            out[i : i + m] += goal * 0.25 * slow
        level = float(out[i + m - 1])
        i += m
    still = min(int(rng.uniform(3, 20) / dt), n // 10)
    out[:still] = 0.0
    return out


def simulate(
    model: PackModel, current_a: Floats, dt: float, *, curve_soc: float, temp_c: float
) -> dict[str, Floats]:
    """The pack's true volts under a true current (n samples `dt` apart), from long rest."""
    soc = (
        curve_soc
        - np.concatenate([[0.0], np.cumsum(current_a[:-1])]) * dt / 3600 / model.charge_held_ah
    )
    total = model.r0_ohm + sum(r for r, _ in model.lags)
    temp = np.full(current_a.size, temp_c)
    for _ in range(2):
        heat_w = current_a**2 * total * model.factor(soc, temp)
        rate = model.cooling_w_per_k / model.heat_j_per_k
        rise = lfilter([dt / model.heat_j_per_k], [1, -(1 - rate * dt)], heat_w)
        temp = temp_c + rise
    factor = model.factor(soc, temp)
    seen = np.where(current_a < 0, current_a * model.braking_ratio, current_a) * factor
    rest = model.volts(soc)
    if model.hysteresis_v_per_cell:
        swing = lfilter([dt / 60], [1, -(1 - dt / 60)], np.tanh(current_a / 2))
        rest = rest - model.hysteresis_v_per_cell * model.series * swing
    volts = rest - model.r0_ohm * seen - model.contact_ohm * current_a
    for r, tau in model.lags:
        a = np.exp(-dt / tau)
        volts = volts - r * lfilter([0.0, 1 - a], [1, -a], seen)
    return {
        "volts": volts,
        "soc": soc,
        "temp": temp,
        "current": current_a,
        "rest": model.volts(soc),
    }


def _read(
    rng: np.random.Generator,
    values: Floats,
    every: int,
    dt: float,
    filter_s: float,
    noise: float,
    step: float,
) -> Floats:
    if filter_s > 0:
        a = np.exp(-dt / filter_s)
        values = lfilter([1 - a], [1, -a], values - values[0]) + values[0]
    seen = values[::every] + rng.normal(size=values[::every].size) * noise
    return np.round(seen / step) * step if step else seen


def log_ride(
    rng: np.random.Generator, model: PackModel, sensors: Sensors, run: dict[str, Floats], dt: float
) -> pd.DataFrame:
    """What the loggers write of a simulated run; one table on one clock."""
    every = max(1, round(1 / sensors.rate_hz / dt))
    time_s = np.arange(run["current"].size)[::every] * dt
    columns: dict[str, Floats] = {"time_s": time_s - time_s[0]}
    aux = sensors.aux_a * (1 + sensors.aux_error * rng.normal())
    share = 0.5 + 0.02 * rng.normal()
    parts = {"left": share, "right": 1 - share}
    motor = run["current"] - aux
    for name, part in parts.items():
        columns[f"{name}.battery_current_a"] = (
            _read(
                rng,
                motor * part,
                every,
                dt,
                sensors.filter_s * rng.uniform(0, 2),
                sensors.current_noise_a,
                sensors.current_step_a,
            )
            * (1 + sensors.current_gain_sd * rng.normal())
            + sensors.current_offset_a * rng.normal()
        )
        columns[f"{name}.battery_voltage_v"] = _read(
            rng,
            run["volts"] * (1 + sensors.voltage_gain_sd * rng.normal()),
            every,
            dt,
            sensors.filter_s * rng.uniform(0, 2),
            sensors.voltage_noise_v,
            sensors.voltage_step_v,
        )
    if sensors.bms:
        columns["pack_current_a"] = (
            _read(
                rng,
                run["current"],
                every,
                dt,
                sensors.filter_s * rng.uniform(0, 2),
                sensors.current_noise_a,
                sensors.current_step_a,
            )
            * (1 + sensors.bms_gain_sd * rng.normal())
            + sensors.current_offset_a * rng.normal()
        )
        columns["pack_voltage_v"] = _read(
            rng,
            run["volts"] * (1 + sensors.voltage_gain_sd * rng.normal()),
            every,
            dt,
            sensors.filter_s * rng.uniform(0, 2),
            sensors.voltage_noise_v,
            sensors.voltage_step_v,
        )
    if sensors.temperature:
        columns["pack_temp_c"] = np.round(run["temp"][::every])
    return pd.DataFrame(columns)


def ride_of(
    table: pd.DataFrame, *, rate_hz: float | None = None, facts: RideFacts | None = None
) -> Ride:
    """A ride as the importers would give it."""
    drives = tuple(dict.fromkeys(c.split(".")[0] for c in table.columns if "." in c))
    readings = tuple(
        ChannelReading(header=c, channel=c, unit="", sign=1, rate_hz=rate_hz, sure=0.99)
        for c in table.columns
    )
    source = Source("all.csv", "all", len(table), 0, rate_hz, 0.0, 0.0, readings)
    return Ride(table, drives, (source,), facts=facts or RideFacts())


def setup_of(
    model: PackModel,
    *,
    known_curve: bool = True,
    aux_a: float | None = 1.0,
    drives: tuple[str, ...] = ("left", "right"),
) -> Setup:
    """The setup its builder would write: the cells' own curve, or the chemistry's built-in one."""
    chemistry = Chemistry(model.curve[:3])
    pack = Pack(
        chemistry=chemistry,
        series=model.series,
        parallel=5,
        capacity_ah=model.rated_ah,
        cell_full_v=model.cell_full_v,
        cell_empty_v=model.cell_empty_v,
        aux_a=aux_a,
    )
    family = built_in_family(chemistry)
    own = RestVoltageCurve(*published_curve(model.curve), "the cells' own", built_in=False)
    return Setup(
        pack=pack,
        drives=tuple(Drive(name) for name in drives),
        curve=own if known_curve else family[0],
        curve_family=(own,) if known_curve else family,
    )


def truth_of(model: PackModel, run: dict[str, Floats]) -> Truth:
    """The contract's numbers of a simulated run."""
    soc, temp = float(run["soc"].mean()), float(run["temp"].mean())
    return Truth(
        resistance_10s_ohm=model.resistance_ohm(10.0, soc, temp),
        resistance_10s_25c_ohm=model.resistance_ohm(10.0, soc, 25.0),
        resistance_instant_ohm=float(model.r0_ohm * model.factor(soc, temp)) + model.contact_ohm,
        temperature_c=temp,
        rest_voltage_start_v=float(model.volts(run["soc"][0])),
        rest_voltage_end_v=float(model.volts(run["soc"][-1])),
        state_of_charge_start_pct=model.contract_pct(float(run["soc"][0])),
        state_of_charge_end_pct=model.contract_pct(float(run["soc"][-1])),
        capacity_ah=model.capacity_ah,
        depth_pct=100 * float(run["soc"][0] - run["soc"][-1]),
        detail=run,
    )


CURVES = ("nmc811_chen2020", "nmc532_mohtat2020", "nmc111_bpx2022")


def random_ride(
    seed: int,
    *,
    sensors: Sensors | None = None,
    curves: tuple[str, ...] = CURVES,
    minutes: tuple[float, float] = (4.0, 60.0),
    known_curve: bool = True,
    temps_c: tuple[float, float] = (2.0, 33.0),
    change: dict[str, object] | None = None,
) -> tuple[Ride, Setup, Truth]:
    """One ride of a random pack, rider and set of sensors."""
    rng = np.random.default_rng(seed)
    sensors = sensors or Sensors()
    rated = float(rng.choice([10.5, 14.0, 17.5, 21.0, 30.0]))
    scale = 17.5 / rated * rng.uniform(0.7, 1.6)
    taus = np.exp(rng.uniform(np.log([0.3, 2.0, 12.0, 60.0]), np.log([2.0, 12.0, 60.0, 500.0])))
    ohms = rng.uniform(0.004, 0.016, 4) * scale
    model = PackModel(
        curve=str(rng.choice(list(curves))),
        rated_ah=rated,
        charge_held_ah=rated * rng.uniform(0.8, 1.03),
        series=int(rng.choice([10, 13, 14, 16, 20])),
        r0_ohm=0.045 * scale * rng.uniform(0.7, 1.3),
        lags=tuple(zip(ohms.tolist(), taus.tolist(), strict=True)),
        activation_j_per_mol=float(rng.uniform(12e3, 32e3)),
        low_charge_rise=float(rng.uniform(0, 0.5)),
        braking_ratio=float(rng.uniform(0.95, 1.05)),
        hysteresis_v_per_cell=float(rng.uniform(0, 0.002)),
        heat_j_per_k=350.0 * rated,
        cooling_w_per_k=float(rng.uniform(0.3, 2.0)),
    )
    if change:
        model = replace(model, **change)
    scale_v = 14 / model.series
    model = replace(
        model, r0_ohm=model.r0_ohm / scale_v, lags=tuple((r / scale_v, t) for r, t in model.lags)
    )
    start = float(rng.uniform(0.45, 0.99))
    duration = float(np.exp(rng.uniform(*np.log(minutes)))) * 60
    top = rated * float(rng.uniform(1.2, 3.2))
    dt = 0.02
    current = made_current(rng, duration, top, dt) + sensors.aux_a
    drawn = np.cumsum(current) * dt / 3600 / model.charge_held_ah
    room = start - 0.06
    if drawn.max() > room:  # the rider stops before the pack is empty
        current = current[: int(np.argmax(drawn > room))]
    run = simulate(model, current, dt, curve_soc=start, temp_c=float(rng.uniform(*temps_c)))
    table = log_ride(rng, model, sensors, run, dt)
    ride = ride_of(table, rate_hz=sensors.rate_hz)
    return ride, setup_of(model, known_curve=known_curve), truth_of(model, run)

"""Months of whole rides of one made-up pack whose ageing is known, sample by sample.

The pack is `simulator.pack_rides`' (six lags, resistance over charge and temperature, warming up);
over the book its resistances grow, its charge fades and, where asked, a contact or the cells step
on one day. One logger stays with the vehicle: its scale errors are drawn once per book, its zero
per ride. The season swings between 0 and 35 °C, every third ride is a long one, and another rider
takes over on some day.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone

import numpy as np
import pandas as pd

from importers.ride import Ride
from importers.setup_types import Setup
from simulator.pack_rides import (
    CURVES,
    PackModel,
    Sensors,
    Truth,
    log_ride,
    made_current,
    ride_of,
    setup_of,
    simulate,
    truth_of,
)

BEGIN = datetime(2031, 3, 1, 9, tzinfo=timezone(timedelta(hours=1)))
DT_S = 0.04
YEAR_DAYS = 365.25
CHARGE_DT_S = 1.0


@dataclass(frozen=True)
class BookPlan:
    """What is asked of one book; rates in % of the value at the first ride, per year."""

    growth_pct_per_year: float = 0.0
    fade_pct_per_year: float = 0.0
    jump_pct: float = 0.0
    jump_part: str = "instant"
    rides: int = 80
    months: float = 14.0
    charge_logs: bool = False
    known_curve: bool = True
    temperature: bool = True
    bms: bool | None = None
    curves: tuple[str, ...] = CURVES


@dataclass(frozen=True)
class KeptRide:
    """One ride or charge with its truth; `truth` is None for a charge."""

    ride: Ride
    setup: Setup
    truth: Truth
    kind: str
    years: float
    resistance_25c_mid_ohm: float


@dataclass(frozen=True)
class BookTruth:
    """The contract's numbers of the whole book."""

    growth_pct_per_year: float
    fade_pct_per_year: float
    jump_at: int | None
    jump_pct: float
    resistance_new_ohm: float
    resistance_now_ohm: float
    capacity_new_ah: float
    capacity_now_ah: float


def mid_resistance_ohm(model: PackModel) -> float:
    """After 10 s, at 25 °C and half charge as the contract counts it."""
    mid = model.curve_soc(model.cell_empty_v) / 2 + model.curve_soc(model.cell_full_v) / 2
    return model.resistance_ohm(10.0, mid, 25.0)


@dataclass(frozen=True)
class Course:
    """The pack and its days, drawn from the seed."""

    plan: BookPlan
    new: PackModel
    days: np.ndarray
    temps_c: np.ndarray
    jump_at: int | None
    gains: dict[str, float]
    sensors: Sensors

    def years(self, i: int) -> float:
        return float(self.days[i] - self.days[0]) / YEAR_DAYS

    def model(self, years: float, after_jump: bool) -> PackModel:
        """The pack as it is after so many years."""
        grown = 1 + self.plan.growth_pct_per_year / 100 * years
        left = 1 - self.plan.fade_pct_per_year / 100 * years
        told = [r * (1 - np.exp(-10.0 / tau)) for r, tau in self.new.lags]
        step = (self.new.r0_ohm + sum(told)) * self.plan.jump_pct / 100 if after_jump else 0.0
        contact = step if self.plan.jump_part == "instant" else 0.0
        slow = 1.0 + (step / sum(told) if self.plan.jump_part == "slow" else 0.0)
        return replace(
            self.new,
            r0_ohm=self.new.r0_ohm * grown,
            contact_ohm=contact,
            lags=tuple((r * grown * slow, tau) for r, tau in self.new.lags),
            charge_held_ah=self.new.charge_held_ah * left,
        )

    def at(self, i: int) -> PackModel:
        jumped = self.jump_at is not None and i >= self.jump_at
        return self.model(self.years(i), jumped)

    def truth(self) -> BookTruth:
        span = self.years(len(self.days) - 1)
        first, last = self.model(0.0, False), self.model(span, False)
        new, grown = mid_resistance_ohm(first), mid_resistance_ohm(last)
        now = mid_resistance_ohm(self.at(len(self.days) - 1))
        return BookTruth(
            100 * (grown / new - 1) / span,
            100 * (1 - last.capacity_ah / first.capacity_ah) / span,
            self.jump_at,
            100 * (now / grown - 1),
            new,
            now,
            first.capacity_ah,
            last.capacity_ah,
        )


def draw(seed: int, plan: BookPlan) -> Course:
    """The pack, its logger and its days."""
    rng = np.random.default_rng(seed)
    rated = float(rng.choice([10.5, 14.0, 17.5, 21.0]))
    series = int(rng.choice([10, 13, 14, 16, 20]))
    scale = 17.5 / rated * rng.uniform(0.8, 1.5) * series / 14
    taus = np.exp(rng.uniform(np.log([0.3, 2.0, 12.0, 60.0]), np.log([2.0, 12.0, 60.0, 400.0])))
    ohms = rng.uniform(0.004, 0.014, 4) * scale
    model = PackModel(
        curve=str(rng.choice(list(plan.curves))),
        rated_ah=rated,
        charge_held_ah=rated * rng.uniform(0.93, 1.03),
        series=series,
        r0_ohm=0.045 * scale * rng.uniform(0.7, 1.3),
        lags=tuple(zip(ohms.tolist(), taus.tolist(), strict=True)),
        activation_j_per_mol=float(rng.uniform(13e3, 30e3)),
        low_charge_rise=float(rng.uniform(0, 0.5)),
        braking_ratio=float(rng.uniform(0.95, 1.05)),
        hysteresis_v_per_cell=float(rng.uniform(0, 0.002)),
        heat_j_per_k=350.0 * rated,
        cooling_w_per_k=float(rng.uniform(0.3, 2.0)),
    )
    days = np.sort(rng.uniform(0, plan.months * 30.44, plan.rides))
    season = 17.5 - 17.5 * np.cos(2 * np.pi * (days + rng.uniform(0, 365)) / YEAR_DAYS)
    temps = np.clip(season + rng.normal(0, 4, plan.rides), 0, 36)
    edge = plan.rides // 6
    jump_at = int(rng.integers(edge, plan.rides - edge)) if plan.jump_pct else None
    bms = bool(rng.random() < 0.5) if plan.bms is None else plan.bms
    sensors = Sensors(
        rate_hz=float(rng.choice([5.0, 8.0])),
        current_gain_sd=0.0,
        bms_gain_sd=0.0,
        voltage_gain_sd=0.0,
        current_offset_a=0.05,
        bms=bms,
        temperature=plan.temperature,
    )
    gains = {
        "left.battery_current_a": rng.normal(1, 0.015),
        "right.battery_current_a": rng.normal(1, 0.015),
        "pack_current_a": rng.normal(1, 0.01),
        "left.battery_voltage_v": rng.normal(1, 0.003),
        "right.battery_voltage_v": rng.normal(1, 0.003),
        "pack_voltage_v": rng.normal(1, 0.003),
    }
    return Course(plan, model, days, temps, jump_at, gains, sensors)


def rides_of(seed: int, course: Course) -> Iterator[KeptRide]:
    """Every ride (and charge) of the book in time order."""
    plan = course.plan
    month = -1
    second_rider = len(course.days) // 2
    for i, day in enumerate(course.days):
        rng = np.random.default_rng([seed, i])
        model = course.at(i)
        if plan.charge_logs and int(day / 30.44) > month:
            month = int(day / 30.44)
            yield _charge(course, i, rng)
        deep = i % 3 == 0
        hard = rng.uniform(2.0, 3.2) if i >= second_rider else rng.uniform(1.4, 2.6)
        minutes = rng.uniform(28, 45) if deep else rng.uniform(8, 18)
        top = model.rated_ah * (3.2 if deep else float(hard))
        current = made_current(rng, 60 * float(minutes), top, DT_S) + course.sensors.aux_a
        start = float(rng.uniform(0.75, 0.99) if deep else rng.uniform(0.4, 0.99))
        drawn = np.cumsum(current) * DT_S / 3600 / model.charge_held_ah
        room = start - 0.1
        if drawn.max() > room:
            current = current[: int(np.argmax(drawn > room))]
        run = simulate(model, current, DT_S, curve_soc=start, temp_c=float(course.temps_c[i]))
        table = log_ride(rng, model, course.sensors, run, DT_S)
        yield _kept(course, i, table, truth_of(model, run), "ride")


def _charge(course: Course, i: int, rng: np.random.Generator) -> KeptRide:
    """A charge at a sixth of the rating after a night, from low to full, rests at both ends."""
    model = course.at(i)
    full = model.curve_soc(model.cell_full_v)
    start = float(rng.uniform(0.15, 0.45))
    hours = (full - start) * model.charge_held_ah / (model.rated_ah / 6)
    steady = np.full(int(3600 * hours * 0.97), -model.rated_ah / 6)
    tail = -model.rated_ah / 6 * np.exp(-np.arange(int(3600 * hours * 0.09)) / (90 * hours))
    still = np.zeros(600)
    current = np.concatenate([np.zeros(120), steady, tail, still])
    run = simulate(
        model, current, CHARGE_DT_S, curve_soc=start, temp_c=max(float(course.temps_c[i]), 8.0)
    )
    sensors = replace(course.sensors, rate_hz=1.0, bms=True, filter_s=0.0)
    table = log_ride(rng, model, sensors, run, CHARGE_DT_S)
    names = ["time_s", "pack_current_a", "pack_voltage_v", "pack_temp_c"]
    table = table[[one for one in names if one in table.columns]]
    return _kept(course, i, table, truth_of(model, run), "charge", hours_before=12.0)


def _kept(
    course: Course,
    i: int,
    table: pd.DataFrame,
    truth: Truth,
    kind: str,
    hours_before: float = 0.0,
) -> KeptRide:
    for name, gain in course.gains.items():
        if name in table.columns:
            table[name] = table[name] * gain
    start = BEGIN + timedelta(days=float(course.days[i]), hours=-hours_before)
    ride = replace(
        ride_of(table, rate_hz=1.0 if kind == "charge" else course.sensors.rate_hz), start=start
    )
    setup = setup_of(course.new, known_curve=course.plan.known_curve)
    return KeptRide(
        ride,
        setup,
        truth,
        kind,
        course.years(i),
        mid_resistance_ohm(course.at(i)),
    )

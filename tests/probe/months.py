"""Months of rides of one vehicle whose pack ages, each ride written down as its logger writes it.

A road is ridden once by `probe.run`; each ride of the book asks the pack for the same watts again,
lap after lap, more or less of them (load, wind, another rider), and the pack, older by then and as
warm as that day, answers by its circuit. Ageing is what the field describes (Barré et al. 2013,
J. Power Sources 241, 680: resistance and capacity drift by themselves; a contact adds a resistance
that knows no temperature). Numbers are invented; nothing is fitted on them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from math import exp, sqrt
from pathlib import Path

import numpy as np
from probe.builds import ALL
from probe.cases import TOP_MPS, hilly
from probe.cells import GAS_J_PER_MOL_K, Cells
from probe.fresh import BUILDS
from probe.logger import Style, write_logs
from probe.machine import Machine, setup_text
from probe.rider import Rider
from probe.run import Run, ride

FIRST_DAY = datetime(2031, 2, 10, 8, tzinfo=UTC)
YEAR_DAYS, MONTH_DAYS = 365.25, 30.44
EVERY = 5  # the pack answers at 20 Hz, each step for 5 of the run's rows
STEP_S = 0.05
OHMIC_J_PER_MOL, SLOW_J_PER_MOL = 14_000.0, 27_000.0  # electrolyte; charge transfer, diffusion
COPPER = 0.12  # the part of the instant resistance that is leads and tabs: no temperature in it
LATE = (0.5, 420.0)  # a third slow part, as a share of the second, and its time [s]
LOW_RISE, LOW_POWER = 0.7, 6  # cells resist more towards empty
FULL = ("battery_a", "phase_a", "rpm", "demand")


@dataclass(frozen=True)
class Plan:
    """What is asked of one book; rates in % of the value when new, per year."""

    kind: str = "scooter"
    growth_pct: float = 0.0  # of the resistance
    fade_pct: float = 0.0  # of the capacity
    contact_pct: float = 0.0  # a contact that adds so much on one day
    rides: int = 60
    months: float = 14.0
    own_curve: bool = True
    change: str = "none"  # logger | scale | rider: what changes half way
    temperature: bool = True
    charges: bool = False  # a log of a charge each month


@dataclass(frozen=True)
class Pack:
    """The pack on one day."""

    cells: Cells
    contact_ohm: float
    grown: float
    held_ah: float

    def resistance_ohm(self, soc: float, temp_c: float, wait_s: float = 10.0) -> float:
        """The contract's pulse of C/2 of the rated capacity, less the fall of rest voltage."""
        instant, slow = self.parts(soc, temp_c)
        return instant + sum(r * (1 - exp(-wait_s / tau)) for r, tau in slow)

    def parts(self, soc: float, temp_c: float) -> tuple[float, list[tuple[float, float]]]:
        """Instant ohms, and the slow parts."""
        inverse = (1.0 / (temp_c + 273.15) - 1.0 / 298.15) / GAS_J_PER_MOL_K
        low = 1.0 + LOW_RISE * max(1.0 - soc, 0.0) ** LOW_POWER
        ohmic = exp(OHMIC_J_PER_MOL * inverse) * low * self.grown
        slower = exp(SLOW_J_PER_MOL * inverse) * low * self.grown
        c = self.cells
        late = (LATE[0] * c.slow[-1][0], LATE[1])
        instant = c.r0_ohm * (COPPER + (1.0 - COPPER) * ohmic) + self.contact_ohm
        return instant, [(r * slower, tau) for r, tau in (*c.slow, late)]

    def pulse_ohm(self) -> float:
        """The contract's number at 25 °C and half charge."""
        amps = self.cells.capacity_ah / 2.0
        fall = self.cells.rest_v(0.5) - self.cells.rest_v(0.5 - amps * 10 / 3600 / self.held_ah)
        return self.resistance_ohm(0.5, 25.0) + fall / amps


@dataclass(frozen=True)
class Book:
    """Days, temperatures, the loggers, and what was true."""

    plan: Plan
    machine: Machine
    cells: Cells
    days: np.ndarray
    temps_c: np.ndarray
    jump_at: int | None
    styles: tuple[Style, Style]
    laps: tuple[Run, ...] = field(repr=False)
    seed: int = 0

    def years(self, i: int) -> float:
        """Since the first ride."""
        return float(self.days[i] - self.days[0]) / YEAR_DAYS

    def pack(self, years: float, jumped: bool) -> Pack:
        """As it is then."""
        p = self.plan
        new = Pack(self.cells, 0.0, 1.0, self.cells.capacity_ah)
        step = p.contact_pct / 100 * new.pulse_ohm() if jumped else 0.0
        held = self.cells.capacity_ah * (1 - p.fade_pct / 100 * years)
        return Pack(self.cells, step, 1 + p.growth_pct / 100 * years, held)

    def at(self, i: int) -> Pack:
        """On the day of ride i."""
        return self.pack(self.years(i), self.jump_at is not None and i >= self.jump_at)

    @property
    def growth_pct_per_year(self) -> float:
        """By the contract's words: of the fitted value at the first ride, jumps taken out."""
        span = self.years(len(self.days) - 1)
        new, old = self.pack(0.0, False).pulse_ohm(), self.pack(span, False).pulse_ohm()
        return 100 * (old / new - 1) / span

    @property
    def changed_at(self) -> int:
        """The ride from which on the logger, its scale or the rider is another."""
        return len(self.days) * 3 // 5


def draw(seed: int, plan: Plan) -> Book:
    """The pack, its days and its loggers from a seed."""
    rng = np.random.default_rng([91, seed])
    make, top = (ALL[plan.kind], TOP_MPS[plan.kind]) if plan.kind in ALL else BUILDS[plan.kind]
    machine = make()
    cells = machine.cells
    true = replace(
        cells,
        capacity_ah=cells.capacity_ah * rng.uniform(0.92, 1.02),
        r0_ohm=cells.r0_ohm * rng.uniform(0.8, 1.2),
    )
    if plan.own_curve:
        machine.more["pack"] = 'rest_voltage_curve = "curve.csv"'
    days = np.sort(rng.uniform(0, plan.months * MONTH_DAYS, plan.rides))
    season = 17.5 - 17.5 * np.cos(2 * np.pi * (days + rng.uniform(0, 365)) / YEAR_DAYS)
    outside = np.clip(season + rng.normal(0, 4, plan.rides), 0, 36)
    indoors = rng.random(plan.rides) < 0.25  # kept in the hall over night
    temps = np.where(indoors, 0.5 * outside + 9.0, outside)
    edge = plan.rides // 6
    jump_at = int(rng.integers(edge, plan.rides - edge)) if plan.contact_pct else None
    first = Style(
        channels=FULL,
        rate_hz=float(rng.choice([8.0, 10.0])),
        gps="none",
        time="iso",
        bms="in" if plan.temperature else "none",
        current_gain=1 + 0.012 * rng.standard_normal(),
        voltage_gain=1 + 0.002 * rng.standard_normal(),
    )
    second = first
    if plan.change == "logger":
        second = replace(
            first,
            layout="per_drive",
            rate_hz=20.0,
            current_gain=1 + 0.03 * rng.standard_normal(),
            voltage_gain=1 + 0.003 * rng.standard_normal(),
        )
    if plan.change == "scale":
        second = replace(first, current_gain=first.current_gain * float(rng.choice([0.85, 1.18])))
    laps = []
    for k in range(2):
        road = hilly(top, rng, legs=5)
        rider = Rider(road, stiffness=(0.5, 1.0)[k], motor_brake=rng.uniform(0.4, 0.9))
        laps.append(ride(machine, rider, soc=0.85, air_c=20.0, seed=seed + k, longest_s=900.0))
    return Book(plan, machine, true, days, temps, jump_at, (first, second), tuple(laps), seed)


def rides(book: Book, folder: Path) -> Iterator[Path]:
    """Each ride's folder with its logs, its setup and, where it is known, the cells' curve."""
    plan = book.plan
    for i in range(plan.rides):
        rng = np.random.default_rng([92, book.seed, i])
        late = i >= book.changed_at
        other = late and plan.change == "rider"
        run = _ridden(book, i, rng, harder=1.2 if other else 1.0)
        style = replace(
            book.styles[int(late)], began=FIRST_DAY + timedelta(days=float(book.days[i]))
        )
        place = folder / f"ride{i:03d}"
        write_logs(run, place, style, seed=1000 * book.seed + i)
        yield _with_setup(book, place)
        month = int(book.days[i] / MONTH_DAYS)
        if plan.charges and (i == 0 or month > int(book.days[i - 1] / MONTH_DAYS)):
            place = folder / f"charge{i:03d}"
            place.mkdir(parents=True)
            text = _charge(book, i, rng, style)
            (place / "charge.csv").write_text(text, encoding="utf-8")
            yield _with_setup(book, place)


def _with_setup(book: Book, place: Path) -> Path:
    (place / "setup.toml").write_text(setup_text(book.machine), encoding="utf-8")
    if book.plan.own_curve:
        soc, volts = book.cells.grid
        rows = [f"{s:.4f},{v:.4f}" for s, v in zip(soc[::4], volts[::4], strict=True)]
        curve = "\n".join(["state_of_charge,volts_per_cell", *rows]) + "\n"
        (place / "curve.csv").write_text(curve, encoding="utf-8")
    return place


def _charge(book: Book, i: int, rng: np.random.Generator, style: Style) -> str:
    """A night's charge at a fifth of the rating to nearly full, tapering, as a BMS logs it."""
    pack = book.at(i)
    cells, start = pack.cells, float(rng.uniform(0.15, 0.4))
    amps = cells.capacity_ah / 5
    steady_s = (0.98 - start) * pack.held_ah / amps * 3600
    watts = -amps * cells.rest_v(0.7) * np.concatenate([
        np.zeros(int(120 / STEP_S)), np.ones(int(steady_s / STEP_S)),
        np.exp(-np.arange(0, 1800, STEP_S) / 400), np.zeros(int(900 / STEP_S)),
    ])  # fmt: skip
    temp_c = max(float(book.temps_c[i]), 8.0)
    got = answer_of(pack, watts, 0.0, start, temp_c, temp_c)
    began = style.began + timedelta(hours=12)
    rows = ["date and time,Pack voltage [V],Pack current [A],Pack temperature [°C]"]
    for second, at in enumerate(range(0, len(watts), round(1 / STEP_S))):
        volts = style.voltage_gain * got["pack_v"][at] + 0.01 * rng.standard_normal()
        current = style.current_gain * got["pack_a"][at] + 0.05 * rng.standard_normal()
        stamp = f"{began + timedelta(seconds=second):%Y-%m-%dT%H:%M:%S}Z"
        rows.append(f"{stamp},{volts:.2f},{current:.1f},{got['temp_c'][at]:.1f}")
    return "\n".join(rows) + "\n"


def _ridden(book: Book, i: int, rng: np.random.Generator, harder: float) -> Run:
    """Laps of a road, a third of the rides 30 % deep or more, from a charge that leaves room."""
    lap = book.laps[int(rng.random() < 0.5)]
    part = harder * rng.uniform(0.7, 0.85)
    watts = np.sum([s["battery_a"] * lap.col["bus_v"] for s in lap.side.values()], axis=0)
    pack = book.at(i)
    use = (lap.col["soc"][0] - lap.col["soc"][-1]) * lap.machine.cells.capacity_ah / pack.held_ah
    deep = i % 3 == 0
    wanted = rng.uniform(0.32, 0.55) if deep else rng.uniform(0.06, 0.25)
    times = max(1, round(wanted / (use * part)))
    start = float(rng.uniform(max(0.45, use * part * times + 0.2), 0.99))
    rest = int(rng.choice([5, 40, 120]) / 0.01)
    rows = np.concatenate(
        [np.tile(np.arange(len(lap.t_s)), times), np.full(rest, len(lap.t_s) - 1)]
    )
    rows = rows[: len(rows) // EVERY * EVERY]
    watts = part * watts[rows].reshape(-1, EVERY).mean(axis=1)
    aux = lap.machine.aux_a
    answer = answer_of(pack, watts, aux, start, float(book.temps_c[i]), float(book.temps_c[i]))
    col = {key: values[rows] for key, values in lap.col.items()}
    col |= {key: np.repeat(values, EVERY) for key, values in answer.items()}
    col["bus_v"] = col["pack_v"]
    col["low_v"] = col["pack_v"] / pack.cells.series - 0.003
    col["high_v"] = col["pack_v"] / pack.cells.series + 0.003
    side = {}
    for name, own in lap.side.items():
        side[name] = {key: values[rows] for key, values in own.items()}
        power = part * side[name]["battery_a"] * lap.col["bus_v"][rows]
        power = np.repeat(power.reshape(-1, EVERY).mean(axis=1), EVERY)
        side[name]["battery_a"] = power / col["bus_v"]
        side[name]["phase_a"] = part * side[name]["phase_a"]
    time = np.arange(len(rows)) * 0.01
    return Run(lap.machine, lap.road, time, col, side, [], float(book.temps_c[i]))


def answer_of(
    pack: Pack, watts: np.ndarray, aux_a: float, soc: float, temp_c: float, air_c: float
) -> dict[str, np.ndarray]:
    """Voltage, current, charge, rest voltage and temperature of the pack, one row each 50 ms."""
    cells = pack.cells
    keys = ("pack_v", "pack_a", "soc", "rest_v", "temp_c")
    out = {key: np.empty(len(watts)) for key in keys}
    slow_v = [0.0] * (len(cells.slow) + 1)
    instant, slow = pack.parts(soc, temp_c)
    for k, power in enumerate(watts.tolist()):
        if k % 20 == 0:
            instant, slow = pack.parts(soc, temp_c)
        rest = cells.rest_v(soc)
        inner = rest - sum(slow_v)
        after = inner - instant * aux_a
        volts = 0.5 * (after + sqrt(max(after * after - 4.0 * instant * power, 1.0)))
        amps = power / volts + aux_a
        for j, (ohm, tau) in enumerate(slow):
            slow_v[j] += (amps * ohm - slow_v[j]) * STEP_S / tau
        soc -= amps * STEP_S / 3600.0 / pack.held_ah
        heat = amps * amps * instant + amps * sum(slow_v) - 1.5 * (temp_c - air_c)
        temp_c += STEP_S * heat / (cells.capacity_ah * cells.series * 60.0)
        for key, value in zip(keys, (volts, amps, soc, rest, temp_c), strict=True):
            out[key][k] = value
    return out

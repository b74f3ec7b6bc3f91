"""One simulated ride: a build, a road, a rider and what goes wrong; its truth comes with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from functools import cached_property

import numpy as np
import pandas as pd

from importers.ride import ChannelReading, Ride, RideFacts, Source
from importers.setup_types import Setup
from simulator import build as make
from simulator import records
from simulator import rider as riding
from simulator import words as w
from simulator.build import Build
from simulator.owner import owner_setup, setup_toml
from simulator.rider import Rider
from simulator.sensors import Sensors, measure
from simulator.terrain import DS_M, Terrain
from simulator.truth import (
    Loss,
    Truth,
    find_borderline,
    find_climbs,
    find_losses,
    pulse_ohm,
    rest_pack_v,
    shares,
)

DT_S = 0.005
START = datetime(2031, 4, 12, 9, 30, tzinfo=timezone(timedelta(hours=2)))


@dataclass(frozen=True)
class Planted:
    """A fault put in by hand: a cause word of the contract (or `contact`, `slip`), from when to
    when, on which drive (None: all), and up to three numbers (see `simulator.faults`)."""

    kind: str
    start_s: float
    end_s: float
    drive: str | None = None
    p0: float = 0.0
    p1: float = 0.0
    p2: float = 0.0


@dataclass(frozen=True, eq=False)
class SimRide:
    """A ride and everything about it."""

    build: Build
    road: Terrain
    rider: Rider
    seed: int
    t: np.ndarray
    """Seconds of the true clock, one per row of `col`."""
    col: dict[str, np.ndarray]
    """True channels by the names of `simulator.records`, per drive with its name and a dot."""
    ambient_c: float
    mass_kg: float
    planted: tuple[Planted, ...]
    sensors: Sensors
    rate_hz: float
    own_cells: bool
    start: datetime
    engine: str = "first"
    ambiguous: bool = False
    lost_rows: tuple[tuple[float, float], ...] = ()
    """Stretches (from s, to s) the direct ride has no rows of."""
    bad_rows: tuple[tuple[float, str], ...] = ()
    """(moment s, `zero` or `repeat`): rows of the direct ride with nothing, or the row before."""
    notes: dict[str, object] = field(default_factory=dict)

    @cached_property
    def setup(self) -> Setup:
        return owner_setup(self.build, own_cells=self.own_cells)

    @cached_property
    def setup_toml(self) -> str:
        return setup_toml(self.build, own_cells=self.own_cells)

    @cached_property
    def truth(self) -> Truth:
        return true_of(self)

    @cached_property
    def ride(self) -> Ride:
        """The ride as the tool would join it: one clock, sensors' errors in it."""
        return ride_of(self, measure(self, self.rate_hz))

    @property
    def drives(self) -> tuple[str, ...]:
        return tuple(d.name for d in self.build.drives)


def _loop(engine: str) -> Callable[..., int]:
    if engine == "second":
        from simulator.second_engine import run2

        return run2
    from simulator.engine import run

    return run


def _fault_records(planted: tuple[Planted, ...], names: list[str]) -> np.ndarray:
    out = np.zeros(len(planted), records.FAULT)
    own = {"contact": w.CONTACT, "slip": w.SLIP}
    for row, one in zip(out, planted, strict=True):
        row["kind"] = own[one.kind] if one.kind in own else w.CAUSES.index(one.kind)
        row["t0"], row["t1"] = one.start_s, one.end_s
        row["drive"] = -1 if one.drive is None else names.index(one.drive)
        row["p0"], row["p1"], row["p2"] = one.p0, one.p1, one.p2
    return out


def _gusts(rng: np.random.Generator, seconds: float, wind_mps: float) -> np.ndarray:
    """Wind against the vehicle at 10 Hz: a mean, and gusts that wander over seconds."""
    count = int(seconds * 10) + 1
    white = rng.standard_normal(count)
    slow = pd.Series(white).ewm(alpha=0.02).mean().to_numpy()
    return wind_mps + (0.25 * abs(wind_mps) + 0.15) * slow / max(slow.std(), 1e-9)


def simulate(
    build: Build,
    road: Terrain,
    rider: Rider | None = None,
    *,
    seed: int = 0,
    rate_hz: float = 20.0,
    soc: float = 0.80,
    temp_c: float = 20.0,
    ambient_c: float | None = None,
    warm_c: float | None = None,
    extra_mass_kg: float = 0.0,
    wind_mps: float = 0.0,
    planted: tuple[Planted, ...] = (),
    sensors: Sensors | None = None,
    record_hz: float = 100.0,
    most_s: float | None = None,
    rest_first_s: float = 6.0,
    own_cells: bool = False,
    start: datetime = START,
    engine: str = "first",
    enter_mps: float = 0.0,
) -> SimRide:
    """Rides `road` with `build`. `soc` 0 to 1 at the start; `warm_c` motors and controllers at
    the start (else ambient); `record_hz` must divide 200; `most_s` ends the ride early; with
    `enter_mps` the ride begins rolling at that speed, without a rest.

    The same seed gives the same rider, wind and sensor errors, whatever is planted.
    """
    run = _loop(engine)

    rider = rider or Rider()
    rng = np.random.default_rng(seed)
    ambient = temp_c if ambient_c is None else ambient_c
    plan, stops, waits = riding.plan(rider, road, rng)
    stops = np.append(stops, road.length_m - 8.0)
    waits = np.append(waits, 10.0)
    longest = road.length_m / 2.2 + waits.sum() + 60.0
    if most_s is not None:
        longest = min(longest, most_s)
    names = [d.name for d in build.drives]
    mass = build.body.mass_kg + extra_mass_kg
    every = round(1.0 / (record_hz * DT_S))
    rows = int(longest * record_hz)
    width = len(records.SHARED) + len(names) * len(records.PER_DRIVE)
    out = np.zeros((rows, width), np.float32)
    hand = riding.record(rider, build.body.mech_brake_n)
    rho = 1.225 * (288.15 / (273.15 + ambient)) * np.exp(-road.start_altitude_m / 8400.0)
    hand["wait_t"] = 0.0 if enter_mps else rest_first_s
    car = make.vehicle_record(build, mass, rho)
    car["v"] = enter_mps
    gust = _gusts(rng, longest, wind_mps)
    twitch = rng.standard_normal(gust.size)
    fine = rng.random(4096)
    used = run(
        DT_S, every,
        make.pack_record(build.cells, soc, temp_c, ambient), make.pack_grid(build.cells),
        make.drive_records(build, ambient, ambient if warm_c is None else warm_c),
        make.bms_record(build, ambient), car, hand,
        _fault_records(planted, names), road.grade, road.bend, DS_M, plan, DS_M, stops, waits,
        riding.script_array(rider, 0.02, longest), 0.02, gust, twitch, fine, out,
    )  # fmt: skip
    return SimRide(
        build=build, road=road, rider=rider, seed=seed,
        t=np.arange(used) / record_hz, col=_columns(out[:used], names),
        ambient_c=ambient, mass_kg=mass, planted=planted,
        sensors=sensors or Sensors.usual(np.random.default_rng(seed + 1_000_003), names),
        rate_hz=rate_hz, own_cells=own_cells, start=start,
        engine=engine,
    )  # fmt: skip


def _columns(out: np.ndarray, names: list[str]) -> dict[str, np.ndarray]:
    col = {key: out[:, i].astype(float) for i, key in enumerate(records.SHARED)}
    for k, name in enumerate(names):
        for j, key in enumerate(records.PER_DRIVE):
            at = len(records.SHARED) + k * len(records.PER_DRIVE) + j
            col[f"{name}.{key}"] = out[:, at].astype(float)
    return col


def true_of(sim: SimRide) -> Truth:
    """The ride's truth by the contract's definitions."""
    build, col, t = sim.build, sim.col, sim.t
    cells, dt = build.cells, float(t[1] - t[0])
    soc, temp = float(col["soc"].mean()), float(col["temp_c"].mean())
    drive, load_s = shares(build, col, dt, 1)
    brake, _ = shares(build, col, dt, -1)
    start, end = float(col["soc"][0]), float(col["soc"][-1])
    keys = ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a")
    return Truth(
        resistance_10s_ohm=pulse_ohm(cells, soc, temp, engine=sim.engine),
        resistance_10s_25c_ohm=pulse_ohm(cells, soc, 25.0, engine=sim.engine),
        resistance_instant_ohm=pulse_ohm(cells, soc, temp, 1.0 / sim.rate_hz, engine=sim.engine),
        lead_ohm=cells.lead_ohm,
        temperature_c=temp, mean_soc_pct=100 * soc,
        soc_start_pct=100 * start, soc_end_pct=100 * end,
        rest_voltage_start_v=rest_pack_v(cells, start),
        rest_voltage_end_v=rest_pack_v(cells, end),
        capacity_ah=cells.capacity_ah,
        drive_shares_pct=drive, brake_shares_pct=brake, common_load_s=load_s,
        in_force={d.name: {k: getattr(d.controller, k) for k in keys} for d in build.drives},
        losses=tuple(
            replace(one, ambiguous=_like_a_hand(sim, one)) for one in find_losses(build, t, col)
        ),
        borderline=find_borderline(build, t, col),
        climbs=find_climbs(build, sim.road.at_m, sim.road.altitude_m, t, col),
        crr=build.body.crr, cda_m2=build.body.cda_m2, mass_kg=sim.mass_kg,
        governed_s={
            name: {
                word: float((col[f"{name}.governor"] == i).sum() * dt)
                for i, word in enumerate(w.GOVERNORS)
            }
            for name in sim.drives
        },
    )  # fmt: skip


def _like_a_hand(sim: SimRide, loss: Loss) -> bool:
    """Whether a lost signal looks, at this log's rate, as this rider's letting go does: the hand
    could have done the whole fall between two rows, and nothing jumps back."""
    if loss.cause != "input_signal_lost":
        return False
    fault = next(
        (
            one
            for one in sim.planted
            if one.kind == loss.cause and one.start_s - 0.5 <= loss.start_s <= one.end_s
        ),
        None,
    )
    if fault is None or fault.p0 != 0.0 or fault.drive is not None:
        return False
    hand, row_s = sim.col["hand"], 1.0 / sim.rate_hz
    before = abs(hand[max(int(np.searchsorted(sim.t, fault.start_s)) - 1, 0)])
    back = int(np.searchsorted(sim.t, fault.end_s))
    after = abs(hand[back]) if back < hand.size else 0.0
    return bool(before * sim.rider.ramp_down_s <= row_s and after * sim.rider.ramp_up_s <= row_s)


def _spoilt(table: pd.DataFrame, bad_rows: tuple[tuple[float, str], ...]) -> pd.DataFrame:
    """The table with rows of zeros, or with the row before once more."""
    shown = [name for name in table.columns if name != "time_s"]
    for moment, kind in bad_rows:
        row = int(table["time_s"].searchsorted(moment))
        if 0 < row < len(table):
            table.loc[row, shown] = 0.0 if kind == "zero" else table.loc[row - 1, shown]
    return table


def ride_of(sim: SimRide, table: pd.DataFrame) -> Ride:
    """A `Ride` made directly from measured channels."""
    for begin, end in sim.lost_rows:
        table = table[(table["time_s"] < begin) | (table["time_s"] >= end)]
    table = _spoilt(table.reset_index(drop=True), sim.bad_rows)
    readings = tuple(
        ChannelReading(
            name, name, name.rsplit("_", 1)[-1], 1, sim.sensors.rate_of(name, sim.rate_hz), 1.0
        )
        for name in table.columns
    )
    source = Source(
        "simulated.csv", "all", len(table), 0, sim.rate_hz, 0.0, 0.0, readings, (), sim.start
    )
    return Ride(table, sim.drives, (source,), sim.start, RideFacts())

"""What months of riding need of one ride: a page of numbers, kept with the ride in the book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np

from analyzer.balance import CURRENT_LIMITS
from analyzer.conditions import conditions
from analyzer.estimate import Estimate
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, step_s
from analyzer.ride_analysis import RideResult
from analyzer.summary_cells import Apart, CellFacts, cell_facts
from analyzer.summary_vehicle import vehicle_facts
from analyzer.words import CutoutCause, EventKind
from importers.ride import Source

SUMMARY_VERSION = 5
"""Raised whenever a number in here is worked out differently: kept rides are analysed anew."""
PACES_HZ = (1, 2, 5, 10, 25, 50, 100)
PACE_EDGES_HZ = (1.4, 3.0, 6.5, 14.0, 35.0, 70.0)
"""Loggers are told apart by classes of pace, parted at rates that hardly any logger has. Our
choice."""
FULL_PCT = 95.0
"""Above this a pack counts as full [% charge]. Our choice; the contract's line for braking."""
HOT_C = 40.0
"""Above this a pack counts as hot [°C]. Our choice: growth of the surface film rules ageing from
about 25 °C up (Feinauer et al. 2024, J. Power Sources 594, 233948)."""
COLD_C = 0.0
"""Charging below this plates lithium [°C] (the same source)."""

LIKELY = 0.5
"""A cause this likely counts for the months. Our choice."""

Triple = tuple[float, float | None, float | None]


@dataclass(frozen=True, slots=True)
class ClimbSummary:
    """One climb as months need it."""

    hill: str | None
    length_m: float
    gain_m: float
    grade_pct: float
    peak_current_a: float | None
    min_voltage_v: float | None
    margin_to_derate_v: float | None
    rest_v: float | None
    """What the pack would have read at rest when its voltage was lowest."""


@dataclass(frozen=True, slots=True)
class SeenInForce:
    """The current at which a drive really saturated, by the setup key that should set it."""

    key: str
    """As in the setup file: `drives.left.battery_drive_a`."""
    seen_a: Triple


@dataclass(frozen=True, slots=True)
class RideSummary:
    """One ride's numbers; estimates as (value, low, high), None where the ride cannot tell."""

    kind: str
    start: str
    """ISO 8601 with offset."""
    origin: str
    """Which voltage and current it rests on: trends join only what was measured alike."""
    rated_ah: float
    duration_s: float
    distance_m: float | None
    charge_out_ah: float | None
    charge_back_ah: float | None
    energy_out_wh: float | None
    energy_back_wh: float | None
    temperature_c: float | None
    temperature_logged: bool
    resistance_10s_ohm: Triple | None
    resistance_10s_25c_ohm: Triple | None
    resistance_instant_ohm: Triple | None
    charge_start_pct: Triple | None
    charge_end_pct: Triple | None
    capacity_ah: Triple | None
    hours_full: float
    hours_hot: float
    charged_cold_ah: float
    share_pct: Triple | None
    speed_ratio: Triple | None
    climbs: tuple[ClimbSummary, ...] = ()
    rest_start_v: Triple | None = None
    rest_end_v: Triple | None = None
    wheel_circumference_m: Triple | None = None
    rolling: Triple | None = None
    heat_per_watt: Triple | None = None
    demand_rest_pct: Triple | None = None
    cells: CellFacts | None = None
    low_cell_cutouts_pct: tuple[float, ...] = ()
    """Charge at each loss of power that a low cell group made [%]."""
    in_force: tuple[SeenInForce, ...] = ()


def summary_of(result: RideResult) -> RideSummary:
    """One ride's numbers for the book."""
    ride, setup, pack, totals = result.ride, result.setup, result.pack, result.totals
    if ride.start is None:
        raise ValueError("a ride without a start cannot be placed in time")
    state = conditions(ride, setup, pack=pack, fit=result.pack_fit)
    step = step_s(ride)
    share = result.balance.shares[0] if result.balance and result.balance.shares else None
    vehicle = vehicle_facts(result)
    logged = ride.has("pack_temp_c") or ride.facts.pack_temp_c is not None
    return RideSummary(
        kind="ride",
        start=ride.start.isoformat(),
        origin=_origin(result),
        rated_ah=setup.pack.capacity_ah,
        duration_s=totals.duration_s,
        distance_m=totals.distance_m,
        charge_out_ah=totals.charge_out_ah,
        charge_back_ah=totals.charge_back_ah,
        energy_out_wh=totals.energy_out_wh,
        energy_back_wh=totals.energy_back_wh,
        temperature_c=pack.temperature_c,
        temperature_logged=logged,
        resistance_10s_ohm=_triple(pack.resistance_10s_ohm),
        resistance_10s_25c_ohm=_triple(pack.resistance_10s_25c_ohm),
        resistance_instant_ohm=_triple(pack.resistance_instant_ohm),
        charge_start_pct=_triple(pack.state_of_charge_start_pct),
        charge_end_pct=_triple(pack.state_of_charge_end_pct),
        capacity_ah=_triple(pack.capacity_ah),
        hours_full=_hours(state.charge_pct, FULL_PCT, step),
        hours_hot=_hours(state.pack_temp_c, HOT_C, step),
        charged_cold_ah=_charged_cold_ah(result, state.pack_temp_c, step),
        share_pct=_triple(None if share is None else share.drive_pct),
        speed_ratio=_triple(None if result.balance is None else result.balance.speed_ratio),
        climbs=tuple(_climbs(result)),
        rest_start_v=_triple(pack.rest_voltage_start_v),
        rest_end_v=_triple(pack.rest_voltage_end_v),
        wheel_circumference_m=_triple(vehicle.wheel_circumference_m),
        rolling=_triple(vehicle.rolling),
        heat_per_watt=_triple(vehicle.heat_per_watt),
        demand_rest_pct=_triple(vehicle.demand_rest_pct),
        cells=cell_facts(ride, setup, state.charge_pct),
        low_cell_cutouts_pct=_low_cell_cutouts(result, state.charge_pct),
        in_force=tuple(_in_force(result)),
    )


def to_row(summary: RideSummary) -> dict[str, Any]:
    """A summary as plain JSON values."""
    return asdict(summary)


def from_row(row: Mapping[str, Any]) -> RideSummary:
    """A summary read back; `KeyError` or `TypeError` when the row is of another version."""
    values = dict(row)
    values["climbs"] = tuple(ClimbSummary(**one) for one in values.get("climbs", ()))
    values["cells"] = _cells_from(values.get("cells"))
    values["in_force"] = tuple(
        SeenInForce(one["key"], tuple(one["seen_a"])) for one in values.get("in_force", ())
    )
    for one in fields(RideSummary):
        if isinstance(values.get(one.name), list):
            values[one.name] = tuple(values[one.name])
    return RideSummary(**values)


def _cells_from(row: Mapping[str, Any] | None) -> CellFacts | None:
    if row is None:
        return None
    apart = {k: None if row[k] is None else Apart(**row[k]) for k in ("full", "low", "load")}
    return CellFacts(groups=row["groups"], **apart)


def _in_force(result: RideResult) -> list[SeenInForce]:
    return [
        SeenInForce(f"drives.{one.drive}.{name}", (seen.value, seen.low, seen.high))
        for one in result.in_force
        for name in CURRENT_LIMITS
        if (seen := getattr(one, name)) is not None
    ]


def _low_cell_cutouts(result: RideResult, charge_pct: Floats | None) -> tuple[float, ...]:
    if charge_pct is None:
        return ()
    time_s = result.ride.time_s
    return tuple(
        float(np.interp(one.start_s, time_s, charge_pct))
        for one in result.events
        if one.kind in (EventKind.CUTOUT, EventKind.BRAKE_LOSS)
        and one.causes
        and one.causes[0].cause == CutoutCause.CELL_LOW_VOLTAGE
        and one.causes[0].probability >= LIKELY
    )


def _triple(one: Estimate | None) -> Triple | None:
    return None if one is None else (one.value, one.low, one.high)


def _origin(result: RideResult) -> str:
    """The columns that voltage and current came from, as the logs named them, one a line, in whose
    file and how often written: the same header in another file, or at another pace, is another
    logger's."""
    ride, setup = result.ride, result.setup
    volts, amps = pack_voltage_v(ride, setup), pack_current_a(ride, setup)
    used = {*(volts.channels if volts else ()), *(amps.channels if amps else ())}
    named = [
        f"{one.channel}<{one.header}{_in_file(source)}"
        for source in ride.sources
        for one in source.channels
        if one.channel in used
    ]
    return "\n".join(sorted(named or used))


def _in_file(source: Source) -> str:
    role = f"file of {source.role}" if source.role else ""
    pace = ""
    if source.rate_hz:
        pace = f"some {PACES_HZ[int(np.searchsorted(PACE_EDGES_HZ, source.rate_hz))]} Hz"
    told = ", ".join(filter(None, (role, pace)))
    return f" ({told})" if told else ""


def _hours(values: Floats | None, above: float, step: Floats) -> float:
    if values is None:
        return 0.0
    with np.errstate(invalid="ignore"):
        return float(step[values > above].sum() / 3600)


def _charged_cold_ah(result: RideResult, temp_c: Floats | None, step: Floats) -> float:
    amps = pack_current_a(result.ride, result.setup)
    if amps is None or temp_c is None:
        return 0.0
    with np.errstate(invalid="ignore"):
        cold = (temp_c < COLD_C) & (amps.values < 0)
    return abs(float((amps.values[cold] * step[cold]).sum() / 3600))


def _climbs(result: RideResult) -> list[ClimbSummary]:
    out = []
    time_s = result.ride.time_s
    volts = pack_voltage_v(result.ride, result.setup)
    for climb in result.climbs:
        rest = None
        rows = slice(*np.searchsorted(time_s, [climb.start_s, climb.end_s]).tolist())
        if volts is not None and result.pack_fit is not None:
            part = volts.values[rows]
            if np.isfinite(part).any():
                value = float(result.pack_fit.rest_voltage_v[rows][int(np.nanargmin(part))])
                rest = value if np.isfinite(value) else None
        out.append(
            ClimbSummary(
                climb.hill,
                climb.length_m,
                climb.gain_m,
                climb.grade_pct.value,
                climb.peak_pack_current_a,
                climb.min_voltage_v,
                climb.margin_to_derate_v,
                rest,
            )
        )
    return out

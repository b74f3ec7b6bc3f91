"""How close did a protection come to acting, in its own terms?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.conditions import Conditions
from analyzer.events import Event, LimitRef, Peak
from analyzer.quantities import (
    Floats,
    drive_channel,
    pack_current_a,
    pack_voltage_v,
    spans_where,
)
from analyzer.sensors import believable_temp_c
from analyzer.words import EventKind, Severity
from importers.ride import Ride
from importers.setup_types import Ports, Setup

NEAR_WAY = 0.95
"""A stop voltage, a temperature or an overvoltage is near from this part of the way to it. The
contract's: within 5 %."""
DELAY_USED = 0.5
"""A level is near once it was held for more than this part of its delay. The contract's."""
SHORTEST_WAY_V = 0.1
"""Within this of rest [V per cell] per cent of the way say nothing. The contract's."""
SHORTEST_WAY_K = 5.0
"""The same for temperatures above the air's [K]. Our choice."""


SAME_S = 0.5
"""A trip this shortly before a loss is what caused it [s]. Our choice."""
ACTED_BY = {
    "bms_overcurrent_discharge": "bms.discharge_trip_a",
    "bms_overcurrent_charge": "bms.charge_trip_a",
    "cell_low_voltage": "bms.cell_low_v",
    "cell_high_voltage": "bms.cell_high_v",
    "undervoltage_stop": ".stop_at_v",
    "overvoltage_trip": ".overvoltage_v",
    "controller_overheat": ".controller_stop_c",
    "motor_overheat": ".motor_stop_c",
}
"""Which limit acted when this was the cause of a loss."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A value at which something opens or stops, and the quantity that runs toward it."""

    limit: LimitRef
    quantity: str
    values: Floats
    origin: Floats
    """Where the way begins at each moment: rest voltage, or the air's temperature."""
    shortest: float
    drives: tuple[str, ...]


def find_near_trips(ride: Ride, setup: Setup, state: Conditions) -> list[Event]:
    """Which protections came close to acting, and how close?"""
    events = [*_current_trips(ride, setup)]
    for line in [*_voltage_lines(ride, setup, state), *_heat_lines(ride, setup, state)]:
        events += _near_line(line, ride)
    return events


def before_acting(near: Sequence[Event], losses: Sequence[Event]) -> list[Event]:
    """The near trips that stayed near: those whose protection then acted are part of that loss."""
    return [one for one in near if not any(_acted(one, loss) for loss in losses)]


def _acted(near: Event, loss: Event) -> bool:
    if not loss.causes or near.limit is None:
        return False
    key = ACTED_BY.get(loss.causes[0].cause)
    together = near.start_s <= loss.end_s and near.end_s >= loss.start_s - SAME_S
    return together and key is not None and near.limit.name.endswith(key)


def _current_trips(ride: Ride, setup: Setup) -> list[Event]:
    current = pack_current_a(ride, setup)
    if current is None:
        return []
    events = []
    for word, sign in (("discharge", 1), ("charge", -1)):
        level = getattr(setup.bms, f"{word}_trip_a")
        delay_s = getattr(setup.bms, f"{word}_trip_delay_s")
        if level is None or delay_s is None:
            continue
        if sign < 0 and setup.bms.ports is Ports.SEPARATE:
            continue
        toward = sign * current.values
        spans = spans_where(toward > level, ride, join_s=0.0, min_s=0.0)
        for span in spans:
            if span.length_s <= DELAY_USED * delay_s:
                continue
            used_s = span.length_s
            events.append(
                Event(
                    EventKind.NEAR_TRIP,
                    span.start_s,
                    span.end_s,
                    setup.drive_names,
                    Severity.ACT,
                    Peak(
                        "pack_current_a",
                        sign * float(np.nanmax(toward[span.rows])),
                        current.at_least,
                    ),
                    LimitRef(f"bms.{word}_trip_a", level),
                    facts=(
                        f"{used_s:.1f} s of the {delay_s:g} s that the BMS tolerates above"
                        f" {level:g} A.",
                    ),
                    flavour="delay",
                    measures=(("held_s", used_s), ("delay_s", delay_s)),
                )
            )
    return events


def _voltage_lines(ride: Ride, setup: Setup, state: Conditions) -> list[Line]:
    if state.rest_v is None:
        return []
    lines = []
    shortest = SHORTEST_WAY_V * setup.pack.series
    whole = pack_voltage_v(ride, setup)
    for drive in setup.drives:
        own = drive_channel(ride, drive.name, "battery_voltage_v")
        values = own if own is not None else None if whole is None else whole.values
        name = f"{drive.name}.battery_voltage_v" if own is not None else "pack_voltage_v"
        for key in ("stop_at_v", "overvoltage_v"):
            level = getattr(drive, key)
            if level is not None and values is not None:
                ref = LimitRef(f"drives.{drive.name}.{key}", level)
                lines.append(Line(ref, name, values, state.rest_v, shortest, (drive.name,)))
    for key, channel in (("cell_low_v", "cell_min_v"), ("cell_high_v", "cell_max_v")):
        level, values = getattr(setup.bms, key), ride.get(channel)
        if level is not None and values is not None:
            origin = state.rest_v / setup.pack.series
            ref = LimitRef(f"bms.{key}", level)
            lines.append(Line(ref, channel, values, origin, SHORTEST_WAY_V, setup.drive_names))
    return lines


def _heat_lines(ride: Ride, setup: Setup, state: Conditions) -> list[Line]:
    if state.ambient_c is None:
        return []
    lines = []
    for drive in setup.drives:
        for part in ("controller", "motor"):
            level = getattr(drive, f"{part}_stop_c")
            logged = drive_channel(ride, drive.name, f"{part}_temp_c")
            values = None if logged is None else believable_temp_c(logged, ride)
            if level is None or values is None:
                continue
            lines.append(
                Line(
                    LimitRef(f"drives.{drive.name}.{part}_stop_c", level),
                    f"{drive.name}.{part}_temp_c",
                    values,
                    np.full(values.size, state.ambient_c),
                    SHORTEST_WAY_K,
                    (drive.name,),
                )
            )
    return lines


def way_used(values: Floats, origin: Floats, level: float, shortest: float) -> Floats:
    """Which part of the way from `origin` to `level` was used at each moment? NaN where the way is
    shorter than `shortest` (within 0.1 V per cell of rest a part of it says nothing)."""
    way = level - origin
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(np.abs(way) >= shortest, (values - origin) / way, np.nan)


def _near_line(line: Line, ride: Ride) -> list[Event]:
    part = way_used(line.values, line.origin, line.limit.value, line.shortest)
    events = []
    for span in spans_where(part >= NEAR_WAY, ride):
        at = span.first + int(np.nanargmax(part[span.rows]))
        value = float(line.values[at])
        events.append(
            Event(
                EventKind.NEAR_TRIP,
                span.start_s,
                span.end_s,
                line.drives,
                Severity.WATCH,
                Peak(line.quantity, value),
                line.limit,
                flavour="way",
                measures=(("way_used_pct", 100.0 * float(part[at])), ("length_s", span.length_s)),
            )
        )
    return events

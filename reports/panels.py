"""The panels of a ride in reading order: voltage, currents, temperatures, demand, speed, height,
each with the lines of the setup that bound it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from analyzer.quantities import (
    brake_pct,
    pack_current_a,
    pack_voltage_v,
    speed_mps,
    throttle_pct,
)
from analyzer.ride_analysis import RideResult
from reports.stacked import Line, Panel

COLOURS = ("@c1", "@c2", "@c3", "@c4", "@c5", "@c6")
DASHES = ("solid", "6px,2px", "2px,2px", "9px,3px,2px,3px")
"""Lines of one panel differ in dash, too: a page may be printed in black and white."""


def ride_panels(result: RideResult) -> list[Panel]:
    """The panels that this ride has channels for, in reading order."""
    panels = [
        _voltage(result),
        _pack_current(result),
        _per_drive(result, "battery_current_a", "Battery current of each drive", "A"),
        _per_drive(result, "phase_current_a", "Motor current of each drive", "A"),
        _drive_temperatures(result, "motor"),
        _drive_temperatures(result, "controller"),
        _other_temperatures(result),
        _demand(result),
        _speed(result),
        _height(result),
    ]
    return [panel for panel in panels if panel is not None]


def _voltage(result: RideResult) -> Panel | None:
    voltage = pack_voltage_v(result.ride, result.setup)
    if voltage is None:
        return None
    panel = Panel("Pack voltage", "V", [Line("measured", voltage.values)])
    if result.pack_fit is not None:
        rest = Line("at rest it would read", result.pack_fit.rest_voltage_v, "@c3", "2px,2px")
        panel.lines.append(rest)
    drives = result.setup.drives
    panel.levels += _same_levels(
        [(drive.name, drive.derate_from_v) for drive in drives], "power reduced", "@watch"
    )
    panel.levels += _same_levels(
        [(drive.name, drive.stop_at_v) for drive in drives], "power gone", "@act"
    )
    panel.levels.append((result.setup.full_v, "full", "@muted"))
    return panel


def _same_levels(
    values: list[tuple[str, float | None]], name: str, colour: str
) -> list[tuple[float, str, str]]:
    """One level where all drives share it, else one per drive."""
    given = {value for _, value in values if value is not None}
    if len(given) == 1:
        return [(given.pop(), name, colour)]
    return [(value, f"{drive}: {name}", colour) for drive, value in values if value is not None]


def _pack_current(result: RideResult) -> Panel | None:
    current = pack_current_a(result.ride, result.setup)
    if current is None:
        return None
    setup = result.setup
    panel = Panel("Pack current, braking below zero", "A", [Line("pack", current.values)])
    given = [
        (setup.bms.discharge_rating_a, "BMS rating", "@watch"),
        (setup.pack.discharge_rating_a, "cells' rating", "@watch"),
        (setup.bms.discharge_trip_a, "BMS opens", "@act"),
        (_minus(setup.bms.charge_rating_a), "BMS charge rating", "@watch"),
        (_minus(setup.pack.charge_rating_a), "cells' charge rating", "@watch"),
        (_minus(setup.bms.charge_trip_a), "BMS opens", "@act"),
    ]
    panel.levels += [(value, name, colour) for value, name, colour in given if value is not None]
    return panel


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def drive_style(result: RideResult, drive: str) -> tuple[str, str]:
    """A drive's colour and dash, the same in every panel."""
    place = result.setup.drive_names.index(drive) if drive in result.setup.drive_names else 0
    return COLOURS[place % len(COLOURS)], DASHES[place % len(DASHES)]


def _drive_lines(result: RideResult, channel: str) -> Iterable[Line]:
    for drive in result.ride.drives:
        values = result.ride.get(f"{drive}.{channel}")
        if values is not None:
            colour, dash = drive_style(result, drive)
            yield Line(drive, values, colour, dash)


def _per_drive(result: RideResult, channel: str, title: str, unit: str) -> Panel | None:
    lines = list(_drive_lines(result, channel))
    if not lines:
        return None
    panel = Panel(title, unit, lines)
    prefix = channel.split("_", 1)[0]
    for drive in (f"{prefix}_drive_a", f"{prefix}_brake_a"):
        sign = -1.0 if drive.endswith("brake_a") else 1.0
        values = [
            (one.name, None if getattr(one, drive) is None else sign * getattr(one, drive))
            for one in result.setup.drives
        ]
        panel.levels += _same_levels(values, "limit set", "@watch")
    return panel


def _drive_temperatures(result: RideResult, part: str) -> Panel | None:
    lines = list(_drive_lines(result, f"{part}_temp_c"))
    if not lines:
        return None
    panel = Panel(f"{part.capitalize()} temperature", "°C", lines)
    drives = result.setup.drives
    for last, name, colour in (
        ("derate_c", "power reduced", "@watch"),
        ("stop_c", "power gone", "@act"),
    ):
        values = [(drive.name, getattr(drive, f"{part}_{last}")) for drive in drives]
        panel.levels += _same_levels(values, name, colour)
    return panel


def _other_temperatures(result: RideResult) -> Panel | None:
    channels = (("pack_temp_c", "pack", "@c3"), ("ambient_temp_c", "air", "@muted"))
    lines = [
        Line(what, values, colour, DASHES[place])
        for place, (channel, what, colour) in enumerate(channels)
        if (values := result.ride.get(channel)) is not None
    ]
    return Panel("Pack and air temperature", "°C", lines) if lines else None


def _demand(result: RideResult) -> Panel | None:
    ride = result.ride
    lines = []
    own = [d for d in ride.drives if ride.has(f"{d}.throttle_pct")]
    if own:
        lines = [
            Line(x.name, x.values, x.colour, x.dash) for x in _drive_lines(result, "throttle_pct")
        ]
    elif ride.has("throttle_pct") and ride.drives:
        values = throttle_pct(ride, ride.drives[0])
        if values is not None:
            lines = [Line("drive", values)]
    braking = brake_pct(ride, ride.drives[0]) if ride.drives else None
    if braking is not None and (ride.has("brake_pct") or ride.has(f"{ride.drives[0]}.brake_pct")):
        lines.append(Line("brake", -braking, "@c4", "2px,2px"))
    return Panel("Demand, braking below zero", "%", lines) if lines else None


def _speed(result: RideResult) -> Panel | None:
    speed = speed_mps(result.ride, result.setup)
    if speed is None:
        return None
    return Panel("Speed", "km/h", [Line("speed", speed.values * 3.6)])


def _height(result: RideResult) -> Panel | None:
    height = result.ride.get("altitude_m")
    if height is None:
        return None
    # Above the start: a height above sea level helps to tell where somebody lives.
    first = height[np.isfinite(height)][0]
    return Panel("Height above the start", "m", [Line("height", height - first, "@c3")])

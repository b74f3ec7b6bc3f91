"""Climb by climb: the height over the way, below it the current and what was left in volts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from analyzer.climbs import Climb
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps, step_s
from analyzer.ride_analysis import RideResult
from reports.limits_used import limits_used
from reports.numbers import estimate, moment, percent, quantity
from reports.timeline import Line, Panel, stacked

MOST_PROFILES = 6
"""So many climbs are drawn, the highest first. Our choice."""
POINTS = 330
"""Points a line of a profile. Our choice: a screen is about as wide."""
AFTER_S = 90.0
"""A winding's heat peaks after the top: so long beyond it is looked at [s]. The contract's 60 to
120 s."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One climb as a figure and the sentence that goes with it."""

    id: str
    title: str
    nearest: str
    figure: dict[str, Any]


def profiles(result: RideResult) -> tuple[Profile, ...]:
    """The highest climbs of the ride, in the order ridden."""
    speed = speed_mps(result.ride, result.setup)
    if speed is None or not result.climbs:
        return ()
    step = np.where(np.isfinite(speed.values), np.abs(speed.values), 0.0) * step_s(result.ride)
    way_m = np.cumsum(step) - step
    highest = sorted(result.climbs, key=lambda one: -one.gain_m)[:MOST_PROFILES]
    used = limits_used(result)
    panels = _panels(result)
    made = []
    for place, climb in enumerate(sorted(highest, key=lambda one: one.start_s)):
        rows = slice(*np.searchsorted(result.ride.time_s, (climb.start_s, climb.end_s)))
        figure = _figure(panels, way_m, rows)
        if figure is None:
            continue
        near = _nearest([(one.name, one.share[rows]) for one in used])
        made.append(Profile(f"climb-{place + 1}", _title(climb, result), near, figure))
    return tuple(made)


def _title(climb: Climb, result: RideResult) -> str:
    name = climb.hill or f"at {moment(climb.start_s, result.ride.start)}"
    grade = estimate(climb.grade_pct, "pct")
    return f"{name}: {quantity(climb.gain_m, 'm')} up in {quantity(climb.length_m, 'm')}, {grade}"


def _nearest(used: list[tuple[str, Floats]]) -> str:
    """Which limit this climb came nearest to, and how near."""
    tops = [(float(np.nanmax(share)), name) for name, share in used if np.isfinite(share).any()]
    if not tops:
        return ""
    top, name = max(tops)
    if top <= 0:
        return ""
    return f"Nearest: {name}, {percent(100 * top, decimals=0)} of it used in the highest sample."


def _panels(result: RideResult) -> list[Panel]:
    setup, ride = result.setup, result.ride
    panels = []
    height = ride.get("altitude_m")
    if height is not None:
        panels.append(Panel("Height", "m", [Line("height", height, "@c3", width=1.8)]))
    current = pack_current_a(ride, setup)
    if current is not None:
        levels = [
            (value, name, colour)
            for value, name, colour in (
                (setup.bms.discharge_rating_a, "BMS rating", "@watch"),
                (setup.bms.discharge_trip_a, "BMS opens", "@act"),
                (setup.pack.discharge_rating_a, "cells' rating", "@watch"),
            )
            if value is not None
        ]
        panels.append(Panel("Pack current", "A", [Line("pack", current.values)], levels))
    voltage = pack_voltage_v(ride, setup)
    derates = [one.derate_from_v for one in setup.drives if one.derate_from_v is not None]
    if voltage is not None and derates:
        left = Line("left", voltage.values - max(derates), "@c2")
        panels.append(
            Panel(
                "Left above the voltage where power is reduced",
                "V",
                [left],
                [(0.0, "power reduced", "@watch")],
            )
        )
    return panels


def _figure(panels: list[Panel], way_m: Floats, rows: slice) -> dict[str, Any] | None:
    cut = []
    for panel in panels:
        lines = []
        for line in panel.lines:
            values = line.values[rows]
            if panel.title == "Height" and np.isfinite(values).any():
                values = values - values[np.isfinite(values)][0]
            if np.isfinite(values).any():
                lines.append(Line(line.name, values, line.colour, line.dash, line.width))
        if lines:
            cut.append(Panel(panel.title, panel.unit, lines, panel.levels))
    way = way_m[rows]
    if not cut or way.size < 2:
        return None
    # A stand takes time and no way: points there would pile up, and holes in them mean nothing.
    figure = stacked(cut, way - way[0], most=POINTS, hole_s=np.inf, strip=False, panel_px=96)
    figure["plain_axis"] = True
    figure["layout"]["xaxis"]["title"] = {"text": "metres from the foot"}
    return figure

"""Climb by climb: the height over the way, below it the current and what was left in volts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from analyzer.climbs import Climb
from analyzer.governed import govern
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps, step_s
from analyzer.ride_analysis import RideResult
from analyzer.words import GradeSource
from importers.setup_types import Setup
from reports.governed_strip import Piece, pieces_of, strip_panel, strip_traces
from reports.limits_used import limits_used
from reports.numbers import estimate, moment, percent, quantity
from reports.stacked import Figure, Line, Panel, stacked

MOST_PROFILES = 6
"""So many climbs are drawn, the highest first. Our choice."""
POINTS = 330
"""Points a line of a profile. Our choice: a screen is about as wide."""

HEIGHT = "Height"
"""The title of the panel that shows the road."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One climb as a figure and the sentence that goes with it."""

    id: str
    title: str
    nearest: str
    figure: dict[str, Any]


def profiles(result: RideResult, prefix: str = "climb") -> tuple[Profile, ...]:
    """The highest climbs of the ride, in the order ridden; `prefix` begins their element ids."""
    speed = speed_mps(result.ride, result.setup)
    if speed is None or not result.climbs:
        return ()
    step = np.where(np.isfinite(speed.values), np.abs(speed.values), 0.0) * step_s(result.ride)
    way_m = np.cumsum(step) - step
    highest = sorted(result.climbs, key=lambda one: -one.gain_m)[:MOST_PROFILES]
    used = limits_used(result)
    courses = govern(result.ride, result.setup, result.in_force)
    panels = _panels(result)
    made = []
    for place, climb in enumerate(sorted(highest, key=lambda one: one.start_s)):
        rows = slice(*np.searchsorted(result.ride.time_s, (climb.start_s, climb.end_s)))
        strips = [
            (drive, pieces_of(course.codes[rows]))
            for drive, course in courses.items()
            if drive in result.ride.drives
        ]
        shown = [
            # A height that was no use for the grade would contradict it.
            one
            for one in panels
            if one.title != HEIGHT or climb.grade_source is GradeSource.ALTITUDE
        ]
        figure = _figure(shown, way_m, rows, [one for one in strips if one[1]])
        if figure is None:
            continue
        near = _nearest([(one.name, one.share[rows]) for one in used])
        made.append(Profile(f"{prefix}-{place + 1}", _title(climb, result), near, figure))
    return tuple(made)


def _title(climb: Climb, result: RideResult) -> str:
    name = climb.hill or f"At {moment(climb.start_s, result.ride.start)}"
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
        panels.append(Panel(HEIGHT, "m", [Line("height", height, "@c3", width=1.8)]))
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


def _figure(
    panels: list[Panel], way_m: Floats, rows: slice, strips: list[tuple[str, list[Piece]]]
) -> dict[str, Any] | None:
    cut = []
    for panel in panels:
        lines = []
        for line in panel.lines:
            values = line.values[rows]
            if panel.title == HEIGHT and np.isfinite(values).any():
                values = values - values[np.isfinite(values)][0]
            if np.isfinite(values).any():
                lines.append(Line(line.name, values, line.colour, line.dash, line.width))
        if lines:
            cut.append(Panel(panel.title, panel.unit, lines, panel.levels))
    way = way_m[rows]
    if not cut or way.size < 2:
        return None
    way = way - way[0]
    if strips:
        cut.append(strip_panel(strips))
    # A stand takes time and no way: points there would pile up, and holes in them mean nothing.
    figure = stacked(cut, way, most=POINTS, hole_s=np.inf, strip=False, panel_px=96)
    figure["plain_axis"] = True
    if strips:
        axis = f"y{len(cut) + 1}"
        figure["data"] += strip_traces(strips, way, axis)
        figure["layout"][f"yaxis{len(cut) + 1}"] |= {
            "range": [-len(strips) + 0.3, 0.7],
            "tickvals": [-row for row in range(len(strips))],
            "ticktext": [escape(drive) for drive, _ in strips],
            "showgrid": False,
        }
    figure["layout"]["xaxis"]["title"] = {"text": "metres from the foot"}
    return figure


FEW_CLIMBS = 8
"""Fewer climbs than this get slimmer bars. Our choice."""
ROWS = (
    ("grade", "Grade", "%", "@c3"),
    ("current", "Highest pack current", "A", "@c1"),
    ("margin", "Left above the voltage where power is reduced", "V", "@c2"),
)


def climbs_figure(climbs: Sequence[Climb], setup: Setup) -> Figure | None:
    """Climb by climb: its grade, below it the current and the volts left; None without climbs."""
    if not climbs:
        return None
    values: dict[str, list[float | None]] = {
        "grade": [one.grade_pct.value for one in climbs],
        "current": [one.peak_pack_current_a for one in climbs],
        "margin": [one.margin_to_derate_v for one in climbs],
    }
    shown = [row for row in ROWS if any(value is not None for value in values[row[0]])]
    data: list[Figure] = []
    layout: Figure = {
        "height": 150 * len(shown) + 60,
        "bargap": 0.8 if len(climbs) < FEW_CLIMBS else 0.4,
        "shapes": [],
        "annotations": [],
        "xaxis": {"title": {"text": "climb"}, "type": "category", "anchor": f"y{len(shown) + 1}"},
    }
    for place, (name, title, unit, colour) in enumerate(shown):
        top = 1 - (place + 0.16) / len(shown)
        layout[f"yaxis{place + 2}"] = {
            "domain": [max(1 - (place + 0.97) / len(shown), 0.0), top],
            "anchor": "x",
            "nticks": 4,
            "fixedrange": True,
        }
        layout["annotations"].append(
            {
                "text": f"<b>{title}</b>, {unit}",
                "xref": "paper",
                "yref": "paper",
                "x": 0,
                "y": top,
                "xanchor": "left",
                "yanchor": "bottom",
                "showarrow": False,
            }
        )
        data.append(_bars(values[name], unit, colour, f"y{place + 2}"))
        if name == "grade":
            data[-1]["error_y"] = _grade_spread(climbs)
        if name == "current":
            _rating_line(layout, setup.bms.discharge_rating_a, f"y{place + 2}")
    return {"data": data, "layout": layout}


def _bars(values: Sequence[float | None], unit: str, colour: str, axis: str) -> Figure:
    return {
        "type": "bar",
        "name": "",
        "x": [str(place + 1) for place in range(len(values))],
        "y": [None if value is None else round(value, 3) for value in values],
        "yaxis": axis,
        "marker": {"color": colour},
        "hovertemplate": f"climb %{{x}}: %{{y:.1f}} {unit}<extra></extra>",
    }


def _grade_spread(climbs: Sequence[Climb]) -> Figure:
    above = [(one.grade_pct.high or one.grade_pct.value) - one.grade_pct.value for one in climbs]
    below = [one.grade_pct.value - (one.grade_pct.low or one.grade_pct.value) for one in climbs]
    return {
        "type": "data",
        "symmetric": False,
        "array": [round(max(one, 0.0), 3) for one in above],
        "arrayminus": [round(max(one, 0.0), 3) for one in below],
        "color": "@ink",
        "thickness": 1,
        "width": 3,
    }


def _rating_line(layout: Figure, rating: float | None, axis: str) -> None:
    if rating is None:
        return
    layout["shapes"].append(
        {
            "type": "line",
            "xref": "paper",
            "yref": axis,
            "x0": 0,
            "x1": 1,
            "y0": rating,
            "y1": rating,
            "line": {"color": "@act", "width": 1, "dash": "dash"},
        }
    )
    layout["annotations"].append(
        {
            "text": f"BMS rating {rating:g} A",
            "xref": "paper",
            "yref": axis,
            "x": 1,
            "y": rating,
            "xanchor": "right",
            "yanchor": "bottom",
            "showarrow": False,
            "small": True,
            "font": {"color": "@act"},
        }
    )

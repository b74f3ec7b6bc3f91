"""The ride as a plot: voltage, currents, temperatures, demand, speed and height over one time
axis, every event marked. Figures are plain dicts of the plot script; colours are tokens that
the page turns into those of light, dark or paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from analyzer.quantities import (
    Floats,
    brake_pct,
    pack_current_a,
    pack_voltage_v,
    speed_mps,
    throttle_pct,
)
from analyzer.ride_analysis import RideResult
from analyzer.words import Severity
from reports.numbers import MINUS
from reports.thin import POINTS_A_TRACE, packed, thinned

Figure = dict[str, Any]

POINTS_A_FIGURE = 40_000
"""All traces of the timeline together: 0.43 MB of the page's 3 MB. Our choice."""
COLOURS = ("@c1", "@c2", "@c3", "@c4", "@c5", "@c6")
DASHES = ("solid", "6px,2px", "2px,2px", "9px,3px,2px,3px")
"""Lines of one panel differ in dash, too: a page may be printed in black and white."""
PANEL_PX, STRIP_PX, GAP_PX = 132, 30, 30
MOST_BANDS = 150
"""So many events are shaded through all panels; all others are marked on top. Our choice."""
SYMBOL = {Severity.ACT: "square", Severity.WATCH: "diamond", Severity.NOTE: "circle-open"}


@dataclass(slots=True)
class Line:
    """One line of a panel."""

    name: str
    values: Floats
    colour: str = "@c1"
    dash: str = "solid"
    width: float = 1.4


@dataclass(slots=True)
class Panel:
    """One panel: its title with unit, its lines, and level lines with their names."""

    title: str
    unit: str
    lines: list[Line] = field(default_factory=list)
    levels: list[tuple[float, str, str]] = field(default_factory=list)
    """(value, name, colour token)."""


def timeline(
    result: RideResult, panels: list[Panel], closer: tuple[tuple[float, float], ...]
) -> Figure | None:
    """The whole ride over time; None where nothing was logged that can be drawn. `panels` are
    those of `ride_panels`; `closer` spans [s] are drawn in more detail."""
    if not panels:
        return None
    ride = result.ride
    count = sum(len(panel.lines) for panel in panels)
    most = min(POINTS_A_TRACE, POINTS_A_FIGURE // max(count, 1))
    figure = stacked(panels, ride.time_s, most=most, closer=closer, hole_s=ride.gap_s)
    _mark_events(figure, result)
    start = ride.start
    figure["clock"] = (
        None
        if start is None
        else start.hour * 3600 + start.minute * 60 + start.second + start.microsecond / 1e6
    )
    return figure


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


def stacked(
    panels: list[Panel],
    time_s: Floats,
    *,
    most: int,
    closer: tuple[tuple[float, float], ...] = (),
    hole_s: float = 0.0,
    strip: bool = True,
    panel_px: int = PANEL_PX,
) -> Figure:
    """Panels under one another over one time axis, with a strip for event marks on top."""
    top = STRIP_PX if strip else 0
    height = top + len(panels) * (panel_px + GAP_PX)
    traces: list[Figure] = []
    layout: Figure = {"shapes": [], "annotations": [], "height": height + 64}
    ends = (float(time_s[0]), float(time_s[-1]))
    for place, panel in enumerate(panels):
        upper = 1 - (top + place * (panel_px + GAP_PX) + GAP_PX) / height
        domain = [max(upper - panel_px / height, 0.0), upper]
        axis = f"y{place + 2}"
        layout[f"yaxis{place + 2}"] = {
            "domain": domain,
            "anchor": "x",
            "nticks": 5,
            "fixedrange": True,
            "zeroline": panel.unit in ("A", "%"),
        }
        layout["annotations"].append(_title(panel, upper))
        for line in panel.lines:
            if line.values.size == 0:
                continue
            x, y = thinned(time_s, line.values, most=most, closer=closer, hole_s=hole_s)
            traces.append(_trace(line, panel.unit, axis, x, y))
        _add_levels(layout, panel, axis)
    if strip:
        layout["yaxis"] = {
            "domain": [1 - STRIP_PX / height, 1.0],
            "range": [-1, 1],
            "visible": False,
            "fixedrange": True,
        }
    layout["xaxis"] = {"range": list(ends), "anchor": f"y{len(panels) + 1}", "domain": [0, 1]}
    return {"data": traces, "layout": layout, "ends": list(ends)}


def _trace(line: Line, unit: str, axis: str, x: Floats, y: Floats) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": escape(line.name),
        "x": packed(x),
        "y": packed(y),
        "yaxis": axis,
        "line": {"color": line.colour, "width": line.width, "dash": line.dash},
        "hovertemplate": f"%{{y:.1f}} {unit}",
        "connectgaps": False,
    }


STROKES = {"solid": "━", "6px,2px": "╍", "2px,2px": "┅", "9px,3px,2px,3px": "┉"}
"""How a dash looks in a panel's title."""


def _title(panel: Panel, upper: float) -> Figure:
    keys = ""
    if len(panel.lines) > 1 or not panel.unit:
        parts = [(STROKES[line.dash], line.colour, escape(line.name)) for line in panel.lines]
        keys = "   " + "  ".join(f'<span style="color:{c}">{s} {n}</span>' for s, c, n in parts)
    return {
        "text": f"<b>{panel.title}</b>{', ' if panel.unit else ''}{panel.unit}{keys}",
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": upper,
        "yanchor": "bottom",
        "xanchor": "left",
        "align": "left",
        "showarrow": False,
    }


LEAST_SPAN = {"V": 0.5, "A": 1.0, "°C": 2.0, "%": 2.0, "km/h": 2.0, "m": 2.0}
"""A panel spans at least this much: a constant is a line, not a wall of digits. Our choice."""
LABEL_SHARE = 0.13
"""A label's height as a share of its panel's. Our choice: 11 px of 96 px and more."""
LABEL_STEP = 0.22
"""A label that would cover another moves left by this share of the width. Our choice."""


def _add_levels(layout: Figure, panel: Panel, axis: str) -> None:
    """Level lines near enough to the data to be worth the room, each with its name."""
    data = [line.values[np.isfinite(line.values)] for line in panel.lines]
    data = [one for one in data if one.size]
    if not data:
        return
    low, high = min(float(d.min()) for d in data), max(float(d.max()) for d in data)
    room = max(high - low, 1e-6)
    levels = sorted(one for one in panel.levels if low - room < one[0] < high + room)
    low, high = min([low, *(one[0] for one in levels)]), max([high, *(one[0] for one in levels)])
    least = LEAST_SPAN.get(panel.unit, 1.0)
    if high - low < least:
        low, high = (low + high - least) / 2, (low + high + least) / 2
    edge = 0.1 * (high - low)
    layout[f"yaxis{axis[1:]}"]["range"] = [low - edge, high + edge]
    placed: list[tuple[float, float]] = []
    for place, (value, name, colour) in enumerate(levels):
        layout["shapes"].append(_level_line(value, colour, axis))
        # The lower of two neighbours is named below its line, the upper one above.
        below = place + 1 < len(levels) and place % 2 == 0
        height = LABEL_SHARE * (high - low + 2 * edge)
        at, x = value + (-0.5 if below else 0.5) * height, 1.0
        while any(abs(at - y) < height and abs(x - other) < 1e-9 for y, other in placed):
            x -= LABEL_STEP
        placed.append((at, x))
        layout["annotations"].append(
            {
                "text": escape(f"{name} {value:g} {panel.unit}".replace("-", MINUS)),
                "xref": "paper",
                "yref": axis,
                "x": round(x, 2),
                "y": value,
                "xanchor": "right",
                "yanchor": "top" if below else "bottom",
                "showarrow": False,
                "small": True,
                "font": {"color": colour},
            }
        )


def _level_line(value: float, colour: str, axis: str) -> Figure:
    return {
        "type": "line",
        "xref": "paper",
        "yref": axis,
        "x0": 0,
        "x1": 1,
        "y0": value,
        "y1": value,
        "line": {"color": colour, "width": 1, "dash": "dash"},
        "layer": "below",
    }


def _mark_events(figure: Figure, result: RideResult) -> None:
    """A mark for every event on the strip; the gravest are shaded through all panels."""
    from reports.sentences import KIND

    ranked = sorted(result.events, key=lambda event: -event.severity.rank)
    for event in ranked[:MOST_BANDS]:
        figure["layout"]["shapes"].append(
            {
                "type": "rect",
                "xref": "x",
                "yref": "paper",
                "x0": event.start_s,
                "x1": max(event.end_s, event.start_s + 1e-3),
                "y0": 0,
                "y1": 1,
                "fillcolor": f"@{event.severity.value}",
                "opacity": 0.13,
                "line": {"width": 0.5, "color": f"@{event.severity.value}"},
                "layer": "below",
            }
        )
    for severity in Severity:
        events = [event for event in result.events if event.severity is severity]
        if events:
            figure["data"].append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "name": severity.value,
                    "x": [round((event.start_s + event.end_s) / 2, 3) for event in events],
                    "y": [0] * len(events),
                    "text": [KIND[event.kind] for event in events],
                    "hovertemplate": "%{text}",
                    "marker": {
                        "symbol": SYMBOL[severity],
                        "size": 9,
                        "color": f"@{severity.value}",
                    },
                    "yaxis": "y",
                    "cliponaxis": False,
                }
            )

"""Panels under one another over one axis: lines, level lines with their names, titles with keys.

Figures are plain dicts of the plot script; colours are tokens that the page turns into those of
light, dark or paper.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from analyzer.quantities import Floats
from reports.numbers import MINUS
from reports.thin import packed, thinned

Figure = dict[str, Any]

PANEL_PX, STRIP_PX, GAP_PX = 132, 30, 30


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

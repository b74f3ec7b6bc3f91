"""Plots of months: resistance and capacity over time, resistance against temperature, depths."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from analyzer.ageing_parts import Kept
from analyzer.ageing_result import AgeingResult
from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from reports.stacked import Figure
from reports.thin import POINTS_A_TRACE

HEIGHT_PX = 330
MOST_BARS = 600
"""Error bars are drawn up to so many rides; beyond they would be a carpet. Our choice."""


def ageing_figures(result: AgeingResult, anchors: dict[str, str]) -> dict[str, Figure]:
    """The page's figures by element id; `anchors` leads from a ride's name to its place."""
    figures = {
        "resistance-plot": _resistance(result, anchors),
        "capacity-plot": _capacity(result, anchors),
        "temperature-plot": _against_temperature(result, anchors),
        "depth-plot": _depths(result),
    }
    return {name: one for name, one in figures.items() if one is not None}


def _layout(y_title: str, **more: object) -> Figure:
    return {
        "height": HEIGHT_PX,
        "xaxis": {},
        "yaxis": {"title": {"text": y_title}},
        "showlegend": True,
        "shapes": [],
        "annotations": [],
        **more,
    }


def _thin(count: int) -> slice:
    return slice(None, None, max(1, -(-count // POINTS_A_TRACE)))


def _points(
    days: Sequence[str],
    values: Floats,
    spread: tuple[Floats, Floats] | None,
    kept: Sequence[Kept],
    anchors: dict[str, str],
    name: str,
) -> Figure:
    keep = _thin(len(kept))
    one: Figure = {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": list(days)[keep],
        "y": [round(float(v), 4) for v in values[keep]],
        "text": [escape(ride.name) for ride in kept][keep],
        "customdata": [anchors.get(ride.name, "") for ride in kept][keep],
        "hovertemplate": "%{text}<br>%{x}: %{y:.1f}<extra></extra>",
        "marker": {"color": "@c1", "size": 6, "symbol": "circle"},
    }
    if spread is not None and len(kept) <= MOST_BARS:
        one["error_y"] = {
            "type": "data",
            "symmetric": False,
            "array": [round(float(v), 4) for v in spread[1]],
            "arrayminus": [round(float(v), 4) for v in spread[0]],
            "color": "@muted",
            "thickness": 0.8,
            "width": 0,
        }
    return one


def _course(
    days: Sequence[str],
    fitted: Floats,
    new: Estimate,
    now: Estimate,
    jumps: Sequence[int] = (),
) -> list[Figure]:
    """The fitted course with its 95 % band, interpolated between the ends' intervals; `jumps` are
    places of the first ride after each, where the line steps on that day."""
    share = np.linspace(0.0, 1.0, len(fitted))
    fitted = np.insert(fitted, jumps, fitted[np.asarray(jumps, np.intp) - 1])
    share = np.insert(share, jumps, share[np.asarray(jumps, np.intp)])
    days = np.insert(np.asarray(days), jumps, [days[at] for at in jumps]).tolist()
    keep = _thin(len(fitted))
    lines: list[Figure] = []
    edges: list[Floats] = []
    for side in ("low", "high"):
        first, last = getattr(new, side), getattr(now, side)
        if first is None or last is None:
            edges = []
            break
        relative = (1 - share) * first / new.value + share * last / now.value
        edges.append(fitted * relative)
    for place, edge in enumerate(edges):
        lines.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": "95 % band",
                "showlegend": place == 1,
                "x": list(days)[keep],
                "y": [round(float(v), 4) for v in edge[keep]],
                "line": {"color": "@c2", "width": 0.8, "dash": "2px,2px", "shape": "linear"},
                "hoverinfo": "skip",
                **({"fill": "tonexty", "fillcolor": "@band"} if place else {}),
            }
        )
    lines.append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": "course",
            "x": list(days)[keep],
            "y": [round(float(v), 4) for v in fitted[keep]],
            "line": {"color": "@c2", "width": 2},
            "hoverinfo": "skip",
        }
    )
    return lines


def _days(kept: Sequence[Kept]) -> list[str]:
    return [f"{one.start:%Y-%m-%d %H:%M}" for one in kept]


def _of(result: AgeingResult, names: Sequence[str]) -> list[Kept]:
    by_name = {one.kept.name: one.kept for one in result.per_ride}
    return [by_name[name] for name in names]


def _relative(kept: Sequence[Kept], field: str, at: Floats) -> tuple[Floats, Floats]:
    """Below and above, carried from each ride's own interval to the value drawn."""
    below, above = np.zeros(len(kept)), np.zeros(len(kept))
    for place, one in enumerate(kept):
        triple = getattr(one.summary, field)
        if triple is None or not triple[0]:
            continue
        value, low, high = triple
        below[place] = 0.0 if low is None else at[place] * (1 - low / value)
        above[place] = 0.0 if high is None else at[place] * (high / value - 1)
    return np.maximum(below, 0.0), np.maximum(above, 0.0)


def _resistance(result: AgeingResult, anchors: dict[str, str]) -> Figure | None:
    course = result.resistance
    if course is None:
        return None
    kept = _of(result, course.used)
    days, values = _days(kept), course.at_25c_ohm * 1e3
    milli = [
        Estimate(*(None if v is None else v * 1e3 for v in (one.value, one.low, one.high)))  # type: ignore[arg-type]
        for one in (course.new_25c_ohm, course.now_25c_ohm)
    ]
    spread = _relative(kept, "resistance_10s_ohm", values)
    figure: Figure = {
        "data": [
            *_course(
                days,
                course.fitted_ohm * 1e3,
                milli[0],
                milli[1],
                [one.first for one in course.jumps],
            ),
            _points(days, values, spread, kept, anchors, "each ride"),
        ],
        "layout": _layout("mΩ after 10 s, at 25 °C"),
    }
    for jump in result.jumps:
        _mark_day(figure["layout"], f"{jump.date:%Y-%m-%d}", _jump_label(jump.part))
    return figure


def _jump_label(part: str) -> str:
    return {"instant": "jump: contact", "slow": "jump: cells"}.get(part, "jump")


def _mark_day(layout: Figure, day: str, text: str) -> None:
    layout["shapes"].append(
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": day,
            "x1": day,
            "y0": 0,
            "y1": 1,
            "line": {"color": "@act", "width": 1, "dash": "dash"},
        }
    )
    layout["annotations"].append(
        {
            "text": text,
            "xref": "x",
            "yref": "paper",
            "x": day,
            "y": 1,
            "xanchor": "left",
            "yanchor": "top",
            "showarrow": False,
            "font": {"color": "@act"},
        }
    )


def _capacity(result: AgeingResult, anchors: dict[str, str]) -> Figure | None:
    course = result.capacity
    if course is None:
        return None
    kept = _of(result, course.used)
    days = _days(kept)
    spread = (course.each_half_ah, course.each_half_ah)
    layout = _layout("capacity, Ah")
    line = 0.8 * result.setup.pack.capacity_ah
    low = min(float(course.each_ah.min()), line)
    high = max(float(course.each_ah.max()), float(course.fitted_ah.max()))
    edge = 0.08 * (high - low)
    layout["yaxis"]["range"] = [low - edge, high + edge]
    layout["shapes"].append(
        {
            "type": "line",
            "xref": "paper",
            "yref": "y",
            "x0": 0,
            "x1": 1,
            "y0": line,
            "y1": line,
            "line": {"color": "@watch", "width": 1, "dash": "dash"},
        }
    )
    layout["annotations"].append(
        {
            "text": f"80 % of rated: {line:.1f} Ah",
            "xref": "paper",
            "yref": "y",
            "x": 1,
            "y": line,
            "xanchor": "right",
            "yanchor": "bottom",
            "showarrow": False,
            "font": {"color": "@watch"},
        }
    )
    return {
        "data": [
            *_course(days, course.fitted_ah, course.new_ah, course.now_ah),
            _points(days, course.each_ah, spread, kept, anchors, "each ride"),
        ],
        "layout": layout,
    }


def _against_temperature(result: AgeingResult, anchors: dict[str, str]) -> Figure | None:
    course = result.resistance
    if course is None:
        return None
    kept = _of(result, course.used)
    measured = np.array([one.summary.resistance_10s_ohm[0] for one in kept]) * 1e3  # type: ignore[index]
    grid = np.linspace(course.temperature_c.min(), course.temperature_c.max(), 60)
    layout = _layout("mΩ after 10 s, as it was")
    layout["xaxis"] = {"title": {"text": "pack temperature, °C"}}
    keep = _thin(len(kept))
    points: Figure = {
        "type": "scatter",
        "mode": "markers",
        "name": "each ride",
        "x": [round(float(v), 2) for v in course.temperature_c[keep]],
        "y": [round(float(v), 3) for v in measured[keep]],
        "text": [escape(one.name) for one in kept][keep],
        "customdata": [anchors.get(one.name, "") for one in kept][keep],
        "hovertemplate": "%{text}<br>%{x:.0f} °C: %{y:.1f} mΩ<extra></extra>",
        "marker": {"color": "@c1", "size": 6},
    }
    lines: list[Figure] = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": name,
            "x": [round(float(v), 2) for v in grid],
            "y": [
                round(at_25c.value * 1e3 * course.over_25c(v, today=today).value, 3)
                for v in grid.tolist()
            ],
            "line": {"color": "@c2", "width": 1.6, "dash": dash},
            "hoverinfo": "skip",
        }
        for at_25c, name, dash, today in (
            (course.new_25c_ohm, "law at first", "dash", False),
            (course.now_25c_ohm, "law now", "solid", True),
        )
    ]
    return {"data": [points, *lines], "layout": layout}


def _depths(result: AgeingResult) -> Figure | None:
    depths = result.use.depths
    if not any(one.cycles for one in depths):
        return None
    layout = _layout("cycles", showlegend=False)
    layout["xaxis"] = {
        "title": {"text": "depth of the cycle, % of charge"},
        "range": [0, 100],
        "dtick": 20,
    }
    return {
        "data": [
            {
                "type": "bar",
                "name": "cycles",
                "x": [sum(one.depth_pct) / 2 for one in depths],
                "width": 0.9 * (depths[0].depth_pct[1] - depths[0].depth_pct[0]),
                "text": [f"{one.depth_pct[0]} to {one.depth_pct[1]} %" for one in depths],
                "textposition": "none",
                "y": [round(one.cycles, 2) for one in depths],
                "marker": {"color": "@c1"},
                "hovertemplate": "%{text}: %{y:.1f} cycles<extra></extra>",
            }
        ],
        "layout": layout,
    }

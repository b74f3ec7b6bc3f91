"""The other plots of a ride: voltage against current, and one side against the other."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np

from analyzer.quantities import Floats, pack_current_a, pack_voltage_v
from analyzer.ride_analysis import RideResult
from reports.panels import COLOURS
from reports.stacked import Figure
from reports.thin import cloud, packed

PARTS = (("first third", "circle"), ("second third", "diamond"), ("last third", "x"))
"""Points of a ride's thirds differ in shape and colour: rest voltage falls while riding."""


def voltage_against_current(result: RideResult) -> Figure | None:
    """Every reading of the pack's voltage against its current, with the straight line that the
    fitted resistance draws from rest; None without both channels."""
    voltage = pack_voltage_v(result.ride, result.setup)
    current = pack_current_a(result.ride, result.setup)
    if voltage is None or current is None:
        return None
    time_s = result.ride.time_s
    thirds = np.linspace(time_s[0], time_s[-1], 4)
    data: list[Figure] = []
    for place, (name, symbol) in enumerate(PARTS):
        rows = slice(*np.searchsorted(time_s, thirds[place : place + 2]))
        data.append(
            _points(current.values[rows], voltage.values[rows], name, COLOURS[place], symbol)
        )
    view, outside = _voltage_view(voltage.values)
    spread = current.values[np.isfinite(current.values)]
    if spread.size:
        data += _rest_lines(result, float(min(spread.min(), 0.0)), float(max(spread.max(), 0.0)))
    return {
        "data": data,
        "layout": {
            "height": 380,
            "xaxis": {"title": {"text": "pack current, A"}},
            "yaxis": {"title": {"text": "pack voltage, V"}, "range": view},
            "showlegend": True,
            "shapes": _derate_lines(result),
            "annotations": _outside_note(outside, view),
        },
    }


LOWEST_SHARE = 0.85
"""Voltages below this share of their median are a path that opened, not a sag. Our choice: lithium
cells from full to empty span a third of their voltage, but not within the bulk of one ride."""


def _voltage_view(volts: Floats) -> tuple[list[float] | None, int]:
    """The span of voltages to show and how many readings lie below it: where the pack was cut off
    the few volts that matter would shrink to a line."""
    good = volts[np.isfinite(volts)]
    if good.size == 0:
        return None, 0
    floor = LOWEST_SHARE * float(np.median(good))
    shown = good[good >= floor]
    low, high = float(shown.min()), float(shown.max())
    edge = 0.08 * max(high - low, 0.2)
    return [low - edge, high + edge], int((good < floor).sum())


def _outside_note(count: int, view: list[float] | None) -> list[Figure]:
    if not count or view is None:
        return []
    return [
        {
            "text": f"{count} readings below {view[0]:.0f} V (power cut off) are not shown",
            "xref": "paper",
            "yref": "paper",
            "x": 0,
            "y": 0,
            "xanchor": "left",
            "yanchor": "bottom",
            "showarrow": False,
        }
    ]


def _points(x: Floats, y: Floats, name: str, colour: str, symbol: str) -> Figure:
    keep = cloud(x, y)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": escape(name),
        "x": packed(x[keep]),
        "y": packed(y[keep]),
        "marker": {"color": colour, "symbol": symbol, "size": 4, "line": {"width": 0}},
        "hovertemplate": "%{x:.1f} · %{y:.1f}",
    }


def _line(x: list[float], y: list[float], name: str, colour: str, dash: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": escape(name),
        "x": [round(one, 4) for one in x],
        "y": [round(one, 4) for one in y],
        "line": {"color": colour, "dash": dash, "width": 1.6},
        "hoverinfo": "skip",
    }


def _rest_lines(result: RideResult, low_a: float, high_a: float) -> list[Figure]:
    pack = result.pack
    if pack.resistance_10s_ohm is None:
        return []
    lines = []
    for rest, name, dash in (
        (pack.rest_voltage_start_v, "rest at the start less 10 s resistance × current", "solid"),
        (pack.rest_voltage_end_v, "the same at the end", "dash"),
    ):
        if rest is not None:
            volts = [rest.value - pack.resistance_10s_ohm.value * x for x in (low_a, high_a)]
            lines.append(_line([low_a, high_a], volts, name, "@ink", dash))
    return lines


def _derate_lines(result: RideResult) -> list[dict[str, Any]]:
    values = {one.derate_from_v for one in result.setup.drives if one.derate_from_v is not None}
    return [
        {
            "type": "line",
            "xref": "paper",
            "yref": "y",
            "x0": 0,
            "x1": 1,
            "y0": value,
            "y1": value,
            "line": {"color": "@watch", "width": 1, "dash": "dash"},
        }
        for value in sorted(values)
    ]


def side_against_side(result: RideResult) -> Figure | None:
    """Each other drive's battery current against the first's: on the diagonal they carry alike.
    None with one drive, or where fewer than two are logged."""
    ride = result.ride
    logged = [d for d in ride.drives if ride.has(f"{d}.battery_current_a")]
    if len(logged) < 2:
        return None
    first = ride.get(f"{logged[0]}.battery_current_a")
    assert first is not None
    data: list[Figure] = []
    for place, drive in enumerate(logged[1:]):
        own = ride.get(f"{drive}.battery_current_a")
        assert own is not None
        symbol = PARTS[place % len(PARTS)][1]
        name = f"{drive} against {logged[0]}"
        data.append(_points(first, own, name, COLOURS[(place + 1) % len(COLOURS)], symbol))
    low, high = float(np.nanmin(first)), float(np.nanmax(first))
    data.append(_line([low, high], [low, high], "equal", "@ink", "dash"))
    others = escape(" / ".join(logged[1:]))
    return {
        "data": data,
        "layout": {
            "height": 380,
            "xaxis": {"title": {"text": f"{escape(logged[0])}, battery current, A"}},
            "yaxis": {"title": {"text": f"{others}, A"}},
            "showlegend": True,
            "shapes": [],
            "annotations": [],
        },
    }

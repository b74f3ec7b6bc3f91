"""The pictures of a hill not ridden yet: each limit's share, and the way of a track."""

from __future__ import annotations

from html import escape

import numpy as np

from analyzer.hill_ahead import HillAhead
from reports.json_read import Object, estimate_of
from reports.sentences import capital, limit_name
from reports.stacked import Figure
from reports.thin import extremes

SHOWN_PCT = 5.0
"""Limits of which the hill takes less than this are left out of the plot [%]. Our choice."""
MOST_POINTS = 1500
"""A way is drawn with no more points than this. Our choice: more than a screen is wide."""


def shares_figure(rows: list[Object]) -> Figure | None:
    """How much of each current limit the hill is expected to take, with its interval."""
    found = []
    for one in rows:
        peak = estimate_of(one["expected_peak"])
        if peak is None or not one["limit"].endswith("_a") or not one["set"]:
            continue
        if 100.0 * (peak.value if peak.high is None else peak.high) >= SHOWN_PCT * one["set"]:
            found.append((one["limit"], peak, 100.0 / one["set"]))
    if not found:
        return None
    found.reverse()
    shares = [peak.value * scale for _, peak, scale in found]
    above = [((p.high if p.high is not None else p.value) - p.value) * k for _, p, k in found]
    below = [(p.value - (p.low if p.low is not None else p.value)) * k for _, p, k in found]
    most = max([100.0, *(one + up for one, up in zip(shares, above, strict=True))])
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "markers",
                "name": "expected at most",
                "x": [round(one, 2) for one in shares],
                "y": [escape(capital(limit_name(key))) for key, _, _ in found],
                "error_x": {
                    "type": "data",
                    "symmetric": False,
                    "array": [round(max(one, 0.0), 2) for one in above],
                    "arrayminus": [round(max(one, 0.0), 2) for one in below],
                    "color": "@c1",
                    "thickness": 2,
                    "width": 5,
                },
                "marker": {"color": "@c1", "size": 9},
                "hovertemplate": "%{y}: %{x:.0f} %<extra></extra>",
            }
        ],
        "layout": {
            "height": 34 * len(found) + 110,
            "xaxis": {"title": {"text": "of the limit, %"}, "range": [0, 1.05 * most]},
            "yaxis": {"type": "category", "automargin": True},
            "showlegend": False,
            "shapes": [
                {
                    "type": "line",
                    "xref": "x",
                    "yref": "paper",
                    "x0": 100,
                    "x1": 100,
                    "y0": 0,
                    "y1": 1,
                    "line": {"color": "@act", "width": 1, "dash": "dash"},
                }
            ],
            "annotations": [],
        },
    }


def way_figure(hill: HillAhead, reduced_m: Object | None) -> Figure | None:
    """A track's height above its start along the way, and where power is first reduced; None for a
    hill of one grade, whose line says nothing."""
    if not hill.is_track:
        return None
    way, height = hill.distance_m - hill.distance_m[0], hill.height_m - hill.height_m[0]
    figure: Figure = {
        "data": [
            {
                "type": "scatter",
                "mode": "lines",
                "name": "height above the start",
                "x": [],
                "y": [],
                "line": {"color": "@c3", "width": 1.8},
                "hovertemplate": "%{x:.0f} m along: %{y:.0f} m<extra></extra>",
            }
        ],
        "layout": {
            "height": 230,
            "xaxis": {"title": {"text": "along the way, m"}, "range": [0, float(way[-1])]},
            "yaxis": {
                "title": {"text": "above the start, m"},
                "automargin": True,
                "zeroline": False,
            },
            "showlegend": False,
            "shapes": [],
            "annotations": [],
        },
    }
    shown = extremes(height, MOST_POINTS)
    figure["data"][0]["x"] = [round(float(one), 1) for one in way[shown]]
    figure["data"][0]["y"] = [round(float(one), 1) for one in height[shown]]
    if reduced_m is not None:
        figure["layout"]["shapes"] = _reduced_shapes(reduced_m, float(way[-1]))
        figure["layout"]["annotations"] = [
            {
                "xref": "x",
                "yref": "paper",
                "x": min(reduced_m["value"], float(way[-1])),
                "y": 0.02,
                "yanchor": "bottom",
                "xanchor": "left" if reduced_m["value"] < 0.5 * float(way[-1]) else "right",
                "text": "power first reduced",
                "showarrow": False,
                "font": {"color": "@watch", "size": 12},
            }
        ]
    return figure


def _reduced_shapes(reduced_m: Object, length_m: float) -> list[Figure]:
    """The interval as a band, the value as a line."""
    ends = [reduced_m[key] if reduced_m[key] is not None else reduced_m["value"]
            for key in ("low", "high")]  # fmt: skip
    low, high = np.clip(ends, 0.0, length_m)
    at = float(np.clip(reduced_m["value"], 0.0, length_m))
    tall = {"xref": "x", "yref": "paper", "y0": 0, "y1": 1}
    return [
        {"type": "rect", "x0": float(low), "x1": float(high), "fillcolor": "@watch",
         "opacity": 0.12, "line": {"width": 0}, **tall},
        {"type": "line", "x0": at, "x1": at,
         "line": {"color": "@watch", "width": 1.4, "dash": "dash"}, **tall},
    ]  # fmt: skip

"""The ride as a plot: all its panels over one time axis, every event marked."""

from __future__ import annotations

from analyzer.ride_analysis import RideResult
from analyzer.words import Severity
from reports.sentences import KIND
from reports.stacked import Figure, Panel, stacked
from reports.thin import POINTS_A_TRACE

POINTS_A_FIGURE = 40_000
"""All traces of the timeline together: 0.43 MB of the page's 3 MB. Our choice."""
MOST_BANDS = 150
"""So many events are shaded through all panels; all others are marked on top. Our choice."""
SYMBOL = {Severity.ACT: "square", Severity.WATCH: "diamond", Severity.NOTE: "circle-open"}


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


def _mark_events(figure: Figure, result: RideResult) -> None:
    """A mark for every event on the strip; the gravest are shaded through all panels."""
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

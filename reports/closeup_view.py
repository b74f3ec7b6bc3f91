"""A loss of drive or braking, close up: the seconds around it with every limit, and its causes
ranked with what speaks for each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from analyzer.events import Cause, Event
from analyzer.ride_analysis import RideResult
from analyzer.words import EventKind, Severity
from reports.advice import Advice, advice_of
from reports.headlines import event_headline
from reports.limits_used import limits_used
from reports.numbers import chance, duration
from reports.panels import drive_style
from reports.sentences import KIND, capital, cause_name, joined, sentence
from reports.stacked import Figure, Line, Panel, stacked

LOSSES = (EventKind.BRAKE_LOSS, EventKind.CUTOUT)
MOST_CLOSEUPS = 4
"""So many losses are drawn close up; the others stand in the tables. Our choice."""
BEFORE_S, AFTER_S, MOST_S = 12.0, 6.0, 60.0
"""What is shown around a loss [s]. Our choice: trips have delays of seconds, a rider lets go
within one."""
POINTS = 700
"""Points a line of a close-up: 60 s at more than 10 Hz. Our choice."""
POINTS_ALL = 16_000
"""... and of all lines of all close-ups: 0.17 MB of the page's 3 MB. Our choice."""
ORDINARY = (EventKind.IMBALANCE, EventKind.STALL, EventKind.WHEEL_SLIP)
"""Kinds that decide nothing about a loss while they are notes: ordinary riding."""
JOINED = 0.02
"""Moments nearer than this share of the view are one mark: letters would cover each other."""
USE_STYLES = (
    ("@c2", "solid"),
    ("@c1", "6px,2px"),
    ("@c3", "2px,2px"),
    ("@c4", "solid"),
    ("@c5", "6px,2px"),
)
"""Colours and dashes of the limits' lines."""
SHOWN_BELOW_PCT = 160.0
"""Use of a limit beyond this is cut off, so that the line at 100 % stays readable. Our choice."""


@dataclass(frozen=True, slots=True)
class CauseView:
    """One candidate: its name, its chance as words and as the length of a bar, its case."""

    name: str
    chance: str
    bar_pct: int
    evidence: tuple[str, ...]
    would_confirm: tuple[str, ...]
    consequences: str
    advice: Advice


@dataclass(frozen=True, slots=True)
class CloseUp:
    """One loss: its sentence, its seconds as a figure, its causes."""

    id: str
    headline: str
    span: str
    figure: dict[str, Any]
    moments: tuple[str, ...]
    causes: tuple[CauseView, ...]


def closeups(result: RideResult, panels: list[Panel]) -> tuple[CloseUp, ...]:
    """Every loss of drive or braking close up, the gravest first, then in order. `panels` are those
    of `ride_panels`."""
    losses = [one for one in result.events if one.kind in LOSSES]
    losses.sort(key=lambda one: (LOSSES.index(one.kind), -one.severity.rank, one.start_s))
    shown = losses[:MOST_CLOSEUPS]
    return tuple(
        _closeup(event, place + 1, result, panels, len(shown)) for place, event in enumerate(shown)
    )


def _closeup(
    event: Event, place: int, result: RideResult, panels: list[Panel], count: int
) -> CloseUp:
    end_s = min(event.end_s, event.start_s + MOST_S)
    view = (event.start_s - BEFORE_S, end_s + AFTER_S)
    moments = list(_moments(event, view, result))
    return CloseUp(
        id=f"close-up-{place}",
        headline=event_headline([event], result),
        span=f"{KIND[event.kind]} for {duration(event.end_s - event.start_s)}",
        figure=_figure(event, view, moments, result, panels, count),
        moments=tuple(f"{mark}: {text}" for mark, _, text in moments),
        causes=tuple(cause_view(one) for one in event.causes),
    )


def cause_view(one: Cause) -> CauseView:
    """One candidate cause as the page shows it."""
    then = joined([cause_name(word) for word in one.consequences])
    return CauseView(
        name=capital(cause_name(one.cause)),
        chance=chance(one.probability),
        bar_pct=max(round(100 * one.probability), 1),
        evidence=tuple(map(sentence, one.evidence)),
        would_confirm=tuple(map(sentence, one.would_confirm)),
        consequences=sentence(f"What followed: {then}") if then else "",
        advice=advice_of(one.remedy),
    )


def _moments(
    event: Event, view: tuple[float, float], result: RideResult
) -> Iterator[tuple[str, float, str]]:
    """(mark, second, text) of what decides in these seconds, in order, marked a, b, c …"""
    gone = "drive gone" if event.kind is EventKind.CUTOUT else "motor braking gone"
    faded_s = event.measure("faded_s") if event.flavour == "faded" else None
    found = [(event.start_s, gone if faded_s is None else "fading begins")]
    if faded_s is not None:
        found.append((event.start_s + faded_s, gone))
    if event.end_s < result.ride.time_s[-1]:
        found.append((event.end_s, "back"))
    else:
        found.append((event.end_s, "the log ends"))
    for other in result.events:
        ordinary = other.severity is Severity.NOTE and other.kind in ORDINARY
        if other is not event and not ordinary and view[0] <= other.start_s <= view[1]:
            found.append((other.start_s, KIND[other.kind].lower()))
    found = sorted({one for one in found if view[0] <= one[0] <= view[1]})
    joined_s = JOINED * (view[1] - view[0])
    groups: list[list[tuple[float, str]]] = []
    for at_s, text in found:
        if groups and at_s - groups[-1][0][0] < joined_s:
            groups[-1].append((at_s, text))
        else:
            groups.append([(at_s, text)])
    for letter, group in zip("abcdefghij", groups, strict=False):
        # The loss itself gives its name to the moment it is in.
        at_s = min((one[0] for one in group), key=lambda at: abs(at - event.start_s))
        words = joined(list(dict.fromkeys(text for _, text in group)))
        yield letter, at_s, f"{_offset(at_s - event.start_s)}, {words}"


def _offset(seconds: float) -> str:
    if abs(seconds) < 0.005:
        return "at 0 s"
    return f"{duration(abs(seconds))} {'before' if seconds < 0 else 'after'}"


def _figure(
    event: Event,
    view: tuple[float, float],
    moments: list[tuple[str, float, str]],
    result: RideResult,
    panels: list[Panel],
    count: int,
) -> Figure:
    ride = result.ride
    rows = slice(*np.searchsorted(ride.time_s, view))
    panels = [_with_drive_voltages(one, result) for one in panels if one.unit != "m"]
    used = _limits_used(result)
    if used.lines:
        panels.insert(min(3, len(panels)), used)
    cut = [
        Panel(
            panel.title,
            panel.unit,
            [Line(x.name, x.values[rows], x.colour, x.dash, x.width) for x in panel.lines],
            panel.levels,
        )
        for panel in panels
    ]
    cut = [panel for panel in cut if any(np.isfinite(one.values).any() for one in panel.lines)]
    # Seconds are counted from the loss, so that float32 keeps milliseconds anywhere in a ride.
    time_s = ride.time_s[rows] - event.start_s
    if not cut or time_s.size == 0:
        return {}
    lines = sum(len(panel.lines) for panel in cut)
    most = min(POINTS, POINTS_ALL // (count * lines))
    figure = stacked(cut, time_s, most=most, hole_s=ride.gap_s, strip=False, panel_px=104)
    figure["clock"] = None
    figure["plain_axis"] = True
    figure["ends"] = [view[0] - event.start_s, view[1] - event.start_s]
    figure["layout"]["xaxis"]["title"] = {"text": "seconds from the loss"}
    for letter, at_s, _ in moments:
        _mark(figure["layout"], letter, at_s - event.start_s)
    return figure


def _mark(layout: Figure, letter: str, at_s: float) -> None:
    layout["shapes"].append(
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": at_s,
            "x1": at_s,
            "y0": 0,
            "y1": 1,
            "line": {"color": "@ink", "width": 1, "dash": "dot"},
        }
    )
    layout["annotations"].append(
        {
            "text": f"<b>{letter}</b>",
            "xref": "x",
            "yref": "paper",
            "x": at_s,
            "y": 1,
            "yanchor": "bottom",
            "xanchor": "center",
            "showarrow": False,
        }
    )


def _with_drive_voltages(panel: Panel, result: RideResult) -> Panel:
    """In a close-up each controller's own voltage tells who stopped and who was cut off."""
    own = [d for d in result.ride.drives if result.ride.has(f"{d}.battery_voltage_v")]
    of_pack = result.ride.has("pack_voltage_v")
    if panel.title != "Pack voltage" or len(own) + of_pack < 2:
        return panel
    # The mean of the controllers' readings says nothing that their own lines do not say better.
    lines = [line for line in panel.lines if of_pack or line.name != "measured"]
    for drive in own:
        values = result.ride.get(f"{drive}.battery_voltage_v")
        if values is not None:
            colour, dash = drive_style(result, drive)
            lines.append(Line(f"at {drive}", values, colour, dash, 1.0))
    return Panel("Voltage", panel.unit, lines, panel.levels)


def _limits_used(result: RideResult) -> Panel:
    """How much of each limit was used: at 100 % it is reached."""
    panel = Panel("Used of each limit", "%", levels=[(100.0, "reached", "@act")])
    for one, (colour, dash) in zip(limits_used(result), USE_STYLES, strict=False):
        shown = np.clip(100 * one.share, 0.0, SHOWN_BELOW_PCT)
        panel.lines.append(Line(one.name, np.asarray(shown, np.float64), colour, dash))
    return panel

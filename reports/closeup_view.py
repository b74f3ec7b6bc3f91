"""A loss of drive or braking, close up: the seconds around it with every limit, and its causes
ranked with what speaks for each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
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
PLACES = ("first", "second", "third", "fourth")
"""Of the close-ups above one."""
BEFORE_S, AFTER_S, MOST_S = 12.0, 6.0, 60.0
"""What is shown around a loss [s]. Our choice: trips have delays of seconds, a rider lets go
within one."""
POINTS = 700
"""Points a line of a close-up: 60 s at more than 10 Hz. Our choice."""
POINTS_ALL = 16_000
"""... and of all lines of all close-ups: 0.17 MB of the page's 3 MB. Our choice."""
ORDINARY = (EventKind.IMBALANCE, EventKind.STALL, EventKind.WHEEL_SLIP)
"""Kinds that decide nothing about a loss while they are notes: ordinary riding."""
SLOW_FALL_S = 0.1
"""A fall slower than this is worth a word [s]. Our choice: readings take as long."""
JOINED = 0.02
"""Moments nearer than this share of the view are one mark: letters would cover each other."""
USE_STYLES = (
    ("@c2", "solid"),
    ("@c1", "6px,2px"),
    ("@c3", "2px,2px"),
    ("@c4", "solid"),
    ("@c5", "6px,2px"),
    ("@muted", "2px,2px"),
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
    return _said_once(
        [
            _closeup(event, place + 1, result, panels, len(shown))
            for place, event in enumerate(shown)
        ]
    )


def _said_once(views: list[CloseUp]) -> tuple[CloseUp, ...]:
    """A later close-up of the same cause says only what is new, and points to where the rest
    stands."""
    first: dict[str, int] = {}
    said: set[tuple[str, str]] = set()
    out = []
    for place, view in enumerate(views):
        causes = []
        for one in view.causes:
            place_before = first.setdefault(one.name, place)
            causes.append(
                one if place_before == place else _what_is_new(one, said, PLACES[place_before])
            )
            said |= {(one.name, text) for text in _sentences(one)}
        out.append(replace(view, causes=tuple(causes)))
    return tuple(out)


def _sentences(one: CauseView) -> tuple[str, ...]:
    return (*one.evidence, *one.would_confirm, *one.advice.do)


def _what_is_new(one: CauseView, said: set[tuple[str, str]], where: str) -> CauseView:
    new = [text for text in _sentences(one) if (one.name, text) not in said]
    evidence = tuple(text for text in one.evidence if text in new)
    if len(new) < len(_sentences(one)):
        evidence = (*evidence, f"For the rest as at the {where} loss above.")
    same_advice = not any(text in new for text in one.advice.do)
    return replace(
        one,
        evidence=evidence,
        would_confirm=tuple(text for text in one.would_confirm if text in new),
        advice=Advice() if same_advice else one.advice,
    )


def _closeup(
    event: Event, place: int, result: RideResult, panels: list[Panel], count: int
) -> CloseUp:
    gone_s = _gone_s(event)
    begin_s = max(event.start_s, gone_s - MOST_S)
    view = (begin_s - BEFORE_S, min(event.end_s, gone_s + MOST_S) + AFTER_S)
    moments = list(_moments(event, view, result))
    return CloseUp(
        id=f"close-up-{place}",
        headline=event_headline([event], result),
        span="; ".join(
            [f"{KIND[event.kind]} for {duration(event.end_s - event.start_s)}", *_standing(event)]
        ),
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


def _gone_s(event: Event) -> float:
    """When nothing was left: where it faded, the end of fading."""
    faded_s = event.measure("faded_s") if event.flavour == "faded" else None
    return event.start_s + (faded_s or 0.0)


def _standing(event: Event) -> Iterator[str]:
    """What evidence speaks of and no line can show."""
    causes = {one.cause for one in event.causes if one.evidence}
    charge, idle = event.measure("charge_pct"), event.measure("idle_s")
    spells, gone, dips = (event.measure(x) for x in ("spells", "gone_s", "dips"))
    if charge is not None and causes & {"cell_low_voltage", "cell_high_voltage"}:
        yield f"charge about {charge:.0f} %"
    if idle is not None and "idle_shutdown" in causes:
        yield f"nothing had flowed for {idle:.0f} s before"
    path, back = event.measure("path_back_s"), event.measure("back_after_s")
    if path is not None and back is None:
        yield f"voltage back after {path:.1f} s"
    if spells is not None and gone is not None and spells > 1:
        yield f"{spells:.0f} times without current in {gone:.1f} s"
    if dips and "supply_interrupted" in causes:
        yield f"the voltage dipped {dips:.0f} times for an instant in the 3 minutes before"
    dip, rest = event.measure("dip_v"), event.measure("dip_unexplained_v")
    if dip is not None and rest is not None and "supply_interrupted" in causes:
        yield f"the bus dipped by {dip:.1f} V, its load explains {dip - rest:.1f} V"


def _how_gone(event: Event) -> str:
    """How fast, and on which side last."""
    fall, apart = event.measure("fall_s"), event.measure("apart_s")
    faded = event.measure("faded_s") if event.flavour == "faded" else None
    out = "drive gone" if event.kind is EventKind.CUTOUT else "motor braking gone"
    if faded is not None:
        out += f" {faded:.1f} s after fading began"
    elif fall is not None and fall >= SLOW_FALL_S:
        out += f" within {fall:.2f} s"
    if apart is not None and apart > 0.0:
        out += f", the last side {apart:.2f} s later"
    return out


def _moments(
    event: Event, view: tuple[float, float], result: RideResult
) -> Iterator[tuple[str, float, str]]:
    """(mark, second, text) of what decides in these seconds, in order, marked a, b, c …"""
    gone = _how_gone(event)
    faded_s = event.measure("faded_s") if event.flavour == "faded" else None
    found = [(event.start_s, gone if faded_s is None else "fading begins")]
    if faded_s is not None:
        found.append((event.start_s + faded_s, gone))
    for word in ("discharge", "charge"):
        held_s = event.measure(f"{word}_trip_s")
        if held_s is not None and any(x.cause == f"bms_overcurrent_{word}" for x in event.causes):
            delay_s = getattr(result.setup.bms, f"{word}_trip_delay_s")
            text = f"{held_s:.1f} s at the level that opens the BMS after {delay_s:g} s"
            found.append((_gone_s(event) - held_s, text))
    if event.end_s < result.ride.time_s[-1]:
        away_s = event.end_s - _gone_s(event)
        since = "" if faded_s is None else f" {away_s:.1f} s after it was gone"
        found.append((event.end_s, f"back{since}"))
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
    panels = [_with_heating(one, event) for one in panels] + _cells(event, result)
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


def _with_heating(panel: Panel, event: Event) -> Panel:
    """The mean that heats a management system, where its heat is a candidate."""
    mean = event.measure("heating_current_a")
    told = any(one.cause == "bms_overheat" and one.evidence for one in event.causes)
    if mean is None or not told or not panel.title.startswith("Pack current"):
        return panel
    level = (mean, "heating mean of the minutes before", "@c4")
    return Panel(panel.title, panel.unit, panel.lines, [*panel.levels, level])


def _cells(event: Event, result: RideResult) -> list[Panel]:
    """The lowest and highest cell, or their mean, where a cell is a candidate."""
    told = {one.cause for one in event.causes if one.evidence}
    words = [w for w in ("low", "high") if f"cell_{w}_voltage" in told]
    if not words:
        return []
    ride, bms = result.ride, result.setup.bms
    panel = Panel("Cells", "V")
    for channel, name, colour in (
        ("cell_min_v", "lowest", "@c1"),
        ("cell_max_v", "highest", "@c2"),
    ):
        values = ride.get(channel)
        if values is not None:
            panel.lines.append(Line(name, values, colour))
    if not panel.lines:
        return []
    levels = ((bms.cell_low_v, "BMS opens, low"), (bms.cell_high_v, "BMS opens, high"))
    panel.levels += [(v, name, "@act") for v, name in levels if v is not None]
    return [panel]


def _limits_used(result: RideResult) -> Panel:
    """How much of each limit was used: at 100 % it is reached."""
    panel = Panel("Used of each limit", "%", levels=[(100.0, "reached", "@act")])
    for one, (colour, dash) in zip(limits_used(result), USE_STYLES, strict=False):
        shown = np.clip(100 * one.share, 0.0, SHOWN_BELOW_PCT)
        panel.lines.append(Line(one.name, np.asarray(shown, np.float64), colour, dash))
    return panel

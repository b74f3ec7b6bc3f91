"""A ride's result as the page shows it: all text final, tables as rows, figures as data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analyzer.estimate import Note
from analyzer.ride_analysis import RideResult
from analyzer.words import Severity
from reports.card_view import Card, roadside_card
from reports.climb_figures import Profile, profiles
from reports.closeup_view import CloseUp, closeups
from reports.descents_view import descents_table
from reports.figures import side_against_side, voltage_against_current
from reports.findings_view import FindingView, findings_views, nothing_found
from reports.inputs_view import inputs_sentences, inputs_table
from reports.numbers import (
    day,
    duration,
    fixed,
    quantity,
)
from reports.panels import ride_panels
from reports.ride_tables import (
    climbs_table,
    event_row,
    limits_table,
    pack_table,
    sides_table,
    sides_text,
)
from reports.sentences import (
    VERDICT,
    VERDICT_MEANING,
    capital,
    counted,
    joined,
)
from reports.sources_view import SourceView, file_name, source_views
from reports.tables import Row, Table
from reports.timeline import timeline

MOST_EVENT_ROWS = 150
"""The events table has no more rows than this; the CSV has all. Our choice."""
CLOSER_PLACES = 8
"""So many places of findings are drawn in more detail. Our choice."""


@dataclass(frozen=True, slots=True)
class RideView:
    """Everything on a ride's page."""

    title: str
    when: str
    facts: tuple[tuple[str, str], ...]
    note: str | None
    doubts: tuple[str, ...]
    """What may be wrong with all that is found."""
    findings: tuple[FindingView, ...]
    nothing: str
    """What to say where there is no finding."""
    more_findings: int
    timeline: dict[str, Any] | None
    timeline_text: str
    sides: Table | None
    sides_text: tuple[str, ...]
    sides_figure: dict[str, Any] | None
    pack: Table
    pack_figure: dict[str, Any] | None
    limits: Table
    verdicts: tuple[tuple[str, str], ...]
    climbs: Table
    events: Table
    events_left_out: int
    sources: tuple[SourceView, ...]
    not_checked: Table
    notes: tuple[tuple[str, str], ...]
    setup_file: str
    closeups: tuple[CloseUp, ...]
    card: Card
    profiles: tuple[Profile, ...]
    descents: Table
    inputs: Table
    inputs_text: tuple[str, ...]


def ride_view(result: RideResult) -> RideView:
    """One ride as its page shows it."""
    findings = findings_views(result)
    places = [one.place for one in findings if one.place is not None]
    closer = tuple((one.from_s, one.to_s) for one in places[:CLOSER_PLACES])
    panels = ride_panels(result)
    ranked = sorted(result.events, key=lambda one: (-one.severity.rank, one.start_s))
    shown = sorted(ranked[:MOST_EVENT_ROWS], key=lambda one: one.start_s)
    return RideView(
        title=_title(result),
        when=day(result.ride.start),
        facts=_facts(result),
        note=result.ride.facts.note,
        doubts=result.ride.doubts,
        findings=findings,
        nothing=nothing_found(result),
        more_findings=len(result.findings) - len(findings),
        timeline=timeline(result, panels, closer),
        timeline_text=_timeline_text(result),
        sides=sides_table(result),
        sides_text=sides_text(result),
        sides_figure=side_against_side(result),
        pack=pack_table(result),
        pack_figure=voltage_against_current(result),
        limits=limits_table(result),
        verdicts=tuple(
            (VERDICT[word], text)
            for word, text in VERDICT_MEANING.items()
            if any(one.verdict is word for one in result.limits)
        ),
        climbs=climbs_table(result),
        events=Table(
            "Everything that happened, in order",
            ("When", "What", "How long", "Drives", "Peak", "Limit", "Likeliest cause"),
            tuple(event_row(one, result) for one in shown),
        ).without_empty(),
        events_left_out=len(result.events) - len(shown),
        sources=source_views(result.ride.sources),
        not_checked=Table(
            "What could not be checked, and what it would need",
            ("What", "Missing"),
            tuple(Row((capital(x.what), joined(x.missing))) for x in result.not_checked),
        ),
        notes=tuple(_note(one, result) for one in result.notes),
        setup_file=file_name(result.setup.file),
        closeups=closeups(result, panels),
        card=roadside_card(result),
        profiles=profiles(result),
        descents=descents_table(result),
        inputs=inputs_table(result.inputs),
        inputs_text=inputs_sentences(result.inputs),
    )


def _title(result: RideResult) -> str:
    return capital(result.setup.vehicle.name or "a ride")


def _facts(result: RideResult) -> tuple[tuple[str, str], ...]:
    totals, pack = result.totals, result.pack
    rows: list[tuple[str, str | None]] = [
        ("Duration", duration(totals.duration_s)),
        ("Distance", _known(totals.distance_m, "m")),
        ("Energy out", _known(totals.energy_out_wh, "wh")),
        ("Energy back", _known(totals.energy_back_wh, "wh")),
        ("Charge out", _known(totals.charge_out_ah, "ah")),
    ]
    start, end = pack.state_of_charge_start_pct, pack.state_of_charge_end_pct
    if start is not None and end is not None:
        rows.append(("Pack", f"{fixed(start.value, 0)} → {fixed(end.value, 0)} %"))
    if pack.temperature_c is not None:
        rows.append(("Pack temperature", quantity(pack.temperature_c, "c")))
    return tuple((name, text) for name, text in rows if text is not None)


def _known(value: float | None, suffix: str) -> str | None:
    return None if value is None else quantity(value, suffix)


def _timeline_text(result: RideResult) -> str:
    if not result.events:
        return "No event was found."
    words = {Severity.ACT: "to act on", Severity.WATCH: "to watch", Severity.NOTE: "to note"}
    numbers = {word: sum(event.severity is word for event in result.events) for word in words}
    counts = [f"{number} {words[word]}" for word, number in numbers.items() if number]
    told = f"{counted(len(result.events), 'event')}: {joined(counts)}"
    return f"{told}. Marks: ■ to act on, ◆ to watch, ○ to note. The events table has them in words."


def _note(one: Note, result: RideResult) -> tuple[str, str]:
    text = one.text
    for source in result.ride.sources:
        text = text.replace(source.file, file_name(source.file))
    text = text.strip()
    # Not capitalised: a note may begin with a file's name.
    return one.about, text if text.endswith((".", "!", "?")) else f"{text}."

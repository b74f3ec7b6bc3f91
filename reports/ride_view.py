"""A ride's result as the page shows it: all text final, tables as rows, figures as data."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from analyzer.balance import InForce
from analyzer.climbs import Climb
from analyzer.estimate import Note
from analyzer.events import Event
from analyzer.limits import LimitCheck, Tried
from analyzer.ride_analysis import RideResult
from analyzer.words import Severity
from reports.card_view import Card, roadside_card
from reports.climb_figures import Profile, profiles
from reports.closeup_view import CloseUp, closeups
from reports.figures import side_against_side, voltage_against_current
from reports.findings_view import FindingView, findings_views, place_between
from reports.headlines import peak_against_limit, quantity_of
from reports.numbers import (
    UNKNOWN,
    as_given,
    beside,
    chance,
    day,
    duration,
    estimate,
    estimate_parts,
    fixed,
    quantity,
    unit_suffix,
)
from reports.sentences import (
    BALANCE,
    GOVERNOR,
    KIND,
    PACK,
    ROLE,
    VERDICT,
    VERDICT_MEANING,
    VERDICT_SEVERITY,
    capital,
    cause_name,
    joined,
    limit_name,
    sentence,
)
from reports.sources_view import SourceView, file_name, source_views
from reports.tables import Row, Table
from reports.timeline import ride_panels, timeline

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
    findings: tuple[FindingView, ...]
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
        findings=findings,
        more_findings=len(result.findings) - len(findings),
        timeline=timeline(result, panels, closer),
        timeline_text=_timeline_text(result),
        sides=_sides(result),
        sides_text=_sides_text(result),
        sides_figure=side_against_side(result),
        pack=_pack(result),
        pack_figure=voltage_against_current(result),
        limits=_limits(result),
        verdicts=tuple((VERDICT[word], text) for word, text in VERDICT_MEANING.items()),
        climbs=_climbs(result),
        events=Table(
            "Everything that happened, in order",
            ("When", "What", "How long", "Drives", "Peak", "Limit", "Likeliest cause"),
            tuple(_event_row(one, result) for one in shown),
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
    counts = [
        f"{sum(event.severity is word for event in result.events)} {word.value}"
        for word in (Severity.ACT, Severity.WATCH, Severity.NOTE)
    ]
    return f"{len(result.events)} events: {joined(counts)}. All of them stand in the events table."


def _sides(result: RideResult) -> Table | None:
    """What each drive carried and where it saturates."""
    balance = result.balance
    shares = {} if balance is None else {one.drive: one for one in balance.shares}
    rows = []
    for held in result.in_force:
        share = shares.get(held.drive)
        cells = [held.drive]
        if balance is not None:
            cells += [
                estimate(share.drive_pct if share else None, "pct"),
                estimate(share.brake_pct if share else None, "pct"),
            ]
        cells += [_saturates(held, name, result) for name in _CURRENTS]
        rows.append(Row(tuple(cells)))
    if not rows:
        return None
    heads = ["Drive"]
    if balance is not None:
        heads += ["Share driving", "Share braking"]
    heads += [
        "Saturates at, battery",
        "… motor current",
        "… battery, braking",
        "… motor, braking",
    ]
    table = Table(
        "What each drive carries, and where it really saturates", tuple(heads), tuple(rows)
    ).without_empty()
    return table if len(table.heads) > 1 else None


_CURRENTS = ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a")


def _saturates(held: InForce, name: str, result: RideResult) -> str:
    seen = getattr(held, name)
    value = getattr(result.setup.drive(held.drive), name)
    given = "" if value is None else f", {as_given(value)} A set"
    if seen is None and not given:
        return "–"
    return f"{'never' if seen is None else estimate(seen, 'a')}{given}"


def _sides_text(result: RideResult) -> tuple[str, ...]:
    balance = result.balance
    if balance is None:
        return ("One drive: there are no sides to compare.",)
    texts = [BALANCE[balance.verdict]]
    if balance.speed_ratio is not None:
        first, second = result.setup.drive_names[:2]
        ratio = estimate_parts(balance.speed_ratio, "")
        texts.append(
            f"Rolling straight, {first} turns {ratio[0]} times as fast as {second} ({ratio[1]})."
        )
    for one in balance.causes[:3]:
        if one.cause != "unknown":
            text = f"{cause_name(one.cause)}, {chance(one.probability)}: {' '.join(one.evidence)}"
            texts.append(sentence(text))
    return tuple(texts)


def _pack(result: RideResult) -> Table:
    rows = []
    for name, label, suffix in PACK:
        one = getattr(result.pack, name)
        if one is None:
            rows.append(Row((label, UNKNOWN, _why(result, f"pack.{name}"))))
        else:
            value, interval, unit = estimate_parts(one, suffix)
            rows.append(Row((label, f"{value} {unit}", interval)))
    return Table(
        "What this ride says of the pack", ("Quantity", "Value", "95 % interval"), tuple(rows)
    )


def _why(result: RideResult, about: str) -> str:
    exact = [one.text for one in result.notes if one.about == about]
    return exact[0] if exact else ""


def _limits(result: RideResult) -> Table:
    """The limits; conditions that all verdicts share are told once, in the caption."""
    caption = "Each limit of the setup against the most this ride asked of it"
    heads: tuple[str, ...] = (
        "Limit",
        "Role",
        "Set",
        "Most in 1 s",
        "in 10 s",
        "in 60 s",
        "Verdict",
        "Tried at",
    )
    rows = tuple(_limit_row(one, result) for one in result.limits)
    conditions = {row.cells[-1] for row in rows}
    if len(conditions) == 1:
        caption = f"{caption}, at {conditions.pop()}"
        heads = heads[:-1]
        rows = tuple(replace(row, cells=row.cells[:-1]) for row in rows)
    return Table(caption, heads, rows)


def _limit_row(one: LimitCheck, result: RideResult) -> Row:
    suffix = unit_suffix(one.limit)
    seen, value = UNKNOWN, beside(one.set, one.set, suffix)[1]
    if one.seen is not None:
        seen, value = beside(one.seen, one.set, suffix)
        seen = f"at least {seen}" if one.at_least else seen
    verdict = capital(VERDICT[one.verdict])
    if one.text:
        verdict = f"{verdict}. {sentence(one.text)}"
    place = None
    if one.at_s is not None:
        place = place_between(one.at_s - one.window_s, one.at_s, result)
    cells = (
        capital(limit_name(one.limit)),
        ROLE[one.role],
        value,
        seen,
        _window(one.seen_10s, suffix),
        _window(one.seen_60s, suffix),
        verdict,
        tried_text(one.tried),
    )
    return Row(cells, VERDICT_SEVERITY.get(one.verdict), place)


def _window(value: float | None, suffix: str) -> str:
    return "–" if value is None else beside(value, value, suffix)[0]


def tried_text(tried: Tried) -> str:
    """The conditions a verdict was earned under, in one line."""
    parts = []
    for span, unit in ((tried.charge_pct, "%"), (tried.pack_temp_c, "°C"), (tried.mass_kg, "kg")):
        if span is not None:
            low, high = fixed(span[0], 0), fixed(span[1], 0)
            parts.append(f"{low} {unit}" if low == high else f"{low} to {high} {unit}")
    if tried.climbs:
        parts.append(f"{tried.climbs} {'climb' if tried.climbs == 1 else 'climbs'}")
    return ", ".join(parts) or "conditions not known"


def _climbs(result: RideResult) -> Table:
    heads = (
        "Climb",
        "Length",
        "Gain",
        "Grade",
        "Peak and mean current",
        "Lowest voltage",
        "Above derate",
        "Hottest motor",
        "Governed by",
    )
    rows = tuple(_climb_row(one, result) for one in result.climbs)
    return Table("The climbs of this ride and what they asked", heads, rows).without_empty()


def _climb_row(one: Climb, result: RideResult) -> Row:
    place = place_between(one.start_s, one.end_s, result)
    temps = [(name, value) for name, value in one.top_motor_temp_c if value is not None]
    hottest = max(temps, key=lambda pair: pair[1], default=None)
    source = "" if one.grade_source.value == "altitude" else ", estimated without height"
    governed = "; ".join(
        f"{held.drive}: "
        + ", ".join(f"{GOVERNOR[word]} {fixed(pct, 0)} %" for word, pct in held.parts if pct >= 1)
        for held in one.governed
    )
    cells = (
        one.hill or place.text,
        quantity(one.length_m, "m"),
        quantity(one.gain_m, "m"),
        estimate(one.grade_pct, "pct") + source,
        f"{quantity(one.peak_pack_current_a, 'a')}, {quantity(one.mean_pack_current_a, 'a')}",
        quantity(one.min_voltage_v, "v"),
        quantity(one.margin_to_derate_v, "v"),
        "–" if hottest is None else f"{quantity(hottest[1], 'c')} ({hottest[0]})",
        governed or "–",
    )
    return Row(cells, None, place)


def _event_row(one: Event, result: RideResult) -> Row:
    numbers = peak_against_limit(one)
    peak, limit = numbers or (quantity_of(one) or "–", "–")
    if one.limit is not None:
        limit = f"{capital(limit_name(one.limit.name))}" + (f" {limit}" if limit != "–" else "")
    cause = "–"
    if one.causes:
        first = one.causes[0]
        cause = f"{capital(cause_name(first.cause))}, {chance(first.probability)}"
    place = place_between(one.start_s, one.end_s, result)
    drives = joined(one.drives) or "–"
    cells = (
        place.text,
        KIND[one.kind],
        duration(one.end_s - one.start_s),
        drives,
        peak,
        limit,
        cause,
    )
    return Row(cells, one.severity, place)


def _note(one: Note, result: RideResult) -> tuple[str, str]:
    text = one.text
    for source in result.ride.sources:
        text = text.replace(source.file, file_name(source.file))
    text = text.strip()
    # Not capitalised: a note may begin with a file's name.
    return one.about, text if text.endswith((".", "!", "?")) else f"{text}."

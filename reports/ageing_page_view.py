"""How a pack has aged, as its page shows it: the answer, then plots, then every ride."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from analyzer.ageing_result import AgeingResult, RideUse
from analyzer.estimate import Estimate
from analyzer.summary import RideSummary, Triple
from reports.ageing_figures import ageing_figures
from reports.ageing_view import HEALTH, Paragraph, headline, paragraphs
from reports.numbers import day, estimate, fixed, quantity
from reports.sentences import capital
from reports.stacked import Figure
from reports.tables import Row, Table

MOST_RIDES = 1500
"""The table of rides has no more rows than this, the newest; the JSON has all. Our choice."""
MOST_UNFOLDED = 40
"""A longer table of rides is folded away: on a phone it is a long way down. Our choice."""


@dataclass(frozen=True, slots=True)
class AgeingPageView:
    """Everything on the ageing page."""

    title: str
    facts: tuple[tuple[str, str], ...]
    headline: str
    paragraphs: tuple[Paragraph, ...]
    figures: dict[str, Figure]
    health: Table
    rides: Table
    rides_left_out: int
    folded: bool
    """Whether the table of rides is long enough to be folded away."""
    anchors: tuple[str, ...]
    """Element ids of the table's rows, in its order."""


def ageing_page_view(result: AgeingResult) -> AgeingPageView:
    """The ageing of one pack as a page."""
    shown = result.per_ride[-MOST_RIDES:]
    anchors = {one.kept.name: f"ride-{place + 1}" for place, one in enumerate(shown)}
    columns = _columns(shown)
    pack, vehicle = result.setup.pack.name, result.setup.vehicle.name
    return AgeingPageView(
        title=capital(pack or vehicle or "the pack"),
        facts=_facts(result),
        headline=headline(result),
        paragraphs=tuple(paragraphs(result)),
        figures=ageing_figures(result, anchors),
        health=_health(result),
        rides=Table(
            "Every ride and charge, what each tells by itself, and whether the courses rest on it",
            tuple(name for name, _ in columns),
            tuple(Row(tuple(cell(one) for _, cell in columns)) for one in shown),
        ),
        rides_left_out=len(result.per_ride) - len(shown),
        folded=len(shown) > MOST_UNFOLDED,
        anchors=tuple(anchors.values()),
    )


def _facts(result: AgeingResult) -> tuple[tuple[str, str], ...]:
    use = result.use
    rows = [
        ("Rides and charges", fixed(result.rides, 0)),
        ("Of them used", fixed(result.rides_used, 0)),
        ("Span", f"{fixed(result.span_days, 0)} days"),
        ("Full cycles", fixed(use.equivalent_full_cycles, 1)),
    ]
    if use.distance_km is not None:
        rows.insert(3, ("Distance", quantity(use.distance_km, "km", decimals=0)))
    if result.usable_ah is not None:
        rows.append(("Charge from full to your climb", estimate(result.usable_ah, "ah")))
    return tuple(rows)


def _health(result: AgeingResult) -> Table:
    why = {one.about.removeprefix("drive_health."): one.text for one in result.notes}
    rows = []
    for one in result.health:
        name, suffix = HEALTH[one.quantity]
        if one.first is None:
            rows.append(Row((name, "not known", why.get(one.quantity, ""))))
        else:
            rows.append(Row((name, estimate(one.first, suffix), estimate(one.last, suffix))))
    first, last = result.wh_per_km
    if first is None:
        per_km = ("not known", "Fewer than five rides have a distance of a kilometre or more.")
    else:
        per_km = (estimate(first, ""), estimate(last, ""))
    rows.append(Row(("Energy for a kilometre at like speed and warmth, Wh", *per_km)))
    return Table("What else changed on this vehicle", ("Quantity", "At first", "Now"), tuple(rows))


def _triple(one: Triple | None, suffix: str) -> str:
    return "–" if one is None else estimate(Estimate(*one), suffix)


def _columns(shown: Sequence[RideUse]) -> list[tuple[str, Callable[[RideUse], str]]]:
    """Heads and cells of the table of rides; what no ride tells for itself has no column. A ride's
    own numbers are not those of the plots, which know the other rides, too."""
    columns: list[tuple[str, Callable[[RideUse], str]]] = [
        ("Ride", _name),
        ("Began", lambda one: day(one.kept.start)),
        ("Pack temperature", _temperature),
    ]
    own: tuple[tuple[str, Callable[[RideSummary], Triple | None], str], ...] = (
        ("Resistance at 25 °C", lambda one: one.resistance_10s_25c_ohm, "ohm"),
        ("Capacity", lambda one: one.capacity_ah, "ah"),
    )
    for name, of, suffix in own:
        if any(of(one.kept.summary) is not None for one in shown):
            columns.append((name, partial(_own, of, suffix)))
    return [*columns, ("Used", _used)]


def _name(one: RideUse) -> str:
    return one.kept.name + (" (charge)" if one.kept.summary.kind == "charge" else "")


def _temperature(one: RideUse) -> str:
    own = one.kept.summary
    assumed = own.temperature_c is not None and not own.temperature_logged
    return quantity(own.temperature_c, "c") + (", assumed" if assumed else "")


def _own(of: Callable[[RideSummary], Triple | None], suffix: str, one: RideUse) -> str:
    return _triple(of(one.kept.summary), suffix)


def _used(one: RideUse) -> str:
    return "yes" if one.used else f"no: {one.why_not}" if one.why_not else "no"

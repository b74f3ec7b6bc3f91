"""Limits over one ride or many, as their page shows them: verdicts, climbs, the next ride."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analyzer.limits_merge import HARDEST, LimitsResult, MergedLimit, RideClimb
from analyzer.ride_analysis import RideResult
from analyzer.words import Severity
from reports.climb_figures import Profile, climbs_figure, profiles
from reports.descents_view import many_descents
from reports.inputs_view import inputs_sentences, inputs_table
from reports.limits_view import answer, closest_text, summary
from reports.numbers import beside, estimate, fixed, quantity, unit_suffix
from reports.restated_view import restated_table
from reports.ride_tables import tried_text
from reports.sentences import (
    ROLE,
    VERDICT,
    VERDICT_MEANING,
    VERDICT_SEVERITY,
    capital,
    counted,
    joined,
    limit_name,
    sentence,
)
from reports.stacked import Figure
from reports.tables import Row, Table

MOST_CLIMBS = 300
"""The table and plot of climbs have no more than this, the newest; the JSON has all. Our choice."""
MOST_TOUCHED = 3
"""So many limits touched are named a climb. Our choice."""
MOST_PROFILES = 6
"""So many climbs are drawn over their way. Our choice."""


@dataclass(frozen=True, slots=True)
class LimitsPageView:
    """Everything on the limits page."""

    title: str
    facts: tuple[tuple[str, str], ...]
    answer: str
    summary: str
    next_ride: tuple[str, ...]
    worst: str
    limits: Table
    verdicts: tuple[tuple[str, str], ...]
    climbs: Table
    climbs_left_out: int
    restated: Table
    restated_notes: tuple[str, ...]
    closest: Table
    in_force: tuple[str, ...]
    descents: Table
    descents_left_out: int
    inputs: Table
    inputs_text: tuple[str, ...]
    figure: Figure | None
    profiles: tuple[Profile, ...]
    not_checked: Table


def limits_page_view(
    result: LimitsResult, rides: Sequence[tuple[str, RideResult]] = ()
) -> LimitsPageView:
    """Limits as a page; `rides` are the results themselves where they are at hand, for profiles."""
    order = sorted(result.limits, key=lambda one: -HARDEST.index(one.check.verdict))
    shown = result.climbs[-MOST_CLIMBS:]
    down = result.descents[-MOST_CLIMBS:]
    many = len(result.rides) > 1
    newest = result.inputs[-1][1] if result.inputs else None
    return LimitsPageView(
        title=capital(result.setup.vehicle.name or result.setup.pack.name or "the build"),
        facts=(
            ("Rides", fixed(len(result.rides), 0)),
            ("Climbs", fixed(len(result.climbs), 0)),
            ("Descents", fixed(len(result.descents), 0)),
            ("Limits judged", fixed(len(result.limits), 0)),
        ),
        answer=answer(result),
        summary=summary(result),
        next_ride=result.next_ride,
        worst=_worst(result),
        limits=_limits(order, many=many),
        verdicts=tuple((VERDICT[word], text) for word, text in VERDICT_MEANING.items()),
        climbs=_climbs(shown, many=many),
        climbs_left_out=len(result.climbs) - len(shown),
        restated=restated_table(order, result.restated),
        restated_notes=tuple(one.text for one in result.restated.notes),
        closest=_closest(result, many=many),
        in_force=tuple(one.text for one in result.in_force),
        descents=many_descents([(one.ride, one.descent) for one in down], many=many),
        descents_left_out=len(result.descents) - len(down),
        inputs=inputs_table(newest),
        inputs_text=inputs_sentences(newest),
        figure=climbs_figure([one.climb for one in shown], result.setup),
        profiles=_profiles(rides),
        not_checked=Table(
            "What could not be checked, and what it would need",
            ("What", "Missing"),
            tuple(Row((capital(one.what), joined(one.missing))) for one in result.not_checked),
        ),
    )


def _worst(result: LimitsResult) -> str:
    """The worst to come, or why nothing is said of it."""
    worst = result.worst_ahead
    if worst is not None:
        return (
            f"Of the next {worst.ahead} climbs like these, the highest current to expect is "
            f"{estimate(worst.current_a, 'a')}: peaks over threshold on {worst.climbs} climbs."
        )
    peaks = [one.climb.peak_pack_current_a for one in result.climbs]
    known = [peak for peak in peaks if peak is not None]
    if not known:
        return ""
    own = result.climbs_as_set
    few = (
        f"{counted(len(known), 'climb')} are"
        if own == len(result.climbs)
        else f"{own} of {counted(len(known), 'climb')} were under the limits as they are set now:"
    )
    return (
        f"The highest current on a climb so far is {quantity(max(known), 'a')}; "
        f"{few} too few to say what the worst to come may be."
        if len(known) > 1
        else f"The highest current on a climb so far is {quantity(max(known), 'a')}, on one climb."
    )


def _limits(order: Sequence[MergedLimit], *, many: bool) -> Table:
    heads: tuple[str, ...] = (
        "Limit",
        "Role",
        "Set",
        "Most in 1 s",
        "in 10 s",
        "in 60 s",
        "Verdict",
        "Seen on",
        "Tried at",
    )
    rows = tuple(_limit_row(one, many=many) for one in order)
    caption = "Each limit against the most that any ride with this setting asked of it"
    conditions = {row.cells[-1] for row in rows}
    if len(conditions) == 1:
        caption = f"{caption}, at {conditions.pop()}"
        heads = heads[:-1]
        rows = tuple(replace(row, cells=row.cells[:-1]) for row in rows)
    return Table(caption, heads, rows).without_empty()


def _limit_row(one: MergedLimit, *, many: bool) -> Row:
    check = one.check
    suffix = unit_suffix(check.limit)

    def seen(value: float | None) -> str:
        return "–" if value is None else beside(value, check.set, suffix)[0]

    verdict = capital(VERDICT[check.verdict])
    if check.text:
        verdict = f"{verdict}. {sentence(check.text)}"
    where = one.where or "–"
    if many:
        where = f"{one.ride}{f', {one.where}' if one.where else ''}"
        where = f"{where}; exercised on {one.rides_exercised} of {one.rides}"
    least = "at least " if check.at_least and check.seen is not None else ""
    cells = (
        capital(limit_name(check.limit)),
        ROLE[check.role],
        beside(check.set, check.set, suffix)[1],
        least + seen(check.seen),
        seen(check.seen_10s),
        seen(check.seen_60s),
        verdict,
        where,
        tried_text(check.tried),
    )
    return Row(cells, VERDICT_SEVERITY.get(check.verdict))


def _closest(result: LimitsResult, *, many: bool) -> Table:
    """Each protection at its nearest, with the ride and the climb."""
    heads = ("Protection", "Acts at", "Closest", "How near", "Ride", "Where")
    rows = []
    for one in result.closest:
        suffix = unit_suffix(one.limit)
        cells = (
            capital(limit_name(one.limit)),
            quantity(one.set, suffix),
            "–" if one.seen is None else beside(one.seen, one.set, suffix)[0],
            capital(closest_text(one)),
            one.ride if many else "–",
            capital(one.where or "between climbs and descents"),
        )
        rows.append(Row(cells, Severity.ACT if one.acted else None))
    caption = "The closest that each protection came to acting"
    return Table(caption, heads, tuple(rows)).without_empty()


def _climbs(climbs: Sequence[RideClimb], *, many: bool) -> Table:
    heads = (
        "Climb",
        "Ride",
        "Length",
        "Gain",
        "Grade",
        "Peak and mean current",
        "Lowest voltage",
        "Above derate",
        "Limits touched",
    )
    rows = tuple(_climb_row(place + 1, one, many=many) for place, one in enumerate(climbs))
    return Table("Every climb, as numbered in the plot", heads, rows).without_empty()


def _climb_row(place: int, one: RideClimb, *, many: bool) -> Row:
    climb = one.climb
    touched = [limit_name(key) for key in climb.limits_touched[:MOST_TOUCHED]]
    more = len(climb.limits_touched) - len(touched)
    if more > 0:
        touched.append(f"{more} more")
    peak, mean = climb.peak_pack_current_a, climb.mean_pack_current_a
    cells = (
        f"{place}{f': {climb.hill}' if climb.hill else ''}",
        one.ride if many else "–",
        quantity(climb.length_m, "m"),
        quantity(climb.gain_m, "m"),
        estimate(climb.grade_pct, "pct"),
        "–" if peak is None else f"{quantity(peak, 'a')}, {quantity(mean, 'a')}",
        "–" if climb.min_voltage_v is None else quantity(climb.min_voltage_v, "v"),
        "–" if climb.margin_to_derate_v is None else quantity(climb.margin_to_derate_v, "v"),
        capital(joined(touched)) or "–",
    )
    return Row(cells)


def _profiles(rides: Sequence[tuple[str, RideResult]]) -> tuple[Profile, ...]:
    """The highest climbs of the newest rides, at most so many."""
    made: list[Profile] = []
    for place, (_, result) in reversed(list(enumerate(rides))):
        made += profiles(result, f"ride-{place + 1}-climb")
        if len(made) >= MOST_PROFILES:
            break
    return tuple(made[:MOST_PROFILES])

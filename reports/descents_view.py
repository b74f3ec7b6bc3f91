"""The descents and what braking on them asked: table rows and sentences."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.descents import BrakeGovernor, Descent
from analyzer.ride_analysis import RideResult
from reports.findings_view import place_between
from reports.numbers import estimate, fixed, quantity
from reports.sentences import capital, joined, limit_name
from reports.tables import Row, Table

BRAKE_GOVERNOR = {
    BrakeGovernor.RIDER: "rider",
    BrakeGovernor.BATTERY_LIMIT: "battery limit",
    BrakeGovernor.PHASE_LIMIT: "motor-current limit",
    BrakeGovernor.OVERVOLTAGE: "overvoltage line or full pack",
}
HEADS = (
    "Descent",
    "Ride",
    "Length",
    "Drop",
    "Grade",
    "Charge",
    "Braking current, each drive",
    "Together",
    "Highest voltage",
    "Below full",
    "Braking governed by",
    "Limits touched",
)
MOST_TOUCHED = 3
"""So many limits touched are named a descent. Our choice."""


def descents_table(result: RideResult) -> Table:
    """The descents of one ride."""
    rows = []
    for one in result.descents:
        place = place_between(one.start_s, one.end_s, result)
        cells = (one.hill or place.text, "–", *descent_cells(one))
        rows.append(Row(cells, None, place))
    caption = "The descents of this ride and what braking on them asked"
    return Table(caption, HEADS, tuple(rows)).without_empty()


def many_descents(descents: Sequence[tuple[str, Descent]], *, many: bool) -> Table:
    """Descents of several rides, numbered in the order ridden."""
    rows = tuple(
        Row((f"{k}{f': {one.hill}' if one.hill else ''}", ride if many else "–",
             *descent_cells(one)))
        for k, (ride, one) in enumerate(descents, 1)
    )  # fmt: skip
    return Table("Every descent and what braking on it asked", HEADS, rows).without_empty()


def descent_cells(one: Descent) -> tuple[str, ...]:
    """All but the name and the ride."""
    source = "" if one.grade_source.value == "altitude" else ", estimated without height"
    each = [f"{name} {quantity(a, 'a')}" for name, a in one.braking_a if a is not None]
    touched = [limit_name(key) for key in one.limits_touched[:MOST_TOUCHED]]
    if len(one.limits_touched) > MOST_TOUCHED:
        touched.append(f"{len(one.limits_touched) - MOST_TOUCHED} more")
    return (
        quantity(one.length_m, "m"),
        quantity(one.drop_m, "m"),
        estimate(one.grade_pct, "pct") + source,
        _charge(one.charge_pct),
        ", ".join(each) or "–",
        "–" if one.braking_together_a is None else quantity(one.braking_together_a, "a"),
        "–" if one.max_voltage_v is None else quantity(one.max_voltage_v, "v"),
        "–" if one.margin_to_full_v is None else quantity(one.margin_to_full_v, "v"),
        _governed(one),
        capital(joined(touched)) or "–",
    )


def _charge(span: tuple[float, float] | None) -> str:
    if span is None:
        return "–"
    top, foot = fixed(span[0], 0), fixed(span[1], 0)
    return f"{top} %" if top == foot else f"{top} → {foot} %"


def _governed(one: Descent) -> str:
    told = []
    for drive in one.governed:
        parts = [
            f"{BRAKE_GOVERNOR[word]} {fixed(pct, 0)} %" for word, pct in drive.parts if pct >= 1
        ]
        told.append(f"{drive.drive}: {', '.join(parts) or 'did not brake'}")
    return "; ".join(told) or "–"


def descent_sentence(one: Descent) -> str:
    """One descent as a sentence, for notes."""
    cells = dict(zip(HEADS[2:], descent_cells(one), strict=True))
    parts = [f"{cells['Drop']} down in {cells['Length']}, {cells['Grade']}"]
    for head, word in (
        ("Charge", "charge"),
        ("Braking current, each drive", "braking current"),
        ("Together", "together"),
        ("Highest voltage", "highest voltage"),
        ("Braking governed by", "governed by"),
        ("Limits touched", "limits touched:"),
    ):
        if cells[head] != "–":
            parts.append(f"{word} {cells[head]}")
    text = "; ".join(parts)
    return f"{one.hill}: {text}." if one.hill else f"{text}."

"""The tables of a ride's page: sides, pack, limits, climbs, events."""

from __future__ import annotations

from dataclasses import replace

from analyzer.balance import CURRENT_LIMITS, InForce
from analyzer.climbs import Climb
from analyzer.events import Event
from analyzer.limits import LimitCheck, Tried
from analyzer.ride_analysis import RideResult
from reports.findings_view import place_between
from reports.headlines import peak_against_limit, quantity_of
from reports.numbers import (
    UNKNOWN,
    as_given,
    beside,
    chance,
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
    VERDICT_SEVERITY,
    capital,
    cause_name,
    joined,
    limit_name,
    sentence,
)
from reports.tables import Row, Table


def sides_table(result: RideResult) -> Table | None:
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
        cells += [_saturates(held, name, result) for name in CURRENT_LIMITS]
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


def _saturates(held: InForce, name: str, result: RideResult) -> str:
    seen = getattr(held, name)
    value = getattr(result.setup.drive(held.drive), name)
    given = "" if value is None else f", {as_given(value)} A set"
    if seen is None and not given:
        return "–"
    return f"{'never' if seen is None else estimate(seen, 'a')}{given}"


def sides_text(result: RideResult) -> tuple[str, ...]:
    """Whether the sides carry alike, and why not, in sentences."""
    balance = result.balance
    if balance is None:
        return ("One drive: there are no sides to compare.",)
    texts = [BALANCE[balance.verdict]]
    if balance.speed_ratio is not None:
        first, second = result.setup.drive_names[:2]
        ratio = estimate_parts(balance.speed_ratio, "")
        low, high = balance.speed_ratio.low, balance.speed_ratio.high
        alike = low is not None and high is not None and low <= 1.0 <= high
        texts.append(
            f"Rolling straight, {first} turns {ratio[0]} times as fast as {second} ({ratio[1]})"
            f"{': alike' if alike else ''}."
        )
    for one in balance.causes[:3]:
        if one.cause != "unknown":
            text = f"{cause_name(one.cause)}, {chance(one.probability)}: {' '.join(one.evidence)}"
            texts.append(sentence(text))
    return tuple(texts)


def pack_table(result: RideResult) -> Table:
    """What the ride says of the pack; where it says nothing, why."""
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


def limits_table(result: RideResult) -> Table:
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


def climbs_table(result: RideResult) -> Table:
    """The climbs and what they asked."""
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
    governors = [
        (
            held.drive,
            [f"{GOVERNOR[word]} {fixed(pct, 0)} %" for word, pct in held.parts if pct >= 1],
        )
        for held in one.governed
    ]
    governed = "; ".join(f"{drive}: {', '.join(parts)}" for drive, parts in governors if parts)
    cells = (
        one.hill or place.text,
        quantity(one.length_m, "m"),
        quantity(one.gain_m, "m"),
        estimate(one.grade_pct, "pct") + source,
        f"{quantity(one.peak_pack_current_a, 'a')}, {quantity(one.mean_pack_current_a, 'a')}",
        quantity(one.min_voltage_v, "v"),
        "–" if one.margin_to_derate_v is None else quantity(one.margin_to_derate_v, "v"),
        "–" if hottest is None else f"{quantity(hottest[1], 'c')} ({hottest[0]})",
        governed or "–",
    )
    return Row(cells, None, place)


def event_row(one: Event, result: RideResult) -> Row:
    """One event: when, what, how long, its peak against its limit, its likeliest cause."""
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

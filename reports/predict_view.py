"""A hill not ridden yet, as its page shows it: will it work, how near each limit, up to what."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyzer.hill_ahead import HillAhead
from analyzer.predict import PredictResult
from analyzer.words import Severity
from reports.json_read import Object, any_text, estimate_text, name_text
from reports.numbers import beside, estimate, percent, quantity, unit_suffix
from reports.predict_figures import shares_figure, way_figure
from reports.predict_json import predict_json
from reports.sentences import capital, joined, limit_name, limit_phrase
from reports.stacked import Figure
from reports.tables import Row, Table

if TYPE_CHECKING:
    from rich.console import Console

WATCH_PCT, ACT_PCT = 5.0, 50.0
"""From these chances that a limit is touched on it is to be watched, and to be acted on [%]. The
first is the contract's for what works; the second our choice: as likely as not."""
LIMITERS = ("phase_drive_a", "phase_brake_a", "battery_drive_a", "battery_brake_a")
"""Settings that are there to govern. The contract's."""
LEAST_W = 0.5
"""Less power than this in a brake is none [W]. Our choice."""
KMH = 3.6


@dataclass(frozen=True, slots=True)
class PredictView:
    """Everything on the page of one hill."""

    title: str
    facts: tuple[tuple[str, str], ...]
    headline: str
    descent: Table
    numbers: Table
    limits: Table
    works: Table
    figure: Figure | None
    way: Figure | None
    """The way of a track; None for a hill of one grade."""
    not_checked: Table
    notes: tuple[tuple[str, str], ...]


def predict_view(ahead: PredictResult) -> PredictView:
    """One hill as texts; numbers are those of the JSON."""
    result: Object = json.loads(predict_json(ahead))
    hill = result["hill"]
    rows = sorted(result["limits"], key=lambda one: -(one["chance_touched_pct"] or 0.0))
    return PredictView(
        title=_title(ahead),
        facts=_facts(ahead, hill),
        headline=_headline(ahead, result, rows),
        descent=_descent(ahead),
        numbers=_numbers(result),
        limits=Table(
            "Each limit: the most expected in any second, the chance that 95 % of it is reached",
            ("Limit", "Set", "Expected at most", "Chance touched"),
            tuple(_limit_row(one, ahead.draws) for one in rows),
        ),
        works=_works(ahead.hill, result["works_up_to"]),
        figure=shares_figure(rows),
        way=way_figure(ahead.hill, result["power_first_reduced_at_m"]),
        not_checked=Table(
            "What could not be checked, and what it would need",
            ("What", "Missing"),
            tuple(Row((capital(x["what"]), joined(x["missing"]))) for x in result["not_checked"]),
        ),
        notes=tuple((one["about"], one["text"]) for one in result["notes"]),
    )


def _title(ahead: PredictResult) -> str:
    if ahead.hill.climbs and ahead.hill.descends:
        return "A way up and down not ridden yet"
    return "A descent not ridden yet" if ahead.hill.descends else "A hill not ridden yet"


def _facts(ahead: PredictResult, hill: Object) -> tuple[tuple[str, str], ...]:
    """What was asked. The mean grade of a track that goes up and down says nothing of its hills."""
    way = ahead.hill
    steep = [("Grade", _fact(hill["grade_pct"], "pct"))]
    if way.is_track:
        steep = [
            ("Track", way.name or ""),
            ("Climbs", _fact(way.rise_m, "m") if way.climbs else ""),
            ("Descends", _fact(way.fall_m, "m") if way.descends else ""),
            ("Mean grade", "" if way.climbs and way.descends else steep[0][1]),
        ]
    rows = [
        *steep,
        ("Length", _fact(hill["length_m"], "m")),
        ("Charge where it begins", _fact(hill["charge_pct"], "pct")),
        ("Temperature", _fact(hill["temp_c"], "c")),
        ("Speed where it begins", _speed(hill["speed_mps"])),
        ("Mass", _fact(hill["mass_kg"], "kg")),
    ]
    return tuple((name, text) for name, text in rows if text)


def _fact(value: float | None, suffix: str) -> str:
    return "" if value is None else quantity(value, suffix)


def _speed(value: float | None) -> str:
    return "" if value is None else quantity(KMH * value, "kmh")


def _kmh(one: Object | None) -> Object | None:
    if one is None:
        return None
    return {key: None if value is None else KMH * value for key, value in one.items()}


def _headline(ahead: PredictResult, result: Object, rows: list[Object]) -> str:
    """Whether it works, and what stands in the way first."""
    # A limiter that governs is at work; what must not be reached is what stands in the way.
    touched = [
        one
        for one in rows
        if (one["chance_touched_pct"] or 0.0) >= WATCH_PCT and not _governs(one["limit"])
    ]
    reduced = drawn_chance(ahead.chance_reduced_pct, ahead.draws)
    full = _too_full(ahead)
    if full:
        text = full
    elif ahead.chance_top_pct < 100.0 - WATCH_PCT:
        top = drawn_chance(ahead.chance_top_pct, ahead.draws)
        text = f"The end is reached with a chance of {top} only; power is reduced: {reduced}."
    elif ahead.chance_reduced_pct >= WATCH_PCT:
        at = estimate_text(result["power_first_reduced_at_m"], "m")
        text = f"Power is reduced on the way with a chance of {reduced}, first at {at}."
    else:
        text = "As far as these rides tell, it works: power is not expected to be reduced."
    if touched:
        first = touched[0]
        chance = drawn_chance(first["chance_touched_pct"], ahead.draws)
        text = (
            f"{text} {capital(limit_phrase(first['limit']))} is touched with a chance of {chance}."
        )
    return text


def _too_full(ahead: PredictResult) -> str:
    """That a descent is begun with too much charge, and how far the pack would rise; else empty."""
    down, charge = ahead.descent, ahead.hill.charge_pct
    if down is None or down.leave_home_below_pct is None or charge is None:
        return ""
    leave = down.leave_home_below_pct.value
    if charge <= leave:
        return ""
    text = f"Begin this descent with {leave:.0f} % charge or less: from {charge:.0f} % "
    seen, full = ahead.highest_voltage_v, ahead.setup.full_v
    if seen is not None and seen.value > full:
        top, line = beside(seen.value, full, "v")
        return f"{text}motor braking lifts the pack to about {top}, above the {line} that are full."
    return f"{text}motor braking may touch a limit."


def _governs(key: str) -> bool:
    return key.startswith("drives.") and key.endswith(LIMITERS)


def _descent(ahead: PredictResult) -> Table:
    """What going down asks of motors, pack and mechanical brake; empty for a climb."""
    down = ahead.descent
    rows: list[tuple[str, str]] = []
    if down is not None:
        rows = [
            (f"Braking of {drive} at most", estimate(one, "a")) for drive, one in down.braking_a
        ]
        rows.append(("Braking of all together at most", estimate(down.braking_together_a, "a")))
        if down.leave_home_below_pct is not None:
            leave = estimate(down.leave_home_below_pct, "pct")
            rows.append(("Start with no more charge than", leave))
        most, in_all = down.mechanical_peak_w, down.mechanical_wh
        if (most.value if most.high is None else most.high) < LEAST_W:
            rows.append(("Mechanical brake", "nothing while the motors brake, else all of it"))
        else:
            rows.append(("Mechanical brake, at most", estimate(most, "w")))
            rows.append(("Mechanical brake, in all", estimate(in_all, "wh")))
    return Table("What going down asks", ("Quantity", "Expected"), _rows(rows))


def _numbers(result: Object) -> Table:
    rows = [
        ("Speed at the end", estimate_text(_kmh(result["speed_mps"]), "kmh")),
        ("Power first reduced", _reduced(result["power_first_reduced_at_m"])),
        ("Lowest voltage", estimate_text(result["lowest_voltage_v"], "v")),
        ("Highest voltage", estimate_text(result["highest_voltage_v"], "v")),
        _charge(result["charge_used_ah"]),
        ("Hotter motor at the end", estimate_text(result["motor_temp_top_c"], "c")),
    ]
    return Table("What is expected, with 95 % intervals", ("Quantity", "Expected"), _rows(rows))


def _charge(one: Object | None) -> tuple[str, str]:
    """Charge drawn, or, going down, won back."""
    if one is None or one["value"] >= 0:
        return "Charge used", estimate_text(one, "ah")
    ends = {"low": "high", "high": "low", "value": "value"}
    back = {key: None if one[other] is None else -one[other] for key, other in ends.items()}
    return "Charge won back", estimate_text(back, "ah")


def _reduced(one: Object | None) -> str:
    return "not before the end" if one is None else f"{estimate_text(one, 'm')} from its start"


def _rows(pairs: list[tuple[str, str]]) -> tuple[Row, ...]:
    return tuple(Row(pair) for pair in pairs)


def drawn_chance(chance_pct: float, draws: int) -> str:
    """A chance counted from so many draws: none or all of them is not never or always, but under
    or over what three draws would be (rule of three, Hanley and Lippman-Hand 1983, JAMA 249)."""
    edge = math.ceil(300.0 / max(draws, 1))
    if chance_pct <= 0.0:
        return f"under {edge} %"
    if chance_pct >= 100.0:
        return f"over {100 - edge} %"
    return percent(chance_pct, decimals=0)


def _limit_row(one: Object, draws: int) -> Row:
    suffix = unit_suffix(one["limit"])
    chance = one["chance_touched_pct"]
    grave = None
    if chance is not None and chance >= WATCH_PCT:
        grave = Severity.ACT if chance >= ACT_PCT else Severity.WATCH
    return Row(
        (
            capital(limit_name(one["limit"])),
            beside(one["set"], one["set"], suffix)[1],
            estimate_text(one["expected_peak"], suffix),
            "not known" if chance is None else drawn_chance(chance, draws),
        ),
        grave,
    )


def _works(hill: HillAhead, up_to: Object) -> Table:
    """Up to what it works; empty for a descent, which takes no power. Where even the easiest looked
    at does not work, no charge (or temperature) makes it work."""
    mean = "Mean grade of this way, all of it made steeper or flatter"
    names = {
        "grade_pct": mean if hill.is_track else "Steepest grade at this charge and temperature",
        "charge_down_to_pct": "Lowest charge where it begins",
        "temp_down_to_c": "Coldest day",
    }
    none = {"charge_down_to_pct": "not at any charge", "temp_down_to_c": "not at any temperature"}
    rows = []
    for key, value in up_to.items():
        text = none.get(key, "not known") if value is None else any_text(value, key)
        rows.append((names.get(key, name_text(key)), text))
    return Table(
        "With less than 5 % chance that power is reduced before the end",
        ("What", "Up to"),
        _rows(rows if hill.climbs else []),
    )


def print_predict(ahead: PredictResult, console: Console) -> None:
    """One hill on the terminal: the answer, what is expected, the limits, up to what it works."""
    from rich.text import Text

    view = predict_view(ahead)
    console.print(Text(" · ".join(f"{name} {text}" for name, text in view.facts)))
    console.print(Text(view.headline, style="bold"))
    near = [row for row in view.limits.rows if row.severity is not None]
    for caption, rows in (
        (view.numbers.caption, view.numbers.rows),
        (view.descent.caption, view.descent.rows),
        ("Limits likely to be touched: set, expected at most, chance", tuple(near)),
        (view.works.caption, view.works.rows),
    ):
        if not rows:
            continue
        console.print()
        console.print(Text(f"{caption}:", style="bold"))
        for row in rows:
            console.print(Text(f"  {row.cells[0]}: {', '.join(row.cells[1:])}"))
    console.print()
    for _, text in view.notes:
        console.print(Text(text, style="dim"))

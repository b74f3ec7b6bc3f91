"""Two rides against each other, as their page shows them: what was set otherwise, what changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyzer.compare import CompareResult
from reports.compare_json import compare_object
from reports.json_read import Object, any_text, estimate_text, name_text
from reports.numbers import quantity, unit_suffix
from reports.sentences import (
    DRIVE_LIMIT,
    PACK,
    capital,
    counted,
    joined,
    limit_name,
)
from reports.tables import Row, Table

if TYPE_CHECKING:
    from rich.console import Console

QUANTITY = {
    **{name: (label, suffix, "") for name, label, suffix in PACK},
    "resistance_10s_25c_ohm": ("Resistance after 10 s at 25 °C", "ohm", ""),
    "resistance_10s_ohm": ("Resistance after 10 s at the rides' mean temperature", "ohm", ""),
    "share_pct": ("Share while driving", "pct", ""),
    "energy_per_km_wh": ("Energy for a kilometre", "wh", ""),
    "energy_wh_per_km": ("Energy for a kilometre", "", "Wh/km"),
    "resistance_to_motion": ("Resistance to motion over weight, rolling and air", "", ""),
    "rolling_coefficient": ("Rolling of tyres and drives, whatever the air did", "", ""),
    "drag_area_m2": ("Drag area, whatever rolling did", "", "m²"),
    "peak_braking_current_a": ("Highest braking current", "a", ""),
    "peak_pack_current_a": ("Highest pack current", "a", ""),
    "mean_pack_current_a": ("Mean pack current", "a", ""),
    "mean_speed_mps": ("Mean speed", "mps", ""),
    "min_voltage_v": ("Lowest voltage", "v", ""),
    "motor_rise_k": ("Motor's warming above the air", "", "K"),
    "energy_wh_per_m": ("Energy for a metre climbed", "", "Wh/m"),
    "full_demand_power_w": ("Power at full demand, at the same speeds", "w", ""),
    "top_motor_temp_c": ("Hottest motor temperature", "c", ""),
}
"""Quantities that are compared: name, unit's suffix, and a unit that no suffix has."""
IN_FORCE = "_in_force_a"
"""How names of saturation currents end."""


TELLING = ("peak_pack_current", "braking", "min_voltage", "share_pct", "motor_temp", "speed")
"""Parts of quantities' names, what matters most first. Our choice."""
MOST_TOLD = 3
"""So many differences are told in the headline; the table has all. Our choice."""


@dataclass(frozen=True, slots=True)
class CompareView:
    """Everything on the page of two rides."""

    title: str
    headline: str
    changes: Table
    differences: Table
    climbs: Table
    notes: tuple[tuple[str, str], ...]


def compare_view(result: Object, before: str, after: str) -> CompareView:
    """The page's texts from the contract's section 5 object; `before`, `after` name the rides."""
    return CompareView(
        title=f"{capital(before)} against {after}",
        headline=_headline(result),
        changes=Table(
            "What was set otherwise",
            ("Setting", "Before", "After"),
            tuple(
                Row(
                    (
                        capital(limit_name(one["key"])),
                        any_text(one["before"], one["key"]),
                        any_text(one["after"], one["key"]),
                    )
                )
                for one in result["setup_changes"]
            ),
        ),
        differences=Table(
            "What changed, with 95 % intervals",
            ("Quantity", "Before", "After", "Change", "Beyond chance"),
            tuple(_difference(one) for one in result["differences"]),
        ),
        climbs=_climbs(result["climbs"]),
        notes=tuple((one["about"], one["text"]) for one in result["notes"]),
    )


def _headline(result: Object) -> str:
    real = [one for one in result["differences"] if one["beyond_chance"]]
    changes = counted(len(result["setup_changes"]), "setting")
    if not result["differences"]:
        return f"{changes} changed; nothing of the two rides could be compared."
    if not real:
        return f"{changes} changed; no difference is larger than its uncertainty."
    known = sum(one["change"] is not None for one in result["differences"])
    said = f"{changes} changed; {len(real)} of {known} quantities differ beyond chance"
    first: dict[int, Object] = {}
    for one in sorted(real, key=_telling):
        first.setdefault(_telling(one)[0], one)
    shown = list(first.values())[:MOST_TOLD]
    among = "among them " if len(shown) < len(real) else ""
    return f"{said}: {among}{joined([_from_to(one) for one in shown])}."


def _telling(one: Object) -> tuple[int, bool, str]:
    """What a change of settings is about comes first, the whole ride before its climbs."""
    key = one["quantity"]
    found = (place for place, word in enumerate(TELLING) if word in key)
    return next(found, len(TELLING)), ":" in key, key


def _from_to(one: Object) -> str:
    name, suffix, unit = quantity_text(one["quantity"])
    before, after = (_with({"value": one[x]["value"]}, suffix, unit) for x in ("before", "after"))
    return f"{name[:1].lower()}{name[1:]} {before} → {after}"


def quantity_text(key: str) -> tuple[str, str, str]:
    """A compared quantity in the rider's words, its unit's suffix, a unit that no suffix has."""
    climb, colon, rest = key.partition(": ")
    if colon:
        name, suffix, unit = quantity_text(rest)
        return f"{capital(climb)}, {name[:1].lower()}{name[1:]}", suffix, unit
    if key in QUANTITY:
        return QUANTITY[key]
    drive, dot, last = key.rpartition(".")
    if last.endswith(IN_FORCE):
        limit = f"{last.removesuffix(IN_FORCE)}_a"
        return f"{capital(drive)} saturates at: {DRIVE_LIMIT.get(limit, limit)}", "a", ""
    if dot and last in QUANTITY:
        name, suffix, unit = QUANTITY[last]
        return f"{capital(drive)}: {name[:1].lower()}{name[1:]}", suffix, unit
    return name_text(key), unit_suffix(key), ""


def _difference(one: Object) -> Row:
    name, suffix, unit = quantity_text(one["quantity"])
    beyond = one["beyond_chance"]
    return Row(
        (
            name,
            _with(one["before"], suffix, unit),
            _with(one["after"], suffix, unit),
            _with(one["change"], *_of_change(suffix, unit)),
            "–" if one["change"] is None else "yes" if beyond else "no",
        )
    )


def _of_change(suffix: str, unit: str) -> tuple[str, str]:
    """The unit of a difference: between two shares it is points, not per cent."""
    return ("", "points") if suffix == "pct" else (suffix, unit)


def _with(one: Object | None, suffix: str, unit: str) -> str:
    if one is not None and suffix == "mps":
        one = {key: None if value is None else 3.6 * value for key, value in one.items()}
        suffix = "kmh"
    if one is not None and set(one) == {"value"}:
        return f"{quantity(one['value'], suffix)} {unit}".rstrip()
    text = estimate_text(one, suffix)
    return text if one is None or not unit else f"{text} {unit}"


def _climbs(pairs: list[Object]) -> Table:
    heads = ("Climb", "Grade", "Peak current", "Mean current", "Lowest voltage", "Above derate")
    rows = []
    for place, pair in enumerate(pairs):
        before, after = pair["before"], pair["after"]
        cells = [
            f"{place + 1}: {quantity(before['gain_m'], 'm')} in {quantity(before['length_m'], 'm')}"
        ]
        cells.append(estimate_text(before["grade_pct"], "pct"))
        cells += [
            f"{_or_dash(before[key], suffix)} → {_or_dash(after[key], suffix)}"
            for key, suffix in (
                ("peak_pack_current_a", "a"),
                ("mean_pack_current_a", "a"),
                ("min_voltage_v", "v"),
                ("margin_to_derate_v", "v"),
            )
        ]
        rows.append(Row(tuple(cells)))
    return Table("The same climbs on both rides, before → after", heads, tuple(rows))


def _or_dash(value: float | None, suffix: str) -> str:
    return "–" if value is None else quantity(value, suffix)


def print_compare(result: CompareResult, before: str, after: str, console: Console) -> None:
    """Two rides on the terminal: settings, differences, the same climbs."""
    from rich.text import Text

    view = compare_view(compare_object(result), before, after)
    console.print(Text(view.title, style="bold"))
    console.print(Text(view.headline))
    for table in (view.changes, view.differences, view.climbs):
        if not table.rows:
            continue
        console.print()
        console.print(
            Text(f"{table.caption} ({', '.join(table.heads[1:]).lower()}):", style="bold")
        )
        for row in table.rows:
            style = "bold" if row.cells[-1] == "yes" else ""
            console.print(Text(f"  {row.cells[0]}: {', '.join(row.cells[1:])}", style=style))
    console.print()
    for _, text in view.notes:
        console.print(Text(text, style="dim"))

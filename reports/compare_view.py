"""Two rides against each other, as their page shows them: what was set otherwise, what changed."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.words import Severity
from reports.json_read import Object, any_text, estimate_text, name_text
from reports.numbers import quantity, unit_suffix
from reports.sentences import capital, counted, limit_name
from reports.tables import Row, Table


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
    names = ", ".join(name_text(one["quantity"]).lower() for one in real[:4])
    more = f" and {len(real) - 4} more" if len(real) > 4 else ""
    return f"{changes} changed; beyond chance differ: {names}{more}."


def _difference(one: Object) -> Row:
    suffix = unit_suffix(one["quantity"])
    beyond = one["beyond_chance"]
    return Row(
        (
            name_text(one["quantity"]),
            estimate_text(one["before"], suffix),
            estimate_text(one["after"], suffix),
            estimate_text(one["change"], suffix),
            "not known" if beyond is None else "yes" if beyond else "no",
        ),
        Severity.NOTE if beyond else None,
    )


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

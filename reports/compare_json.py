"""`compare --json`, the contract's section 5."""

from __future__ import annotations

from analyzer.compare import CompareResult, Difference
from reports.json_out import Json, climb_object, estimate_object, note_objects, to_text

COMPARE_SCHEMA = "hillproof.compare/1"
"""1: first version."""


def compare_json(result: CompareResult) -> str:
    """Two rides against each other, as JSON text."""
    return to_text(compare_object(result))


def compare_object(result: CompareResult) -> dict[str, Json]:
    """The whole of it as plain values."""
    return {
        "schema": COMPARE_SCHEMA,
        "setup_changes": [
            {"key": one.key, "before": one.before, "after": one.after}
            for one in result.setup_changes
        ],
        "differences": [_difference(one) for one in result.differences],
        "climbs": [
            {"before": climb_object(one.before), "after": climb_object(one.after)}
            for one in result.climbs
        ],
        "notes": note_objects(result.notes),
    }


def _difference(one: Difference) -> Json:
    return {
        "quantity": one.quantity,
        "before": estimate_object(one.before),
        "after": estimate_object(one.after),
        "change": estimate_object(one.change),
        "beyond_chance": one.beyond_chance,
    }

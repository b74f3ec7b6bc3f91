"""`setup check --json`: the contract's section 5, field by field."""

from __future__ import annotations

from analyzer.setup_finding import SetupCheck, SetupFinding, Suggestion
from reports.json_out import Json, not_checked_objects, number, to_text

SETUP_SCHEMA = "hillproof.setup/1"
"""1: first version."""


def setup_json(check: SetupCheck) -> str:
    """A setup's check as JSON text."""
    return to_text(setup_object(check))


def setup_object(check: SetupCheck) -> dict[str, Json]:
    """The contract's object for a setup's check."""
    return {
        "schema": SETUP_SCHEMA,
        "findings": [_finding_object(one) for one in check.findings],
        "not_checked": not_checked_objects(check.not_checked),
    }


def _finding_object(one: SetupFinding) -> Json:
    """One finding; `message` is everything a reader needs, as the terminal prints it."""
    parts = (one.message, one.why, one.cost and f"Cost: {one.cost}", one.caution)
    return {
        "check": one.check,
        "keys": list(one.keys),
        "severity": one.severity.value,
        "value": number(one.value),
        "limit": number(one.limit),
        "message": " ".join(part for part in parts if part),
        "suggest": [_suggestion_object(suggestion) for suggestion in one.suggest],
    }


def _suggestion_object(one: Suggestion) -> Json:
    return {"key": one.key, "value": number(one.value), "why": one.why}

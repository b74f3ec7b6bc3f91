"""Estimates and values of machine output as page text: pages of predictions and comparisons show
what the JSON says, so that the two can never disagree."""

from __future__ import annotations

from typing import Any

from analyzer.estimate import Estimate
from reports.numbers import MOST_DECIMALS, as_given, estimate, quantity, unit_suffix
from reports.sentences import capital

Object = dict[str, Any]


def estimate_of(one: Object | None) -> Estimate | None:
    """`{"value", "low", "high"}` as an estimate; None for null or an open value."""
    if one is None or one.get("value") is None:
        return None
    return Estimate(one["value"], one.get("low"), one.get("high"))


def estimate_text(one: Object | None, suffix: str) -> str:
    """An estimate with its interval, or that it is not known."""
    return estimate(estimate_of(one), suffix)


def any_text(value: object, name: str) -> str:
    """A value of a named quantity as text, whatever it is."""
    if isinstance(value, dict):
        return estimate_text(value, unit_suffix(name))
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "not given"}[value]
    if isinstance(value, int | float):
        text = quantity(value, unit_suffix(name), decimals=MOST_DECIMALS).rsplit(" ", 1)
        unit = text[1] if len(text) > 1 and not text[1][:1].isdigit() else ""
        return f"{as_given(float(value))} {unit}".rstrip()
    return str(value)


def name_text(name: str) -> str:
    """A quantity's name without its unit, in words: `mean_speed_mps` -> `Mean speed`."""
    suffix = unit_suffix(name)
    stem = name.removesuffix(f"_{suffix}") if suffix else name
    return capital(stem.replace("_", " ").replace(".", ", "))

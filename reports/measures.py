"""The numbers measured in one event, as sentences a rider can follow."""

from __future__ import annotations

from collections.abc import Callable

from analyzer.events import Event
from analyzer.words import EventKind
from reports.numbers import duration, quantity

Numbers = dict[str, float]


def measure_sentences(event: Event) -> tuple[str, ...]:
    """What was measured in this event beside its peak; empty where nothing was."""
    tell = _TELL.get(event.kind)
    if tell is None:
        return ()
    numbers = dict(event.measures)
    if any("tolerates" in one for one in event.facts):
        # The analysis has put the time above the trip into a sentence of its own.
        numbers.pop("trip_held_s", None)
        numbers.pop("held_s", None)
    if any("Rest voltage" in one for one in event.facts):
        numbers.pop("rest_voltage_v", None)
        numbers.pop("current_to_line_a", None)
    if any("above full" in one for one in event.facts):
        numbers.pop("over_v", None)
    if any("over 30 s" in one for one in event.facts):
        numbers.pop("mean_30s_a", None)
    return tuple(one for one in tell(numbers) if one)


def _over(numbers: Numbers) -> list[str]:
    texts = []
    if "mean_a" in numbers:
        text = f"Mean {quantity(numbers['mean_a'], 'a')} over the span"
        if numbers.get("mean_30s_a", 0.0) > 0:
            text += f"; {quantity(numbers['mean_30s_a'], 'a')} in the worst 30 s"
        if "charge_ah" in numbers:
            text += f"; {quantity(numbers['charge_ah'] * 1000, '', decimals=0)} mAh moved"
        texts.append(text + ".")
    if numbers.get("trip_held_s", 0.0) > 0:
        texts.append(f"Above the level at which the BMS opens for {_s(numbers['trip_held_s'])}.")
    if numbers.get("above_peak_s", 0.0) > 0:
        texts.append(f"Above the short-time rating for {_s(numbers['above_peak_s'])}.")
    if "highest_v" in numbers:
        texts.append(f"The pack rose to {quantity(numbers['highest_v'], 'v')}{_at(numbers)}.")
    elif "lowest_v" in numbers:
        texts.append(f"The pack fell to {quantity(numbers['lowest_v'], 'v')}{_at(numbers)}.")
    return texts


def _at(numbers: Numbers) -> str:
    parts = []
    if "charge_pct" in numbers:
        parts.append(f"about {quantity(numbers['charge_pct'], 'pct', decimals=0)} charge")
    if "pack_temp_c" in numbers:
        parts.append(quantity(numbers["pack_temp_c"], "c"))
    return f" at {' and '.join(parts)}" if parts else ""


def _sag(numbers: Numbers) -> list[str]:
    texts = []
    if "length_s" in numbers:
        texts.append(f"It lasted {_s(numbers['length_s'])}{_at(numbers)}.")
    if "rest_voltage_v" in numbers and "rest_above_line_v" in numbers:
        above = numbers["rest_above_line_v"]
        texts.append(
            f"At rest it would have read {quantity(numbers['rest_voltage_v'], 'v')}, "
            f"{quantity(abs(above), 'v')} {'above' if above >= 0 else 'below'} the line."
        )
    if "current_to_line_a" in numbers:
        carries = numbers["current_to_line_a"]
        texts.append(
            f"At that moment the pack carried {quantity(carries, 'a')} down to the line."
            if carries > 0
            else "At that moment the pack carried nothing down to the line."
        )
    return texts


def _near(numbers: Numbers) -> list[str]:
    if "held_s" in numbers and "delay_s" in numbers:
        return [f"{_s(numbers['held_s'])} of the {_s(numbers['delay_s'])} that are tolerated."]
    if numbers.get("way_used_pct", 0.0) >= 100.0:
        return [f"It was passed{_for(numbers)}."]
    if "way_used_pct" in numbers:
        used = quantity(numbers["way_used_pct"], "pct", decimals=0)
        return [f"{used} of the way to it was used{_for(numbers)}."]
    return []


def _over_voltage(numbers: Numbers) -> list[str]:
    if "over_v" not in numbers:
        return []
    return [
        f"{quantity(numbers['over_v'], 'v', decimals=2)} above full{_for(numbers)}{_at(numbers)}."
    ]


def _for(numbers: Numbers) -> str:
    return f" for {_s(numbers['length_s'])}" if "length_s" in numbers else ""


def _s(seconds: float) -> str:
    return duration(seconds)


_TELL: dict[EventKind, Callable[[Numbers], list[str]]] = {
    EventKind.DISCHARGE_OVER_RATING: _over,
    EventKind.REGEN_OVER_RATING: _over,
    EventKind.SAG: _sag,
    EventKind.NEAR_TRIP: _near,
    EventKind.OVERVOLTAGE: _over_voltage,
}

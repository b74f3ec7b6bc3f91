"""A loss's number against its limit, and what else belongs to a finding's story, in one sentence
each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from analyzer.events import Event
from analyzer.setup_sums import total
from analyzer.words import CutoutCause, EventKind
from importers.setup_types import Setup
from reports.headlines import peak_against_limit
from reports.numbers import as_given, duration
from reports.sentences import capital, counted, limit_phrase

TOGETHER: dict[str, Literal["drive", "brake"]] = {
    CutoutCause.BMS_OVERCURRENT_DISCHARGE: "drive",
    CutoutCause.BMS_OVERCURRENT_CHARGE: "brake",
}
"""Causes in which every drive may have kept to its own limit."""


def against_limit(event: Event, setup: Setup) -> tuple[str, ...]:
    """A loss's peak against the limit it is about, and what the drives are set to together;
    empty for other kinds, whose headline says it."""
    if event.kind not in (EventKind.CUTOUT, EventKind.BRAKE_LOSS) or event.limit is None:
        return ()
    numbers = peak_against_limit(event)
    if numbers is None:
        return ()
    seen, limit = numbers
    texts = [f"{capital(seen)} against {limit_phrase(event.limit.name)} of {limit}."]
    way = TOGETHER.get(event.causes[0].cause) if event.causes else None
    summed = None if way is None else total(setup, way)
    if summed is not None and not summed.missing and len(summed.parts) > 1:
        texts.append(
            f"Each drive has a limit of its own, nothing limits them together: {summed.text}."
        )
    return tuple(texts)


def beside_sentences(
    events: Sequence[Event], headline: str, said: Sequence[str]
) -> tuple[str, ...]:
    """What the other events of one story say beside it, one sentence a kind."""
    texts = []
    for kind in dict.fromkeys(one.kind for one in events):
        text = _TELL.get(kind, _none)([one for one in events if one.kind is kind])
        if text and text not in headline and text not in said:
            texts.append(text)
    return tuple(texts)


def _none(_: Sequence[Event]) -> str:
    return ""


def _over(events: Sequence[Event]) -> str:
    """How often and how long all drives together were above the rating."""
    first = max(events, key=lambda one: one.end_s - one.start_s)
    if first.limit is None:
        return ""
    limit = f"{as_given(first.limit.value)} A"
    longest = duration(first.end_s - first.start_s)
    text = f"Above {limit_phrase(first.limit.name)} of {limit}"
    if len(events) == 1:
        return f"{text} for {longest}."
    return f"{text} {counted(len(events), 'time')} in this ride, the longest for {longest}."


def _facts(events: Sequence[Event]) -> str:
    return events[0].facts[0] if events[0].facts else ""


def _held_back(events: Sequence[Event]) -> str:
    if events[0].causes and events[0].causes[0].cause == "no_voltage_headroom":
        return ""
    longest = duration(max(one.end_s - one.start_s for one in events))
    if len(events) == 1:
        return f"Before it gave way power was held back for {longest}."
    return f"Power was held back {counted(len(events), 'time')}, at longest for {longest}."


def _hot(events: Sequence[Event]) -> str:
    numbers = peak_against_limit(events[0])
    if numbers is None or events[0].limit is None:
        return ""
    return (
        f"{capital(limit_phrase(events[0].limit.name))} of {numbers[1]} was passed: {numbers[0]}."
    )


def _sag(events: Sequence[Event]) -> str:
    numbers = peak_against_limit(events[0])
    if numbers is None:
        return ""
    facts = " ".join(events[0].facts)
    text = f"The pack sagged to {numbers[0]}, below the {numbers[1]} where power is reduced."
    return f"{text} {facts}".strip()


_TELL = {
    EventKind.DISCHARGE_OVER_RATING: _over,
    EventKind.REGEN_OVER_RATING: _over,
    EventKind.OVERVOLTAGE: _facts,
    EventKind.POWER_REDUCED: _held_back,
    EventKind.OVERHEAT: _hot,
    EventKind.SAG: _sag,
}

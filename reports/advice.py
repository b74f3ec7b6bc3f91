"""What to do, what it costs, its caution: the parts of a remedy, told apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from reports.sentences import sentence

MARKS = {"do:": "do", "cost:": "cost", "caution:": "caution"}


@dataclass(frozen=True, slots=True)
class Advice:
    """Whole sentences each; empty where the analysis gave none."""

    do: tuple[str, ...] = ()
    cost: tuple[str, ...] = ()
    caution: tuple[str, ...] = ()


def advice_of(remedy: Iterable[str]) -> Advice:
    """The parts of a remedy. Items marked "Cost:" or "Caution:" go there; where nothing is
    marked the first is what to do, the second what it costs, the rest its caution."""
    items = [one.strip() for one in remedy if one.strip()]
    marked = [_mark(one) for one in items]
    if not any(mark for mark, _ in marked):
        return Advice(
            tuple(map(sentence, items[:1])),
            tuple(map(sentence, items[1:2])),
            tuple(map(sentence, items[2:])),
        )
    parts: dict[str, list[str]] = {"do": [], "cost": [], "caution": []}
    current = "do"
    for mark, text in marked:
        current = mark or "do"
        parts[current].append(sentence(text))
    return Advice(tuple(parts["do"]), tuple(parts["cost"]), tuple(parts["caution"]))


def _mark(item: str) -> tuple[str, str]:
    for start, mark in MARKS.items():
        if item.lower().startswith(start):
            return mark, item[len(start) :].strip()
    return "", item

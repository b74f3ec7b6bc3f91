"""Do the limits hold: texts for the terminal, one line a limit, worst first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.closest import Closest
from analyzer.limits import Tried
from analyzer.limits_merge import EXERCISED, HARDEST, LimitsResult, MergedLimit
from analyzer.words import LimitRole, Verdict
from reports.inputs_view import inputs_sentences
from reports.restated_view import worse_than_ridden
from reports.sentences import counted, joined, limit_phrase

if TYPE_CHECKING:
    from rich.console import Console

WORDS = {
    Verdict.EXCEEDED: "exceeded",
    Verdict.TOUCHED: "touched",
    Verdict.HOLDS: "holds",
    Verdict.NOT_EXERCISED: "not put to the test",
    Verdict.WORKS: "works",
    Verdict.OVERSHOOTS: "overshoots",
    Verdict.NOT_REACHED: "not reached",
}
SEVERAL = {Verdict.HOLDS: "hold", Verdict.WORKS: "work", Verdict.OVERSHOOTS: "overshoot"}
"""The same of more than one limit."""
MOST_TOLD = 3
"""So many limits are named in the first sentence; the table has all. Our choice."""
NEAR_PCT = 80.0
"""Protections that came nearer than this are named on the terminal; the page has all. Our
choice."""
STYLES = {
    Verdict.EXCEEDED: "bold red",
    Verdict.TOUCHED: "bold yellow",
    Verdict.OVERSHOOTS: "bold yellow",
    Verdict.HOLDS: "green",
    Verdict.WORKS: "green",
}


def limit_sentence(one: MergedLimit) -> str:
    """What a limit's hardest test was, with its number and where."""
    check = one.check
    if check.seen is None:
        return "nothing seen that bears on it"
    least = "at least " if check.at_least else ""
    seen = f"{least}{check.seen:.1f} of {check.set:g} {check.unit}"
    used = "" if check.exercised_pct is None else f", {check.exercised_pct:.0f} %"
    way = " of the way" if check.role is not LimitRole.RATING and check.unit != "A" else ""
    where = f" on {one.ride}" if one.ride else ""
    where += f", {one.where}" if one.where else ""
    tail = f"exercised on {one.rides_exercised} of {one.rides}"
    return f"{seen}{used}{way if used else ''}{where}; {tail}"


def closest_text(one: Closest) -> str:
    """How near a protection came, in words."""
    if one.acted:
        return "it acted"
    parts = []
    if one.used_pct is not None:
        way = "" if one.unit == "A" else " of the way"
        parts.append(f"{one.used_pct:.0f} %{way}")
    elif one.seen is not None:
        parts.append(f"{abs(one.set - one.seen):.2f} {one.unit} away")
    if one.held_s is not None:
        parts.append(f"above it for {one.held_s:.1f} s without opening")
    return ", ".join(parts) or "not known"


def tried_at(tried: Tried) -> str:
    """The conditions all of it was tried under, for one line."""
    from reports.ride_tables import tried_text

    return tried_text(tried)


def answer(result: LimitsResult) -> str:
    """Do the limits hold, in one sentence with the numbers that say so."""
    worst: dict[Verdict, list[MergedLimit]] = {}
    for one in result.limits:
        worst.setdefault(one.check.verdict, []).append(one)
    if exceeded := worst.get(Verdict.EXCEEDED):
        were = "was" if len(exceeded) == 1 else "were"
        return f"{counted(len(exceeded), 'limit')} {were} exceeded: {_named(exceeded)}."
    if touched := worst.get(Verdict.TOUCHED):
        return f"No limit was exceeded, but nothing is left at {_named(touched)}."
    held = [one for one in worst.get(Verdict.HOLDS, []) if one.check.exercised_pct is not None]
    if held:
        near = max(held, key=lambda one: one.check.exercised_pct or 0.0)
        left = 100.0 - (near.check.exercised_pct or 0.0)
        return f"No limit was exceeded; the nearest was {_named([near])}: {left:.0f} % left."
    if EXERCISED & worst.keys():
        return "No limit was exceeded; no rating was put to the test."
    return "No limit was put to the test: that is not the same as safe."


def _named(limits: Sequence[MergedLimit]) -> str:
    """Limits with the most seen against what is set: the nearest first, the last ones counted."""
    order = sorted(limits, key=lambda one: -(one.check.exercised_pct or 0.0))
    told = []
    for check in (one.check for one in order[:MOST_TOLD]):
        least = "at least " if check.at_least else ""
        seen = "" if check.seen is None else f"{least}{check.seen:.1f} {check.unit} against "
        told.append(f"{limit_phrase(check.limit)} ({seen}{check.set:g} {check.unit})")
    if len(order) > MOST_TOLD:
        told.append(f"{len(order) - MOST_TOLD} more")
    return joined(told)


def summary(result: LimitsResult) -> str:
    """One sentence: how many limits hold, work, were exceeded, or were never tried."""
    counts = {word: 0 for word in HARDEST}
    for one in result.limits:
        counts[one.check.verdict] += 1
    parts = [
        f"{count} {WORDS[word] if count == 1 else SEVERAL.get(word, WORDS[word])}"
        for word, count in reversed(counts.items())
        if count
    ]
    rides = "1 ride" if len(result.rides) == 1 else f"{len(result.rides)} rides"
    climbs = counted(len(result.climbs), "climb")
    down = counted(len(result.descents), "descent")
    return f"Over {rides} with {climbs} and {down}: {', '.join(parts)}."


def conditions_lines(order: Sequence[MergedLimit]) -> list[str]:
    """What the verdicts were tried at: one line where all share it, else one a group."""
    groups: dict[str, list[str]] = {}
    for one in order:
        groups.setdefault(tried_at(one.check.tried), []).append(one.check.limit)
    if len(groups) == 1:
        return [f"All of it tried at {next(iter(groups))}."]
    return [f"Tried at {text}: {', '.join(keys)}." for text, keys in groups.items()]


def _print_other_conditions(
    result: LimitsResult, order: Sequence[MergedLimit], console: Console
) -> None:
    """The verdicts that turn for the worse elsewhere, or why that is not known."""
    told = result.restated
    names = ", ".join(f"at {one.name}" for one in told.conditions)
    if all(one.verdict is None for one in told.rows):
        for note in told.notes:
            console.print(note.text, markup=False)
        return
    worse = worse_than_ridden(order, told)
    for text in worse:
        console.print(f"Elsewhere: {text}.", style="bold yellow", markup=False)
    if not worse:
        console.print(f"Restated {names}: no verdict turns for the worse.", markup=False)


def print_limits(result: LimitsResult, console: Console) -> None:
    """The whole answer on the terminal."""
    console.print(answer(result), style="bold", markup=False)
    console.print(summary(result), markup=False)
    order = sorted(result.limits, key=lambda one: -HARDEST.index(one.check.verdict))
    for one in order:
        verdict = one.check.verdict
        console.print(f"{WORDS[verdict]:20}", style=STYLES.get(verdict, ""), end="", markup=False)
        console.print(f" {one.check.limit}: {limit_sentence(one)}", markup=False)
    for note in result.in_force:
        console.print(note.text, style="bold yellow", markup=False)
    for text in conditions_lines(order):
        console.print(text, markup=False)
    _print_other_conditions(result, order, console)
    acted = [one for one in result.closest if one.acted or (one.used_pct or 0.0) >= NEAR_PCT]
    for near in acted:
        place = f", {near.where}" if near.where else ""
        text = f"Closest to acting: {near.limit}, {closest_text(near)}, on {near.ride}{place}."
        console.print(text, markup=False)
    for text in inputs_sentences(result.inputs[-1][1] if result.inputs else None):
        console.print(f"Demand: {text}", markup=False)
    if result.worst_ahead is not None:
        worst = result.worst_ahead
        console.print(
            f"Worst to expect of the next {worst.ahead} climbs: {worst.current_a.value:.0f} A "
            f"({worst.current_a.low:.0f} to {worst.current_a.high:.0f}), from {worst.climbs} "
            "climbs.",
            markup=False,
        )
    for text in result.next_ride:
        console.print(f"Next ride: {text}", markup=False)

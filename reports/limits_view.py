"""Do the limits hold: texts for the terminal, one line a limit, worst first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyzer.limits_merge import HARDEST, LimitsResult, MergedLimit
from analyzer.words import LimitRole, Verdict

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
    tail = f"exercised on {one.rides_exercised} of {one.rides}"
    return f"{seen}{used}{way if used else ''}{where}; {tail}"


def summary(result: LimitsResult) -> str:
    """One sentence: how many limits hold, work, were exceeded, or were never tried."""
    counts = {word: 0 for word in HARDEST}
    for one in result.limits:
        counts[one.check.verdict] += 1
    parts = [f"{count} {WORDS[word]}" for word, count in reversed(counts.items()) if count]
    rides = "1 ride" if len(result.rides) == 1 else f"{len(result.rides)} rides"
    return f"Over {rides} with {len(result.climbs)} climbs: {', '.join(parts)}."


def print_limits(result: LimitsResult, console: Console) -> None:
    """The whole answer on the terminal."""
    console.print(summary(result), style="bold", markup=False)
    order = sorted(result.limits, key=lambda one: -HARDEST.index(one.check.verdict))
    for one in order:
        verdict = one.check.verdict
        console.print(f"{WORDS[verdict]:20}", style=STYLES.get(verdict, ""), end="", markup=False)
        console.print(f" {one.check.limit}: {limit_sentence(one)}", markup=False)
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

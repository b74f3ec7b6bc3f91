"""Which rides lie years away from all others, as a logger's wrong clock puts them?"""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.ageing_parts import YEAR_S, Kept
from analyzer.estimate import Note
from analyzer.trend import FEWEST

AWAY_YEARS = 2.0
"""A few rides with such a gap to the others would alone say how fast the pack ages. Our choice: a
vehicle put away for a winter or a year comes back in less."""


def without_strays(rides: Sequence[Kept]) -> tuple[list[Kept], list[Kept]]:
    """The rides (in time order), and those of groups of fewer than `FEWEST` that lie more than
    `AWAY_YEARS` from the largest group's."""
    groups: list[list[Kept]] = []
    for one in rides:
        if groups and one.start_s - groups[-1][-1].start_s <= AWAY_YEARS * YEAR_S:
            groups[-1].append(one)
        else:
            groups.append([one])
    largest = max(groups, key=len)
    if len(largest) < FEWEST:
        return list(rides), []
    kept = [one for group in groups for one in group if group is largest or len(group) >= FEWEST]
    strays = [one for group in groups for one in group
              if group is not largest and len(group) < FEWEST]  # fmt: skip
    return kept, strays


def stray_notes(strays: Sequence[Kept], kept: Sequence[Kept]) -> tuple[Note, ...]:
    """What is said of them."""
    notes = []
    for one in strays:
        gap = min(abs(one.start_s - other.start_s) for other in kept) / YEAR_S
        text = (
            f"{one.name} is dated {one.start.day} {one.start:%B %Y}, {gap:.0f} years from the "
            "nearest of the others: no trend rests on it. If the logger's clock was wrong, remove "
            "it (`hillproof book remove`) and add it again with its date (--start)."
        )
        notes.append(Note("rides", text))
    return tuple(notes)

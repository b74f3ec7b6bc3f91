"""Does what is really in force differ from the setup: on one side, or as a power mode on all?"""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.balance import CURRENT_LIMITS
from analyzer.estimate import Note
from analyzer.ride_analysis import RideResult

OFF = 0.03
"""A plateau this far from what is set differs from it [1], if its interval leaves it out as well.
Our choice: controllers' own scales are off by 1 to 3 % (common practice, no source)."""
ALIKE = 0.05
"""Drives whose plateaus stand in one proportion to what is set, within this, share a power mode
[1]. Our choice."""


def in_force_notes(rides: Sequence[tuple[str, RideResult]]) -> tuple[Note, ...]:
    """One sentence for each limit that is in force with another value than the setup's; the same
    part on all drives is a power mode, not a fault."""
    told: dict[str, list[tuple[str, str]]] = {}
    for name, result in rides:
        for key in CURRENT_LIMITS:
            for about, text in _differs(result, key):
                told.setdefault(f"{about}\0{text}", []).append((name, about))
    out = []
    for text, seen in told.items():
        where = [name for name, _ in seen]
        rides_text = where[0] if len(where) == 1 else f"{len(where)} rides"
        out.append(Note(seen[0][1], f"{text.split(chr(0))[1]} (on {rides_text})."))
    return tuple(out)


def _differs(result: RideResult, key: str) -> list[tuple[str, str]]:
    parts = {}
    known = 0
    judged = {one.limit for one in result.limits}
    for one in result.in_force:
        plateau, given = getattr(one, key), getattr(result.setup.drive(one.drive), key)
        if plateau is None or given is None:
            continue
        known += 1
        inside = (plateau.low or 0.0) <= given <= (plateau.high or given)
        if not inside and abs(plateau.value / given - 1.0) > OFF:
            parts[one.drive] = (plateau.value / given, plateau.value, given)
    if not parts:
        return []
    about = f"in_force.{key}"
    ratios = [ratio for ratio, _, _ in parts.values()]
    everyone = len(parts) == known == len(result.in_force)
    if everyone and known > 1 and max(ratios) - min(ratios) <= ALIKE and max(ratios) < 1.0:
        part = sum(ratios) / len(ratios)
        return [
            (
                about,
                f"All drives saturate at about {100 * part:.0f} % of {key} as set: a lower power "
                "mode, or other values in the controllers than in the setup; no fault by itself",
            )
        ]
    return [
        (
            f"in_force.{drive}.{key}",
            f"{drive} saturates at {seen:.1f} A, the setup says {given:g} A: "
            + (
                "the setting is not in force there, or the log counts motor current in another way"
                if key.startswith("phase") and f"drives.{drive}.{key}" not in judged
                else "the setting is not in force there"
                if ratio < 1.0
                else "it lets through more than is set"
            ),
        )
        for drive, (ratio, seen, given) in parts.items()
    ]

"""Which drive of the setup a column belongs to: by its own name, a side's word, or its number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from importers.header_words import HeaderWords
from importers.words import side_of, tokens_of

NUMBERED = 0.9
"""Chance that drives numbered in a file stand in the setup's order. Under 0.95 on purpose: the
rider has to see it."""
SIDES = ("left", "right", "front", "rear")


def drive_of_side(side: str, drives: Sequence[str]) -> str | None:
    """The setup's drive on that side: of that name, or the only one whose name has the side's
    word in any language; the side itself where there is no setup."""
    if not drives:
        return side
    if side in drives:
        return side
    own = [one for one in drives if side in {side_of(token) for token in tokens_of(one)}]
    return own[0] if len(own) == 1 else None


def drives_of(
    headers: Sequence[HeaderWords], drives: Sequence[str]
) -> tuple[list[str | None], list[float], list[str]]:
    """A drive (or None) for each header, how sure, and what to tell the rider."""
    headers = _short_rights(headers)
    found: list[str | None] = []
    sure: list[float] = []
    for one in headers:
        drive = None if one.side is None else drive_of_side(one.side, drives)
        found.append(drive)
        sure.append(one.side_sure if drive is not None else 1.0)
    told: list[str] = []
    if not any(found) and len(drives) >= 2:
        told = _by_number(headers, drives, found, sure)
    return found, sure, told


def _short_rights(headers: Sequence[HeaderWords]) -> Sequence[HeaderWords]:
    """Spanish shortens right to `der`, a German article: a side only beside a Spanish left."""
    if not any({"izq", "izquierda", "izquierdo"} & set(tokens_of(one.header)) for one in headers):
        return headers
    return [
        replace(one, side="right", side_sure=0.97)
        if one.side is None and "der" in tokens_of(one.header)
        else one
        for one in headers
    ]


def _by_number(
    headers: Sequence[HeaderWords],
    drives: Sequence[str],
    found: list[str | None],
    sure: list[float],
) -> list[str]:
    """Columns alike but for a number that runs over as many as there are drives."""
    groups: dict[tuple[frozenset[str], str], dict[int, int]] = {}
    for at, one in enumerate(headers):
        if one.number is not None and "cell" not in one.ideas and one.ideas:
            unit = one.unit.dimension if one.unit else ""
            groups.setdefault((one.ideas, unit), {})[one.number] = at
    used: set[int] = set()
    for group in groups.values():
        numbers = sorted(group)
        if len(numbers) == len(drives) and numbers in (
            list(range(len(drives))), list(range(1, len(drives) + 1)),
        ):  # fmt: skip
            for drive, number in zip(drives, numbers, strict=True):
                found[group[number]], sure[group[number]] = drive, NUMBERED
                used.add(number)
    if not used:
        return []
    pairs = ", ".join(
        f"{number} = {drive}" for number, drive in zip(sorted(used), drives, strict=False)
    )
    return [f"drives are numbered; taken in the setup's order: {pairs}"]


def without_side(one: HeaderWords) -> HeaderWords:
    """The header as if it named no side."""
    return replace(one, side=None, side_sure=0.0)

"""Which drive of the setup a column belongs to: by its own name, a side's word, or its number."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from importers.header_words import HeaderWords
from importers.words import side_of, tokens_of

NUMBERED = 0.9
"""Chance that drives numbered in a file stand in the setup's order. Under 0.95 on purpose: the
rider has to see it."""
_LONE_D = re.compile(r"(?:^|[\s_(\[])D(?:$|[\s_)\],;:/])", re.IGNORECASE)
SIDES = ("left", "right", "front", "rear")

LETTER_PAIRS = 2
"""One pair of `F` and `R` may be by chance. Our choice."""
FRONT_REAR = (("F", "R"), ("AV", "AR"))
"""Letters of front and rear that mean other things where they stand alone (Portuguese `ar`)."""
_LETTER = {one: re.compile(rf"(?<![^\W_]){one}(?![^\W_])") for one in ("L", *sum(FRONT_REAR, ()))}


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


def lettered(headers: Sequence[str], drives: Sequence[str]) -> list[str]:
    """Headers with lone letters (`F` and `R`) spelled as front and rear, where they come in pairs
    that are alike but for the letter, and no drive is a left or right one."""
    if drives and (drive_of_side("front", drives) is None or drive_of_side("rear", drives) is None):
        return list(headers)
    if any(drive_of_side(side, drives) for side in ("left", "right") if drives):
        return list(headers)
    out = list(headers)
    for front, rear in FRONT_REAR:
        out = _spelled(out, front, rear)
    return out


def _spelled(headers: Sequence[str], front: str, rear: str) -> list[str]:
    """With these letters spelled as the sides' words, where they come in pairs."""
    without = [{way: _LETTER[way].sub("\0", one) for way in (front, rear)} for one in headers]
    fronts = {own[front] for own, one in zip(without, headers, strict=True) if own[front] != one}
    rears = {own[rear] for own, one in zip(without, headers, strict=True) if own[rear] != one}
    pairs = fronts & rears
    if len(pairs) < LETTER_PAIRS or any(_LETTER["L"].search(one) for one in headers):
        return list(headers)
    return [
        _LETTER[front].sub("front", one) if own[front] in pairs and own[front] != one
        else _LETTER[rear].sub("rear", one) if own[rear] in pairs and own[rear] != one
        else one
        for own, one in zip(without, headers, strict=True)
    ]  # fmt: skip


def _short_rights(headers: Sequence[HeaderWords]) -> Sequence[HeaderWords]:
    """Short words for right that are articles elsewhere (Spanish `der`, French `D`): a side only
    beside a left of the same language."""
    words = [set(tokens_of(one.header)) for one in headers]
    spanish = any({"izq", "izquierda", "izquierdo"} & one for one in words)
    french = any({"g", "gauche"} & one for one in words)
    return [
        replace(one, side="right", side_sure=0.97)
        if one.side is None
        and ((spanish and "der" in own) or (french and _LONE_D.search(one.header)))
        else one
        for one, own in zip(headers, words, strict=True)
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
        if one.number is not None and one.ideas and not _of_the_pack(one):
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


def _of_the_pack(one: HeaderWords) -> bool:
    """Numbers of cells and of the pack's sensors are no drives'."""
    own = bool(one.ideas & {"battery", "pack"}) and "temperature" in one.ideas
    return "cell" in one.ideas or own

"""Long files: a column that says which drive each row is of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.guess_side import drive_of_side
from importers.header_words import read_header
from importers.raw_table import RawColumn, RawTable
from importers.words import side_of, tokens_of

MOST_IDS = 8
"""More different values than this are no drives. Our choice."""
LEAST_CHANGES = 0.02
"""Rows of drives alternate; a mode that changes now and then does not [changes per row]. Our
choice."""
BARE_NAMES = frozenset(
    {"drive", "side", "node", "antrieb", "seite", "côté", "lado", "lato", "kant"}
)
"""Headers that say alone what an id column is; with other words they are a reading's place."""
NAMED, IN_ORDER = 0.985, 0.9
"""Chance that ids are matched right: by name, or by order (under 0.95 by the contract)."""


@dataclass(frozen=True, slots=True, eq=False)
class IdColumn:
    """The id column of a long file."""

    at: int
    groups: NDArray[np.intp]
    """Number of each row's id, 0 for the first drive."""
    drives: tuple[str, ...]
    """The drive of each id number."""
    sure: float
    problems: tuple[str, ...] = ()


def find_ids(raw: RawTable, drives: Sequence[str], told: Mapping[str, str]) -> IdColumn | None:
    """The column that tells drives apart row by row, or None; `told` comes from a map file."""
    for at, column in enumerate(raw.columns):
        words = read_header(column.header, column.unit)
        named = "id" in words.ideas or "controller" in words.ideas or "motor" in words.ideas
        named = named or column.header.strip().casefold() in BARE_NAMES
        if words.ideas & {"current", "voltage", "temperature", "rotation", "time"}:
            continue
        if not named and column.texts is None:
            continue  # a number may be anything; a text that names the drives tells by itself
        found = _values(column)
        if found is None:
            continue
        labels, codes = found
        if not 2 <= len(labels) <= MOST_IDS or not _alternates(codes):
            continue
        match = _matched(labels, drives, told)
        if match is not None and (named or match[1] >= NAMED):
            return _ordered(at, labels, codes, *match)
    return None


def _values(column: RawColumn) -> tuple[list[str], NDArray[np.intp]] | None:
    """The ids as text, and each row's place among them."""
    if column.numbers is not None:
        numbers = column.numbers
        if np.unique(numbers[:2000]).size > MOST_IDS:
            return None
        if not np.isfinite(numbers).all() or bool((numbers != np.round(numbers)).any()):
            return None
        values, codes = np.unique(numbers, return_inverse=True)
        return [f"{int(one)}" for one in values], codes.astype(np.intp)
    if column.texts is None or column.texts.null_count:
        return None
    encoded = column.texts.dictionary_encode()
    if len(encoded.dictionary) > MOST_IDS:
        return None
    return encoded.dictionary.to_pylist(), np.asarray(encoded.indices, np.intp)


def _alternates(codes: NDArray[np.intp]) -> bool:
    return codes.size > 1 and float(np.mean(codes[1:] != codes[:-1])) >= LEAST_CHANGES


def _matched(
    labels: list[str], drives: Sequence[str], told: Mapping[str, str]
) -> tuple[list[str], float, tuple[str, ...]] | None:
    if told:
        mine = [told.get(one, "") for one in labels]
        return (mine, 1.0, ()) if all(mine) else None
    by_name = [_drive_named(one, drives) for one in labels]
    if all(by_name) and len(set(by_name)) == len(labels):
        return [one for one in by_name if one], NAMED, ()
    if not drives:
        pairs = ", ".join(f'"{one}" = "{one}"' for one in labels)
        text = (
            "ids are taken as the drives' names: there is no setup. A map line names them: "
            f"ids = {{ {pairs} }}"
        )
        return labels, IN_ORDER, (text,)
    if len(drives) != len(labels):
        return None
    order = sorted(range(len(labels)), key=lambda at: _as_number(labels[at]))
    mine = [""] * len(labels)
    for drive, at in zip(drives, order, strict=True):
        mine[at] = drive
    pairs = ", ".join(f'"{labels[at]}" = "{mine[at]}"' for at in order)
    return mine, IN_ORDER, (
        f"ids name no drive; taken in the setup's order. If that is wrong, a map line settles it: "
        f"ids = {{ {pairs} }}",
    )  # fmt: skip


def _as_number(label: str) -> tuple[float, str]:
    try:
        return float(label), label
    except ValueError:
        return float("inf"), label


def _drive_named(label: str, drives: Sequence[str]) -> str | None:
    for drive in drives:
        if drive.casefold() == label.casefold():
            return drive
    sides = {side_of(token) for token in tokens_of(label)} - {None}
    if len(sides) == 1:
        return drive_of_side(str(sides.pop()), drives)
    return None


def _ordered(
    at: int,
    labels: list[str],
    codes: NDArray[np.intp],
    mine: list[str],
    sure: float,
    problems: tuple[str, ...],
) -> IdColumn:
    return IdColumn(at, codes, tuple(mine), sure, problems)

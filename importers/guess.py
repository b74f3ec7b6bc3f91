"""A table's columns -> channels: words, units, ranges and the physics between columns together.

The assignment is made as a whole: a channel is given once per drive, to the column that fits it
best, and what is decided for one column (a voltage) settles others (a current's sign).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import map_line
from importers.channels import channel_of
from importers.charge_current import read_counters
from importers.column_guess import SURE, UNREAD_SURE, Guess, full
from importers.guess_charge import settle_by_charge
from importers.guess_name import NameGuess, is_foreign, name_guesses
from importers.guess_physics import (
    check_power,
    settle_degrees,
    settle_signs,
    settle_speed_units,
)
from importers.guess_roles import doubt_pack_currents, one_each, settle_open_currents, whole_vehicle
from importers.guess_side import drives_of, lettered
from importers.guess_unit import guess_unit
from importers.header_words import HeaderWords, read_header
from importers.raw_table import RawColumn
from importers.setup_types import Setup

Floats = NDArray[np.float64]

READ_FROM = 0.5
"""Columns less sure than this are not read. Our choice: rather asked for than guessed."""
SAMPLE_ROWS = 60_000
"""Rows that the guesses look at, evenly spread in stretches. Our choice."""
FASTEST_KMH = 200.0
"""No vehicle of this kind goes faster [km/h]. Our choice."""
SPELLED = re.compile(
    r"(?<![\[(,/] )(?<![\[(,/])(?<![^\W\d_])(?:volts?|amps?|amp[eè]res?|watts?)"
    r"(?![^\W\d_])(?!\s*[\])])",
    re.IGNORECASE,
)
"""A unit's name used for the quantity (`battery amps`): a habit of speech, perhaps not the unit."""
SPOKEN = 0.95
"""Chance that it is the unit all the same. Our choice."""


def guess_columns(
    columns: Sequence[RawColumn],
    time_s: Floats,
    rows: NDArray[np.intp],
    setup: Setup | None,
    *,
    drives: Sequence[str] | None = None,
) -> tuple[list[Guess], list[str]]:
    """A reading for every column (time and id columns left out by the caller), and remarks.

    `rows` are the row numbers to look at and `time_s` their times; `drives` the names that headers
    may speak of (default: the setup's).
    """
    names = tuple(drives if drives is not None else setup.drive_names if setup else ())
    spelled = lettered([one.header for one in columns], names)
    headers = [
        replace(read_header(text, one.unit, names), header=one.header)
        for text, one in zip(spelled, columns, strict=True)
    ]
    sides, side_sure, remarks = drives_of(headers, names)
    guesses = [
        Guess(column, words, drive, sure, _first_name(words, column))
        for column, words, drive, sure in zip(columns, headers, sides, side_sure, strict=True)
    ]
    for one in guesses:
        if one.name is not None:
            _look_at(one, rows, setup)
        elif not is_foreign(one.words):
            one.unread_sure = UNREAD_SURE
    whole_vehicle(guesses, len(names))
    settle_open_currents(guesses)
    one_each(guesses, len(names))
    doubt_pack_currents(guesses, len(names))
    settle_speed_units(guesses, setup)
    settle_degrees(guesses)
    settle_signs(guesses, time_s)
    settle_by_charge(guesses, rows, time_s)
    read_counters(guesses, rows, time_s)
    check_power(guesses)
    return guesses, remarks


def _first_name(words: HeaderWords, column: RawColumn) -> NameGuess | None:
    names = name_guesses(words)
    if not names:
        return None
    first = names[0]
    row = channel_of(first.channel)
    if column.numbers is None and first.channel != "status":
        return None
    if row is None:
        return None
    return first


def _look_at(one: Guess, rows: NDArray[np.intp], setup: Setup | None) -> None:
    """The column's unit, from its words and a sample of its values."""
    assert one.name is not None
    if one.column.numbers is None:
        return
    numbers = one.column.numbers[rows]
    _turns_or_speed(one, numbers)
    electrical = bool(one.words.ideas & {"erpm", "electrical"})
    one.unit = guess_unit(one.name.channel, numbers, one.words.unit, setup, electrical=electrical)
    spoken = not one.column.unit and SPELLED.search(one.words.header)
    if spoken and not (setup is not None and one.unit.name == "V" and one.unit.chance >= 1.0):
        one.unit = replace(one.unit, chance=min(one.unit.chance, SPOKEN))
    known = bool(np.isfinite(one.unit.factor))
    one.sample = one.unit.apply(numbers) if known else numbers
    one.why = one.unit.why


def _turns_or_speed(one: Guess, numbers: Floats) -> None:
    """A motor's `speed` without unit: beyond what a vehicle can do it counts turns."""
    if one.words.unit is not None or one.name is None or one.name.channel != "wheel_speed_mps":
        return
    if "wheel" in one.words.ideas or not np.isfinite(numbers).any():
        return
    if float(np.nanquantile(np.abs(numbers), 0.99)) > FASTEST_KMH:
        one.name = NameGuess("motor_rpm", 0.96)


def drop_doubtful(guesses: list[Guess]) -> list[str]:
    """Columns that are too unsure are not read; says which, and the map line that settles each."""
    told = []
    for one in guesses:
        if one.name is None or one.sure >= SURE:
            continue
        line = map_line(one.column.header, full(one), one.unit.name, one.sign.sign)
        why = f": {one.why}" if one.why else ""
        if one.sure < READ_FROM:
            told.append(f"'{one.column.header}' is not read, it is too unsure{why}. If it is "
                        f"{full(one)}, a map file says so: {line}")  # fmt: skip
            one.drop(one.why or "too unsure")
        else:
            told.append(
                f"'{one.column.header}' is read as {full(one)}, {int(100 * one.sure)} % sure{why}. "
                f"A map file settles it: {line}{f', or {one.rival}' if one.rival else ''}"
            )
    return told

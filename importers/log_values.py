"""A settled reading -> the channel's values for every row kept, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import FileMap, MappedChannel
from importers.channels import COUNTED, channel_of
from importers.column_guess import Guess
from importers.errors import LogError
from importers.guess_name import NameGuess
from importers.guess_sign import SignGuess
from importers.guess_unit import UnitGuess, guess_unit
from importers.header_words import read_header
from importers.raw_table import RawTable
from importers.setup_types import Setup
from importers.units import ELECTRICAL_RPM, PHASE_SCALES, parse_unit

Values = NDArray[np.float64] | NDArray[np.object_]
STUCK_ROWS = 200
"""A temperature that never moves over this many rows is a missing sensor. Our choice."""
RAILS_C = (-273.15, -127.0, -100.0, -55.0, -50.0, -40.0, 0.0, 85.0, 125.0, 127.0, 150.0, 200.0)
"""What unconnected temperature sensors and their converters show: common practice, no source."""


def values_of(one: Guess, keep: NDArray[np.intp]) -> tuple[Values | None, str]:
    """n values in SI with their sign, or None; and a fault worth telling."""
    if one.name is None:
        return None, ""
    if one.column.numbers is None:
        if one.column.texts is None:
            return None, ""
        words = np.asarray(one.column.texts.to_numpy(zero_copy_only=False), object)[keep]
        return words, ""
    if not np.isfinite(one.unit.factor):
        return None, "electrical turns: give vehicle.pole_pairs in the setup to read them"
    numbers = one.column.numbers
    whole = keep.size == numbers.size and bool((keep[1:] > keep[:-1]).all())
    values = numbers if whole else numbers[keep]
    if values.dtype == np.float32:  # of a long file: changed where it stands
        values *= np.float32(one.unit.factor * one.sign.sign)
        values += np.float32(one.unit.offset * one.sign.sign)
    else:
        values = one.unit.apply(values)
        if one.sign.sign < 0:
            values = -values
    if one.name.channel == "status":
        return _codes(values), ""
    return _checked(one, values if values.dtype == np.float32 else np.asarray(values, np.float64))


def _codes(values: NDArray[np.float64]) -> NDArray[np.object_]:
    """Numeric codes as the text they stand as."""
    out = np.empty(values.size, object)
    distinct, places = np.unique(values, return_inverse=True)
    words = np.array(
        [None if not np.isfinite(v) else f"{v:.0f}" if v == round(v) else f"{v:g}"
         for v in distinct], object,
    )  # fmt: skip
    out[:] = words[places]
    return out


def _checked(one: Guess, values: NDArray[np.float64]) -> tuple[Values, str]:
    assert one.name is not None
    good = np.isfinite(values)
    if not good.any():
        return values, "empty: no value in any row"
    row = channel_of(one.name.channel)
    if row is None:
        return values, ""
    least, most = float(np.nanmin(values)), float(np.nanmax(values))
    if least == most and row.dimension == "temperature" and good.sum() >= STUCK_ROWS:
        level = float(values[good][0])
        if any(abs(level - rail) < 0.51 for rail in RAILS_C):
            return np.full(values.size, np.nan), f"always {level:g} °C: no sensor, taken as missing"
        return values, f"always {level:g} °C: maybe no sensor"
    low, high = (row.low, row.high) if row.dimension != "fraction" else (-150.0, 150.0)
    if least >= low and most <= high:
        return values, ""
    beyond = good & ((values < low) | (values > high))
    count = int(beyond.sum())
    if count < 0.05 * good.sum():
        values = np.where(beyond, np.nan, values)
        return values, f"{count} values beyond {low:g} to {high:g} {row.unit} taken as missing"
    return values, ""


def mapped_guesses(
    raw: RawTable, left: Sequence[int], own: FileMap, path: str, setup: Setup | None
) -> list[Guess]:
    """Readings as the map says; columns it leaves out are not read.

    Raises
    ------
    LogError : a column of the map is not in the file, or electrical turns without pole pairs
    """
    headers = {one.header for one in raw.columns}
    missing = [one for one in own.channels if one not in headers]
    if missing:
        raise LogError(
            where=path,
            what=f"the map names columns that are not in it: {', '.join(map(repr, missing))}",
            remedy="`hillproof look` shows its columns as they are written.",
        )
    guesses = []
    for at in left:
        column = raw.columns[at]
        words = read_header(column.header, column.unit)
        told = own.channels.get(column.header)
        guess = Guess(column, words, None, 1.0, None, why="left out by the map")
        if told is not None:
            drive, _, name = told.channel.rpartition(".")
            guess.drive = drive or None
            if guess.drive == own.role:
                guess.drive = None
            guess.name = NameGuess(name, 1.0)
            guess.unit = _mapped_unit(told, name, column.numbers, setup, path)
            guess.sign = SignGuess(told.sign, 1.0)
            guess.why = "as the map says"
        guesses.append(guess)
    return guesses


def _mapped_unit(
    told: MappedChannel,
    name: str,
    numbers: NDArray[np.float64] | None,
    setup: Setup | None,
    path: str,
) -> UnitGuess:
    row = channel_of(name)
    if row is None or numbers is None or row.dimension == "text":
        return UnitGuess(told.unit, 1.0, 0.0, 1.0)
    if name == "phase_current_a" and told.unit in PHASE_SCALES:
        return UnitGuess(told.unit, PHASE_SCALES[told.unit], 0.0, 1.0)
    unit = parse_unit(told.unit, row.dimension) or parse_unit(told.unit, "pulse")
    if unit is None and name == COUNTED:
        unit = parse_unit(told.unit, "charge")
    if unit is not None and unit.name == ELECTRICAL_RPM and (
        setup is None or setup.vehicle.pole_pairs is None
    ):  # fmt: skip
        raise LogError(
            where=path,
            what=f"'{told.channel}' is mapped as electrical rpm",
            remedy="Give vehicle.pole_pairs in the setup.",
        )
    if unit is None or unit.dimension == "pulse" or unit.name == ELECTRICAL_RPM:
        found = guess_unit(name, numbers, unit, setup, electrical=bool(
            unit is not None and unit.name == ELECTRICAL_RPM))  # fmt: skip
        return UnitGuess(told.unit or found.name, found.factor, found.offset, 1.0)
    return UnitGuess(unit.name.split("\n")[0], unit.factor, unit.offset, 1.0)

"""A current without sign beside a column of words that says which way it flows. Pure.

Battery apps write `12.3` and `Charging` or `Discharging` beside it, in the language of the phone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from importers.current_doubts import NEVER_BELOW
from importers.guess_sign import LIKELY_CHANCE, sag_sign
from importers.raw_table import RawColumn
from importers.words import ideas_of, tokens_of

Floats = NDArray[np.float64]
Values = NDArray[np.float64] | NDArray[np.object_]

CURRENTS = ("pack_current_a", "battery_current_a")
VOLTAGES = ("pack_voltage_v", "battery_voltage_v")
MOST_WORDS = 12
"""More different words than this are no directions. Our choice."""
LEAST_ROWS = 10
"""So many rows of each direction carry current. Our choice."""
FLOWS = 0.02
"""Part of the highest current from which it flows. Our choice."""


def directed(
    columns: Mapping[str, Values],
    raw: Sequence[RawColumn],
    keep: NDArray[np.intp],
    time_s: Floats,
) -> tuple[dict[str, Values], list[str]]:
    """The columns (n rows kept of the raw ones) with signs put to unsigned currents, and remarks.

    A sign is put only where the voltage agrees: it rises under what is called charge.
    """
    out, told = dict(columns), list[str]()
    volts = next((columns[one] for one in VOLTAGES if one in columns), None)
    if volts is None:
        return out, told
    for name in CURRENTS:
        amps = columns.get(name)
        if amps is None or amps.dtype == object or not _unsigned(np.asarray(amps, np.float64)):
            continue
        amps = np.asarray(amps, np.float64)
        for one in raw:
            into = _into_pack(one, keep)
            if into is None:
                continue
            signed = np.where(into, -amps, amps)
            if _agree(signed, into, np.asarray(volts, np.float64), time_s):
                out[name] = signed
                told.append(f"{name}: without sign; '{one.header}' says which way it flows")
                break
    return out, told


def _unsigned(amps: Floats) -> bool:
    good = amps[np.isfinite(amps)]
    if good.size == 0:
        return False
    return float(good.min()) >= -NEVER_BELOW * float(np.abs(good).max()) and bool(good.max() > 0)


def _into_pack(one: RawColumn, keep: NDArray[np.intp]) -> NDArray[np.bool_] | None:
    """Rows in which a word says that the pack is charged; None where both ways are not named."""
    if one.texts is None or len(one.texts) == 0:
        return None
    coded = one.texts.dictionary_encode()
    if len(coded.dictionary) > MOST_WORDS:
        return None
    ways = [_way(str(word)) for word in coded.dictionary.to_pylist()]
    if not {1, -1} <= set(ways):
        return None
    codes = np.asarray(pc.fill_null(coded.indices, len(ways)), np.intp)
    return np.asarray([*(way < 0 for way in ways), False], np.bool_)[codes[keep]]


def _way(word: str) -> int:
    """1 for a word of discharge, -1 for one of charge, 0 for others."""
    ideas = {idea for one in tokens_of(word) for part in ideas_of(one) for idea in part}
    if "discharge" in ideas:
        return 1
    return -1 if ideas & {"charge", "brake"} else 0


def _agree(signed: Floats, into: NDArray[np.bool_], volts: Floats, time_s: Floats) -> bool:
    """Whether both ways carry current, and the voltage falls as the signed current grows."""
    flows = np.abs(signed) > FLOWS * float(np.nanmax(np.abs(signed)))
    if (flows & into).sum() < LEAST_ROWS or (flows & ~into).sum() < LEAST_ROWS:
        return False
    found = sag_sign(volts, signed, time_s)
    plain = sag_sign(volts, np.abs(signed), time_s)
    better = plain is None or (found is not None and found.chance >= plain.chance)
    return found is not None and found.sign > 0 and found.chance >= LIKELY_CHANCE and better

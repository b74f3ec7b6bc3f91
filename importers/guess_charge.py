"""A battery current against counters of charge: charge is the integral of current.

Counters start where they like, begin anew and count one way or both: they are read as differences.
They are no channels; what they settle is a current's unit, and its sign where their words say what
they count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import map_line
from importers.column_guess import Guess, full
from importers.guess_unit import TOLD, UnitGuess
from importers.header_words import HeaderWords
from importers.units import BY_NAME

Floats = NDArray[np.float64]

BIN_S = 20.0
"""Charge is compared over this long [s]. Our choice: a thousandth of an ampere-hour in it is
0.2 A."""
STEP_S = 5.0
"""Rows further apart say nothing of the current between them [s]. Our choice."""
LEAST_BINS, LEAST_STEPS = 8, 50.0
"""A counter must run over so many of these, and over so many of its own steps. Our choice."""
GOES = 0.98
"""Correlation from which the counter counts this current. Our choice."""
SAME = 0.08
"""A charge this near to the current's, or to a power of ten of it. Our choice: scales of current
sensors are right within 3 %, rows of one hertz lose a few more."""
RESET_PART = 0.2
"""A step larger than this part of all a counter covers is a new beginning. Our choice."""
CONTRADICTED = 0.6
"""Chance of a stated unit that a counter contradicts: either may be wrong. Our choice."""
COUNTED = 0.995
"""Chance of a unit that a counter agrees with. Our choice."""


def settle_by_charge(guesses: Sequence[Guess], rows: NDArray[np.intp], time_s: Floats) -> None:
    """Units of battery currents by the counters of charge beside them, in place.

    `rows` are the row numbers that were sampled and `time_s` their times.
    """
    counters = [one for one in guesses if one.name is None and counter_ah(one.words) is not None
                and one.column.numbers is not None]  # fmt: skip
    if not counters:
        return
    amps = [one for one in guesses if one.name is not None and one.sample.size == time_s.size
            and one.name.channel in ("battery_current_a", "pack_current_a")]  # fmt: skip
    for counter in counters:
        mine = [one for one in amps if one.drive == counter.drive]
        if counter.drive is None and not mine:
            mine = amps  # what the pack gave is what all drives drew
        if not mine or len({one.unit.factor for one in mine}) > 1:
            continue
        assert counter.column.numbers is not None
        counted = counter.column.numbers[rows] * (counter_ah(counter.words) or 0.0)
        total = np.sum([one.settled for one in mine], axis=0)
        found = _times(counted, total, time_s)
        if found is not None:
            for one in mine:
                _settle(one, counter, *found)


def counter_ah(words: HeaderWords) -> float | None:
    """What one count of a charge counter is [Ah]; None for other columns."""
    if words.unit is not None:
        return words.unit.factor if words.unit.dimension == "charge" else None
    if "mah" in words.words:
        return BY_NAME[("charge", "mAh")].factor
    return 1.0 if "ah" in words.words else None


def _times(counted: Floats, amps: Floats, time_s: Floats) -> tuple[float, int] | None:
    """How many times the current's charge the counter counts, and which way: 1 what is given, -1
    what comes back, 0 both; None where it counts something else."""
    step_s = np.diff(time_s)
    dq = np.diff(counted)
    di = 0.5 * (amps[1:] + amps[:-1]) * step_s / 3600.0
    reach = float(np.nanmax(counted, initial=0.0) - np.nanmin(counted, initial=0.0))
    good = np.isfinite(dq) & np.isfinite(di) & (step_s < STEP_S)
    good &= np.abs(dq) <= RESET_PART * max(reach, 1e-9)
    moved = np.abs(dq[good & (dq != 0)])
    if moved.size < LEAST_STEPS or moved.sum() < LEAST_STEPS * float(np.quantile(moved, 0.05)):
        return None
    bins = (time_s[:-1] // BIN_S).astype(np.int64)
    _, at = np.unique(bins[good], return_inverse=True)
    if at.max(initial=0) + 1 < LEAST_BINS:
        return None
    counted_bins = np.bincount(at, dq[good])
    best: tuple[float, float, int] | None = None
    for way, flow in ((1, np.maximum(di, 0.0)), (-1, np.maximum(-di, 0.0)), (0, di)):
        flowed = np.bincount(at, flow[good])
        if float(np.std(flowed)) <= 0 or float(np.std(counted_bins)) <= 0:
            continue
        fit = float(np.corrcoef(flowed, counted_bins)[0, 1])
        size = float(np.abs(counted_bins).sum() / max(np.abs(flowed).sum(), 1e-12))
        if abs(fit) > GOES and (best is None or abs(fit) > best[0]):
            best = (abs(fit), size, way)
    return None if best is None else best[1:]


def _settle(one: Guess, counter: Guess, times: float, way: int) -> None:
    """Take what the counter says of this current's unit and sign."""
    assert one.name is not None
    header = counter.column.header
    power = round(np.log10(max(times, 1e-9)))
    if abs(times / 10.0**power - 1.0) > SAME:
        return
    if power == 0:
        if one.unit.chance < 1.0:
            one.unit = replace(one.unit, chance=COUNTED)
            one.why = f"its charge is what '{header}' counts"
        told = counter.words.ideas & {"discharge", "energy"}
        if told and way == 1 and one.sign.chance < COUNTED:
            one.sign = replace(one.sign, chance=COUNTED)
        return
    name = {1.0: "A", 0.1: "dA", 0.01: "cA", 0.001: "mA"}.get(
        round(one.unit.factor * 10.0**power, 6)
    )
    if name is None:
        return
    if one.words.unit is None:
        factor = BY_NAME[("current", name)].factor
        one.sample = one.sample / one.unit.factor * factor
        one.unit = UnitGuess(name, factor, 0.0, TOLD)
        one.why = f"its charge is then what '{header}' counts"
        return
    one.unit = replace(one.unit, chance=CONTRADICTED)
    one.why = f"'{header}' counts {times:.3g} times its charge"
    one.rival = map_line(one.column.header, full(one), name, one.sign.sign)

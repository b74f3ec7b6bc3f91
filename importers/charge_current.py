"""A battery current from counters of charge, where a drive logs no current: dQ/dt. Pure.

A counter of what was drawn and one of what came back make one current together: both are read as
`battery_current_a`, the second with sign -1, and their currents add up. One that runs both ways
is a current by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.channels import COUNTED
from importers.column_guess import Guess
from importers.guess_charge import RESET_PART, STEP_S, counter_ah
from importers.guess_name import NameGuess
from importers.guess_roles import MOTOR_CHANNELS
from importers.guess_sign import SignGuess
from importers.guess_unit import UnitGuess
from importers.ride import Unjudged
from importers.units import BY_NAME, parse_unit

Floats = NDArray[np.float64]

STEP_A = 0.5
"""A mean current is taken over so long that one step of the counter is this much [A]. Our choice:
about what small controllers' own currents are worth."""
LONGEST_S = 5.0
"""A counter that needs longer than this tells no current [s]. Our choice: a pull away from a
standstill is hardly longer."""
LEAST_STEPS = 50
"""A counter moves at least so many times in a ride. Our choice."""
BOTH_WAYS = 0.02
"""Part of a counter's steps that go the other way from which it counts both. Our choice: resets are
few."""
SAID, UNSAID = 0.9, 0.7
"""Chance that it is this current: where words say what is counted, and where they do not. Under
0.95: the rider has to see it."""
DRAWN = frozenset({"discharge", "energy"})
BACK = frozenset({"brake"})
BACK_WORDS = frozenset({
    "returned", "recovered", "recuperated", "regenerated", "back", "zuruck", "zurueck",
    "rekuperiert", "ruckgewonnen", "recupere", "recuperee", "recuperada", "recuperado",
    "recuperata", "recuperato", "teruggewonnen",
})  # fmt: skip
"""What is said of charge that braking puts back, without accents, in seven languages."""
ONLY_DRAWN = "counts only what is drawn, so braking shows no current"
WHY = "no current is logged: worked out from the charge that this counts"


def counts_charge(one: Guess) -> bool:
    """Whether this column is a counter that is read as a current."""
    own = one.name is not None and one.name.channel == COUNTED
    return own and parse_unit(one.unit.name, "charge") is not None


def counted_current(ah: Floats, time_s: Floats, groups: NDArray[np.intp] | None = None) -> Floats:
    """`current_of_charge` of each id of a long file; of all rows where it has none."""
    if groups is None:
        return current_of_charge(ah, time_s)
    out = np.full(ah.size, np.nan)
    for one in np.unique(groups):
        mine = groups == one
        out[mine] = current_of_charge(ah[mine], time_s[mine])
    return out


def unseen_braking(one: Guess, name: str, guesses: Sequence[Guess]) -> list[Unjudged]:
    """What a counter of drawn charge alone leaves open."""
    others = [two for two in guesses if two is not one and two.drive == one.drive]
    if any(counts_charge(two) for two in others) or one.column.numbers is None:
        return []
    steps = _steps(one.column.numbers[np.isfinite(one.column.numbers)] * one.sign.sign)
    moved = steps[np.isfinite(steps) & (steps != 0)]
    if moved.size and float(np.mean(moved < 0)) > BOTH_WAYS:
        return []
    return [Unjudged(name, -1, f"'{one.column.header}' {ONLY_DRAWN}")]


@dataclass(frozen=True, slots=True)
class _Counter:
    guess: Guess
    way: int
    """1 counts what is drawn, -1 what comes back, 2 both."""
    sign: int
    chance: float


def read_counters(guesses: Sequence[Guess], rows: NDArray[np.intp], time_s: Floats) -> None:
    """Charge counters of drives that log no battery current are read as one, in place.

    `rows` are the row numbers that were sampled and `time_s` their times.
    """
    named = [one for one in guesses if one.name is not None]
    driven = {one.drive for one in named if one.name and one.name.channel in MOTOR_CHANNELS}
    have = {one.drive for one in named if one.name and one.name.channel.endswith("_current_a")
            and one.name.channel != "phase_current_a"}  # fmt: skip
    for drive in sorted(driven - have, key=str):
        if drive is not None or None not in have:
            mine = [one for one in guesses if one.name is None and one.drive == drive]
            _read_drive(mine, rows, time_s)


def _read_drive(guesses: Sequence[Guess], rows: NDArray[np.intp], time_s: Floats) -> None:
    found = [one for guess in guesses if (one := _counter(guess, rows, time_s)) is not None]
    both = [one for one in found if one.way == 2]
    drawn = [one for one in found if one.way == 1]
    back = [one for one in found if one.way == -1]
    if len(both) == 1 and not drawn:
        _take(both[0])
    elif len(drawn) == 1 and len(back) <= 1 and not both:
        for one in (*drawn, *back):
            _take(one)


def _take(one: _Counter) -> None:
    unit = one.guess.words.unit
    if unit is None or unit.dimension != "charge":
        unit = BY_NAME[("charge", "mAh" if "mah" in one.guess.words.words else "Ah")]
    one.guess.name = NameGuess(COUNTED, one.chance)
    one.guess.unit = UnitGuess(unit.name.split("\n")[0], unit.factor, 0.0, 1.0)
    one.guess.sign = SignGuess(one.sign, 1.0)
    one.guess.why = WHY


def _counter(guess: Guess, rows: NDArray[np.intp], time_s: Floats) -> _Counter | None:
    """What a column counts; None where it is no counter of charge, or too coarse a one."""
    per_ah = counter_ah(guess.words)
    if per_ah is None or guess.column.numbers is None:
        return None
    ah = guess.column.numbers[rows] * per_ah
    steps = _steps(ah)
    moved = steps[np.isfinite(steps) & (steps != 0)]
    if moved.size < LEAST_STEPS or block_s(ah, time_s) is None:
        return None
    down = float(np.mean(moved < 0))
    if BOTH_WAYS < down < 1.0 - BOTH_WAYS:
        falls = float(moved.sum()) < 0
        told = bool(guess.words.ideas & DRAWN) and not falls
        return _Counter(guess, 2, -1 if falls else 1, SAID if told else UNSAID)
    if down > 0.5:  # what is left in the pack
        return _Counter(guess, 1, -1, UNSAID)
    drawn = guess.words.ideas & DRAWN
    if not drawn and (guess.words.ideas & BACK or BACK_WORDS & set(guess.words.words)):
        return _Counter(guess, -1, -1, SAID)
    return _Counter(guess, 1, 1, SAID if drawn else UNSAID)


def _steps(ah: Floats) -> Floats:
    """Changes from row to row; a new beginning is none."""
    steps = np.diff(ah)
    reach = float(np.nanmax(ah, initial=-np.inf) - np.nanmin(ah, initial=np.inf))
    if not np.isfinite(reach):
        return np.zeros(0)
    return np.where(np.abs(steps) <= RESET_PART * max(reach, 1e-12), steps, np.nan)


def block_s(ah: Floats, time_s: Floats) -> float | None:
    """Over how long a mean current is worth `STEP_A` [s]; None where that is too long."""
    moved = np.abs(_steps(ah))
    moved = moved[np.isfinite(moved) & (moved > 1e-12)]
    if moved.size < LEAST_STEPS:
        return None
    least_s = float(np.median(np.diff(time_s)))
    # Several counts in most rows: the steps are no resolution then, but finer than needed.
    count_ah = float(np.quantile(moved, 0.01))
    need = max(count_ah * 3600.0 / STEP_A, least_s)
    return need if need <= LONGEST_S else None


def current_of_charge(ah: Floats, time_s: Floats) -> Floats:
    """n currents [A]: the mean over blocks of rows, held within each; NaN where a counter began
    anew, and all NaN for a counter too coarse to tell any.

    `ah` are n counts [Ah] and `time_s` their times, rising.
    """
    out = np.full(ah.size, np.nan)
    whole = block_s(ah, time_s)
    if whole is None:
        return out
    good = np.flatnonzero(np.isfinite(ah))
    t, q = time_s[good], ah[good]
    steps = _steps(q)
    # A run of counts without a reset and without a hole in the log.
    cuts = np.flatnonzero(~np.isfinite(steps) | (np.diff(t) > max(STEP_S, 2.0 * whole))) + 1
    for run in np.split(np.arange(t.size), cuts):
        if run.size < 2:
            continue
        edges = _edges(t[run], whole)
        if edges.size < 2:
            continue
        amps = np.diff(q[run][edges]) / np.diff(t[run][edges]) * 3600.0
        block = np.clip(
            np.searchsorted(edges, np.arange(run.size), side="right") - 1, 0, amps.size - 1
        )
        out[good[run]] = amps[block]
    return out


def _edges(t: Floats, whole: float) -> NDArray[np.intp]:
    """Positions at least `whole` seconds apart, the first row and the last among them."""
    block = np.floor((t - t[0]) / whole * (1.0 + 1e-9)).astype(np.int64)
    edges = np.flatnonzero(np.diff(block, prepend=-1) > 0)
    if t.size - 1 - edges[-1] > 0:
        edges = np.append(edges if edges.size == 1 else edges[:-1], t.size - 1)
    return np.asarray(edges, np.intp)

"""Which way round a column is logged, from what the physics between columns says.

A pack's voltage falls when it gives current (Ohm's law over the cells' resistance): that settles
the battery current's sign. Phase current and battery current have one sign while a motor drives.
A vehicle goes forwards far longer than backwards: that settles turns and speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CERTAIN_T = 12.0
"""Ratio of slope to its error from which a sign is taken as settled. Our choice: samples are not
independent, and a few hundred swings of load give far more."""
LIKELY_T = 5.0
LIKELY_CHANCE = 0.96
"""Chance of a sign from that ratio on. Our choice."""
USUAL_PART = 0.25
"""Voltages within this part of the median count. Our choice: full to empty is less for any cell in
use."""
MOST_STEPS = 20_000
"""Steps looked at; enough for any sign. Our choice."""
CHARGE_MOVES = 0.01
"""Charge must move the voltage by this part of it to tell a sign. Our choice: more than a reading's
drift, and a tenth of what lies between full and empty."""
CHARGE_EXPLAINS = 0.85
"""... and explain this part of how the voltage went. Our choice."""
MOVE_APART_S, FEWEST_MOVES = 1.5, 3
"""Steps of load further apart than this are moves of their own [s], and so many at least tell a
sign. Our choice."""
STEP_S = 0.7
"""Time over which changes are compared [s]: longer than a filter's lag, shorter than a climb."""


@dataclass(frozen=True, slots=True)
class SignGuess:
    """+1 or -1 and the chance that it is right."""

    sign: int
    chance: float
    why: str = ""


def sag_sign(volts: Floats, amps: Floats, time_s: Floats) -> SignGuess | None:
    """The sign that makes the voltage fall when the pack gives current; None when it cannot be
    told."""
    good = np.isfinite(volts) & np.isfinite(amps)
    if good.sum() < 20:
        return None
    # A bus that fell with its pack's path open says nothing of the cells' resistance.
    usual = float(np.median(volts[good]))
    good &= np.abs(volts - usual) < USUAL_PART * abs(usual)
    if good.sum() < 20:
        return None
    v, i, t = volts[good], amps[good], time_s[good]
    step = max(1, round(STEP_S / max(float(np.median(np.diff(t))), 1e-6)))
    if t.size <= 2 * step:
        return None
    at = np.arange(0, t.size - step, max(1, (t.size - step) // MOST_STEPS))
    near = t[at + step] - t[at] < 5 * STEP_S + 2.0
    dv, di = (v[at + step] - v[at])[near], (i[at + step] - i[at])[near]
    spread = float(np.abs(di).max(initial=0.0))
    moved = np.abs(di) > 0.05 * spread
    dv, di, begun = dv[moved], di[moved], t[at][near][moved]
    if dv.size:  # a few steps of another kind (a path that opens) must not outweigh the rest
        low, high = np.quantile(dv, [0.02, 0.98])
        dv = np.clip(dv, low, high)
    if di.size < 8 or spread <= 0:
        return None
    move = np.cumsum(np.diff(begun, prepend=begun[0]) > MOVE_APART_S)
    cross: Floats = np.bincount(move, di * dv).astype(np.float64)
    square: Floats = np.bincount(move, di * di).astype(np.float64)
    slope, strength = _slope(cross, square)
    odd = _odd_move(cross, square)
    without = _slope(np.delete(cross, odd), np.delete(square, odd))
    if strength < LIKELY_T <= without[1]:
        slope, strength = without[0], LIKELY_T
    if strength < 2.0:
        return None
    sign = 1 if slope < 0 else -1
    chance = 0.995 if strength >= CERTAIN_T else LIKELY_CHANCE if strength >= LIKELY_T else 0.8
    way = "falls" if slope < 0 else "rises"
    return SignGuess(sign, chance, f"the voltage {way} as it grows")


def _slope(cross: Floats, square: Floats) -> tuple[float, float]:
    """Least squares through the origin, and how many standard errors it is from none, by leaving
    out one move of the load at a time (the delete-a-group jackknife, Quenouille 1956, Tukey 1958):
    samples within a move are not independent, and a sign that hangs on a single one is none.

    `cross` and `square` are each move's sums of steps of current times steps of voltage, and of
    current squared."""
    k = cross.size
    if k < FEWEST_MOVES:
        return 0.0, 0.0
    slope = float(cross.sum() / square.sum())
    without = (cross.sum() - cross) / (square.sum() - square)
    spread = float(np.sum((without - without.mean()) ** 2))
    return slope, abs(slope) / max(float(np.sqrt((k - 1) / k * spread)), 1e-12)


def _odd_move(cross: Floats, square: Floats) -> int:
    """The move that goes least with the others: the pack's path may open once in a ride."""
    ratio = cross / square
    order = np.argsort(ratio)
    half = np.searchsorted(np.cumsum(square[order]), 0.5 * square.sum())
    middle = ratio[order[min(int(half), order.size - 1)]]
    return int(np.argmax(np.abs(cross - middle * square)))


def charge_sign(volts: Floats, amps: Floats, time_s: Floats) -> SignGuess | None:
    """The sign that makes the voltage fall as charge is given, for a load too steady to sag (a pack
    on its charger); None when charge does not explain how the voltage went."""
    good = np.isfinite(volts) & np.isfinite(amps) & np.isfinite(time_s)
    if good.sum() < 20:
        return None
    v, i, t = volts[good], amps[good], time_s[good]
    given = np.concatenate([[0.0], np.cumsum(0.5 * (i[1:] + i[:-1]) * np.diff(t))])
    span = float(np.ptp(given))
    if span <= 0:
        return None
    facts = np.column_stack([np.ones(v.size), i - i.mean(), given / span])
    fitted, *_ = np.linalg.lstsq(facts, v, rcond=None)
    moved, rest = float(fitted[2]), v - facts @ fitted
    explained = 1 - float(rest @ rest) / max(float(np.sum((v - v.mean()) ** 2)), 1e-12)
    if abs(moved) < CHARGE_MOVES * abs(float(np.median(v))) or explained < CHARGE_EXPLAINS:
        return None
    way = "falls" if moved < 0 else "rises"
    return SignGuess(1 if moved < 0 else -1, 0.97, f"the voltage {way} as its charge adds up")


def energy_sign(amps: Floats) -> SignGuess:
    """Without a voltage: over a ride a pack gives more than it takes."""
    good = amps[np.isfinite(amps)]
    total = float(good.sum()) if good.size else 0.0
    swing = float(np.abs(good).sum()) if good.size else 0.0
    if swing <= 0:
        return SignGuess(1, 0.5, "no current at all")
    lean = abs(total) / swing
    chance = 0.95 if lean > 0.5 else 0.85 if lean > 0.2 else 0.6
    return SignGuess(1 if total >= 0 else -1, chance, "a ride takes more than it gives back")


def common_sign(own: Floats, other: Floats, floor: float) -> SignGuess | None:
    """The sign that makes `own` go with `other` (settled already) where both are not small."""
    good = np.isfinite(own) & np.isfinite(other)
    if not good.any():
        return None
    top = float(np.quantile(np.abs(own[good]), 0.99))
    big = good & (np.abs(other) > floor) & (np.abs(own) > 0.1 * max(top, 1e-9))
    if big.sum() < 10:
        return None
    same = float(np.mean(np.sign(own[big]) == np.sign(other[big])))
    sure = max(same, 1 - same)
    chance = 0.995 if sure > 0.9 else 0.9 if sure > 0.75 else 0.6
    return SignGuess(1 if same >= 0.5 else -1, chance, "it goes with the battery current")


def forward_sign(values: Floats) -> SignGuess:
    """The sign that makes a vehicle go forwards most of the time."""
    good = values[np.isfinite(values)]
    top = float(np.quantile(np.abs(good), 0.98)) if good.size else 0.0
    moving = good[np.abs(good) > 0.1 * top] if top > 0 else good[:0]
    if moving.size < 10:
        return SignGuess(1, 0.96, "hardly moves")
    ahead = float(np.mean(moving > 0))
    sure = max(ahead, 1 - ahead)
    chance = 0.99 if sure > 0.9 else 0.93 if sure > 0.7 else 0.6
    return SignGuess(1 if ahead >= 0.5 else -1, chance, "vehicles go forwards")


def rate_sign(own: Floats, base: Floats, time_s: Floats) -> tuple[int, float] | None:
    """Whether `own` goes with the rate of change of `base`: sign and correlation; None where
    `base` hardly changes."""
    if own.size != base.size or own.size < 50:
        return None
    step = max(1, round(STEP_S / max(float(np.median(np.diff(time_s))), 1e-6)))
    span = time_s[2 * step :] - time_s[: -2 * step]
    change = (base[2 * step :] - base[: -2 * step]) / np.maximum(span, 1e-6)
    middle = own[step:-step]
    good = np.isfinite(change) & np.isfinite(middle) & (span < 6 * STEP_S)
    if good.sum() < 50 or float(np.std(change[good])) <= 0 or float(np.std(middle[good])) <= 0:
        return None
    found = float(np.corrcoef(change[good], middle[good])[0, 1])
    return (1 if found >= 0 else -1), abs(found)

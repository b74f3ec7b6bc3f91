"""Numbers bent by the logger's own limits: counters that overflow, readings cut at full scale.

A logger keeps a scaled value in a whole number of 8, 16 or 32 bits. What does not fit starts again
at the other end (overflow), or stays at the last number that fits (full scale). Neither is what the
sensor showed. An overflow is undone where only one reading of it makes sense. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEPS = (1.0, 0.1, 0.01)
"""What one count may be worth in the unit logged: the decimals loggers use. Our choice."""
WHOLE = 0.02
"""A count is whole within this, single precision included."""
FULL_16, FULL_32 = 2.0**16, 2.0**32
"""Numbers a 16 and a 32 bit counter can hold."""
NEAR_END = 0.4
"""An overflow goes from one end of the range to the other: before and after it the value lies
beyond this part of the range. Our choice: nothing measured crosses four fifths of it in a row."""
SMOOTH = 0.2
"""After it is undone no step is larger than this part of the range. Our choice."""
LEAST_ROWS = 50
FULL_SCALE_BITS = (8, 10, 11, 12, 14, 15, 16)
"""Bits of converters and counters in use."""
HELD_ROWS = 4
"""A plateau holds for this many rows in a row, to the last digit ... Our choice."""
LIVELY = 0.25
"""... while below it less than this share of the rows repeat the row before. Our choice: the top
of a quiet or slowly read channel says nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Undone:
    """n numbers, and what was wrong with them (empty where nothing was)."""

    numbers: Floats
    told: str = ""


def undo_overflow(numbers: Floats) -> Undone:
    """Do these numbers, in the unit logged, run over the end of a counter? Then as they were.

    Rows that could be one or the other become missing.
    """
    if numbers.size < LEAST_ROWS:
        return Undone(numbers)
    low = float(np.nanmin(numbers, initial=np.inf))
    high = float(np.nanmax(numbers, initial=-np.inf))
    if high < NEAR_END * FULL_16 * STEPS[-1]:  # as nearly every column
        return Undone(numbers)
    good = np.isfinite(numbers)
    if low >= 0:
        return _negatives(numbers, good, high)
    return _run_over(numbers, good, low, high)


def _step_of(values: Floats) -> float | None:
    """The largest step of `STEPS` that all values are whole numbers of."""
    for step in STEPS:
        counts = values / step
        if float(np.abs(counts - np.round(counts)).max()) < WHOLE:
            return step
    return None


def _negatives(numbers: Floats, good: NDArray[np.bool_], high: float) -> Undone:
    """Small negative values kept as unsigned ones: just below 2^16 or 2^32 counts."""
    values = numbers[good]
    for full in (FULL_32, FULL_16):
        for step in STEPS:
            whole = full * step
            if not (1.0 - NEAR_END / 2) * whole < high < whole:
                continue
            upper = values > (0.5 + NEAR_END / 4) * whole
            middle = (values > (0.5 - NEAR_END / 4) * whole) & ~upper
            # Both kinds of rows, and nothing between them: what is measured comes back through
            # the middle, what runs under zero does not.
            if middle.any() or not upper.any() or upper.all() or _step_of(values) is None:
                continue
            crossings = np.flatnonzero(np.diff(upper.astype(np.int8)) != 0)
            folded = np.where(upper, values - whole, values)
            jumps = np.abs(np.diff(folded))[crossings]
            if float(np.median(jumps)) > SMOOTH * whole:
                continue
            out = numbers.copy()
            out[good] = folded
            return Undone(
                out, f"{int(upper.sum())} values near {whole:g} are negative ones that a logger "
                "kept without sign: read as below zero",
            )  # fmt: skip
    return Undone(numbers)


def _run_over(numbers: Floats, good: NDArray[np.bool_], low: float, high: float) -> Undone:
    """Signed 16 bit values that ran over the top or the bottom."""
    values = numbers[good]
    for step in STEPS:
        whole = FULL_16 * step
        if not (high > NEAR_END * whole and low < -NEAR_END * whole):
            continue
        if high > whole / 2 - step / 2 or low < -whole / 2 - step / 2:
            continue
        if (_step_of(values) or 0.0) < step * 0.99:
            continue
        jumps = np.abs(np.diff(values))
        if not (jumps > 2 * NEAR_END * whole).any():
            continue
        run_on = np.unwrap(values, period=whole)
        run_on -= whole * np.round(float(np.median(run_on)) / whole)
        turned = np.abs(run_on - values) > whole / 2
        out = numbers.copy()
        doubtful = (jumps > SMOOTH * whole) & (jumps < (1.0 - SMOOTH) * whole)
        if doubtful.any() or not 0 < turned.mean() < 0.5:
            out[np.flatnonzero(good)[values * np.sign(np.median(values)) < -SMOOTH * whole]] = (
                np.nan
            )
            return Undone(
                out, f"values run over the logger's ±{whole / 2:g} and cannot be put right: "
                "those of the other sign are taken as missing",
            )  # fmt: skip
        out[good] = run_on
        return Undone(
            out, f"{int(turned.sum())} values ran over the logger's ±{whole / 2:g} and came out "
            "with the other sign: put right",
        )  # fmt: skip
    return Undone(numbers)


def full_scale(numbers: Floats) -> tuple[float, NDArray[np.bool_]] | None:
    """Is the top of these numbers, in the unit logged, the logger's full scale?

    Then that level and the n rows that lie at it (either sign): they were that much or more.
    """
    good = np.isfinite(numbers)
    if good.sum() < LEAST_ROWS:
        return None
    size = np.abs(numbers)
    top = float(np.max(size[good]))
    if top <= 0 or not _is_full_scale(top):
        return None
    at_top = size == top
    held = at_top[1:] & at_top[:-1] & (numbers[1:] == numbers[:-1])
    if _longest(held) < HELD_ROWS - 1:
        return None
    below = good[1:] & good[:-1] & ~at_top[1:] & ~at_top[:-1] & (size[1:] > 0.3 * top)
    if below.sum() < LEAST_ROWS // 2:
        return None
    if float(np.mean(numbers[1:][below] == numbers[:-1][below])) > LIVELY:
        return None
    return top, at_top


def _is_full_scale(top: float) -> bool:
    """2^k - 1 or 2^k counts of a decimal step, at which the number is whole."""
    for step in (*STEPS, 0.001):
        counts = top / step
        if abs(counts - round(counts)) > 1e-6 * max(counts, 1.0):
            continue
        if any(round(counts) in (2**bits - 1, 2**bits) for bits in FULL_SCALE_BITS):
            return True
    return False


def _longest(flag: NDArray[np.bool_]) -> int:
    if not flag.any():
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flag.astype(np.int8), [0]])))
    return int((edges[1::2] - edges[::2]).max())

"""What a log felt, on an even grid with slow changes taken out, and where a stretch of it lies in
another log: normalised cross-correlation by FFT. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.resample import gap_limit_s

Signals = Mapping[str, NDArray[np.float64]]
"""What a log felt, by kind (`voltage`, `speed`, `current`, `demand`): n values each."""

SMOOTH_S = {"voltage": 8.0, "current": 8.0, "demand": 8.0, "speed": 40.0}
"""Slower changes than this are taken out: they match at any lag. Speed changes in tens of
seconds, currents in seconds. Our choice."""
BUSY = 0.1
"""A vehicle above this part of its top speed (demand, current) is on its way. Our choice."""
TOP_PART, TOP_S = 0.05, 5.0
"""... which is what it reached for this part of the log or, of one that mostly stands, for so long
[s]. Our choice: single rows may be wrong."""
LASTS, ALIKE = 4, 0.2
"""A stretch of the coarse grid that so many steps (1 s) later is less alike than this (correlation
with itself) is noise of a vehicle at rest, and speaks neither for nor against. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A log's signals on an even grid, slow changes taken out, 0 where it has a hole."""

    start_s: float
    step_s: float
    values: dict[str, NDArray[np.float64]]
    filled: NDArray[np.bool_]
    busy: NDArray[np.bool_] | None = None
    """Where the vehicle is on its way, as far as speed, demand or current tell."""


def grids(time_s: NDArray[np.float64], signals: Signals, kinds: list[str], step: float) -> Grid:
    """The signals every `step` seconds."""
    start = float(time_s[0])
    n = int((time_s[-1] - start) / step) + 1
    at = start + step * np.arange(n)
    place = np.clip(np.searchsorted(time_s, at), 1, time_s.size - 1)
    filled = (time_s[place] - time_s[place - 1]) <= max(gap_limit_s(time_s), 2 * step)
    own_step = float(np.median(np.diff(time_s)))
    values = {}
    for kind in kinds:
        raw = signals[kind]
        good = np.isfinite(raw)
        if good.sum() < 10:
            continue
        source = raw
        width = max(round(step / own_step), 1)
        if width > 1 and good.all():
            source = mean_around(raw, width)
        even = np.interp(at, time_s[good], source[good])
        quick = mean_around(even, 3) - mean_around(even, max(round(SMOOTH_S[kind] / step), 3))
        quick[~filled] = 0.0
        if np.std(quick) > 1e-9 * max(float(np.abs(even).max()), 1e-9):
            values[kind] = quick
    return Grid(start, step, values, filled, _busy(time_s, signals, at))


def _busy(
    time_s: NDArray[np.float64], signals: Signals, at: NDArray[np.floating]
) -> NDArray[np.bool_] | None:
    """Where speed, else demand or current, is above a tenth of its top."""
    for kind in ("speed", "demand", "current"):
        raw = signals.get(kind)
        good = None if raw is None else np.isfinite(raw)
        if raw is None or good is None or good.sum() < 10:
            continue
        size = np.abs(raw[good])
        part = min(TOP_PART, TOP_S / max(float(time_s[-1] - time_s[0]), TOP_S))
        top = float(np.quantile(size, 1.0 - part))
        return np.asarray(np.interp(at, time_s[good], size) > BUSY * top, np.bool_)
    return None


def mean_around(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Mean of `width` values around each, fewer at the ends."""
    half = min(width, values.size) // 2
    sums = np.concatenate([[0.0], np.cumsum(values)])
    low = np.maximum(np.arange(values.size) - half, 0)
    high = np.minimum(np.arange(values.size) + half + 1, values.size)
    return np.asarray((sums[high] - sums[low]) / (high - low), np.float64)


def find_stretch(
    short: Grid, long: Grid, kinds: list[str], begin: int, size: int
) -> tuple[float, float] | None:
    """Where in the long log this stretch fits best: lag in grid steps, correlation."""
    total = np.zeros(long.filled.size + size - 1)
    used = 0
    for kind in kinds:
        piece = short.values[kind][begin : begin + size]
        energy = float(np.sum(piece**2))
        scale = float(np.sqrt(np.mean(short.values[kind] ** 2)))
        if energy < 0.05 * size * scale**2 or not lives(piece):
            continue
        whole = np.concatenate([np.zeros(size - 1), long.values[kind], np.zeros(size - 1)])
        length = 1 << int(whole.size - 1).bit_length()
        spectrum = np.fft.rfft(whole, length) * np.conj(np.fft.rfft(piece, length))
        dots = np.fft.irfft(spectrum, length)[: total.size]
        sums = np.concatenate([[0.0], np.cumsum(whole**2)])
        around = sums[size:][: total.size] - sums[:-size][: total.size]
        floor = 0.2 * size * float(np.mean(long.values[kind] ** 2)) + 1e-12
        total += dots / np.sqrt(energy * np.maximum(around, floor))
        used += 1
    if used == 0:
        return None
    at = int(np.argmax(total))
    return float(at - (size - 1) - begin), float(total[at] / used)


def lives(piece: NDArray[np.float64]) -> bool:
    """Whether a stretch holds more than noise: what a vehicle does lasts longer than a second."""
    return float(piece[LASTS:] @ piece[:-LASTS]) > ALIKE * float(piece @ piece)

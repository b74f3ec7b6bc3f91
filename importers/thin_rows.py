"""Very long rides with fewer rows where nothing happens: every spike, step and ramp stays. Pure.

Rows are looked at in blocks of a tenth of a second. A block in which every fast channel follows
the straight line to the next block, but for its usual noise, keeps two of its rows, or one where
the ride is longer still; any other keeps all. Rows that stay are as sampled.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

LONG_RIDE_ROWS = 3_000_000
"""Rides of more rows are thinned: 8 h at 100 Hz. Our choice, for memory."""
ENOUGH_ROWS = 1_500_000
"""... until about so many are left. Our choice: a day then takes 1.5 GB."""
BLOCK_S = 0.1
QUIET = 3.0
"""A block is quiet while it leaves its line by no more than this many times the median block.
Our choice."""
QUIET_SPREAD = 0.02
"""... and never by more than this part of the channel's usual spread, or, where that is more, than
what its own noise explains. Our choice."""
NOISE_SDS = 6.0
"""Standard deviations of a channel's noise that its largest of ten samples stays within, between
two that are as noisy. Our choice."""
NOISE_ROWS = 200_000
"""Rows in a row from which noise is read."""
STEPS = 1.5
"""Steps of its last digit that a reading may be off its line without having moved."""
WIDENED = (1.0, 1.5, 2.2, 3.2)
"""A ride that is still too long is thinned again with this many times the measure of quiet; a
tenth of the spread, at the most, is then still quiet. Our choice."""
FAST = ("current_a", "voltage_v", "motor_rpm", "speed_mps", "throttle_pct", "brake_pct")
"""Endings of the channels that decide; temperatures and charge follow slowly."""
PIECE = 200_000
"""Blocks looked at together."""


def thinned_rows(table: pd.DataFrame) -> NDArray[np.intp]:
    """Which of the table's n rows tell all there is to tell, in order.

    Where that leaves more than `LONG_RIDE_ROWS`, what counts as quiet is widened step by step.
    """
    time_s = table["time_s"].to_numpy(np.float64)
    n = time_s.size
    step = float(np.median(np.diff(time_s[:1_000_000]))) if n > 1 else 1.0
    size = round(BLOCK_S / step)
    blocks = (n - 1) // size if size >= 4 else 0
    if blocks < 10:
        return np.arange(n)
    edges = time_s[: blocks * size + 1 : size]
    whole = np.diff(edges) < 2.0 * BLOCK_S
    worst = np.zeros(blocks, np.float32)
    for name in map(str, table.columns):
        if name.endswith(FAST):
            worst = np.maximum(worst, _unrest(table[name].to_numpy(), blocks, size))
    inner = np.ones(size, np.bool_)
    inner[[0, size // 2]] = False
    for widened in WIDENED:
        quiet = whole & (worst <= widened)
        if n - quiet.sum() * inner.sum() <= LONG_RIDE_ROWS:
            break
    if n - quiet.sum() * inner.sum() > ENOUGH_ROWS:
        inner[size // 2] = True
    keep = np.ones(n, np.bool_)
    keep[: blocks * size].reshape(blocks, size)[np.ix_(quiet, inner)] = False
    return np.flatnonzero(keep)


def _unrest(
    values: NDArray[np.float64] | NDArray[np.float32], blocks: int, size: int
) -> NDArray[np.float32]:
    """How far a channel leaves the line from each block's first row to the next block's, in
    multiples of what counts as quiet; 0 where nothing is known."""
    off = np.empty(blocks, np.float32)
    part = (np.arange(size) / size).astype(np.float32)
    for low in range(0, blocks, PIECE):
        high = min(low + PIECE, blocks)
        rows = values[low * size : high * size].reshape(-1, size)
        first = rows[:, :1]
        after = values[(low + 1) * size : high * size + 1 : size].reshape(-1, 1)
        off[low:high] = np.abs(rows - (first + (after - first) * part)).max(axis=1)
    known = np.isfinite(off)
    if not known.any():
        return np.zeros(blocks, np.float32)
    some = values[:: max(values.size // 100_000, 1)]
    spread = float(np.subtract(*np.nanquantile(some, [0.99, 0.01])))
    most = max(QUIET_SPREAD * spread, NOISE_SDS * _noise_sd(values), 1e-12)
    limit = max(min(QUIET * float(np.median(off[known])), most), STEPS * _step(values), 1e-12)
    return np.where(known, off / np.float32(limit), np.float32(0.0))


def _noise_sd(values: NDArray[np.float64] | NDArray[np.float32]) -> float:
    """Spread of single samples about what they measure, in the quietest tenth of the ride: the
    second difference of white noise has six times its variance."""
    found = []
    for part in np.array_split(values[: values.size // 10 * 10], 10):
        bend = np.abs(np.diff(part[:NOISE_ROWS].astype(np.float64), 2))
        bend = bend[np.isfinite(bend)]
        if bend.size > 100:
            found.append(float(np.median(bend)) / 0.6745 / np.sqrt(6.0))
    return min(found, default=0.0)


def _step(values: NDArray[np.float64] | NDArray[np.float32]) -> float:
    """The smallest step the channel is logged in."""
    moves = np.abs(np.diff(values[:NOISE_ROWS].astype(np.float64)))
    moves = moves[np.isfinite(moves) & (moves > 1e-9)]
    return float(np.quantile(moves, 0.01)) if moves.size else 0.0

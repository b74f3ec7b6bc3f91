"""Very long rides with fewer rows where nothing happens: every spike, step and ramp stays. Pure.

Rows are looked at in blocks of a tenth of a second. A block in which every fast channel follows
the straight line to the next block, but for its usual noise, keeps two of its rows; any other
keeps all. Rows that stay are as sampled.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

LONG_RIDE_ROWS = 3_000_000
"""Rides of more rows are thinned: 8 h at 100 Hz. Our choice, for memory."""
BLOCK_S = 0.1
QUIET = 3.0
"""A block is quiet while it leaves its line by no more than this many times the median block.
Our choice."""
QUIET_SPREAD = 0.02
"""... and never by more than this part of the channel's usual spread. Our choice."""
FAST = ("current_a", "voltage_v", "motor_rpm", "speed_mps", "throttle_pct", "brake_pct")
"""Endings of the channels that decide; temperatures and charge follow slowly."""
PIECE = 200_000
"""Blocks looked at together."""


def thinned_rows(table: pd.DataFrame) -> NDArray[np.intp]:
    """Which of the table's n rows tell all there is to tell, in order."""
    time_s = table["time_s"].to_numpy(np.float64)
    n = time_s.size
    step = float(np.median(np.diff(time_s[:1_000_000]))) if n > 1 else 1.0
    size = round(BLOCK_S / step)
    blocks = (n - 1) // size if size >= 4 else 0
    if blocks < 10:
        return np.arange(n)
    quiet = np.ones(blocks, np.bool_)
    edges = time_s[: blocks * size + 1 : size]
    quiet &= np.diff(edges) < 2.0 * BLOCK_S
    for name in map(str, table.columns):
        if name.endswith(FAST):
            quiet &= _quiet(table[name].to_numpy(), blocks, size)
    keep = np.ones(n, np.bool_)
    inner = np.ones(size, np.bool_)
    inner[[0, size // 2]] = False
    keep[: blocks * size].reshape(blocks, size)[np.ix_(quiet, inner)] = False
    return np.flatnonzero(keep)


def _quiet(
    values: NDArray[np.float64] | NDArray[np.float32], blocks: int, size: int
) -> NDArray[np.bool_]:
    """Blocks in which a channel keeps to the line from its first row to the next block's."""
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
        return np.ones(blocks, np.bool_)
    some = values[:: max(values.size // 100_000, 1)]
    spread = float(np.subtract(*np.nanquantile(some, [0.99, 0.01])))
    limit = min(QUIET * float(np.median(off[known])), QUIET_SPREAD * max(spread, 1e-12))
    return np.asarray(~known | (off <= limit), np.bool_)

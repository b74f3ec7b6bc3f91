"""Very long rides with fewer rows where nothing happens: every spike, step and ramp stays. Pure.

Rows are looked at in blocks of a tenth of a second. A block in which every fast channel follows
the straight line to the next block, but for its noise, keeps its first row; any other keeps all.
Rows that stay are as sampled.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from importers.scatter import sd_of_bends

LONG_RIDE_ROWS = 1_500_000
"""Rides of more rows are thinned: 4 h at 100 Hz. Our choice, for memory: the analysis holds some
forty columns of all rows at once."""
BLOCK_S = 0.1
LEAST_ROWS = 4
"""Blocks of fewer rows are not worth it: logs slower than 40 Hz stay whole. Our choice."""
QUIET_SPREAD = 0.02
"""A block is quiet while it leaves its line by no more than this part of the channel's usual
spread. Our choice."""
QUIET_SIGMAS = 6.0
"""... or by no more than this many standard deviations of the noise from row to row: of Gaussian
noise one row in 10^8 lies further off."""
STEPS = 1.5
"""Steps of its last digit that a reading may be off its line without having moved."""
COARSE_PART = 0.05
"""... where such a step is no more than this part of the channel's spread. Our choice."""
WIDENED = (1.0, 1.5, 2.2, 3.2)
"""A ride that is still too long is thinned again with this many times the measure of quiet: of the
spread, a fifteenth at the most is then still quiet. Our choice."""
SPARSE = 0.3
"""A column with more missing cells than this writes at a pace of its own: its rows stay."""
HELD = 0.15
"""A column that changes at fewer of its rows than this stands still between steps: the rows on
both sides of a step tell all. Our choice."""
FAST = ("current_a", "voltage_v", "motor_rpm", "speed_mps", "throttle_pct", "brake_pct")
"""Endings of the channels that decide; temperatures and charge follow slowly."""
PIECE = 200_000
"""Blocks looked at together."""
NOISE_ROWS = 20_000
"""Rows in a stretch that tell a channel's noise. Our choice."""

Numbers = NDArray[np.float64] | NDArray[np.float32]


def thinned_rows(table: pd.DataFrame) -> NDArray[np.intp]:
    """Which of the table's n rows tell all there is to tell, in order.

    Where that leaves more than `LONG_RIDE_ROWS`, what counts as quiet is widened step by step.
    """
    time_s = table["time_s"].to_numpy(np.float64)
    n = time_s.size
    step = float(np.median(np.diff(time_s[:1_000_000]))) if n > 1 else 1.0
    size = round(BLOCK_S / step)
    blocks = (n - 1) // size if size >= LEAST_ROWS else 0
    if blocks < 10:
        return np.arange(n)
    edges = time_s[: blocks * size + 1 : size]
    whole = np.diff(edges) < 2.0 * BLOCK_S
    worst = np.zeros(blocks, np.float32)
    stay = np.zeros(n, np.bool_)
    for name in map(str, table.columns):
        if name.endswith(FAST):
            values = table[name].to_numpy()
            spread = spread_of(values[:: max(values.size // 100_000, 1)])
            worst = np.maximum(worst, unrest(values, blocks, size, spread, stay))
    for widened in WIDENED:
        keep = kept(whole & (worst <= widened), n, size) | stay
        if int(keep.sum()) <= LONG_RIDE_ROWS:
            break
    return np.flatnonzero(keep)


def kept(quiet: NDArray[np.bool_], rows: int, size: int) -> NDArray[np.bool_]:
    """Which of `rows` rows stay: all but those of quiet blocks (`size` rows), bar the first."""
    keep = np.ones(rows, np.bool_)
    inner = np.ones(size, np.bool_)
    inner[0] = False
    blocks = quiet.size
    keep[: blocks * size].reshape(blocks, size)[np.ix_(quiet, inner)] = False
    return keep


def spread_of(values: Numbers) -> float:
    """From the channel's 1st to its 99th percentile; 0 where nothing is known."""
    known = values[np.isfinite(values)]
    return float(np.subtract(*np.quantile(known, [0.99, 0.01]))) if known.size else 0.0


def unrest(
    values: Numbers, blocks: int, size: int, spread: float, stay: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """How far a channel leaves the line from each block's first row to the next block's, in
    multiples of what counts as quiet.

    A channel that writes or changes at few rows only tells all with those: they are marked in
    `stay` (n flags, changed in place), and it is at rest everywhere.
    """
    limit = _quiet_limit(values, spread)
    known = np.isfinite(values)
    if not known.all() and float(known.mean()) < 1.0 - SPARSE:
        stay |= known
        return np.zeros(blocks, np.float32)
    step = np.abs(np.diff(values))
    if float((step > 0).mean()) < HELD:
        far = np.flatnonzero(~(step <= limit) & (known[1:] | known[:-1]))
        stay[far] = stay[far + 1] = True
        return np.zeros(blocks, np.float32)
    off = np.empty(blocks, np.float32)
    part = (np.arange(size) / size).astype(np.float32)
    for low in range(0, blocks, PIECE):
        high = min(low + PIECE, blocks)
        rows = values[low * size : high * size].reshape(-1, size)
        first = rows[:, :1]
        after = values[(low + 1) * size : high * size + 1 : size].reshape(-1, 1)
        off[low:high] = np.abs(rows - (first + (after - first) * part)).max(axis=1)
        # A block with a value missing is an event, one without any is none.
        blank = ~(np.isfinite(rows).any(axis=1) | np.isfinite(after[:, 0]))
        off[low:high][np.isnan(off[low:high])] = np.inf
        off[low:high][blank] = 0.0
    return np.asarray(off / limit, np.float32)


def _quiet_limit(values: Numbers, spread: float) -> float:
    """How far a row may lie off its block's line and still be nothing but noise.

    The noise is told from second differences, which slopes and the ride itself hardly touch; those
    across a gap are left out. Of ten stretches the middle one counts.
    """
    found, steps = [], []
    for part in np.array_split(values, 10):
        some = part[:NOISE_ROWS].astype(np.float64)
        bend = np.abs(np.diff(some, 2))
        bend = bend[np.isfinite(bend)]
        if bend.size > 100:
            found.append(sd_of_bends(bend))
        move = np.abs(np.diff(some))
        steps.append(float(move[move > 1e-9].min(initial=np.inf)))
    digit = min(steps)
    # A step that is a good part of all the channel does is no last digit, but an event.
    coarse = STEPS * digit if digit <= COARSE_PART * spread else 0.0
    # The line itself ends in two noisy rows: at worst the difference has twice the variance.
    sigma = float(np.median(found)) if found else 0.0
    noise = float(QUIET_SIGMAS * 2.0**0.5 * sigma)
    return max(QUIET_SPREAD * spread, noise, coarse, 1e-12)

"""Which part of the load does each drive carry? Robust regression with an interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.blocks import Blocks
from analyzer.estimate import Estimate
from analyzer.quantities import Bools, Floats

LOAD_SHARE = 0.25
"""Sides are compared from this part of their summed battery limits. The contract's."""
LEAST_A = 0.5
"""Drives that carry less than this on average are not compared [A]. Our choice: above offsets."""
WIDEST_POINTS = 15.0
"""A share known no better than this is not told [points]. Our choice."""
ENOUGH_S = 15.0
"""Less common load than this says nothing [s]. The contract's."""
PART_ENOUGH_S = 8.0
"""... and for the straight or turning part of it [s]. Our choice."""
HUBER = 1.345
"""Huber's constant in units of the scale: 95 % efficiency under normal noise (Huber 1981,
Robust Statistics)."""
PART_OFF = 0.1
"""A block off by less than this part of the load is no outlier: one side saturated, a bend. Our
choice."""
CHUNK_S = 10.0
"""Blocks within this are resampled together [s]. Our choice: longer than a firm start."""
DRAWS = 300
"""Bootstrap draws. Our choice."""
GAIN_SD, OFFSET_SD_A = 0.0125, 0.1
"""Spread of controllers' current readings, as a part of them and in [A]: common practice, no
source (3 to 5 % and 0.1 to 0.3 A cover nearly all; the lower ends taken as two and a half and two
standard deviations)."""


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """m blocks in one direction: every drive's battery current, positive, and where they count."""

    names: tuple[str, ...]
    currents_a: Floats
    """m x drives."""
    together: Bools
    start_s: Floats
    length_s: Floats

    @property
    def sum_a(self) -> Floats:
        """All drives together."""
        return np.asarray(self.currents_a.sum(axis=1), np.float64)

    @property
    def held_s(self) -> float:
        """Seconds of common load."""
        return float(self.length_s[self.together].sum())


def common_load(
    names: tuple[str, ...],
    currents_a: Floats,
    blocks: Blocks,
    *,
    limits_a: float | None,
    at_fault: Bools,
) -> Load:
    """Where do all drives pull together with a quarter or more of what they may? Without limits a
    quarter of the most they did."""
    total = currents_a.sum(axis=1)
    good = np.isfinite(total)
    if limits_a is None:
        limits_a = float(np.percentile(total[good], 99)) if good.any() else 0.0
    with np.errstate(invalid="ignore"):
        floor_a = LEAST_A * len(names)
        together = good & (total >= LOAD_SHARE * limits_a) & (total > floor_a) & ~at_fault
        together &= (currents_a > 0.0).all(axis=1)
    return Load(names, currents_a, together, blocks.start_s, blocks.length_s)


def shares_pct(
    load: Load, rng: np.random.Generator, *, where: Bools | None = None
) -> tuple[Estimate, ...] | None:
    """Each drive's part of the load [%], with the interval from blocks drawn again and from the
    readings' own gains; None with too little of it."""
    on = load.together if where is None else load.together & where
    enough_s = ENOUGH_S if where is None else PART_ENOUGH_S
    if float(load.length_s[on].sum()) < enough_s:
        return None
    currents, total, length_s = load.currents_a[on], load.sum_a[on], load.length_s[on]
    share, weight = _robust_share(currents, total, length_s)
    chunk = np.floor(load.start_s[on] / CHUNK_S).astype(np.intp)
    _, chunk = np.unique(chunk, return_inverse=True)
    below = np.bincount(chunk, weight * total)
    above = np.column_stack([np.bincount(chunk, weight * c) for c in currents.T])
    draw = rng.integers(0, below.size, (DRAWS, below.size))
    drawn = above[draw].sum(axis=1) / below[draw].sum(axis=1)[:, None]
    mean_a = float(np.average(total, weights=length_s))
    sd = np.sqrt(drawn.std(axis=0) ** 2 + _reading_sd(share, mean_a) ** 2)
    half = 1.96 * sd * 100.0
    if float(half.max()) > WIDEST_POINTS:
        return None
    return tuple(
        Estimate(100.0 * float(s), 100.0 * float(s) - float(h), 100.0 * float(s) + float(h))
        for s, h in zip(share, half, strict=True)
    )


def _reading_sd(share: Floats, mean_a: float) -> Floats:
    """What independent gain and offset errors of the readings do to each share."""
    others = np.maximum((share**2).sum() - share**2, 0.0)
    gain = GAIN_SD * np.sqrt(share**2 * (1 - share) ** 2 + share**2 * others)
    offset = OFFSET_SD_A / mean_a * np.sqrt((1 - share) ** 2 + share**2 * (share.size - 1))
    return np.asarray(np.hypot(gain, offset), np.float64)


def _robust_share(currents: Floats, total: Floats, length_s: Floats) -> tuple[Floats, Floats]:
    """Slopes of each current against the sum through zero, errors growing with the root of the
    load (so that without outliers it is each drive's part of the summed charge), one Huber weight
    per block for all drives, so that the slopes add up to one."""
    weight = length_s.copy()
    share = np.zeros(currents.shape[1])
    for _ in range(12):
        share = weight @ currents / (weight @ total)
        residual = np.abs(currents - np.outer(total, share)).max(axis=1) / np.sqrt(total)
        scale = 1.4826 * float(np.median(residual)) + 1e-9
        usual = np.maximum(HUBER * scale, PART_OFF * np.sqrt(total))
        weight = length_s * np.minimum(1.0, usual / np.maximum(residual, 1e-12))
    return share, weight

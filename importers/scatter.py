"""How finely and how noisily a channel is logged. Pure."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def log_step(values: Floats) -> float:
    """The smallest step the channel is logged in: its resolution, 0 where there is none."""
    good = values[np.isfinite(values)]
    if good.size < 2:
        return 0.0
    steps = np.abs(np.diff(good[:20000]))
    steps = steps[steps > 1e-9]
    return float(np.percentile(steps, 1)) if steps.size else 0.0


def noise_sd(values: Floats) -> float:
    """Spread of single samples about what they measure, from how far each lies from the middle of
    its neighbours; missing samples are left out first, so the bend across a gap counts."""
    good = values[np.isfinite(values)][:60_000]
    if good.size < 20:
        return 0.0
    return sd_of_bends(np.abs(np.diff(good, 2)))


def sd_of_bends(bends: Floats) -> float:
    """The spread of independent noise whose second differences have these sizes: their variance is
    six times its own, and the median of a normal size is 0.6745 of its spread."""
    return float(np.median(bends) / 0.6745 / np.sqrt(6.0))

"""How much charge does the pack hold, from the charge drawn between two rest voltages?"""

from __future__ import annotations

import numpy as np

from analyzer.estimate import Estimate
from analyzer.rest_voltage import beyond_v, charge_pct, family
from importers.setup_types import Setup

LEAST_DEPTH_PCT = 8.0
"""Rides that use less tell nothing of the capacity [points of charge]. Our choice."""
WIDEST_OF_VALUE = 1.0
"""An interval wider than this times the value is not given. Our choice."""


def capacity_from_rests(
    drawn_ah: float,
    drawn_sd_ah: float,
    rest_start_v: float,
    rest_end_v: float,
    sd_v: tuple[float, float],
    common_sd_v: float,
    setup: Setup,
) -> Estimate | None:
    """Charge between empty and full [Ah]; None where the ride is too short to tell.

    `sd_v` are the rest voltages' own standard deviations, `common_sd_v` the part that moves both
    alike (the gain of the voltage reading).
    """
    series = setup.pack.series
    start, end = rest_start_v / series, rest_end_v / series
    depth = float(charge_pct(setup.curve, start, setup) - charge_pct(setup.curve, end, setup))
    if depth < LEAST_DEPTH_PCT or drawn_ah <= 0:
        return None
    value = 100 * drawn_ah / depth
    step = 0.002
    slopes = [
        float(charge_pct(setup.curve, v + step, setup) - charge_pct(setup.curve, v - step, setup))
        / (2 * step)
        for v in (start, end)
    ]
    own = beyond_v(setup) / 1.96 if not setup.curve.built_in else 0.0
    sds = [float(np.hypot(sd / series, own)) for sd in sd_v]
    common = (slopes[0] - slopes[1]) * common_sd_v / series
    depth_sd = float(np.sqrt((slopes[0] * sds[0]) ** 2 + (slopes[1] * sds[1]) ** 2 + common**2))
    relative = float(np.hypot(depth_sd / depth, drawn_sd_ah / drawn_ah))
    depths = [
        float(charge_pct(c, start + a, setup) - charge_pct(c, end + b, setup))
        for c in family(setup)
        for a, b in ((0, 0), *(_bends(setup)))
    ]
    low = 100 * drawn_ah / max(max(depths), 1e-6) * (1 - 1.96 * relative)
    high = 100 * drawn_ah / max(min(depths), 1e-6) / max(1 - 1.96 * relative, 0.05)
    if not 0 < high - low < WIDEST_OF_VALUE * value:
        return None
    return Estimate(value, low, high)


def _bends(setup: Setup) -> tuple[tuple[float, float], ...]:
    """How a curve beyond the published ones may stretch or squeeze the depth [V per cell]."""
    if not setup.curve.built_in:
        return ()
    reach = beyond_v(setup) / 2
    return ((reach, -reach), (-reach, reach))

"""What did the same demand at the same speed give while nothing held the drive back?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import Bools, Floats

DEMAND_STEP_PCT = 10.0
SPEED_EDGES_MPS = np.array([1.5, 3.0, 4.5, 6.0, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0])
"""Demands and speeds are compared within these classes. Our choice."""
LEAST_PCT = 25.0
"""Less demand than this moves too little current to judge [% of full]. Our choice."""
STEADY_PCT, STEADY_S = 5.0, 0.4
"""A demand that moved less than this in that time is steady: the current has followed. Our choice,
a few times the lag of a current controller (0.05 to 0.1 s, common practice, no source)."""
LEARNT_S = 2.0
"""A class is known from this long on [s]. Our choice."""


def steady(demand_pct: Floats, time_s: Floats) -> Bools:
    """Where the demand stood for `STEADY_S`; n values."""
    back = np.searchsorted(time_s, time_s - STEADY_S)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(demand_pct - demand_pct[back]) < STEADY_PCT, np.bool_)


def usual_a(
    current_a: Floats,
    demand_pct: Floats,
    speed_mps: Floats | None,
    free: Bools,
    step_s: Floats,
) -> Floats:
    """What each row's demand and speed gave in this ride's `free` rows [A]; NaN where the ride
    hardly visited them. Current and demand count positive the way the drive is asked to go, the
    demand in per cent of its highest; n values each."""
    place = _classes(demand_pct, speed_mps)
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = current_a / demand_pct
        good = free & np.isfinite(gain) & (demand_pct >= LEAST_PCT)
    out = np.full(current_a.size, np.nan)
    for one in np.unique(place[good]):
        rows = good & (place == one)
        if float(step_s[rows].sum()) >= LEARNT_S:
            here = place == one
            out[here] = float(np.median(gain[rows])) * demand_pct[here]
    return out


def _classes(demand_pct: Floats, speed_mps: Floats | None) -> NDArray[np.intp]:
    demand = np.nan_to_num(np.clip(demand_pct, 0.0, 100.0))
    place = np.asarray(demand // DEMAND_STEP_PCT, np.intp)
    if speed_mps is None:
        return place
    speeds = np.searchsorted(SPEED_EDGES_MPS, np.nan_to_num(np.abs(speed_mps)), side="right")
    return np.asarray(place * (SPEED_EDGES_MPS.size + 1) + speeds, np.intp)

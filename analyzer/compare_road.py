"""Does the road hold the vehicle back otherwise than before: tyres, bearings, a rubbing brake, air.

What is not sure of the drives (efficiency, the loss while braking, turning mass) is alike on both
rides and falls out of a difference. So is the drag area where rolling is asked about, and rolling
where the drag area is: one ride seldom tells the two apart, a change of either shows as its own
if the other stayed. Source: conditional mean and covariance of a joint normal (Gelman et al.,
Bayesian Data Analysis, 3rd ed. 2013, appendix A).
"""

from __future__ import annotations

import numpy as np

from analyzer.estimate import Z_95, Estimate
from analyzer.quantities import Floats
from analyzer.ride_analysis import RideResult
from analyzer.road import find_roads
from analyzer.road_load import RoadLoad, fit_road_load

ALIKE = (0, 2, 5)
"""Places in theta of what stays alike from ride to ride: efficiency, return, turning mass."""
ROLLING, DRAG = 3, 4
"""Places of rolling and drag area."""


def road_changes(
    before: RideResult, after: RideResult
) -> tuple[tuple[Estimate, Estimate, Estimate], ...] | None:
    """Before, after and change of the rolling coefficient and of the drag area [m2]; None where
    either ride tells nothing of them."""
    loads = [
        fit_road_load(one.ride, one.setup, find_roads(one.ride, one.setup))
        for one in (before, after)
    ]
    if any(one.theta.size == 0 for one in loads):
        return None
    parts = []
    for k, other, name in (
        (ROLLING, DRAG, "rolling_coefficient"), (DRAG, ROLLING, "drag_area_m2"),
    ):  # fmt: skip
        alike = [*ALIKE, other]
        held = np.mean([one.theta[alike] for one in loads], axis=0)
        (one, one_sd), (two, two_sd) = (_given(load, k, alike, held) for load in loads)
        half = Z_95 * float(np.hypot(one_sd, two_sd))
        change = Estimate(two - one, two - one - half, two - one + half)
        first, second = (getattr(load, name).estimate for load in loads)
        parts.append((first, second, change))
    return tuple(parts)


def _given(load: RoadLoad, k: int, alike: list[int], held: Floats) -> tuple[float, float]:
    """One parameter of one ride, were the others as held, and its sd."""
    cross = load.covariance[k, alike]
    gain = np.linalg.solve(load.covariance[np.ix_(alike, alike)], cross)
    mean = float(load.theta[k] + gain @ (held - load.theta[alike]))
    return mean, float(np.sqrt(max(load.covariance[k, k] - gain @ cross, 0.0)))

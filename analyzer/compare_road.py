"""Is the vehicle held back otherwise than before: tyres, bearings, a rubbing brake, air?

What is not sure of the drives (efficiency, the loss while braking, turning mass) is alike on both
rides and falls out of a difference. Rolling and drag area trade against each other: a change of
either is claimed only where the other cannot have made it, whatever it did; what both hold back
together, at the speed ridden, is told much better, best where both rides have the same road
(`analyzer.same_stretch`). Source: conditional mean and covariance of a joint normal (Gelman et al.,
Bayesian Data Analysis, 3rd ed. 2013, appendix A).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.climbs import Climb
from analyzer.estimate import Z_95, Estimate
from analyzer.quantities import Floats, speed_mps
from analyzer.ride_analysis import RideResult
from analyzer.road import find_roads
from analyzer.road_force import GRAVITY_MPS2, USUAL_AIR_KG_M3
from analyzer.road_load import RoadLoad, fit_road_load, wind_as_rolling
from analyzer.same_stretch import held_back_change

ALIKE = (0, 2, 5)
"""Places in theta of what stays alike from ride to ride: efficiency, return, turning mass."""
ROLLING, DRAG = 3, 4
"""Places of rolling and drag area."""

ROAD = (("resistance_to_motion", "1"), ("rolling_coefficient", "1"), ("drag_area_m2", "m²"))
"""What is compared, over the weight and as area: names and units."""
UNTOLD = (
    "The resistance to motion changed; which part of it the rides cannot tell: tyres and their "
    "pressure, a rubbing brake or bearing, the air and what stands in it, the day's wind, or a "
    "load that the setup does not say. Check the tyres first, then spin each wheel, power off."
)
"""Where neither rolling nor drag alone must have changed."""

Compared = tuple[Estimate, Estimate, Estimate]
"""Before, after, change."""


@dataclass(frozen=True, slots=True)
class RoadChanges:
    """What holds the vehicle back, before, after and the change of it."""

    together: Compared
    """Rolling and air at the usual speed of both rides, over the weight [1]."""
    rolling: Compared
    drag_m2: Compared


def road_changes(
    before: RideResult, after: RideResult, pairs: Sequence[tuple[Climb, Climb]] = ()
) -> RoadChanges | None:
    """How rolling, drag area and both together changed; `pairs` are climbs on both rides. None
    where either ride tells nothing of them."""
    rides = before, after
    roads = [find_roads(one.ride, one.setup) for one in rides]
    loads = [fit_road_load(one.ride, one.setup, own) for one, own in zip(rides, roads, strict=True)]
    mass = loads[0].mass_kg
    if any(one.theta.size == 0 for one in loads) or mass is None:
        return None
    held = np.mean([one.theta[list(ALIKE)] for one in loads], axis=0)
    given = [_given(load, (ROLLING, DRAG), ALIKE, held) for load in loads]
    spread = given[0][1] + given[1][1]
    half = Z_95 * np.sqrt(np.clip(np.diag(spread), 0.0, None))
    step = given[1][0] - given[0][0]
    changes = [_around(float(v), float(h)) for v, h in zip(step, half, strict=True)]
    told = [[load.rolling_coefficient.estimate, load.drag_area_m2.estimate] for load in loads]
    air = _air_per_area(rides, mass)
    both = np.array([1.0, air])
    apart = _around(float(both @ step), Z_95 * float(np.sqrt(both @ spread @ both)))
    wind_sd = float(np.sqrt(sum(wind_as_rolling(o.setup, o.ride, mass) ** 2 for o in rides)))
    theta = np.mean([one.theta for one in loads], axis=0)
    covariance = np.mean([one.covariance for one in loads], axis=0)
    same = held_back_change(rides, (roads[0], roads[1]), pairs, theta, covariance)
    if same is not None:
        on_road = _around(same.value, Z_95 * float(np.hypot(same.sd, wind_sd)))
        apart = min((apart, on_road), key=lambda one: one.half_width)
    first = _around(
        float(both @ theta[[ROLLING, DRAG]]),
        Z_95 * float(np.sqrt(both @ covariance[np.ix_([ROLLING, DRAG], [ROLLING, DRAG])] @ both)),
    )
    low, high = first.value - first.half_width, first.value + first.half_width
    return RoadChanges(
        (first, Estimate(first.value + apart.value, low + apart.value, high + apart.value), apart),
        (told[0][0], told[1][0], changes[0]),
        (told[0][1], told[1][1], changes[1]),
    )


def which_is_open(beyond: set[str]) -> bool:
    """Whether the resistance to motion changed and neither part of it must have, by the names of
    what is beyond chance."""
    whole, *parts = (name for name, _ in ROAD)
    return whole in beyond and not beyond & set(parts)


def _around(value: float, half: float) -> Estimate:
    return Estimate(value, value - half, value + half)


def _air_per_area(rides: tuple[RideResult, RideResult], mass_kg: float) -> float:
    """What a square metre of drag area holds back at the usual speed, over the weight [1/m2]."""
    speeds = [speed_mps(one.ride, one.setup) for one in rides]
    squares = [
        float(np.mean(one.values[one.values > 1.0] ** 2))
        for one in speeds
        if one is not None and bool((one.values > 1.0).any())
    ]
    usual = float(np.mean(squares)) if squares else 0.0
    return 0.5 * USUAL_AIR_KG_M3 * usual / (mass_kg * GRAVITY_MPS2)


def _given(
    load: RoadLoad, asked: Sequence[int], alike: Sequence[int], held: Floats
) -> tuple[Floats, Floats]:
    """Some parameters of one ride, were others as held: mean and covariance."""
    k, j = list(asked), list(alike)
    cross = load.covariance[np.ix_(k, j)]
    gain = np.linalg.solve(load.covariance[np.ix_(j, j)], cross.T).T
    mean = load.theta[k] + gain @ (held - load.theta[j])
    return mean, np.asarray(load.covariance[np.ix_(k, k)] - gain @ cross.T, np.float64)

"""What does each demand at each speed usually give in this ride?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.loss_signals import DriveSignals
from analyzer.quantities import Bools, Floats

ASKED = 0.08
"""Less demand than this is none (of the largest): a hand resting on the grip. Our choice."""
DEMAND_EDGES = np.array([0.08, 0.15, 0.3, 0.5, 0.75])
SPEED_EDGES_MPS = np.array([0.7, 2.0, 3.5, 5.0, 6.5, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0])
"""Demands and speeds are compared within these classes. Our choice."""
WIDE, HIGH = SPEED_EDGES_MPS.size + 1, DEMAND_EDGES.size + 1
BLOCK_S = 0.4
"""Currents are compared as means over this long [s]. Our choice: rippling is out, starts are in."""
USUAL_QUANTILE = 0.8
"""What a demand gives when nothing holds it back. Our choice: high, so that a ride spoilt by
fading does not teach that little is usual; not the highest, which is chance."""
MOSTLY = 0.5
"""A block brakes when more than this part of it does. Our choice."""
LEARNT_BLOCKS = 3
"""So many blocks of a class at least tell what its demand gives. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Usual:
    """Current by class of direction, demand and speed, numbered as `classes` does; NaN where a
    class was hardly visited."""

    work_a: Floats
    battery_a: Floats | None


def classes(demand: Floats, speed: Floats | None) -> NDArray[np.intp]:
    """The class of each row by demand, its direction and speed; one number each."""
    place_d = np.searchsorted(DEMAND_EDGES, np.abs(demand), side="right")
    if speed is None:
        place_v: NDArray[np.intp] = np.ones(demand.size, np.intp)
    else:
        place_v = np.searchsorted(SPEED_EDGES_MPS, np.nan_to_num(np.abs(speed)), side="right")
    return np.asarray(((demand < 0) * HIGH + place_d) * WIDE + place_v, np.intp)


def usual_work(
    drives: Sequence[DriveSignals],
    speeds: dict[str, Floats | None],
    loose: dict[str, Bools],
    step_s: float,
) -> Usual | None:
    """What each class gives when nothing holds it back, all drives together so that a side that
    fails for long does not teach that nothing is usual. None without demands."""
    places, works, amps = [], [], []
    for one in drives:
        if one.demand is None or one.work_a is None:
            continue
        demand = np.where(np.isfinite(one.demand), one.demand, 0.0)
        good = np.isfinite(one.work_a) & ~one.dead & ~loose[one.name]
        n = max(1, round(BLOCK_S / step_s))
        battery = np.full(demand.size, np.nan) if one.battery_a is None else np.abs(one.battery_a)
        work = _means(np.where(good, one.work_a, np.nan), n)
        place = classes(_means(demand, n), _speed(speeds[one.name], n))
        busy = (work > one.floor_a) & (np.abs(_means(demand, n)) > ASKED)
        # A driving current that dies down after the hand went to braking teaches nothing.
        busy &= (_means(demand, n) > 0) | (_means(one.braking.astype(np.float64), n) > MOSTLY)
        places.append(place[busy])
        works.append(work[busy])
        amps.append(_means(battery, n)[busy])
    if not places:
        return None
    place, battery = np.concatenate(places), np.concatenate(amps)
    known = np.isfinite(battery)
    return Usual(
        _high(place, np.concatenate(works)),
        _high(place[known], battery[known]) if bool(known.any()) else None,
    )


def _speed(speed: Floats | None, n: int) -> Floats | None:
    return None if speed is None else _means(np.abs(speed), n)


def _means(values: Floats, n: int) -> Floats:
    """Means over blocks of `n` rows; the last short one is left out."""
    whole = values.size // n * n
    return np.asarray(values[:whole].reshape(-1, n).mean(axis=1), np.float64)


def _high(place: NDArray[np.intp], values: Floats) -> Floats:
    """The high quantile of each class."""
    out = np.full(2 * HIGH * WIDE, np.nan)
    order = np.lexsort((values, place))
    place, values = place[order], values[order]
    first = np.searchsorted(place, np.arange(out.size), side="left")
    count = np.searchsorted(place, np.arange(out.size), side="right") - first
    learnt = count >= LEARNT_BLOCKS
    out[learnt] = values[(first + USUAL_QUANTILE * (count - 1)).astype(np.intp)[learnt]]
    return _from_neighbours(out.reshape(2, HIGH, WIDE)).reshape(-1)


def _from_neighbours(table: Floats) -> Floats:
    """A class hardly visited takes what the next lower speed gave, driving only, else what a
    smaller demand gave, else, at a speed where some demand pulled, what the next higher speed gave:
    motors pull no less when slower."""
    pulls = np.isfinite(table[0]).any(axis=0)
    for v in range(1, WIDE):
        rare = np.isnan(table[0, :, v])
        table[0, rare, v] = table[0, rare, v - 1]
    for d in range(2, HIGH):
        table[:, d] = np.where(np.isnan(table[:, d]), table[:, d - 1], table[:, d])
    for v in range(WIDE - 2, -1, -1):
        rare = np.isnan(table[0, :, v]) & pulls[v]
        table[0, rare, v] = table[0, rare, v + 1]
    return table

"""On the same stretches of road, does the vehicle spend more than before on what is not climbing?

What energy says of the road's height (`analyzer.power_balance`) must agree between two rides of the
same hill, whatever the hill is: the readings' error falls out. Where the second ride's height by
energy rises more, something held the vehicle back more: tyres, a rubbing brake, air, wind, or a
load that the setup does not say; one stretch cannot tell which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.climbs import Climb
from analyzer.height_profile import cells_for
from analyzer.quantities import Bools, Floats
from analyzer.ride_analysis import RideResult
from analyzer.road import Road, lean_on

BESIDE_M = 300.0
"""So much way on both sides of a climb counts, too, up to the next climb [m]. Our choice."""
SHIFT_M = 80.0
"""Two rides cut the same climb within this [m]. Our choice, a little more than `PLACE_M` of
`same_climb`."""
LEAST_M = 300.0
"""Less common way than this tells nothing [m]. Our choice."""
BALANCE_ERROR = 0.003
"""The balance's own grade error over 100 m on one ride [1]; wind apart. Our choice, within what
`height_fit` tries."""
WORK_REPEATS = 0.01
"""The same sensors and drives measure the same work within this part from day to day (warmth of
the windings, a zero that creeps; one sd). Our choice."""
MASS_REPEATS = 0.01
"""So does the mass: clothes, bag, water (one sd). Our choice."""
WHOLE_M = 300.0
"""Rides whose lengths differ by no more than this may be one road from end to end [m]. Our choice:
another way round a corner, where they begin and end."""
SHAPE_FACTOR = 4.0
"""Two rides are of one road where its shape is so much larger than what is left between them.
Our choice."""
SURE, OPEN_M2 = 0.999, 1e-6
"""Cells of the balance surer than this, and open by less [m2], had no brake on. Our choice."""


@dataclass(frozen=True, slots=True)
class Change:
    """Force over weight that holds back more on the second ride [1], and its sd without wind."""

    value: float
    sd: float
    length_m: float


def held_back_change(
    rides: tuple[RideResult, RideResult],
    roads: tuple[Sequence[Road], Sequence[Road]],
    pairs: Sequence[tuple[Climb, Climb]],
    theta: Floats,
    covariance: Floats,
) -> Change | None:
    """Over all climbs on both rides, parameters taken alike; None with too little common way.

    `theta` (6) and `covariance` (6, 6) are of the balance's parameters; what they leave open counts
    as far as the two rides asked differently of them.
    """
    whole = _whole_road(roads, theta)
    parts = [whole] if whole is not None else _climbs(rides, roads, pairs, theta)
    length = sum(part.length_m for part in parts)
    if length < LEAST_M:
        return None
    more = sum(part.more_m for part in parts) / length
    asked = np.sum([part.asked_m for part in parts], axis=0) / length
    work = sum(part.work_m for part in parts) / length
    rise = sum(part.rise_m for part in parts) / length
    variance = float(asked @ covariance @ asked)
    variance += 2 * BALANCE_ERROR**2 * 100.0 / length
    variance += 2 * (WORK_REPEATS * work) ** 2 + 2 * (MASS_REPEATS * rise) ** 2
    return Change(more, float(np.sqrt(variance)), length)


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    length_m: float
    more_m: float
    """Height by energy, second ride less first."""
    asked_m: Floats
    """(6) the same per unit of each parameter."""
    work_m: float
    rise_m: float


def _whole_road(roads: tuple[Sequence[Road], Sequence[Road]], theta: Floats) -> _Part | None:
    """Both rides from end to end, where their roads are plainly one."""
    longest = [
        max((one for one in own if one.balance is not None), key=_length_m, default=None)
        for own in roads
    ]
    one, two = longest
    if one is None or two is None or abs(_length_m(one) - _length_m(two)) > WHOLE_M:
        return None
    return _part(_cells(one, 0.0, _length_m(one)), _cells(two, 0.0, _length_m(two)), 0, theta)


def _length_m(road: Road) -> float:
    return road.way.length_m


def _climbs(
    rides: tuple[RideResult, RideResult],
    roads: tuple[Sequence[Road], Sequence[Road]],
    pairs: Sequence[tuple[Climb, Climb]],
    theta: Floats,
) -> list[_Part]:
    parts = []
    for pair in pairs:
        one, two = (
            _around_climb(ride, own, climb)
            for ride, own, climb in zip(rides, roads, pair, strict=True)
        )
        if one is not None and two is not None:
            part = _part(one[0], two[0], one[1] - two[1], theta)
            parts += [part] if part is not None else []
    return parts


def _part(one: _Stretch, two: _Stretch, expected: int, theta: Floats) -> _Part | None:
    """What two rides of a stretch asked; None where they cannot be laid one on the other."""
    shift = _shift(one, two, expected, theta)
    if shift is None:
        return None
    a, b = _common(one.sure.size, two.sure.size, shift)
    both = one.sure[a] & two.sure[b]
    asked = (two.rises[b] - one.rises[a])[both].sum(axis=0)
    middle = 0.5 * (two.rises[b] + one.rises[a])[both].sum(axis=0)
    return _Part(
        float(both.sum()) * one.cell_m,
        float(asked @ theta),
        asked,
        float(middle[0] * theta[0]),
        float(middle @ theta),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """Some of a road, in cells of its profile."""

    rises: Floats
    """(n, 6): rise of each cell per unit of each parameter [m]."""
    sure: Bools
    """(n): cells in which no brake may have taken energy."""
    cell_m: float


def _cells(road: Road, from_m: float, to_m: float) -> _Stretch:
    assert road.balance is not None
    cell_m, _ = cells_for(road.way.length_m)
    lean = lean_on(road.balance, road.way.length_m)
    rows = slice(int(np.ceil(from_m / cell_m)), int(to_m / cell_m))
    rises = np.diff(lean.per_parameter, axis=0)[rows]
    open_m2 = np.zeros(rises.shape[0]) if lean.open_m2 is None else lean.open_m2[rows]
    sure = (lean.sure[rows] > SURE) & (open_m2 < OPEN_M2)
    return _Stretch(rises, np.asarray(sure, np.bool_), cell_m)


def _around_climb(
    result: RideResult, roads: Sequence[Road], climb: Climb
) -> tuple[_Stretch, int] | None:
    """A climb and some way on both sides, and the cell in which the climb begins."""
    for road in roads:
        time_s = result.ride.time_s[road.way.rows]
        if not time_s[0] <= climb.start_s <= climb.end_s <= time_s[-1] or road.balance is None:
            continue
        start, end = _ends(climb, time_s, road)
        free = [_ends(other, time_s, road) for other in result.climbs if other != climb]
        low = max([start - BESIDE_M, 0.0, *(b for _, b in free if b <= start)])
        high = min([end + BESIDE_M, road.way.length_m, *(a for a, _ in free if a >= end)])
        stretch = _cells(road, low, high)
        return stretch, round((start - low) / stretch.cell_m)
    return None


def _ends(climb: Climb, time_s: Floats, road: Road) -> tuple[float, float]:
    start, end = np.interp([climb.start_s, climb.end_s], time_s, road.way.distance_m)
    return float(start), float(end)


def _common(n: int, m: int, shift: int) -> tuple[slice, slice]:
    """The cells of both that lie on the same road, the second's being `shift` cells behind."""
    first, last = max(shift, 0), min(n, m + shift)
    return slice(first, max(last, first)), slice(first - shift, max(last, first) - shift)


def _shift(one: _Stretch, two: _Stretch, expected: int, theta: Floats) -> int | None:
    """By how many cells the second's numbering lies behind, where the heights agree best beside a
    straight line; None where they agree nowhere, or where the road has no shape to know it by."""
    reach = round(SHIFT_M / one.cell_m)
    first, second = one.rises @ theta, two.rises @ theta
    best: tuple[float, int, float] | None = None
    for shift in range(expected - reach, expected + reach + 1):
        a, b = _common(first.size, second.size, shift)
        both = one.sure[a] & two.sure[b]
        if both.sum() * one.cell_m < LEAST_M:
            continue
        off, shape = _bend_m((second[b] - first[a])[both]), _bend_m(first[a][both])
        if best is None or off < best[0]:
            best = off, shift, shape
    if best is None or best[0] * SHAPE_FACTOR > best[2]:
        return None
    return best[1]


def _bend_m(rises: Floats) -> float:
    """How far a line of heights bends about the straight one between its ends (rms) [m]."""
    return float(np.std(np.cumsum(rises - rises.mean())))

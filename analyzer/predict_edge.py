"""How far a hill still works: the steepest grade, the lowest charge, the coldest day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analyzer.estimate import Estimate, Note
from analyzer.hill_ahead import HillAhead, PerDraw
from analyzer.hill_build import BuildDraws
from analyzer.hill_model import simulate_hill
from analyzer.quantities import Bools, Floats

WORKS_BELOW = 0.05
"""Chance of reduced power below which a hill counts as working. The contract's."""
LEAST_SCALED_PCT = 1.0
"""A track's mean grade from which all of it is made steeper to look for the edge [%]. Our choice: a
round trip climbs without being steep on the whole; its mean says nothing of its hills."""
STEEPEST_PCT, EMPTIEST_PCT, COLDEST_C = 35.0, 1.0, -20.0
"""How far is looked. Our choice: nobody rides a loaded small vehicle beyond."""


@dataclass(frozen=True, slots=True)
class WorksUpTo:
    """How far it works: less than 5 % chance that power is reduced before the top. None where
    even the easiest looked at does not work, or the question has no meaning (a descent)."""

    grade_pct: Estimate | None
    charge_down_to_pct: Estimate | None
    temp_down_to_c: Estimate | None


def works_up_to(build: BuildDraws, hill: HillAhead) -> WorksUpTo:
    """Each question alone, the others as asked: every draw looks for its own edge, and what holds
    for all but a twentieth of the draws is the answer."""
    d = build.draws
    same = np.ones(d)
    at = PerDraw(same * hill.charge_pct, same * hill.temp_c, same)
    # Nothing times a flat road is steep: an even road is looked at as one of 1 %.
    even = hill.distance_m.size == 2
    ramp = replace(hill, height_m=0.01 * hill.distance_m) if even else hill
    steep = 1.0 if even else hill.grade_pct

    def works(each: PerDraw, road: HillAhead = hill) -> Bools:
        run = simulate_hill(build, road, each, whole=False)
        return np.asarray(run.reached & np.isnan(run.reduced_at_m))

    return WorksUpTo(
        edge(lambda x: works(replace(at, steeper=x / steep), ramp), d, 0.3, STEEPEST_PCT, 0.1)
        if steep >= LEAST_SCALED_PCT
        else None,
        edge(lambda x: works(replace(at, charge_pct=x)), d, 100.0, EMPTIEST_PCT, 0.5),
        edge(lambda x: works(replace(at, temp_c=x)), d, max(35.0, hill.temp_c), COLDEST_C, 0.5),
    )


def looked_no_further(works: WorksUpTo) -> list[Note]:
    """What is said of an edge that lies beyond the range looked at."""
    edges = (
        ("grade_pct", works.grade_pct, f"works at {STEEPEST_PCT:.0f} %, the steepest"),
        (
            "charge_down_to_pct",
            works.charge_down_to_pct,
            f"works at {EMPTIEST_PCT:.0f} %, the least",
        ),
        ("temp_down_to_c", works.temp_down_to_c, f"works at {COLDEST_C:.0f} °C, the coldest"),
    )
    return [
        Note(f"works_up_to.{name}", f"The hill {told} looked at: the edge lies beyond.")
        for name, one, told in edges
        if one is not None and (one.low is None or one.high is None)
    ]


def edge(
    works: Callable[[Floats], Bools], draws: int, easy: float, hard: float, fine: float
) -> Estimate | None:
    """How far from `easy` toward `hard` it works for all but a twentieth of the draws; the interval
    is what that share of so few draws is worth (order statistics). None where not even `easy`
    works."""
    if float(works(np.full(draws, easy)).mean()) < 1.0 - WORKS_BELOW:
        return None
    near, far = np.full(draws, easy), np.full(draws, hard)
    far_works = works(far)
    near[far_works] = hard
    while float(np.max(np.abs(far - near))) > fine:
        middle = 0.5 * (near + far)
        good = works(middle)
        near, far = np.where(good, middle, near), np.where(good, far, middle)
    inward = np.sort(near if hard > easy else -near)
    rank = WORKS_BELOW * draws
    reach = 1.96 * float(np.sqrt(rank * (1.0 - WORKS_BELOW)))
    ranks = np.clip(np.array([rank, rank - reach, rank + reach]), 0, draws - 1).astype(int)
    value, low, high = (inward if hard > easy else -inward)[ranks]
    under, over = float(min(low, high)) - fine, float(max(low, high)) + fine
    if value == hard:  # it was looked no further: at least so far
        return Estimate(hard, under, None) if hard > easy else Estimate(hard, None, over)
    return Estimate(float(value), under, over)

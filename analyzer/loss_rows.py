"""Row by row: was current asked for, and is it under a twentieth of what that demand gave?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.loss_signals import DriveSignals
from analyzer.quantities import Bools, Floats

GONE_PART = 0.05
"""Under this part of what the same demand gave is gone. The contract's: a twentieth."""
ASKED = 0.08
"""Less demand than this is none (of the largest): a hand resting on the grip. Our choice."""
DEMAND_EDGES = np.array([0.08, 0.15, 0.3, 0.5, 0.75])
SPEED_EDGES_MPS = np.array([0.7, 2.0, 3.5, 5.0, 6.5, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0])
"""Demands and speeds are compared within these classes. Our choice."""
LEARNT_ROWS = 12
"""So many rows of a class at least tell what its demand gives. Our choice."""
RARE_ROWS = 60
"""A class visited less than this often may borrow from its neighbour. Our choice."""
FLOWS_PART = 0.2
"""Where a class gives nothing in more than four of five rows, absence tells nothing. Our choice."""
TELLING = 2.5
"""What a demand gives must be this many times the floor for its absence to be seen. Our choice."""
TOP_DUTY_PCT = 90.0
"""From here the motor's own voltage leaves no room for current [%]. Our choice: controllers end
at 93 to 100 % (common practice, no source)."""
TOP_PART = 0.93
"""Of the highest speed per volt at which the drive pulled, likewise. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class AskedRows:
    """One drive's rows judged."""

    asked: Floats
    """1 where drive is asked for, -1 braking, 0 nothing or unknown."""
    expected_a: Floats
    """What the same demand at the same speed gave elsewhere in the ride; NaN where not learnt."""
    gone: Bools
    """Asked for and under a twentieth of it, with a reading."""
    given: Bools
    """Asked for and clearly there."""
    top_speed: Bools
    """Near the speed at which the motor's voltage leaves no room for current."""


def asked_rows(
    one: DriveSignals, duty_pct: Floats | None, speed: Floats | None, usual: Floats | None
) -> AskedRows:
    """Was current asked of this drive at each row, and was it there? Without a logged demand
    nothing is asked. `usual` is `usual_work`'s table."""
    rows = one.dead.size
    nothing = np.zeros(rows, np.bool_)
    top = _top_speed(one, duty_pct, rows)
    if one.demand is None or one.work_a is None or usual is None:
        empty = np.full(rows, np.nan)
        return AskedRows(np.zeros(rows), empty, nothing, nothing, top)
    demand = np.where(np.isfinite(one.demand), one.demand, 0.0)
    asked = np.where(demand > ASKED, 1.0, np.where(demand < -ASKED, -1.0, 0.0))
    expected = np.asarray(usual[_classes(demand, speed)], np.float64)
    with np.errstate(invalid="ignore"):
        readable = np.isfinite(one.work_a) & ~one.dead
        least = np.maximum(GONE_PART * expected, one.floor_a)
        telling = expected > TELLING * one.floor_a
        gone = readable & (asked != 0) & telling & (one.work_a <= least)
        given = readable & (asked != 0) & (one.work_a > np.maximum(2.0 * least, 0.15 * expected))
    return AskedRows(asked, expected, gone, given, top)


def _classes(demand: Floats, speed: Floats | None) -> NDArray[np.intp]:
    """The class of each row by demand, its direction and speed; one number each."""
    place_d = np.searchsorted(DEMAND_EDGES, np.abs(demand), side="right")
    wide, high = SPEED_EDGES_MPS.size + 1, DEMAND_EDGES.size + 1
    if speed is None:
        place_v = np.ones(demand.size, np.intp)
    else:
        place_v = np.searchsorted(SPEED_EDGES_MPS, np.nan_to_num(np.abs(speed)), side="right")
    return np.asarray(((demand < 0) * high + place_d) * wide + place_v, np.intp)


def usual_work(
    drives: Sequence[DriveSignals], speeds: dict[str, Floats | None], loose: dict[str, Bools]
) -> Floats | None:
    """The mean current that each class of demand and speed gave over the ride [A], all drives
    together so that a side that fails for long does not teach that nothing is usual; NaN where a
    class was hardly visited. Classes are numbered as `_classes` does. None without demands."""
    wide, high = SPEED_EDGES_MPS.size + 1, DEMAND_EDGES.size + 1
    size = 2 * high * wide
    total, there, seen = np.zeros(size), np.zeros(size), np.zeros(size)
    for one in drives:
        if one.demand is None or one.work_a is None:
            continue
        demand = np.where(np.isfinite(one.demand), one.demand, 0.0)
        place = _classes(demand, speeds[one.name])
        good = np.isfinite(one.work_a) & ~one.dead & ~loose[one.name] & (np.abs(demand) > ASKED)
        # Rows in which nothing came do not teach what should come, unless they are the rule.
        flows = good & (one.work_a > one.floor_a)
        seen += np.bincount(place[good], minlength=size)
        there += np.bincount(place[flows], minlength=size)
        total += np.bincount(place[flows], one.work_a[flows], minlength=size)
    if not seen.any():
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(there >= LEARNT_ROWS, total / there, np.nan)
    mean = np.where(there < FLOWS_PART * seen, np.nan, mean)
    return _from_neighbours(mean.reshape(2, high, wide), seen.reshape(2, high, wide)).reshape(-1)


def _from_neighbours(table: Floats, seen: Floats) -> Floats:
    """A class hardly visited takes what the next lower speed gave, driving only, else what a
    smaller demand gave."""
    for v in range(1, table.shape[2]):
        rare = np.isnan(table[0, :, v]) & (seen[0, :, v] < RARE_ROWS)
        table[0, rare, v] = table[0, rare, v - 1]
    for d in range(2, table.shape[1]):
        rare = np.isnan(table[:, d]) & (seen[:, d] < RARE_ROWS)
        table[:, d] = np.where(rare, table[:, d - 1], table[:, d])
    return table


def _top_speed(one: DriveSignals, duty_pct: Floats | None, rows: int) -> Bools:
    if duty_pct is not None and bool(np.isfinite(duty_pct).any()):
        with np.errstate(invalid="ignore"):
            return np.asarray(duty_pct >= TOP_DUTY_PCT, np.bool_)
    if one.speed_mps is None or one.work_a is None:
        return np.zeros(rows, np.bool_)
    volts = one.voltage_v
    with np.errstate(invalid="ignore", divide="ignore"):
        per_volt = np.abs(one.speed_mps) / (
            1.0 if volts is None else np.where(volts > 5, volts, np.nan)
        )
        pulling = (one.work_a > 2 * one.floor_a) & np.isfinite(per_volt)
    if int(pulling.sum()) < 50:
        return np.zeros(rows, np.bool_)
    top = float(np.quantile(per_volt[pulling], 0.995))
    with np.errstate(invalid="ignore"):
        return np.asarray(per_volt >= TOP_PART * top, np.bool_)

"""A motor that leaves the road's speed: belt, chain or coupling gone. Pulled it races ahead, let go
it falls behind, unless it has a freewheel and always does."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyzer.loss_rows import AskedRows
from analyzer.loss_signals import DriveSignals
from analyzer.losses import DriveLoss
from analyzer.quantities import Bools, Floats, next_true, spans_where
from importers.ride import Ride

AHEAD_PART = 1.12
"""Faster than the road by this factor, and taking little current: no bend and no tyre does that
under load, and near its top speed a free motor has no further to go. Our choice."""
AHEAD_MPS = 0.6
"""... and by this much [m/s]. Our choice."""
BEHIND_PART = 0.85
"""Slower than the road by this factor: no tyre and no bend does that under demand. Our choice."""
FREEWHEEL_PART = 0.05
"""A motor that is behind the road in more than this part of the coasting has a freewheel. Our
choice."""
COASTING_MPS = 2.0
"""... at this speed and above [m/s]."""
LEAST_COAST_S = 3.0
"""Less coasting than this does not tell a freewheel [s]. Our choice."""
LASTS_S = 0.8
"""A slipping wheel regains in under a second (common practice, no source)."""
GPS_LAG_S = 2.5
"""A satellite's speed comes this late at most [s]. Our choice: half a second to a second and a half
is common (practice, no source)."""
LIGHT_PART = 0.5
"""A motor without its load takes less than this of what the same demand takes. Our choice."""


def spins(
    one: DriveSignals, others: list[DriveSignals], rows: AskedRows, ride: Ride
) -> list[DriveLoss]:
    """Where did this motor's speed leave the road's and stay away from it? Needs another speed."""
    away = ahead_rows(one, others, ride) | behind_rows(one, others, ride, asked=rows.asked)
    found = []
    together = rows.given & ~away
    for span in spans_where(away, ride, join_s=0.5, min_s=LASTS_S):
        asked = rows.asked[span.rows]
        if one.demand is not None and float(np.mean(asked != 0)) < 0.3:
            continue
        if not _light(one, others, rows, span.rows):
            continue
        back = next_true(together, span.last + 1)
        sign = -1 if one.demand is not None and float(np.mean(asked)) < 0 else 1
        first = span.first
        found.append(DriveLoss(one.name, sign, first, first, span.last, back, 0.0, "spin"))
    return found


def road_speed_mps(one: DriveSignals, others: list[DriveSignals], ride: Ride) -> Floats | None:
    """The road's speed as something else than this motor tells it: the fastest of the others, for
    one that coasts on a freewheel stands still while it rolls."""
    known = [np.abs(x.speed_mps) for x in others if x.speed_mps is not None]
    gps = ride.get("gps_speed_mps")
    if gps is not None:
        known.append(_around(np.abs(gps), ride.time_s))
    if not known:
        return None
    out = known[0]
    for values in known[1:]:
        out = np.fmax(out, values)
    return np.asarray(out, np.float64)


def _around(values: Floats, time_s: Floats) -> Floats:
    """The highest within the lag of a satellite's speed, either way."""
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    rows = pd.Series(values).rolling(2 * max(1, round(GPS_LAG_S / step)) + 1, center=True)
    return np.asarray(rows.max().fillna(np.inf).to_numpy(), np.float64)


def ahead_rows(one: DriveSignals, others: list[DriveSignals], ride: Ride) -> Bools:
    """Rows in which this motor turns clearly faster than the road."""
    road = road_speed_mps(one, others, ride)
    if one.speed_mps is None or road is None:
        return np.zeros(one.dead.size, np.bool_)
    own = np.abs(one.speed_mps)
    with np.errstate(invalid="ignore"):
        return (own > AHEAD_PART * road) & (own > road + AHEAD_MPS) & ~one.dead


def behind_rows(
    one: DriveSignals, others: list[DriveSignals], ride: Ride, *, asked: Floats
) -> Bools:
    """Rows in which this motor, asked for drive, turns clearly slower than the road, on a build
    whose motors turn with the road when nothing is asked for."""
    none = np.zeros(one.dead.size, np.bool_)
    road = _slowest_mps(others, ride)
    if one.speed_mps is None or road is None or one.demand is None:
        return none
    behind = _slower(one, road)
    with np.errstate(invalid="ignore"):
        coasts = (np.abs(one.demand) < 0.02) & (road > COASTING_MPS) & ~one.dead
    step = float(np.median(np.diff(ride.time_s))) if ride.time_s.size > 1 else 1.0
    if coasts.sum() * step < LEAST_COAST_S or behind[coasts].mean() > FREEWHEEL_PART:
        return none
    return np.asarray(behind & (asked != 0), np.bool_)


def falls_behind(one: DriveSignals, others: list[DriveSignals], ride: Ride, rows: slice) -> bool:
    """Whether this motor is slower than the road in a good part of these rows, freewheel or not."""
    road = _slowest_mps(others, ride)
    if one.speed_mps is None or road is None:
        return False
    return float(np.mean(_slower(one, road)[rows])) > 0.3


def _slower(one: DriveSignals, road: Floats) -> Bools:
    assert one.speed_mps is not None
    own = np.abs(one.speed_mps)
    with np.errstate(invalid="ignore"):
        return (own < BEHIND_PART * road) & (own < road - AHEAD_MPS) & ~one.dead


def _slowest_mps(others: list[DriveSignals], ride: Ride) -> Floats | None:
    """The slowest that anything else says of the road's speed."""
    known = [np.abs(x.speed_mps) for x in others if x.speed_mps is not None]
    gps = ride.get("gps_speed_mps")
    if gps is not None:
        known.append(-_around(-np.abs(gps), ride.time_s))
    if not known:
        return None
    out = known[0]
    for values in known[1:]:
        out = np.fmin(out, values)
    return np.asarray(out, np.float64)


def _light(one: DriveSignals, others: list[DriveSignals], rows: AskedRows, span: slice) -> bool:
    """Whether it takes far less than the same demand takes elsewhere, or than the other side."""
    assert one.work_a is not None
    refs = [rows.expected_a, *(x.work_a for x in others if x.work_a is not None)]
    work, known = one.work_a[span], False
    for ref in refs:
        good = np.isfinite(work) & np.isfinite(ref[span])
        if good.any():
            known = True
            if np.median(work[good]) < LIGHT_PART * np.median(ref[span][good]):
                return True
    return not known

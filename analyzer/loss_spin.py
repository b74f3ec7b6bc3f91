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
FREEWHEEL_BRAKES = 0.5
"""... and one behind a freewheel is so in more than this part of its braking, for it cannot brake;
one that lost its belt late in the ride in less. Our choice."""
COASTING_MPS, COASTING_DEMAND = 2.0, 0.02
"""Coasting is this speed and above [m/s] with less than this of the demand. Our choice."""
LEAST_COAST_S = 3.0
"""Less coasting than this does not tell a freewheel [s]. Our choice."""
LASTS_S = 0.8
"""A slipping wheel regains in under a second (common practice, no source)."""
PULLS_FLOORS = 4.0
"""A drive that takes this many times the least current pulls on the road. Our choice."""
GAIN_ROWS, GAIN_QUANTILE = 3, 0.75
"""Rows that a gain on the others needs, and which of them counts. Our choice."""
GPS_LAG_S = 2.5
"""A satellite's speed comes this late at most [s]. Our choice: half a second to a second and a half
is common (practice, no source)."""
RISE_S = 0.3
"""A motor let loose runs up within this [s]. Our choice: a rotor alone takes 0.05 to 0.3 s."""
TYRE_MPS2 = 12.0
"""No tyre pushes a vehicle up faster [m/s2]. Our choice: a fifth beyond 1 g of grip."""
JITTER_PART = 0.06
"""A speed that bends by this part of itself from row to row, half of the time, is no rotor's: its
sensor misreads. Our choice: a rotor let loose gains speed smoothly."""
LEFT_S = 0.8
"""Which of two speeds left the other shows within so long before and after [s]. Our choice."""
SLOW_MPS = 0.7
"""Below this a start from rest looks alike [m/s]. Our choice."""
MOST_ROWS_OF_A_JUMP = 6
"""Fewer rows do not tell jitter from one jump. Our choice."""
FIRST_ROWS = 5
"""So many rows say what was asked for when it broke. Our choice."""
SAME_DEMAND = 0.1
"""Demands of two sides this near are one hand's. Our choice: each side has its own scaling."""
LIGHT_PART = 0.5
"""A motor without its load takes less than this of what the same demand takes. Our choice."""


def spins(
    one: DriveSignals, others: list[DriveSignals], rows: AskedRows, ride: Ride
) -> list[DriveLoss]:
    """Where did this motor's speed leave the road's and stay away from it? Needs another speed."""
    away = ahead_rows(one, others, ride) | behind_rows(one, others, ride, asked=rows.asked)
    found: list[DriveLoss] = []
    for span in spans_where(away, ride, join_s=0.5, min_s=LASTS_S):
        asked = rows.asked[span.rows]
        if one.demand is not None and float(np.mean(asked != 0)) < 0.3:
            continue
        if not _light(one, others, rows, span.rows) or _jitters(one, span.rows):
            continue
        if not _left(one, others, ride, span.first):
            continue
        found.append(_spin(one, rows, away, span.first, span.last))
    if road_speed_mps(one, others, ride) is None and one.demand is not None:
        alone = runs_away(one, rows, ride)
        for span in spans_where(alone, ride, join_s=0.0, min_s=0.0):
            found.append(_spin(one, rows, alone, span.first, span.last))
    return found


def _jitters(one: DriveSignals, rows: slice) -> bool:
    """Whether the motor's speed jumps to and fro as no rotor's mass lets it."""
    assert one.speed_mps is not None
    speed = np.abs(one.speed_mps[max(rows.start - 1, 0) : rows.stop + 1])
    if speed.size < MOST_ROWS_OF_A_JUMP:
        return False
    with np.errstate(invalid="ignore"):
        bends = np.abs(np.diff(speed, n=2)) > JITTER_PART * np.maximum(speed[1:-1], SLOW_MPS)
    return bool(np.mean(bends) > 0.5)


def _left(one: DriveSignals, others: list[DriveSignals], ride: Ride, first: int) -> bool:
    """Whether it was this motor's speed that changed when the two parted, not the other's: one
    whose freewheel lets go, or whose sensor dies, makes all that go on look fast."""
    road = road_speed_mps(one, others, ride)
    if one.speed_mps is None or road is None:
        return True
    edges = ride.time_s[first] + np.array([-LEFT_S, LEFT_S])
    a, b = np.searchsorted(ride.time_s, edges).tolist()
    b = min(b, road.size - 1)
    own = np.maximum(np.abs(one.speed_mps[[a, b]]), SLOW_MPS)
    its = np.maximum(road[[a, b]], SLOW_MPS)
    if not (np.isfinite(own).all() and np.isfinite(its).all()):
        return True
    changes = np.abs(np.log([own[1] / own[0], its[1] / its[0]]))
    return bool(changes[0] >= changes[1])


def _spin(one: DriveSignals, rows: AskedRows, away: Bools, first: int, last: int) -> DriveLoss:
    asked = rows.asked[first : last + 1]
    # What was asked for when it broke: driving and braking take turns afterwards.
    then = asked[: max(np.flatnonzero(asked)[:1].tolist() or [0]) + FIRST_ROWS]
    back = next_true(rows.given & ~away, last + 1)
    sign = -1 if one.demand is not None and float(np.mean(then)) < 0 else 1
    return DriveLoss(one.name, sign, first, first, last, back, 0.0, "spin")


def road_speed_mps(one: DriveSignals, others: list[DriveSignals], ride: Ride) -> Floats | None:
    """The road's speed as something else than this motor tells it: the fastest of the others, for
    one that coasts on a freewheel stands still while it rolls; one that pulls does not, and needs
    no satellites, which come late."""
    turning = [x for x in others if x.speed_mps is not None]
    known = [np.abs(x.speed_mps) for x in turning if x.speed_mps is not None]
    gps = ride.get("gps_speed_mps")
    if gps is not None:
        late = _around(np.abs(gps), ride.time_s)
        pulls = np.zeros(late.size, np.bool_)
        for x in turning:
            pulls |= _pulls(x)
        known.append(np.where(pulls, -np.inf, late))
    if not known:
        return None
    out = known[0]
    for values in known[1:]:
        out = np.fmax(out, values)
    return np.asarray(out, np.float64)


def _pulls(one: DriveSignals) -> Bools:
    """Rows in which this drive takes clear current to drive."""
    if one.work_a is None or one.demand is None or one.speed_mps is None:
        return np.zeros(one.dead.size, np.bool_)
    with np.errstate(invalid="ignore"):
        pulls = (one.work_a > PULLS_FLOORS * one.floor_a) & (np.nan_to_num(one.demand) > 0.0)
    return np.asarray(pulls & ~one.dead & np.isfinite(one.speed_mps), np.bool_)


def _brakes(one: DriveSignals) -> Bools:
    """Rows in which this drive takes clear current to brake."""
    if one.work_a is None or one.demand is None or one.speed_mps is None:
        return np.zeros(one.dead.size, np.bool_)
    with np.errstate(invalid="ignore"):
        brakes = (one.work_a > PULLS_FLOORS * one.floor_a) & (np.nan_to_num(one.demand) < 0.0)
    return np.asarray(brakes & ~one.dead & np.isfinite(one.speed_mps), np.bool_)


def runs_away(one: DriveSignals, rows: AskedRows, ride: Ride) -> Bools:
    """Rows after this motor gained speed as no vehicle does and stayed up there with next to no
    current: with no other speed to compare, the jump itself says that it left the road."""
    out = np.zeros(one.dead.size, np.bool_)
    if one.speed_mps is None or one.work_a is None or one.speed_mps.size < 20:
        return out
    time_s, speed = ride.time_s, np.abs(one.speed_mps)
    step = float(np.median(np.diff(time_s)))
    n = max(1, round(RISE_S / step))
    with np.errstate(invalid="ignore"):
        rise = speed[n:] - speed[:-n]
        jump = rise > np.maximum(TYRE_MPS2 * n * step, AHEAD_MPS)
        jump &= speed[n:] > AHEAD_PART * speed[:-n]
        jump &= (time_s[n:] - time_s[:-n] < 2.0 * n * step) & (speed[:-n] > SLOW_MPS)
    at = 0
    for first in np.flatnonzero(jump).tolist():
        if first < at or one.dead[first : first + n + 1].any():
            continue
        base, load = float(speed[first]), _load_before(one, first, time_s)
        stop = int(np.searchsorted(time_s, time_s[first + n] + LASTS_S))
        if stop >= speed.size or load < 4 * one.floor_a or (rows.asked[first] <= 0):
            continue
        with np.errstate(invalid="ignore"):
            up = speed[first + n : stop] > AHEAD_PART * base
            light = one.work_a[first + n : stop] < LIGHT_PART * load
        if not up.all() or float(np.mean(light)) < 0.8:
            continue
        # Until it slows to what the vehicle may have slowed from.
        later = np.flatnonzero(speed[stop:] < AHEAD_PART * base)
        at = stop + int(later[0]) if later.size else speed.size
        out[first + 1 : at] = True
    return out


def _load_before(one: DriveSignals, row: int, time_s: Floats) -> float:
    assert one.work_a is not None
    part = one.work_a[int(np.searchsorted(time_s, time_s[row] - RISE_S)) : row + 1]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if part.size else 0.0


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


def gains_on_road(
    one: DriveSignals, others: list[DriveSignals], before: slice, after: slice
) -> float:
    """By what factor this motor's speed over that of the drives that pull on grew; 1 where none
    does."""
    ratios = []
    for x in others:
        if one.speed_mps is None or x.speed_mps is None:
            continue
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = np.abs(one.speed_mps) / np.abs(x.speed_mps)
        then = ratio[before][np.isfinite(ratio[before])]
        now = ratio[after][_pulls(x)[after] & np.isfinite(ratio[after])]
        if then.size >= GAIN_ROWS and now.size >= GAIN_ROWS:
            ratios.append(float(np.quantile(now, GAIN_QUANTILE) / np.median(then)))
    return min(ratios, default=1.0)


def behind_rows(
    one: DriveSignals,
    others: list[DriveSignals],
    ride: Ride,
    *,
    asked: Floats,
    by_braking: bool = False,
) -> Bools:
    """Rows in which this motor, asked for something, turns clearly slower than the road, on a build
    whose motors turn with the road when they coast or, `by_braking`, mostly when they brake."""
    none = np.zeros(one.dead.size, np.bool_)
    road = _slowest_mps(others, ride)
    if one.speed_mps is None or road is None or one.demand is None:
        return none
    behind = _slower(one, road)
    with np.errstate(invalid="ignore"):
        coasts = (np.abs(one.demand) < COASTING_DEMAND) & (road > COASTING_MPS) & ~one.dead
        brakes = (one.demand < -COASTING_DEMAND) & (road > COASTING_MPS) & ~one.dead
    step = float(np.median(np.diff(ride.time_s))) if ride.time_s.size > 1 else 1.0
    turned = [
        float(behind[rows].mean()) <= most
        for rows, most in ((coasts, FREEWHEEL_PART), (brakes, FREEWHEEL_BRAKES))
        if rows.sum() * step >= LEAST_COAST_S and (by_braking or rows is coasts)
    ]
    if not turned or not all(turned):
        return none
    return np.asarray(behind & (asked != 0), np.bool_)


def left_behind(one: DriveSignals, others: list[DriveSignals], ride: Ride) -> Bools:
    """Rows in which this motor turns clearly slower than another that, at the same demand, pulls:
    its wheel does not turn it, and its speed is not the vehicle's."""
    out = np.zeros(one.dead.size, np.bool_)
    road = _slowest_mps(others, ride)
    if one.speed_mps is None or road is None or one.demand is None:
        return out
    for x in others:
        if x.demand is not None:
            with np.errstate(invalid="ignore"):
                out |= _pulls(x) & (np.abs(x.demand - one.demand) < SAME_DEMAND)
    return np.asarray(out & _slower(one, road), np.bool_)


def falls_behind(one: DriveSignals, others: list[DriveSignals], ride: Ride, rows: slice) -> float:
    """In what part of these rows this motor is slower than the road, freewheel or not."""
    road = _slowest_mps(others, ride)
    if one.speed_mps is None or road is None:
        return 0.0
    return float(np.mean(_slower(one, road)[rows]))


def _slower(one: DriveSignals, road: Floats) -> Bools:
    assert one.speed_mps is not None
    own = np.abs(one.speed_mps)
    with np.errstate(invalid="ignore"):
        return (own < BEHIND_PART * road) & (own < road - AHEAD_MPS) & ~one.dead


def _slowest_mps(others: list[DriveSignals], ride: Ride) -> Floats | None:
    """The slowest that anything else says of the road's speed."""
    turning = [x for x in others if x.speed_mps is not None]
    known = [np.abs(x.speed_mps) for x in turning if x.speed_mps is not None]
    gps = ride.get("gps_speed_mps")
    if gps is not None:
        late = -_around(-np.abs(gps), ride.time_s)
        works = np.zeros(late.size, np.bool_)
        for x in turning:
            works |= _pulls(x) | _brakes(x)
        known.append(np.where(works, np.inf, late))
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

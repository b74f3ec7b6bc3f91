"""The hand that will ride a hill: how its push wavers, and how late it answers the road."""

from __future__ import annotations

import numpy as np

from analyzer.quantities import (
    Bools,
    Floats,
    WindowMeans,
    drive_channel,
    pack_current_a,
    speed_mps,
    window_means,
)
from analyzer.ride_analysis import RideResult
from analyzer.road_force import GRAVITY_MPS2, USUAL_AIR_KG_M3

ANSWERS_S, ANSWERS_SD = 0.3, 0.4
"""How late a hand answers what it feels [s], and its spread [1, one sd of its log]. Source: McRuer
& Krendel, Mathematical Models of Human Pilot Behavior, AGARDograph 188, 1974 (delay and muscles
together 0.2 to 0.5 s)."""
UNSTEADY = 0.06
"""How much a rider's demand wavers on a climb where no ride tells, as a part of the force there
[1]. Our choice."""
USUAL_LEAN = 0.07
"""Grade and rolling of a climb on which that part is meant [1]. Our choice."""
AT_LIMIT = 0.95
"""From here a drive leans on its limit, whatever the hand does [1]. The contract's."""
MOST_UNSTEADY = 0.6
"""More than this part of the force is no hand but a hunting control [1]. Our choice."""
EDGE_S, AROUND_S, LEVEL_S = 3, 3, 11
"""The first and last seconds of a climb, and those around a change of pace, are no steady riding;
what lasts longer than the last is the road's [s]. Our choice."""
SAME_PACE = 0.3
"""Steady is a speed within this part of the climb's middle one: no stop, no start [1]. Our
choice."""
QUANTILES = np.array([0.5, 0.6827, 0.8, 0.9, 0.95, 0.98])
NORMAL_SDS = np.array([0.6745, 1.0, 1.2816, 1.6449, 1.96, 2.3263])
"""So many sds of a normal spread lie below these parts of its sizes."""
LEAST_SECONDS = 40
"""Of so many steady seconds at least. Our choice."""
HAND_SD = 0.3
"""How far the same hand wavers more or less on another hill [1, one sd of its log]. Our choice,
checked by benchmarks/tables/predict_truth.py."""


PACE_SD_MPS = 0.08
"""How far the speed a rider holds lies off the speed meant, one sd [m/s]. A display of whole km/h
hides 0.29 km/h (one sd of its rounding). Common practice, no source."""


def off_pace_mps(rng: np.random.Generator, draws: int) -> Floats:
    """How far off the speed meant the hill is ridden (d) [m/s]."""
    return np.asarray(rng.normal(0.0, PACE_SD_MPS, draws), np.float64)


def answers_s(rng: np.random.Generator, draws: int) -> Floats:
    """How late the hand answers (d) [s]."""
    return np.asarray(ANSWERS_S * np.exp(rng.normal(0.0, ANSWERS_SD, draws)), np.float64)


def unsteadiness_n(
    rides: list[RideResult],
    road: tuple[float, float, float],
    rng: np.random.Generator,
    draws: int,
) -> Floats:
    """How much this rider's push wavers from second to second where no limit governs (d) [N, one
    sd], from the current on climbs; `road` is mass, rolling and drag. A hand wavers by demand, so
    by as much force on any hill."""
    told = [
        part * force
        for one in rides
        if (part := _wavering(one)) is not None and (force := _climbing_n(one, *road)) is not None
    ]
    usual = float(np.median(told)) if told else UNSTEADY * road[0] * GRAVITY_MPS2 * USUAL_LEAN
    return np.asarray(usual * np.exp(rng.normal(0.0, HAND_SD, draws)), np.float64)


def _climbing_n(one: RideResult, mass_kg: float, rolling: float, drag_m2: float) -> float | None:
    """The usual force at the wheel on the ride's climbs [N]."""
    spans = np.array([c.end_s - c.start_s for c in one.climbs])
    if spans.size == 0 or float(spans.sum()) <= 0:
        return None
    grade = np.array([c.grade_pct.value / 100.0 for c in one.climbs])
    speed = np.array([c.length_m for c in one.climbs]) / np.maximum(spans, 1.0)
    force = mass_kg * GRAVITY_MPS2 * (grade + rolling) + 0.5 * USUAL_AIR_KG_M3 * drag_m2 * speed**2
    return float(np.average(force, weights=spans))


def _wavering(one: RideResult) -> float | None:
    """Spread of the pack's 1 s means of current on climbs ridden steadily, as a part of it."""
    current, speed = pack_current_a(one.ride, one.setup), speed_mps(one.ride, one.setup)
    if current is None or speed is None or not one.climbs:
        return None
    means = window_means(one.ride, 1.0)
    time_s = one.ride.time_s
    grid = np.arange(time_s[0], time_s[-1], 1.0)
    rows = np.clip(np.searchsorted(time_s, grid), 0, time_s.size - 1)
    amps, pace = means.of(current.values)[rows], means.of(speed.values)[rows]
    free = ~_leaning(one, means)[rows]
    parts = []
    for climb in one.climbs:
        on = (grid > climb.start_s + EDGE_S) & (grid < climb.end_s - EDGE_S)
        if on.sum() >= LEVEL_S:
            parts.append(wavers(amps[on], pace[on], free[on]))
    return hand_spread(parts)


def hand_spread(parts: list[Floats]) -> float | None:
    """One sd of what `wavers` found on several climbs, or None where it is too little."""
    sizes = np.abs(np.concatenate(parts)) if parts else np.zeros(0)
    if sizes.size < LEAST_SECONDS:
        return None
    # stops and walls make the far sizes large, a hand that swings to and fro the near ones
    spread = float(np.min(np.quantile(sizes, QUANTILES) / NORMAL_SDS))
    return float(np.clip(spread, 0.0, MOST_UNSTEADY))


def wavers(amps: Floats, pace: Floats, free: Bools) -> Floats:
    """What the current of one climb (1 s means, n values) does about its own course, as a part of
    it, at the seconds around which the pace was steady and the limits left the hand a say."""
    middle = float(np.nanmedian(pace))
    steady = np.isfinite(amps) & (np.abs(pace - middle) < SAME_PACE * middle)
    level = float(np.median(amps[steady])) if steady.any() else 0.0
    if level <= 1.0:
        return np.zeros(0)
    course = np.convolve(
        np.pad(np.nan_to_num(amps), LEVEL_S // 2, mode="edge"), np.ones(LEVEL_S) / LEVEL_S, "valid"
    )
    near = np.ones(2 * AROUND_S + 1)

    def around(which: Bools) -> Floats:
        return np.convolve(np.pad(which.astype(np.float64), AROUND_S, mode="edge"), near, "valid")

    good = (around(steady) > near.size - 0.5) & (around(free) > 0.5)
    return np.asarray(((amps - course) / level)[good], np.float64)


def _leaning(one: RideResult, means: WindowMeans) -> Bools:
    """Rows at which every drive that logs its current leans on its battery limit."""
    out = np.ones(one.ride.time_s.size, np.bool_)
    any_known = False
    for drive in one.setup.drives:
        current = drive_channel(one.ride, drive.name, "battery_current_a")
        told = [s.battery_drive_a for s in one.in_force if s.drive == drive.name]
        limit = told[0].value if told and told[0] is not None else drive.battery_drive_a
        if current is None or limit is None:
            continue
        any_known = True
        with np.errstate(invalid="ignore"):
            out &= means.of(current) >= AT_LIMIT * limit
    return out if any_known else ~out

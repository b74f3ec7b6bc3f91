"""A build's drives as a hill will find them: force per ampere, losses, limits, hand and heat."""

from __future__ import annotations

import numpy as np

from analyzer.build_pack import pooled
from analyzer.drive_fit import DriveFit, fit_drive
from analyzer.estimate import Estimate, Note
from analyzer.heat import HeatFit, default_heat, fit_heat, mean_heat
from analyzer.quantities import Bools, Floats, WindowMeans, drive_channel, pack_current_a
from analyzer.ride_analysis import RideResult
from analyzer.road_force import GRAVITY_MPS2, USUAL_AIR_KG_M3
from importers.setup_types import Drive, Setup

LIMIT_SD = 0.015
"""How exactly a controller holds its limit where no ride told. Common practice: a battery current
is often computed, 3 to 5 %, worse at small duty."""
SENSOR_SD = 0.008
"""A logged current's own gain error, which no ride shows [1]. Common practice, no source: 1 to 2 %
for a shunt and its amplifier (95 %)."""
MOST_OVERSHOOT = 1.2
"""A limiter that overshoots by more is broken, or the log is [1]. Our choice."""
UNSTEADY = 0.06
"""How much a rider's demand wavers on a climb where no ride tells, as a part of the force there
[1]. Our choice."""
USUAL_LEAN = 0.07
"""Grade and rolling of a climb on which that part is meant [1]. Our choice."""
TAILS = 0.7
"""Part of the changes within a few seconds on a climb that are the hand's: the others are the
road's, which the hill brings itself [1]. Our choice, tuned on
benchmarks/tables/predict_truth.py."""
HUNTS = 1.6
"""Where four in five changes reach so many times further than the middle one says, the rider hunts
between too much and too little: seldom, but far [1]. Our choice, checked by the same."""
AT_LIMIT = 0.95
"""From here a drive leans on its limit, whatever the hand does [1]. The contract's."""
MOST_UNSTEADY = 0.6
"""More than this part of the force is no hand but a hunting control [1]. Our choice."""
STARTS_S, ENDS_S, APART_S = 10.0, 5.0, 3
"""The first and the last seconds of a climb are no steady riding [s]; two moments so many seconds
apart tell how the hand wavers. Our choice."""
APART_SDS = 1.12
"""Two moments a wavering time apart differ by so many of its sd: sqrt(2 (1 - 1/e))."""
LEAST_CHANGES = 40
"""Of so many changes at least. Our choice."""
K_SD, OHM_SD = 0.01, 0.10
"""Relative errors (one sd) of one ride's force per ampere and winding resistance. Our choice."""


def drive_fits(setup: Setup, rides: list[RideResult]) -> dict[str, DriveFit]:
    """Each drive's force and losses per ampere, the mean of what the rides told."""
    out = {}
    for name in setup.drive_names:
        told = [fit for one in rides if (fit := fit_drive(one.ride, setup, name)) is not None]
        if not told:
            continue
        load = np.array([fit.peak_a**2 for fit in told])

        def mean(values: list[float], load: Floats = load) -> float:
            return float(np.average(values, weights=load))

        out[name] = DriveFit(
            drive=name,
            k_n_per_a=mean([fit.k_n_per_a for fit in told]),
            ohm=mean([fit.ohm for fit in told]),
            drop_v=mean([fit.drop_v for fit in told]),
            spread=mean([fit.spread for fit in told]),
            peak_a=max(fit.peak_a for fit in told),
        )
    return out


def drive_draws(
    setup: Setup,
    fits: dict[str, DriveFit],
    rng: np.random.Generator,
    draws: int,
    notes: list[Note],
) -> tuple[Floats, Floats, Floats, bool]:
    """Force per phase ampere, ohm and drop (drives, d), and whether phase amperes are known."""
    n = len(setup.drives)
    k, ohm, drop = np.ones((n, draws)), np.zeros((n, draws)), np.zeros((n, draws))
    known = len(fits) == n
    for j, drive in enumerate(setup.drives):
        fit = fits.get(drive.name) or (next(iter(fits.values())) if fits else None)
        if fit is None:
            # force is the unit: one made-up phase ampere per newton, losses in the efficiency
            continue
        k[j] = fit.k_n_per_a * rng.normal(1.0, K_SD, draws)
        ohm[j] = fit.ohm * rng.normal(1.0, OHM_SD, draws)
        drop[j] = fit.drop_v
    if not known:
        notes.append(
            Note(
                "predict.phase",
                "No ride with phase current, speed and power of every drive: what a phase ampere "
                "gives is not known, so phase limits are not judged.",
            )
        )
    return k, np.clip(ohm, 0.0, None), drop, known


def limit_scale(
    setup: Setup,
    rides: list[RideResult],
    rng: np.random.Generator,
    draws: int,
    key: str = "battery_drive_a",
) -> Floats:
    """The battery limit in force over the limit as set, (drives, d); rides of another setting say
    nothing. `key` may be `battery_brake_a`, too."""
    out = rng.normal(1.0, LIMIT_SD, (len(setup.drives), draws))
    for j, drive in enumerate(setup.drives):
        told = [seen for one in rides if (seen := _in_force(one, drive, key)) is not None]
        limit = getattr(drive, key)
        if told and limit:
            value, sd = pooled(told)
            sd = float(np.hypot(sd, SENSOR_SD * value))
            out[j] = rng.normal(value, sd, draws) / limit
    return np.asarray(out, np.float64)


def _in_force(one: RideResult, drive: Drive, key: str) -> Estimate | None:
    """What a ride with this same setting showed to be in force."""
    same = [d for d in one.setup.drives if d.name == drive.name]
    if not same or getattr(same[0], key) != getattr(drive, key):
        return None
    return next((getattr(s, key) for s in one.in_force if s.drive == drive.name), None)


def overshoot(setup: Setup, rides: list[RideResult], key: str = "battery_drive_a") -> Floats:
    """How far above the limit in force the largest 1 s mean of each drive lay (drives): a limiter
    that governs late overshoots again on the hill. 1 where no ride leaned on it."""
    out = np.ones(len(setup.drives))
    for j, drive in enumerate(setup.drives):
        name = f"drives.{drive.name}.{key}"
        told = [
            check.seen / seen.value
            for one in rides
            if (seen := _in_force(one, drive, key)) is not None
            for check in one.limits
            if check.limit == name and check.seen is not None and check.window_s <= 1.0
        ]
        if told:
            out[j] = float(np.clip(np.median(told), 1.0, MOST_OVERSHOOT))
    return out


def unsteadiness_n(
    rides: list[RideResult], mass_kg: float, rolling: float, drag_m2: float
) -> float:
    """How much this rider's push wavers where no limit governs [N, one sd], from the current on
    climbs: a hand wavers by demand, so by as much force on any hill."""
    told = [
        (part, force)
        for one in rides
        if (part := _wavering(one)) is not None
        and (force := _climbing_n(one, mass_kg, rolling, drag_m2)) is not None
    ]
    if not told:
        return UNSTEADY * mass_kg * GRAVITY_MPS2 * USUAL_LEAN
    return float(np.median([part * force for part, force in told]))


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
    """Spread of the pack's current on climbs within a few seconds, as a part of it."""
    current = pack_current_a(one.ride, one.setup)
    if current is None or not one.climbs:
        return None
    means = WindowMeans(one.ride, 1.0)
    time_s = one.ride.time_s
    grid = np.arange(time_s[0], time_s[-1], 1.0)
    rows = np.clip(np.searchsorted(time_s, grid), 0, time_s.size - 1)
    each = means.of(current.values)[rows]
    free = ~_leaning(one, means)[rows]
    parts = []
    for climb in one.climbs:
        on = (grid > climb.start_s + STARTS_S) & (grid < climb.end_s - ENDS_S)
        now, then = each[on][APART_S:], each[on][:-APART_S]
        level = 0.5 * (now + then)
        good = np.isfinite(level) & (level > 1.0) & (free[on][APART_S:] | free[on][:-APART_S])
        parts.append(((now - then) / np.maximum(level, 1.0))[good])
    change = np.concatenate(parts)
    if change.size < LEAST_CHANGES:
        return None
    size = np.abs(change)
    middle, most = float(np.median(size)) / 0.6745, float(np.quantile(size, 0.8)) / 1.2816
    spread = (most if most > HUNTS * middle else TAILS * middle) / APART_SDS
    return float(np.clip(spread, 0.0, MOST_UNSTEADY))


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


def heat_draws(
    setup: Setup,
    rides: list[RideResult],
    rng: np.random.Generator,
    draws: int,
    notes: list[Note],
) -> tuple[tuple[str, str, HeatFit, Floats], ...]:
    """(drive, part, how it warms, factor on it per draw), the rides' mean or the stated default."""
    out = []
    for drive in setup.drives:
        for part in ("motor", "controller"):
            told = [
                fit
                for one in rides
                if (fit := fit_heat(one.ride, setup, drive.name, part, iron=part == "motor"))
            ]
            fit = mean_heat(told) if told else None
            if fit is None and part == "controller":
                continue
            if fit is None:
                fit = default_heat(drive.name)
                notes.append(
                    Note(
                        f"predict.motor_temp.{drive.name}",
                        f"No ride warmed {drive.name}'s motor enough to tell how: a stated "
                        "default with a wide interval.",
                    )
                )
            scale = np.exp(rng.normal(0.0, fit.relative_sd, draws))
            out.append((drive.name, part, fit, np.asarray(scale, np.float64)))
    return tuple(out)

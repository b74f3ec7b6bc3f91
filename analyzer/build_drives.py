"""A build's drives as a hill will find them: force per ampere, losses, limits and heat."""

from __future__ import annotations

import numpy as np

from analyzer.build_pack import pooled
from analyzer.drive_fit import DriveFit, fit_drive
from analyzer.estimate import Estimate, Note
from analyzer.heat import HeatFit, default_heat, fit_heat, mean_heat
from analyzer.quantities import Floats
from analyzer.ride_analysis import RideResult
from importers.setup_types import Drive, Setup

LIMIT_SD = 0.02
"""How exactly a controller holds its limit, one sd [1]. Common practice: a battery current
is often computed, 3 to 5 %, worse at small duty."""
SENSOR_SD = 0.008
"""A logged current's own gain error, which no ride shows [1]. Common practice, no source: 1 to 2 %
for a shunt and its amplifier (95 %)."""
AS_SET_SDS = 2.5
"""A plateau within this many sds of the limit as set is that limit, seen by a sensor with an error
of its own; one further off is another limit in force. Our choice."""
MOST_OVERSHOOT = 1.2
"""A limiter that overshoots by more is broken, or the log is [1]. Our choice."""
DRIVES_APART_SD = 0.05
"""How far the warming of two drives of one build is mistaken differently [1, one sd of its log]:
wind, start and what a fit leaves out are the same for all. Our choice."""
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
    nothing. A plateau that agrees with the setting counts beside it, each by its own error. `key`
    may be `battery_brake_a`, too."""
    out = np.empty((len(setup.drives), draws))
    for j, drive in enumerate(setup.drives):
        part, sd = _believed(rides, drive, key)
        out[j] = rng.normal(part, sd, draws)
    return out


def _believed(rides: list[RideResult], drive: Drive, key: str) -> tuple[float, float]:
    """The limit in force over the limit as set, and its sd."""
    told = [seen for one in rides if (seen := _in_force(one, drive, key)) is not None]
    limit = getattr(drive, key)
    if not told or not limit:
        return 1.0, LIMIT_SD
    value, sd = pooled(told)
    part, part_sd = value / limit, float(np.hypot(sd, SENSOR_SD * value)) / limit
    if abs(part - 1.0) >= AS_SET_SDS * np.hypot(part_sd, LIMIT_SD):
        return part, part_sd
    weight = np.array([part_sd, LIMIT_SD]) ** -2.0
    return float(weight @ [part, 1.0] / weight.sum()), float(weight.sum() ** -0.5)


def _in_force(one: RideResult, drive: Drive, key: str) -> Estimate | None:
    """What a ride with this same setting showed to be in force."""
    same = [d for d in one.setup.drives if d.name == drive.name]
    if not same or getattr(same[0], key) != getattr(drive, key):
        return None
    return next((getattr(s, key) for s in one.in_force if s.drive == drive.name), None)


def overshoot(
    setup: Setup,
    rides: list[RideResult],
    rng: np.random.Generator,
    draws: int,
    key: str = "battery_drive_a",
) -> Floats:
    """How far above the limit in force the largest 1 s mean of each drive may lie (drives, d): a
    limiter that governs late overshoots a sudden demand by up to what the rides showed, a slow one
    by nothing. 1 where no ride leaned on it. A plateau seen below the limit believed in force makes
    no overshoot of the way between them."""
    out = np.ones((len(setup.drives), draws))
    for j, drive in enumerate(setup.drives):
        name = f"drives.{drive.name}.{key}"
        held_a = _believed(rides, drive, key)[0] * (getattr(drive, key) or 0.0)
        told = [
            check.seen / max(seen.value, held_a)
            for one in rides
            if (seen := _in_force(one, drive, key)) is not None
            for check in one.limits
            if check.limit == name and check.seen is not None and check.window_s <= 1.0
        ]
        if told:
            most = float(np.clip(np.median(told), 1.0, MOST_OVERSHOOT))
            out[j] = rng.uniform(1.0, most, draws)
    return out


def heat_draws(
    setup: Setup,
    rides: list[RideResult],
    rng: np.random.Generator,
    draws: int,
    notes: list[Note],
) -> tuple[tuple[str, str, HeatFit, Floats], ...]:
    """(drive, part, how it warms, factor on it per draw), the rides' mean or the stated default."""
    out = []
    usual = {part: rng.standard_normal(draws) for part in ("motor", "controller")}
    for drive in setup.drives:
        for part in ("motor", "controller"):
            told = [
                fit
                for one in rides
                if (fit := fit_heat(one.ride, setup, drive.name, part, parted=True))
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
            own = np.exp(rng.normal(0.0, DRIVES_APART_SD, draws))
            scale = own * np.exp(fit.relative_sd * usual[part])
            out.append((drive.name, part, fit, np.asarray(scale, np.float64)))
    return tuple(out)

"""Rides with a known ending: one cause of the contract each, everything else drawn at random.

`make_case(cause, seed)` is the only door. The sets for tuning and for reporting never share a
seed; the second set runs on other equations (`second_engine`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from simulator import faults, recipes
from simulator.build import Build
from simulator.loggers import blackouts
from simulator.sensors import Sensors
from simulator.simulate import Planted, SimRide, simulate
from simulator.words import CAUSES

Variant = Literal["tune", "report", "second"]
STREAM = {"tune": 1, "report": 2, "second": 3}
STANDS_MPS = 0.5
"""Slower than this a ride has come to its end [m/s]. Our choice."""
CLEAN = ("clean_tricky", "log_gap")
ALL_CASES = (*CAUSES[1:], *CLEAN)
TRIES = 200
KIND = {
    **dict.fromkeys(
        ("bms_overcurrent_discharge", "cell_low_voltage", "undervoltage_stop"), "cutout"
    ),
    **dict.fromkeys(
        ("bms_overcurrent_charge", "cell_high_voltage", "overvoltage_trip"), "brake_loss"
    ),
}
"""What these causes can take; the others take either."""


class NoCase(RuntimeError):
    """The recipe found no ride that ends as wanted."""


def make_case(cause: str, seed: int, variant: Variant = "tune") -> SimRide:
    """One short ride (2 to 6 min) in which `cause` takes drive or braking away.

    `cause` is a word of the contract, `clean_tricky` (nothing is lost, though much looks like it)
    or `log_gap`. `.truth.losses` says what was lost; `.ambiguous` marks rides whose logs cannot
    tell. `.notes` holds the cause asked for and how the case was made.
    """
    if cause not in ALL_CASES:
        raise KeyError(cause)
    for attempt in range(TRIES):
        rng = np.random.default_rng([STREAM[variant], ALL_CASES.index(cause), seed, attempt])
        sim = _try(cause, rng, variant)
        if sim is not None:
            return sim
    raise NoCase(f"{cause} {seed} {variant}")


def _try(cause: str, rng: np.random.Generator, variant: Variant) -> SimRide | None:
    recipe = recipes.RECIPES[cause](rng)
    if recipe is None:
        return None
    recipe = replace(recipe, build=_other_motors(cause, recipe.build, rng, variant))
    engine = "second" if variant == "second" else "first"
    number = int(rng.integers(2**31))
    names = [d.name for d in recipe.build.drives]
    sensors = _sensors(rng, names)
    rate = float(rng.choice([10, 20, 20, 25, 50]))
    if variant == "second":
        sensors = sensors.but(
            averages_s=float(rng.choice([0.0, 1.0 / rate, 0.1])),
            burst=int(rng.choice([1, 1, 2, 3])),
        )

    def ride(planted: tuple[Planted, ...] = ()) -> SimRide:
        return simulate(
            recipe.build, recipe.road, recipe.rider, seed=number, rate_hz=rate, soc=recipe.soc,
            temp_c=recipe.temp_c, warm_c=recipe.warm_c, wind_mps=recipe.wind_mps, planted=planted,
            most_s=recipe.most_s, sensors=sensors, engine=engine, rest_first_s=recipe.rest_first_s,
        )  # fmt: skip

    sim = ride()
    if sim.col["v_mps"][-1] > STANDS_MPS:
        recipe = replace(recipe, most_s=None)
        sim = ride()  # nobody ends a log at work: a logger on the pack lost its supply there
    if recipe.plant is not None:
        if sim.truth.losses:
            return None
        planted = recipe.plant(sim, rng)
        if planted is None:
            return None
        sim = ride(planted)
    if not _as_wanted(cause, sim):
        return None
    sim = replace(
        sim, ambiguous=recipe.ambiguous, lost_rows=(*blackouts(sim, rng), *recipe.lost(sim, rng)),
        bad_rows=faults.spoilt_rows(sim, rng, recipe.spoil),
        notes={"cause": cause, "variant": variant, **recipe.notes},
    )  # fmt: skip
    return sim


def _other_motors(cause: str, build: Build, rng: np.random.Generator, variant: Variant) -> Build:
    """Some builds coast on a freewheel; the second set has motors in the hub as well."""
    free, hub = rng.random() < 0.08, rng.random() < 0.4
    if free and KIND.get(cause) != "brake_loss":
        build = replace(
            build, drives=tuple(replace(d, freewheel=True) for d in build.drives)
        ).with_controllers(phase_brake_a=0.0, battery_brake_a=0.0)
        gone = {
            f"drives.{d.name}.{key}_brake_a" for d in build.drives for key in ("phase", "battery")
        }
        return replace(build, silent=build.silent | gone)
    if variant == "second" and hub:
        return hub_motors(build)
    return build


def hub_motors(build: Build) -> Build:
    """The same pull without a gear: motors that turn as slowly as the wheel."""
    gear = build.body.gear_ratio
    drives = tuple(
        replace(
            d,
            motor=replace(
                d.motor,
                kt=d.motor.kt * gear,
                drag0=d.motor.drag0 * gear,
                drag1=d.motor.drag1 * gear**2,
                inertia=d.motor.inertia * gear**2,
                pole_pairs=20,
            ),
        )
        for d in build.drives
    )
    return replace(build, drives=drives).with_body(gear_ratio=1.0)


def _as_wanted(cause: str, sim: SimRide) -> bool:
    losses = sim.truth.losses
    if cause in CLEAN:
        return not losses and sim.t[-1] > 60
    if not losses or losses[0].cause != cause or losses[0].start_s <= 12.0:
        return False
    return losses[0].kind == KIND.get(cause, losses[0].kind)


def _sensors(rng: np.random.Generator, names: list[str]) -> Sensors:
    usual = Sensors.usual(rng, names)
    gone = {g for g in ("bms", "gps", "duty") if rng.random() < 0.4}
    if rng.random() < 0.5:
        gone |= {"cells"}
    return usual.but(
        bms_rate_hz=float(rng.choice([1, 2, 5, 10])),
        temp_rate_hz=float(rng.choice([1, 2, 5])),
        when_dead=str(rng.choice(["blank", "zero", "freeze"])),
        braking_in_throttle=bool(rng.random() < 0.7),
        current_step_a=float(rng.choice([0.01, 0.1, 0.1, 0.25])),
        voltage_step_v=float(rng.choice([0.01, 0.1, 0.1])),
    ).without(*gone)

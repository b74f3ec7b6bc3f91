"""A build as a hill will find it: everything a forward run needs, drawn over what is not sure.

Arrays have d values, one per draw, or (drives, d) where a drive has its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.build_drives import drive_draws, drive_fits, heat_draws, limit_scale, overshoot
from analyzer.build_hand import answers_s, off_pace_mps, unsteadiness_n
from analyzer.build_pack import (
    capacity_draws,
    curve_draws,
    fitted_charge_pct,
    heat_j_per_k_draws,
    log_resistance,
    low_rise_draws,
    pack_draws,
    rest_offset_draws,
    warm_factor,
)
from analyzer.build_road import pool_road_loads, road_draws
from analyzer.estimate import Note
from analyzer.heat import HeatFit
from analyzer.power_balance import UNKNOWN_MASS_KG
from analyzer.quantities import Floats
from analyzer.ride_analysis import RideResult
from analyzer.road import find_roads
from analyzer.road_load import RoadLoad, fit_road_load
from analyzer.temperature import DEFAULT_E_J_PER_MOL
from importers.setup_types import Drive, Setup

UNKNOWN_FORCE_N = 250.0
"""Greatest force of one drive where nothing tells it [N]. Our choice; said in a note."""
MOST_RIDES = 8
"""So many rides are fitted together: those that moved most energy. Our choice: more add seconds of
waiting, and little to what is known."""
RECENT_DAYS = 120.0
"""Only rides so many days before the newest count: packs age, tyres change. Our choice."""
MASS_SD = 0.02
"""How far the load on the day differs from what is said [1, one sd]. Our choice."""
RESISTANCE_APART = 0.15
"""A ride whose resistance at 25 °C differs by more than this (and three sds) from the others'
contradicts them [1]. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class BuildDraws:
    """One build, d times over."""

    setup: Setup
    mass_kg: Floats
    rolling: Floats
    drag_m2: Floats
    efficiency: Floats
    return_factor: Floats
    k_n_per_a: Floats
    """(drives, d)"""
    ohm: Floats
    drop_v: Floats
    known_phase: bool
    """False where the phase ampere of this build is a made-up unit: phase limits are not judged."""
    limit_scale: Floats
    """(drives, d): the limit in force over the limit as set."""
    brake_scale: Floats
    """The same of the limit of braking."""
    overshoot: Floats
    """(drives, d): the largest 1 s mean over the limit in force, where the limit governs."""
    brake_overshoot: Floats
    pack_ohm: Floats
    """(lags, d) at 25 °C and the fitted charge."""
    pack_j_per_k: Floats
    """What warms the pack by 1 K."""
    low_rise: Floats
    """How much more it resists near empty (`build_pack.low_charge_factor`)."""
    fitted_charge_pct: float
    """The charge the resistance was fitted at."""
    activation_j_per_mol: Floats
    rest_offset_v: Floats
    curve: NDArray[np.intp]
    """Which of the curves these cells may follow (`rest_voltage.family`) each draw follows."""
    unsteady_n: Floats
    """How much this rider's push wavers where no limit governs, one sd of 1 s means [N]."""
    answers_s: Floats
    """How late the hand answers what the road asks."""
    off_pace_mps: Floats
    """How far the speed held lies off the speed meant."""
    seed: int
    capacity_ah: Floats
    aux_a: float
    heat: tuple[tuple[str, str, HeatFit, Floats], ...]
    """(drive, part, fit, scale)."""
    notes: tuple[Note, ...]

    @property
    def drives(self) -> tuple[Drive, ...]:
        """The setup's drives, in its order: the first axis of (drives, d)."""
        return self.setup.drives

    @property
    def draws(self) -> int:
        """d."""
        return int(self.mass_kg.size)


def telling_rides(results: list[RideResult]) -> list[RideResult]:
    """The rides that tell most of the build as it is now: recent ones that moved much energy, the
    one that moved most first."""
    told = [one for one in results if one.totals.energy_out_wh]
    starts = [one.ride.start for one in told if one.ride.start is not None]
    if starts:
        newest = max(starts)
        told = [
            one
            for one in told
            if one.ride.start is None
            or (newest - one.ride.start).total_seconds() <= RECENT_DAYS * 86400.0
        ]
    return sorted(told, key=lambda one: -(one.totals.energy_out_wh or 0.0))[:MOST_RIDES]


def draw_build(
    setup: Setup,
    results: list[RideResult],
    rng: np.random.Generator,
    draws: int,
    extra_mass_kg: float = 0.0,
) -> BuildDraws:
    """The build as its rides showed it together, else as its paper says, with wide intervals and
    notes."""
    rides = telling_rides(results)
    notes = _which_rides(rides, len(results))
    loads = [
        (_named(one, k), fit_road_load(one.ride, setup, find_roads(one.ride, setup)))
        for k, one in enumerate(rides)
    ]
    pooled = pool_road_loads(loads)
    notes.extend(_untold(loads))
    notes.extend(() if pooled is None else pooled.notes)
    notes.extend(_resistances_apart(rides))
    mass = _mass_kg(setup, loads, notes)
    fits = drive_fits(setup, rides)
    road = road_draws(pooled, setup, rng, draws, len(fits) > 0)
    k, ohm, drop, known = drive_draws(setup, fits, rng, draws, notes)
    shape, energy = pack_draws(setup, rides, rng, draws)
    rolling, drag = float(np.median(road[3])), float(np.median(road[4]))
    return BuildDraws(
        setup=setup,
        mass_kg=(mass + extra_mass_kg) * rng.normal(1.0, MASS_SD, draws),
        rolling=road[3],
        drag_m2=road[4],
        efficiency=road[0],
        return_factor=road[2],
        k_n_per_a=k,
        ohm=ohm,
        drop_v=drop,
        known_phase=known,
        limit_scale=limit_scale(setup, rides, rng, draws),
        brake_scale=limit_scale(setup, rides, rng, draws, "battery_brake_a"),
        overshoot=overshoot(setup, rides, rng, draws),
        brake_overshoot=overshoot(setup, rides, rng, draws, "battery_brake_a"),
        pack_ohm=shape,
        pack_j_per_k=heat_j_per_k_draws(setup, rng, draws),
        low_rise=low_rise_draws(rng, draws),
        fitted_charge_pct=fitted_charge_pct(rides),
        activation_j_per_mol=energy,
        rest_offset_v=rest_offset_draws(setup, rides, rng, draws),
        curve=curve_draws(setup, rides, rng, draws),
        unsteady_n=unsteadiness_n(rides, (mass, rolling, drag), rng, draws),
        answers_s=answers_s(rng, draws),
        off_pace_mps=off_pace_mps(rng, draws),
        seed=int(rng.integers(2**31)),
        capacity_ah=capacity_draws(setup, rides, rng, draws),
        aux_a=setup.pack.aux_a or 0.0,
        heat=heat_draws(setup, rides, rng, draws, notes),
        notes=tuple(notes),
    )


def _mass_kg(setup: Setup, loads: list[tuple[str, RoadLoad]], notes: list[Note]) -> float:
    mass = next((one.mass_kg for _, one in loads if one.mass_kg), None) or setup.vehicle.mass_kg
    if mass is None:
        mass = UNKNOWN_MASS_KG
        notes.append(
            Note("predict.mass_kg", f"No mass in the setup: {UNKNOWN_MASS_KG:.0f} kg are assumed.")
        )
    return mass


def _named(one: RideResult, k: int) -> str:
    start = one.ride.start
    return f"ride {k + 1}" if start is None else f"the ride of {start:%Y-%m-%d %H:%M}"


def _which_rides(rides: list[RideResult], given: int) -> list[Note]:
    if not rides:
        return [
            Note(
                "predict",
                "No ride to fit: resistance, rolling, drag, losses and warming are stated defaults "
                "with wide intervals. One ride with a climb makes this far surer.",
            )
        ]
    if given < 2:
        return []
    left = given - len(rides)
    told = f"Fitted on {len(rides)} rides together" + (
        f"; {left} older or shorter ones were left out." if left else "."
    )
    return [Note("predict.rides", told)]


def _untold(loads: list[tuple[str, RoadLoad]]) -> list[Note]:
    """What no ride tells, in the words of the ride that tells most."""
    if not loads:
        return []
    missing = [{note.about for note in one.notes} for _, one in loads]
    nowhere = set.intersection(*missing)
    return [note for note in loads[0][1].notes if note.about in nowhere]


def _resistances_apart(rides: list[RideResult]) -> list[Note]:
    """Rides whose pack resisted more or less than the others', warmth taken out."""
    told = [(k, one, said) for k, one in enumerate(rides) if (said := log_resistance(one))]
    if len(told) < 2:
        return []
    usual = np.array([DEFAULT_E_J_PER_MOL])
    at_25 = np.array(
        [
            said[0] - np.log(warm_factor(one.pack.temperature_c or 25.0, usual)[0])
            for _, one, said in told
        ]
    )
    sd = np.array([said[1] for _, _, said in told])
    notes = []
    for j, (k, one, _) in enumerate(told):
        others = np.arange(at_25.size) != j
        off = float(at_25[j] - np.average(at_25[others], weights=1.0 / sd[others] ** 2))
        if abs(off) > max(RESISTANCE_APART, 3.0 * float(np.hypot(sd[j], sd[others].min()))):
            more = "more" if off > 0 else "less"
            notes.append(
                Note(
                    "predict.rides",
                    f"In {_named(one, k)} the pack resisted {100 * abs(np.expm1(off)):.0f} % "
                    f"{more} than in the others at the same temperature: another pack, a "
                    "temperature logged elsewhere, or ageing.",
                )
            )
    return notes


__all__ = ["UNKNOWN_FORCE_N", "BuildDraws", "draw_build", "telling_rides"]

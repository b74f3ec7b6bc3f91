"""Would this hill work: currents, voltage and heat against every limit, and how far it goes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analyzer.climbs import Climb
from analyzer.estimate import Estimate, Note
from analyzer.events import NotChecked
from analyzer.hill_ahead import HillAhead, even_hill
from analyzer.hill_build import BuildDraws, draw_build
from analyzer.hill_model import simulate_hill
from analyzer.predict_descent import DESCENT_CAUTION, Descent, descent_ahead, descent_notes
from analyzer.predict_edge import WORKS_BELOW, WorksUpTo, looked_no_further, works_up_to
from analyzer.predict_limits import LimitAhead, limits_ahead, spread
from analyzer.ride_analysis import RideResult
from importers.setup_types import Setup

__all__ = [
    "Descent", "HillAhead", "LimitAhead", "PredictResult", "WorksUpTo", "even_hill",
    "predict_hill",
]  # fmt: skip

DRAWS = 200
"""Draws over what is not sure; a chance is then known within about 3 points."""
SEARCH_DRAWS = 80
"""Draws while searching how far it works."""
READING_SD_K = 0.3
"""How far a thermometer is off whatever it reads, one sd [K]: one that reads whole degrees is off
by 1/sqrt(12)."""
CAUTION = (
    "An estimate from past rides and settings, not a promise: wind, surface, tyre pressure and a "
    "single weak cell are not in it. Try the first half with a way to turn round."
)


@dataclass(frozen=True, slots=True)
class PredictResult:
    """The prediction, as the contract has it, and the descent's own answers."""

    setup: Setup
    hill: HillAhead
    mass_kg: float
    speed_wished_mps: float | None
    limits: tuple[LimitAhead, ...]
    speed_mps: Estimate | None
    """At the top; None where the top is not reached."""
    power_first_reduced_at_m: Estimate | None
    chance_reduced_pct: float
    chance_top_pct: float
    lowest_voltage_v: Estimate
    highest_voltage_v: Estimate
    rest_low_v: float
    """What the pack would rest at where its voltage is lowest."""
    rest_high_v: float
    charge_used_ah: Estimate
    motor_temp_top_c: Estimate | None
    works_up_to: WorksUpTo
    descent: Descent | None
    not_checked: tuple[NotChecked, ...]
    notes: tuple[Note, ...]
    draws: int


def predict_hill(
    setup: Setup,
    results: list[RideResult],
    hill: HillAhead,
    *,
    seed: int = 0,
    draws: int = DRAWS,
) -> PredictResult:
    """Would this hill work? Simulated `draws` times over what is not sure of the build; without
    rides from the paper alone, with wide intervals. Same input and seed: same answer."""
    rng = np.random.default_rng(seed)
    notes: list[Note] = [Note("predict", CAUTION)]
    if hill.speed_mps is None:
        usual = climbing_speed_mps(results)
        if usual is not None:
            hill = replace(hill, speed_mps=usual)
            notes.append(
                Note(
                    "hill.speed_mps",
                    f"No speed given: {usual * 3.6:.0f} km/h, the rides' median while climbing.",
                )
            )
    build = draw_build(setup, results, rng, draws, hill.extra_mass_kg)
    run = simulate_hill(build, hill)
    few = _first_draws(build, min(draws, SEARCH_DRAWS))
    limits, not_checked = limits_ahead(setup, build, hill, run)
    descent = descent_ahead(setup, few, build, hill, run) if hill.descends else None
    works = works_up_to(few, hill) if hill.climbs else WorksUpTo(None, None, None)
    notes.extend(looked_no_further(works))
    if hill.climbs and hill.descends:
        told = f"climbs {hill.rise_m:.0f} m and descends {hill.fall_m:.0f} m"
        notes.append(Note("hill", f"This way {told}: both are judged, as one ride."))
    if hill.descends:
        notes.append(Note("predict.descent", DESCENT_CAUTION))
        notes.extend(descent_notes(setup, descent))
    reduced = np.isfinite(run.reduced_at_m)
    motor = run.motor_at_top_c.max(axis=0) + rng.normal(0.0, READING_SD_K, draws)
    tells_heat = any(part == "motor" for _, part, _, _ in build.heat)
    return PredictResult(
        setup=setup,
        hill=hill,
        mass_kg=float(np.median(build.mass_kg)),
        speed_wished_mps=hill.speed_mps,
        limits=limits,
        speed_mps=spread(run.speed_top_mps[run.reached]) if run.reached.mean() > 0.5 else None,
        power_first_reduced_at_m=(
            spread(run.reduced_at_m[reduced]) if reduced.mean() > WORKS_BELOW else None
        ),
        chance_reduced_pct=100.0 * float(reduced.mean()),
        chance_top_pct=100.0 * float(run.reached.mean()),
        lowest_voltage_v=spread(run.lowest_v),
        highest_voltage_v=spread(run.highest_v),
        rest_low_v=float(np.median(run.rest_low_v)),
        rest_high_v=float(np.median(run.rest_high_v)),
        charge_used_ah=spread(run.charge_used_ah),
        motor_temp_top_c=spread(motor) if tells_heat else None,
        works_up_to=works,
        descent=descent,
        not_checked=not_checked,
        notes=(*notes, *build.notes),
        draws=draws,
    )


def climbing_speed_mps(results: list[RideResult]) -> float | None:
    """The rides' median speed on climbs, or None without a climb."""
    climbs: list[Climb] = [climb for one in results for climb in one.climbs]
    speeds = [c.length_m / (c.end_s - c.start_s) for c in climbs if c.end_s > c.start_s]
    return float(np.median(speeds)) if speeds else None


def _first_draws(build: BuildDraws, count: int) -> BuildDraws:
    return replace(
        build,
        mass_kg=build.mass_kg[:count], rolling=build.rolling[:count],
        drag_m2=build.drag_m2[:count], efficiency=build.efficiency[:count],
        return_factor=build.return_factor[:count], k_n_per_a=build.k_n_per_a[:, :count],
        ohm=build.ohm[:, :count], drop_v=build.drop_v[:, :count],
        limit_scale=build.limit_scale[:, :count],
        brake_scale=build.brake_scale[:, :count], overshoot=build.overshoot[:, :count],
        brake_overshoot=build.brake_overshoot[:, :count],
        unsteady_n=build.unsteady_n[:count], answers_s=build.answers_s[:count],
        pack_ohm=build.pack_ohm[:, :count], low_rise=build.low_rise[:count],
        pack_j_per_k=build.pack_j_per_k[:count], off_pace_mps=build.off_pace_mps[:count],
        activation_j_per_mol=build.activation_j_per_mol[:count],
        rest_offset_v=build.rest_offset_v[:count], curve=build.curve[:count],
        capacity_ah=build.capacity_ah[:count],
        heat=tuple((d, p, f, scale[:count]) for d, p, f, scale in build.heat),
    )  # fmt: skip

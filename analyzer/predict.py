"""Would this hill work: currents, voltage and heat against every limit, and how far it goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analyzer.climbs import Climb
from analyzer.estimate import Estimate, Note
from analyzer.events import NotChecked
from analyzer.hill_build import BuildDraws, draw_build
from analyzer.hill_model import HillAhead, HillRun, PerDraw, even_hill, simulate_hill
from analyzer.limit_keys import LimitKey, limit_keys
from analyzer.quantities import Bools, Floats
from analyzer.ride_analysis import RideResult
from importers.setup_types import Ports, Setup

__all__ = ["HillAhead", "PredictResult", "even_hill", "predict_hill"]

DRAWS = 200
"""Draws over what is not sure; a chance is then known within about 3 points."""
SEARCH_DRAWS = 80
"""Draws while searching how far it works."""
WORKS_BELOW = 0.05
"""Chance of reduced power below which a hill counts as working. The contract's."""
TOUCHED_FROM = 0.95
"""The contract's."""
LEAST_SCALED_PCT = 1.0
"""A track's mean grade from which all of it is made steeper to look for the edge [%]. Our choice: a
round trip climbs without being steep on the whole; its mean says nothing of its hills."""
STEEPEST_PCT, EMPTIEST_PCT, COLDEST_C = 35.0, 1.0, -20.0
"""How far is looked. Our choice: nobody rides a loaded small vehicle beyond."""
BRAKED_A = 1.0
"""Less than this into the pack is no braking [A]. Our choice."""
CAUTION = (
    "An estimate from past rides and settings, not a promise: wind, surface, tyre pressure and a "
    "single weak cell are not in it. Try the first half with a way to turn round."
)
DESCENT_CAUTION = (
    "The mechanical brake must hold the loaded vehicle on this grade by itself: motor braking can "
    "end without warning when the pack is full, hot or disconnected. Try it at walking pace first."
)


@dataclass(frozen=True, slots=True)
class LimitAhead:
    """One limit against what the hill is expected to ask."""

    limit: str
    set: float
    unit: str
    expected_peak: Estimate | None
    chance_touched_pct: float | None


@dataclass(frozen=True, slots=True)
class WorksUpTo:
    """How far it works: less than 5 % chance that power is reduced before the top. None where
    even the easiest looked at does not work, or the question has no meaning (a descent)."""

    grade_pct: Estimate | None
    charge_down_to_pct: Estimate | None
    temp_down_to_c: Estimate | None


@dataclass(frozen=True, slots=True)
class Descent:
    """What going down asks."""

    braking_a: tuple[tuple[str, Estimate], ...]
    """Largest braking battery current of each drive."""
    braking_together_a: Estimate
    leave_home_below_pct: Estimate | None
    """Start with no more charge than this, so that no limit of braking is touched; None where no
    limit of braking is set, or none is touched even when full."""
    mechanical_peak_w: Estimate
    mechanical_wh: Estimate
    """What the mechanical brake must take: at most at a time, and in all."""


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
    down = hill.grade_pct < 0
    few = _first_draws(build, min(draws, SEARCH_DRAWS))
    limits, not_checked = _limits(setup, build, hill, run)
    descent = _descent(setup, few, build, hill, run) if down else None
    works = WorksUpTo(None, None, None) if down else _works_up_to(few, hill)
    notes.extend(_looked_no_further(works))
    if down:
        notes.append(Note("predict.descent", DESCENT_CAUTION))
        notes.extend(_descent_notes(setup, descent))
    reduced = np.isfinite(run.reduced_at_m)
    motor = run.motor_top_c.max(axis=0)
    tells_heat = any(part == "motor" for _, part, _, _ in build.heat)
    return PredictResult(
        setup=setup,
        hill=hill,
        mass_kg=float(np.median(build.mass_kg)),
        speed_wished_mps=hill.speed_mps,
        limits=limits,
        speed_mps=_spread(run.speed_top_mps[run.reached]) if run.reached.mean() > 0.5 else None,
        power_first_reduced_at_m=(
            _spread(run.reduced_at_m[reduced]) if reduced.mean() > WORKS_BELOW else None
        ),
        chance_reduced_pct=100.0 * float(reduced.mean()),
        chance_top_pct=100.0 * float(run.reached.mean()),
        lowest_voltage_v=_spread(run.lowest_v),
        highest_voltage_v=_spread(run.highest_v),
        charge_used_ah=_spread(run.charge_used_ah),
        motor_temp_top_c=_spread(motor) if tells_heat else None,
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


def _spread(values: Floats) -> Estimate:
    """Median and the middle 95 % of the draws."""
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return Estimate(float(middle), float(low), float(high))


def _first_draws(build: BuildDraws, count: int) -> BuildDraws:
    return replace(
        build,
        mass_kg=build.mass_kg[:count], rolling=build.rolling[:count],
        drag_m2=build.drag_m2[:count], efficiency=build.efficiency[:count],
        return_factor=build.return_factor[:count], k_n_per_a=build.k_n_per_a[:, :count],
        ohm=build.ohm[:, :count], drop_v=build.drop_v[:, :count],
        limit_scale=build.limit_scale[:, :count], pack_ohm=build.pack_ohm[:, :count],
        activation_j_per_mol=build.activation_j_per_mol[:count],
        rest_offset_v=build.rest_offset_v[:count], curve=build.curve[:count],
        capacity_ah=build.capacity_ah[:count],
        heat=tuple((d, p, f, scale[:count]) for d, p, f, scale in build.heat),
    )  # fmt: skip


# ------------------------------------------------------------------ limits


def _limits(
    setup: Setup, build: BuildDraws, hill: HillAhead, run: HillRun
) -> tuple[tuple[LimitAhead, ...], tuple[NotChecked, ...]]:
    rows: list[LimitAhead] = []
    missing: list[NotChecked] = []
    for key in limit_keys(setup):
        if key.value is None:
            missing.append(NotChecked(key.what, (key.key,)))
            continue
        why = _unknown(key, setup, build, run)
        if why is not None:
            missing.append(why)
            continue
        peak, used = _asked(key, key.value, setup, hill, run)
        rows.append(
            LimitAhead(
                key.key,
                key.value,
                key.unit,
                _spread(peak),
                100.0 * float(np.mean(used >= TOUCHED_FROM)),
            )
        )
    return tuple(rows), tuple(missing)


def _unknown(key: LimitKey, setup: Setup, build: BuildDraws, run: HillRun) -> NotChecked | None:
    if key.key.startswith("bms.cell"):
        told = "single cells are not in the model; the pack's mean is"
        return NotChecked(f"{key.what}: {told}", ("cell_min_v",))
    if "phase_" in key.key and not build.known_phase:
        return NotChecked(f"{key.what}: no ride tells a phase ampere's force", ("phase_current_a",))
    if "controller_" in key.key:
        name = key.key.split(".")[1]
        if not np.isfinite(run.controller_top_c[setup.drive_names.index(name)]).any():
            return NotChecked(f"{key.what}: no ride warmed it enough", (key.channel,))
    if key.key.startswith("bms.charge") and setup.bms.ports is Ports.SEPARATE:
        told = "with separate ports braking passes no charge protection"
        return NotChecked(f"{key.what}: {told}", ("bms.ports",))
    return None


def _asked(
    key: LimitKey, value: float, setup: Setup, hill: HillAhead, run: HillRun
) -> tuple[Floats, Floats]:
    """The extreme in the limit's own direction, per draw, and how much of the limit that is."""
    if key.bounds == "cold":
        braked = run.pack_brake_peak_a > BRAKED_A
        temp = np.full(run.lowest_v.size, hill.temp_c)
        return temp, np.where(braked & (hill.temp_c < value + 2.0), 1.0, 0.0)
    if key.key.startswith(("bms.", "pack.", "wiring.")):
        both = np.maximum(run.pack_peak_a, run.pack_brake_peak_a)
        peak = {1: run.pack_peak_a, -1: run.pack_brake_peak_a, 0: both}[key.sign]
        return peak, peak / value
    name, what = key.key.split(".")[1:]
    j = setup.drive_names.index(name)
    currents = {
        "phase_drive_a": run.phase_peak_a,
        "phase_brake_a": run.phase_brake_peak_a,
        "battery_drive_a": run.battery_peak_a,
        "battery_brake_a": run.battery_brake_peak_a,
    }
    if what in currents:
        return currents[what][j], currents[what][j] / value
    if key.bounds == "heat":
        top = run.motor_top_c if what.startswith("motor") else run.controller_top_c
        return top[j], (top[j] - hill.temp_c) / max(value - hill.temp_c, 1.0)
    near = 0.1 * setup.pack.series
    if key.bounds == "high_voltage":
        way = value - run.rest_high_v
        used = np.where(way > near, (run.highest_v - run.rest_high_v) / np.maximum(way, 1e-9), 0.0)
        return run.highest_v, np.where(run.highest_v >= value, 1.0, used)
    way = run.rest_low_v - value
    used = np.where(way > near, (run.rest_low_v - run.lowest_v) / np.maximum(way, 1e-9), 0.0)
    return run.lowest_v, np.where(run.lowest_v <= value, 1.0, used)


# ------------------------------------------------------------------ how far it works


def _works_up_to(build: BuildDraws, hill: HillAhead) -> WorksUpTo:
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
        _edge(lambda x: works(replace(at, steeper=x / steep), ramp), d, 0.3, STEEPEST_PCT, 0.1)
        if steep >= LEAST_SCALED_PCT
        else None,
        _edge(lambda x: works(replace(at, charge_pct=x)), d, 100.0, EMPTIEST_PCT, 0.5),
        _edge(lambda x: works(replace(at, temp_c=x)), d, max(35.0, hill.temp_c), COLDEST_C, 0.5),
    )


def _looked_no_further(works: WorksUpTo) -> list[Note]:
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


def _edge(
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


# ------------------------------------------------------------------ downhill


def _descent(
    setup: Setup, few: BuildDraws, build: BuildDraws, hill: HillAhead, run: HillRun
) -> Descent:
    names = build.setup.drive_names
    return Descent(
        braking_a=tuple(
            (name, _spread(run.battery_brake_peak_a[j])) for j, name in enumerate(names)
        ),
        braking_together_a=_spread(run.battery_brake_peak_a.sum(axis=0)),
        leave_home_below_pct=_leave_home(setup, few, hill),
        mechanical_peak_w=_spread(run.mechanical_peak_w),
        mechanical_wh=_spread(run.mechanical_j / 3600.0),
    )


def _leave_home(setup: Setup, build: BuildDraws, hill: HillAhead) -> Estimate | None:
    """Highest charge at which the pack's voltage stays under full and under every overvoltage."""
    lines = [d.overvoltage_v for d in setup.drives if d.overvoltage_v is not None]
    line = min([setup.full_v, *lines])
    d = build.draws
    same = np.ones(d)

    def works(charge_pct: Floats) -> Bools:
        run = simulate_hill(build, hill, PerDraw(charge_pct, same * hill.temp_c, same))
        braked = run.pack_brake_peak_a > BRAKED_A
        return np.asarray(~braked | (run.highest_v < line))

    if float(works(np.full(d, 100.0)).mean()) > 1.0 - WORKS_BELOW:
        return None
    return _edge(works, d, 5.0, 100.0, 0.5) or Estimate(5.0, 0.0, 5.0)


def _descent_notes(setup: Setup, descent: Descent | None) -> list[Note]:
    if descent is None:
        return []
    out = []
    if descent.leave_home_below_pct is not None:
        pct = descent.leave_home_below_pct.value
        out.append(
            Note(
                "predict.leave_home_below_pct",
                f"Begin this descent with {pct:.0f} % charge or less, so that braking does not "
                "push the pack to full.",
            )
        )
    peak, energy = descent.mechanical_peak_w, descent.mechanical_wh
    told = (
        f"The mechanical brake takes up to {peak.value:.0f} W ({peak.low:.0f} to "
        f"{peak.high:.0f}), {energy.value:.0f} Wh in all; without motor braking all of it."
        if peak.value >= 0.5
        else "Motor braking alone holds this speed; without it the mechanical brake takes all."
    )
    out.append(Note("predict.mechanical_brake", told))
    if all(d.battery_brake_a is None and d.phase_brake_a is None for d in setup.drives):
        out.append(
            Note("predict.braking", "No brake limit in the setup: motor braking is not counted on.")
        )
    return out

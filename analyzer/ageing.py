"""How has this pack aged over the rides kept, did something break, and when will it matter?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from analyzer.ageing_ahead import (
    BASIS,
    LEAST_SPAN_DAYS,
    capacity_ahead,
    of_rated_pct,
    refusals,
    resistance_ahead,
)
from analyzer.ageing_capacity import CapacityAgeing, capacity_course
from analyzer.ageing_health import energy_per_km, vehicle_health
from analyzer.ageing_hills import derate_v, hills_ahead, usable_ah
from analyzer.ageing_marks import doubtful_jumps, logger_marks, one_scale
from analyzer.ageing_parts import Kept
from analyzer.ageing_resistance import ResistanceAgeing, resistance_course
from analyzer.ageing_result import AgeingResult, DayNote, JumpTold, RideUse
from analyzer.ageing_strays import stray_notes, without_strays
from analyzer.estimate import Note
from analyzer.trend import FEWEST
from analyzer.use import sum_use
from analyzer.weak_group import weak_group_notes
from importers.setup_types import Setup

NOTE_DAYS = 14
"""A note by hand belongs to a jump when it is this near [days]. Our choice."""


def judge_ageing(
    rides: Sequence[Kept], setup: Setup, *, notes: Sequence[DayNote] = ()
) -> AgeingResult:
    """What months of rides of one pack say. `setup` is the newest ride's.

    Raises
    ------
    ValueError : there is no ride
    """
    if not rides:
        raise ValueError("ageing needs at least one ride")
    every = sorted(rides, key=lambda one: one.start)
    as_read, strays = without_strays(every)
    own_curve = not setup.curve.built_in
    capacity = capacity_course(as_read, own_curve=own_curve, setup=setup)
    ordered, rescaled = one_scale(as_read, capacity)
    if rescaled:
        capacity = capacity_course(ordered, own_curve=own_curve, setup=setup)
    resistance = resistance_course(ordered)
    apart, doubts = doubtful_jumps(ordered, capacity, resistance)
    if doubts:
        capacity = capacity_course(apart, own_curve=own_curve, setup=setup)
    span_days = (ordered[-1].start - ordered[0].start).total_seconds() / 86400
    long_enough = span_days >= LEAST_SPAN_DAYS
    capacity_80 = capacity_ahead(capacity, setup, ordered) if long_enough else None
    resistance_150 = resistance_ahead(resistance, setup, ordered) if long_enough else None
    hills = hills_ahead(ordered, setup, resistance) if long_enough else ()
    usable_now, usable_new = usable_ah(setup, hills, capacity)
    health, health_notes = vehicle_health(ordered)
    used = {*(resistance.used if resistance else ()), *(capacity.used if capacity else ())}
    marks = tuple(sorted((*logger_marks(as_read), *rescaled), key=lambda one: one.date))
    return AgeingResult(
        setup=setup,
        rides=len(every),
        rides_used=len(used),
        span_days=span_days,
        resistance=resistance,
        jumps=_told_jumps(resistance, notes),
        marks=marks,
        capacity=capacity,
        of_rated_pct=of_rated_pct(capacity, setup),
        usable_ah=usable_now,
        usable_new_ah=usable_new,
        use=sum_use([one.summary for one in ordered]),
        wh_per_km=energy_per_km(ordered),
        health=health,
        capacity_80=capacity_80,
        resistance_150=resistance_150,
        hills=hills,
        basis=BASIS,
        per_ride=tuple(_use_of(one, used, away=one in strays) for one in every),
        notes=(
            *stray_notes(strays, as_read),
            *_too_few(resistance, capacity),
            *_level_notes(capacity),
            *refusals(capacity, resistance, (capacity_80, resistance_150), span_days),
            *_hill_notes(hills, setup, resistance, long_enough),
            *_temperature_notes(ordered),
            *(Note("resistance.jumps", one.text) for one in marks),
            *doubts,
            *weak_group_notes(ordered, setup),
            *health_notes,
        ),
    )


def _too_few(
    resistance: ResistanceAgeing | None, capacity: CapacityAgeing | None
) -> tuple[Note, ...]:
    return tuple(
        Note(about, f"Fewer than {FEWEST} rides have {what}.")
        for about, what, found in (
            ("resistance", "a resistance at a known temperature", resistance),
            ("capacity", "enough charge moved between two rest voltages", capacity),
        )
        if found is None
    )


def _level_notes(capacity: CapacityAgeing | None) -> tuple[Note, ...]:
    if capacity is None or capacity.fade_pct_per_year is not None:
        return ()
    text = (
        f"Fewer than {FEWEST} rides moved enough charge between two rest voltages: the capacity is "
        f"the middle of what {len(capacity.used)} rides tell by themselves, mostly a logger's own "
        "counting, which may not know that a pack fades. A ride from full to low, or a charge log, "
        "tells more."
    )
    return (Note("capacity.fade_pct_per_year", text),)


def _hill_notes(
    hills: Sequence[object], setup: Setup, resistance: ResistanceAgeing | None, long_enough: bool
) -> tuple[Note, ...]:
    """Why nothing is said of a climb, where nothing is."""
    if hills or not long_enough:
        return ()
    if derate_v(setup) is None:
        why = "no drive of the setup has derate_from_v, the voltage where power is reduced."
    elif resistance is None:
        why = "the resistance is not known."
    else:
        why = "no climb was ridden three times with voltage and rest voltage known."
    return (
        Note("forecast.hills", f"Nothing is said of your climbs: {why}"),
        Note("capacity.usable_ah", f"Charge usable down to your climb is not known: {why}"),
    )


def _temperature_notes(rides: Sequence[Kept]) -> tuple[Note, ...]:
    unknown = [
        one for one in rides
        if one.summary.resistance_10s_ohm is not None and not one.summary.temperature_logged
    ]  # fmt: skip
    if not unknown:
        return ()
    text = (
        f"The pack's temperature was neither logged nor given (--temp) on {len(unknown)} of "
        f"{len(rides)} rides: what seasons do to the resistance is in its interval, not taken out."
    )
    return (Note("resistance", text),)


def _told_jumps(course: ResistanceAgeing | None, notes: Sequence[DayNote]) -> tuple[JumpTold, ...]:
    if course is None:
        return ()
    out = []
    for jump in course.jumps:
        reach = timedelta(days=NOTE_DAYS)
        near = [n.text for n in notes if jump.before - reach <= n.day <= jump.date + reach]
        out.append(JumpTold(jump.date, jump.step_pct, jump.part, "; ".join(near) or None))
    return tuple(out)


def _use_of(one: Kept, used: set[str], *, away: bool) -> RideUse:
    if one.name in used:
        return RideUse(one, used=True, why_not=None)
    own = one.summary
    if away:
        why = "dated years from all others"
    elif own.kind == "charge":
        why = "no rest at one end, or too little charge between"
    elif own.resistance_10s_ohm is None:
        why = "too short or too even to tell a resistance, and too little charge for a capacity"
    elif own.temperature_c is None:
        why = "no pack temperature"
    else:
        why = "too few rides like it"
    return RideUse(one, used=False, why_not=why)

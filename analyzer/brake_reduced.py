"""Where did a drive brake less than the same demand did before, and what took it away?

A limiter at work is no such event, nor is braking that fades below a jogging pace. Braking that is
lost altogether is a `brake_loss` and found elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analyzer.balance import InForce
from analyzer.events import Cause, Event, Peak
from analyzer.governed import LESS
from analyzer.power_reduced import GONE, LEAST_S
from analyzer.quantities import (
    JOIN_S,
    Bools,
    Floats,
    Span,
    brake_pct,
    bus_voltage_v,
    drive_channel,
    phase_braking_a,
    spans_where,
    step_s,
    wheel_speed_mps,
)
from analyzer.same_demand import LEAST_PCT, steady, usual_a
from analyzer.sensors import believable_temp_c
from analyzer.words import EventKind, Governor, Severity
from importers.ride import Ride
from importers.setup_types import Drive, Setup

FULL_DEMAND_PCT = 90.0
"""From here on the rider asks for all the braking there is [% of the most seen]. Our choice."""
SLOW_MPS = 2.5
"""Below this motor braking fades by itself [m/s]. Common practice, no source."""
NEAR_FULL = 0.97
"""From this part of the lower of full pack and overvoltage on, controllers may fade braking. Our
choice: 4.07 V per cell of 4.2."""
UNSEEN_LESS, UNSEEN_S = 0.6, 2.0
"""Without a reason in sight only this much less, for this long [s], is told. Our choice."""
TELLING = 0.1
"""Of the highest current seen; a demand that gives less tells nothing. Our choice."""
LEAST_DEMAND_PCT = 20.0
"""A braking demand that never passes this is not scaled up [%]. Our choice."""
REMEDY = {
    Governor.VOLTAGE_DERATE: (
        "Leave home with less charge when the way begins downhill, and brake earlier: a nearly "
        "full pack takes little back.",
    ),
    Governor.CONTROLLER_HEAT_DERATE: ("Stop and let the controller cool before going on down.",),
    Governor.MOTOR_HEAT_DERATE: (
        "Stop and let the motor cool before going on down; it is not touched.",
    ),
    Governor.UNKNOWN: (
        "Log pack voltage, pack temperature and what the BMS allows: they tell what held back.",
    ),
}
COST = "Cost: a little range, and more work for the mechanical brake."
CAUTION = (
    "Caution: the mechanical brake must hold the loaded vehicle on this grade alone. Try it at "
    "walking pace first."
)


@dataclass(frozen=True, slots=True, eq=False)
class _Braking:
    """One drive's braking, n values each."""

    part: Floats
    """What it gave, of what the same demand gave, or of its limit."""
    learnt: Bools
    """Where the ride itself showed what this demand gives."""
    takers: tuple[tuple[Governor, Bools], ...]


def find_brake_reduced(ride: Ride, setup: Setup, in_force: Sequence[InForce]) -> list[Event]:
    """Spans of reduced motor braking in time order; what the pack's voltage took from several
    drives at once is one event."""
    known: Mapping[str, InForce] = {one.drive: one for one in in_force}
    events: list[Event] = []
    for drive in setup.drives:
        course = _course(ride, setup, drive, known.get(drive.name))
        if course is not None:
            events += _of_drive(ride, setup, drive, course)
    found: list[Event] = []
    for one in sorted(events, key=lambda event: event.start_s):
        place = next((k for k, other in enumerate(found) if _same(one, other)), None)
        if place is None:
            found.append(one)
            continue
        both = (found[place], one)
        names = {name for event in both for name in event.drives}
        found[place] = replace(
            min(both, key=lambda event: event.measure("given_pct") or 0.0),
            start_s=min(event.start_s for event in both),
            end_s=max(event.end_s for event in both),
            drives=tuple(name for name in setup.drive_names if name in names),
        )
    return found


def _same(one: Event, other: Event) -> bool:
    near = one.start_s <= other.end_s + JOIN_S and other.start_s <= one.end_s + JOIN_S
    shared = one.causes[0].cause == other.causes[0].cause == Governor.VOLTAGE_DERATE
    return near and shared


def _course(ride: Ride, setup: Setup, drive: Drive, found: InForce | None) -> _Braking | None:
    asked = brake_pct(ride, drive.name)
    battery = drive_channel(ride, drive.name, "battery_current_a")
    phase = phase_braking_a(ride, drive.name)
    speed = wheel_speed_mps(ride, setup, drive.name)
    work = phase if phase is not None else None if battery is None else -battery
    if asked is None or work is None or speed is None or not np.isfinite(asked).any():
        return None
    most = float(np.nanmax(asked))
    if most < LEAST_DEMAND_PCT:
        return None
    demand = 100.0 * asked / most
    takers = _takers(ride, setup, drive)
    lowered = np.any([rows for _, rows in takers], axis=0) if takers else None
    still = steady(demand, ride.time_s)
    moving = np.abs(speed.values) >= SLOW_MPS
    free = still & moving if lowered is None else still & moving & ~lowered
    usual = usual_a(work, demand, speed.values, free, step_s(ride))
    limits = [
        (values, limit)
        for values, limit in (
            (None if battery is None else -battery, _limit(found, drive, "battery_brake_a")),
            (phase, _limit(found, drive, "phase_brake_a")),
        )
        if values is not None and limit
    ]
    with np.errstate(invalid="ignore", divide="ignore"):
        top = float(np.nanquantile(np.abs(work), 0.99))
        part = np.where(usual > TELLING * top, work / usual, np.nan)
        learnt = np.isfinite(part)
        full = demand >= FULL_DEMAND_PCT
        for values, limit in limits:
            # At a limit of its own the drive is not held back; at full demand it tells alone.
            part = np.where(learnt | full, np.fmax(part, values / limit), part)
        good = still & moving & (demand >= LEAST_PCT)
        part = np.where(good, part, np.nan)
    return _Braking(np.asarray(part, np.float64), learnt, takers)


def _limit(found: InForce | None, drive: Drive, key: str) -> float | None:
    seen = None if found is None else getattr(found, key)
    given: float | None = getattr(drive, key)
    return float(seen.value) if seen is not None else given


def _takers(ride: Ride, setup: Setup, drive: Drive) -> tuple[tuple[Governor, Bools], ...]:
    """What may hold braking back, and where."""
    found: list[tuple[Governor, Bools]] = []
    volts = bus_voltage_v(ride, setup, drive.name)
    with np.errstate(invalid="ignore"):
        if volts is not None:
            found.append((Governor.VOLTAGE_DERATE, volts >= near_full_v(setup, drive)))
        for part, word in (
            ("controller", Governor.CONTROLLER_HEAT_DERATE),
            ("motor", Governor.MOTOR_HEAT_DERATE),
        ):
            line = getattr(drive, f"{part}_derate_c")
            logged = drive_channel(ride, drive.name, f"{part}_temp_c")
            values = None if logged is None else believable_temp_c(logged, ride)
            if line is not None and values is not None:
                found.append((word, values > line))
    return tuple((word, np.asarray(rows, np.bool_)) for word, rows in found)


def near_full_v(setup: Setup, drive: Drive) -> float:
    """The pack voltage from which a controller may fade braking [V]."""
    lines = [setup.full_v, *([] if drive.overvoltage_v is None else [drive.overvoltage_v])]
    return NEAR_FULL * min(lines)


def _of_drive(ride: Ride, setup: Setup, drive: Drive, course: _Braking) -> list[Event]:
    part = course.part
    with np.errstate(invalid="ignore"):
        less = (part < LESS) & (part > GONE)
        much = less & (part < UNSEEN_LESS) & course.learnt
    seen = np.zeros(part.size, np.bool_)
    for _, rows in course.takers:
        seen |= rows
    spans = spans_where(less & seen, ride, min_s=LEAST_S)
    unseen = [
        one
        for one in spans_where(much & ~seen, ride, min_s=UNSEEN_S)
        if not any(one.start_s < o.end_s and o.start_s < one.end_s for o in spans)
    ]
    return [_event(ride, setup, drive, course, span) for span in (*spans, *unseen)]


def _event(ride: Ride, setup: Setup, drive: Drive, course: _Braking, span: Span) -> Event:
    part = course.part[span.rows]
    given = 100.0 * float(np.nanmean(part))
    battery = drive_channel(ride, drive.name, "battery_current_a")
    peak = None
    if battery is not None and np.isfinite(battery[span.rows]).any():
        least = float(np.nanmax(battery[span.rows]))
        peak = Peak(f"{drive.name}.battery_current_a", least)
    return Event(
        EventKind.BRAKE_REDUCED,
        span.start_s,
        span.end_s,
        (drive.name,),
        Severity.WATCH,
        peak,
        None,
        causes=_causes(ride, setup, drive, course, span),
        facts=(
            f"Braking demand for {span.length_s:.1f} s gave {given:.0f} % of what it gave before "
            f"or of what the limits allow: about {max(100.0 - given, 0.0):.0f} % were taken away.",
        ),
        measures=(("length_s", span.length_s), ("given_pct", given)),
    )


def _causes(
    ride: Ride, setup: Setup, drive: Drive, course: _Braking, span: Span
) -> tuple[Cause, ...]:
    """Shares of the span's time, a part left to what cannot be seen."""
    unseen = 0.1
    counts = [(word, int(rows[span.rows].sum())) for word, rows in course.takers]
    counts = sorted([one for one in counts if one[1]], key=lambda one: -one[1])
    whole = sum(n for _, n in counts)
    end = (COST, CAUTION)
    if not whole:
        return (Cause(Governor.UNKNOWN.value, 1.0, remedy=(*REMEDY[Governor.UNKNOWN], *end)),)
    told = [
        Cause(
            word.value,
            (1.0 - unseen) * n / whole,
            evidence=(_evidence(ride, setup, drive, word, span),),
            remedy=(*REMEDY[word], *end),
        )
        for word, n in counts
    ]
    return (*told, Cause(Governor.UNKNOWN.value, unseen))


def _evidence(ride: Ride, setup: Setup, drive: Drive, word: Governor, span: Span) -> str:
    if word is Governor.VOLTAGE_DERATE:
        volts = bus_voltage_v(ride, setup, drive.name)
        top = float(np.nanmax(volts[span.rows])) if volts is not None else np.nan
        line = "" if drive.overvoltage_v is None else f", overvoltage at {drive.overvoltage_v:g} V"
        return f"The pack was near full: {top:.1f} V, full is {setup.full_v:.1f} V{line}."
    part = "motor" if word is Governor.MOTOR_HEAT_DERATE else "controller"
    temp = drive_channel(ride, drive.name, f"{part}_temp_c")
    top = float(np.nanmax(temp[span.rows])) if temp is not None else np.nan
    line_c = getattr(drive, f"{part}_derate_c")
    return f"The {part} was above its derate temperature: {top:.0f} °C against {line_c:g} °C."

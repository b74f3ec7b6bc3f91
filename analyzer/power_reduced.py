"""Where did a drive give less than the same demand gave before, and what took it away?

A limiter at work is no such event: the current stands at its limit. Here it stays well below, with
the rider asking for everything, or well below what the same demand gave before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analyzer.events import Cause, Event, Peak
from analyzer.governed import AT_LIMIT, FULL_DEMAND, GOVERNORS, LESS, SLOW_MPS, DriveState
from analyzer.quantities import (
    JOIN_S,
    Floats,
    Span,
    pack_voltage_v,
    spans_where,
    wheel_speed_mps,
)
from analyzer.words import EventKind, Governor, Severity
from importers.ride import Ride
from importers.setup_types import Setup

LEAST_S = 1.0
"""Shorter is a change of demand on its way [s]. Our choice."""
GONE = 0.05
"""Under a twentieth of what it gave it is a cutout, not a reduction. The contract's."""
TAKERS = (
    Governor.VOLTAGE_DERATE,
    Governor.CONTROLLER_HEAT_DERATE,
    Governor.MOTOR_HEAT_DERATE,
    Governor.NO_VOLTAGE_HEADROOM,
)
SHARED = (Governor.VOLTAGE_DERATE, Governor.NO_VOLTAGE_HEADROOM)
"""What all drives on one pack feel alike; heat sits in one of them."""
WORDS = {
    Governor.VOLTAGE_DERATE: "the pack was below the voltage from which power is reduced",
    Governor.CONTROLLER_HEAT_DERATE: "the controller was above its derate temperature",
    Governor.MOTOR_HEAT_DERATE: "the motor was above its derate temperature",
    Governor.NO_VOLTAGE_HEADROOM: "duty was at its top: the pack had no more voltage to give",
}
REMEDY = {
    Governor.VOLTAGE_DERATE: (
        "Start this climb with more charge or a warmer pack, or ask for less current.",
        "Cost: slower here.",
        "Caution: the derate voltage guards the cells and is not lowered.",
    ),
    Governor.CONTROLLER_HEAT_DERATE: (
        "Let it cool; climb with less motor current, or improve the controller's cooling.",
        "Cost: the climb takes longer.",
        "Caution: a temperature stop is never raised.",
    ),
    Governor.MOTOR_HEAT_DERATE: (
        "Let it cool; climb with less motor current or in shorter pieces.",
        "Cost: the climb takes longer.",
        "Caution: a temperature stop is never raised; a hot motor is not touched.",
    ),
    Governor.NO_VOLTAGE_HEADROOM: (
        "Nothing to set: this is the top speed that the pack's voltage allows.",
    ),
}


def find_power_reduced(ride: Ride, setup: Setup, states: Mapping[str, DriveState]) -> list[Event]:
    """Spans of reduced power in time order, drive by drive where the cause sits in a drive; what
    the pack's voltage took from several drives at once is one event."""
    events = [
        event for name, state in states.items() for event in _of_drive(ride, setup, name, state)
    ]
    return _together(sorted(events, key=lambda one: one.start_s), setup)


def _together(events: list[Event], setup: Setup) -> list[Event]:
    """The events, those of one shared cause less than `JOIN_S` apart as one, told by the drive that
    lost most."""
    found: list[Event] = []
    for one in events:
        place = next((k for k, other in enumerate(found) if _same(one, other)), None)
        if place is None:
            found.append(one)
            continue
        both = (found[place], one)
        least = min(both, key=lambda event: event.measure("given_pct") or 0.0)
        names = {name for event in both for name in event.drives}
        found[place] = replace(
            least,
            start_s=min(event.start_s for event in both),
            end_s=max(event.end_s for event in both),
            drives=tuple(name for name in setup.drive_names if name in names),
        )
    return found


def _same(one: Event, other: Event) -> bool:
    cause = one.causes[0].cause
    near = one.start_s <= other.end_s + JOIN_S and other.start_s <= one.end_s + JOIN_S
    return near and cause == other.causes[0].cause and cause in SHARED


def _of_drive(ride: Ride, setup: Setup, name: str, state: DriveState) -> list[Event]:
    part = _part_given(ride, setup, name, state)
    if part is None or state.demand_pct is None or state.full_pct is None:
        return []
    with np.errstate(invalid="ignore"):
        asks = state.demand_pct >= FULL_DEMAND * state.full_pct
        mask = asks & (part < LESS)
        if state.held_pct is not None:
            # Where less than everything is asked for, the same demand before is the measure.
            less = ~asks & (state.held_pct < 100.0 * LESS)
            part = np.where(less, state.held_pct / 100.0, part)
            mask |= less
        mask &= part > GONE
    takes = np.isin(state.codes, [GOVERNORS.index(one) for one in TAKERS])
    events = []
    for span in spans_where(mask & takes, ride, min_s=LEAST_S):
        event = _event(ride, setup, name, state, span, part)
        if event is not None:
            events.append(event)
    return events


def _asked(state: DriveState) -> Floats:
    """Demand as a part of the highest seen."""
    if state.demand_pct is None or not state.full_pct:
        return np.full(state.codes.size, np.nan)
    return state.demand_pct / state.full_pct


def _part_given(ride: Ride, setup: Setup, name: str, state: DriveState) -> Floats | None:
    """What the drive gave, as the larger part of its two limits."""
    parts = [
        values / limit
        for values, limit in (
            (state.battery_a, state.battery_limit_a),
            (state.phase_a, state.phase_limit_a),
        )
        if values is not None and limit
    ]
    if not parts:
        return None
    part = np.fmax.reduce(np.vstack(parts))
    speed = wheel_speed_mps(ride, setup, name)
    if speed is not None and state.phase_a is None:
        # Pulling away the battery current is small at full motor current.
        with np.errstate(invalid="ignore"):
            part = np.where(speed.values < SLOW_MPS, np.nan, part)
    return np.asarray(part, np.float64)


def _event(
    ride: Ride, setup: Setup, name: str, state: DriveState, span: Span, part: Floats
) -> Event | None:
    codes = state.codes[span.rows]
    counts = {one: int((codes == GOVERNORS.index(one)).sum()) for one in TAKERS}
    whole = sum(counts.values())
    if whole == 0:
        return None
    given = float(np.nanmean(part[span.rows]))
    causes = _causes(ride, setup, name, counts, whole, span)
    first = Governor(causes[0].cause)
    worst = Severity.NOTE if first is Governor.NO_VOLTAGE_HEADROOM else Severity.WATCH
    battery = state.battery_a
    peak = None
    if battery is not None:
        peak = Peak(f"{name}.battery_current_a", float(np.nanmin(battery[span.rows])))
    whole_demand = bool(np.nanmedian(_asked(state)[span.rows]) >= FULL_DEMAND)
    taken = 100.0 * (1.0 - given / (AT_LIMIT if whole_demand else 1.0))
    said = (
        f"Full demand for {span.length_s:.1f} s gave {100 * given:.0f} % of what the limits allow"
        if whole_demand
        else f"The demand of these {span.length_s:.1f} s gave {100 * given:.0f} % of what it gave "
        "at this speed before"
    )
    return Event(
        EventKind.POWER_REDUCED,
        span.start_s,
        span.end_s,
        (name,),
        worst,
        peak,
        None,
        causes=causes,
        facts=(f"{said}: about {max(taken, 0):.0f} % were taken away.",),
        measures=(("length_s", span.length_s), ("given_pct", 100 * given)),
    )


def _causes(
    ride: Ride, setup: Setup, name: str, counts: Mapping[Governor, int], whole: int, span: Span
) -> tuple[Cause, ...]:
    """Shares of the span's time, a little left to what cannot be seen."""
    unseen = 0.05
    found = [(one, (1 - unseen) * n / whole) for one, n in counts.items() if n]
    found.sort(key=lambda pair: -pair[1])
    told = [
        Cause(
            one.value,
            chance,
            evidence=(_evidence(ride, setup, one, span, name),),
            remedy=REMEDY[one],
        )
        for one, chance in found
    ]
    return (*told, Cause(Governor.UNKNOWN.value, unseen))


def _evidence(ride: Ride, setup: Setup, one: Governor, span: Span, name: str) -> str:
    text = WORDS[one][0].upper() + WORDS[one][1:]
    if one is Governor.VOLTAGE_DERATE:
        volts = pack_voltage_v(ride, setup)
        line = setup.drive(name).derate_from_v
        if volts is not None and line is not None:
            mean = float(np.nanmean(volts.values[span.rows]))
            text += f": {mean:.1f} V against {line:g} V"
    if one in (Governor.CONTROLLER_HEAT_DERATE, Governor.MOTOR_HEAT_DERATE):
        part = "motor" if one is Governor.MOTOR_HEAT_DERATE else "controller"
        temp = ride.get(f"{name}.{part}_temp_c")
        line = getattr(setup.drive(name), f"{part}_derate_c")
        if temp is not None and line is not None:
            text += f": {float(np.nanmax(temp[span.rows])):.0f} °C against {line:g} °C"
    return f"{text}."

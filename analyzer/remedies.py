"""What to set or do instead, what that costs on this build, and the caution that goes with it.

Texts come in the order do, "Cost: …", "Caution: …". Numbers are this build's; at least 10 % of the
lowest rating stays in hand, more where limits were seen to overshoot. Never advised: raising a
trip or its delay, lowering a derate or stop voltage, raising a temperature stop, unplugging a
sensor, bridging a BMS, riding on after a contact may have grown hot.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from analyzer.balance import Balance
from analyzer.conditions import Conditions
from analyzer.cost_of_limit import climb_cost, hill_at
from analyzer.events import Cause, Event
from analyzer.less_current import USUAL_OHM, Way, less_current
from analyzer.quantities import Floats, drives_current_a
from analyzer.setup_finding import MARGIN
from analyzer.setup_sums import each_a
from analyzer.words import EventKind, ImbalanceCause
from importers.ride import Ride
from importers.setup_types import Setup

MECHANICAL_BRAKE = (
    "Caution: stopping distance grows; the mechanical brake must hold the loaded vehicle on this "
    "grade alone. Try it at walking pace first."
)
CONTACTS = (
    "Caution: current limits on controllers are no protection; the fuse and the BMS are. Neither "
    "is bridged or raised."
)
LEAVE_ROOM_PCT = 90.0
"""Charge to leave home with when the way begins downhill [%]. Our choice: braking is judged `act`
from 95 %."""


def with_remedies(
    events: Iterable[Event], ride: Ride, setup: Setup, state: Conditions
) -> tuple[Event, ...]:
    """The events with what to do about those that have no causes of their own."""
    return tuple(
        one if one.causes or one.remedy else replace(one, remedy=remedy_of(one, ride, setup, state))
        for one in events
    )


def remedy_of(event: Event, ride: Ride, setup: Setup, state: Conditions) -> tuple[str, ...]:
    """What to do about one event; empty where nothing needs doing."""
    if event.severity.rank == 0 and event.kind is not EventKind.SAG:
        return ()
    if event.kind is EventKind.DISCHARGE_OVER_RATING:
        return _less_drive(event, ride, setup, state)
    if event.kind is EventKind.REGEN_OVER_RATING:
        return _less_brake(event, ride, setup, state)
    if event.kind is EventKind.NEAR_TRIP:
        return _near_trip(event, ride, setup, state)
    if event.kind is EventKind.OVERVOLTAGE:
        return (
            f"Leave home with {LEAVE_ROOM_PCT:.0f} % charge or less when the way begins downhill; "
            "braking current has nowhere to go in a full pack.",
            *_less_brake(event, ride, setup, state),
        )
    if event.kind is EventKind.SAG:
        return _sag(event, ride, setup, state)
    return _FIXED.get(event.kind, ())


_FIXED: dict[EventKind, tuple[str, ...]] = {
    EventKind.OVERHEAT: (
        "Stop and let it cool; climb with less motor current or in shorter pieces.",
        "Cost: the climb takes longer.",
        "Caution: a temperature stop is never raised, and a hot motor is not touched.",
    ),
    EventKind.STALL: (
        "Push off or choose an easier start: current without turning heats one winding.",
        "Caution: a stalled motor can overheat within seconds; check it is not hot.",
    ),
    EventKind.WHEEL_SLIP: (
        "Open the throttle more gently on loose or wet ground.",
        "Caution: a driven wheel that slips can spin up at once.",
    ),
}


def _less_drive(event: Event, ride: Ride, setup: Setup, state: Conditions) -> tuple[str, ...]:
    return (*_less(event, ride, setup, state, "drive"), CONTACTS)


def _less_brake(event: Event, ride: Ride, setup: Setup, state: Conditions) -> tuple[str, ...]:
    return (*_less(event, ride, setup, state, "brake"), MECHANICAL_BRAKE)


def _less(event: Event, ride: Ride, setup: Setup, state: Conditions, way: Way) -> list[str]:
    if each_a(setup, way) is None:
        return []
    rows = slice(*np.searchsorted(ride.time_s, [event.start_s, event.end_s + 1e-9]).tolist())
    return less_current(
        setup,
        way,
        state,
        seen_a=_seen_a(ride, setup, rows, way),
        start_s=event.start_s,
        end_s=event.end_s,
        rest_v=_mean(state.rest_v, rows),
    )


def _seen_a(ride: Ride, setup: Setup, rows: slice, way: Way) -> float | None:
    """What all drives together drew, or pushed back, at most in these rows."""
    current = drives_current_a(ride, setup)
    part = np.zeros(0) if current is None else current.values[rows]
    part = part[np.isfinite(part)] * (1 if way == "drive" else -1)
    return float(part.max()) if part.size and part.max() > 0 else None


def _mean(values: Floats | None, rows: slice) -> float | None:
    part = np.zeros(0) if values is None else values[rows]
    part = part[np.isfinite(part)]
    return float(part.mean()) if part.size else None


def _near_trip(event: Event, ride: Ride, setup: Setup, state: Conditions) -> tuple[str, ...]:
    name = event.limit.name if event.limit else ""
    if "discharge" in name:
        return _less_drive(event, ride, setup, state)
    if "charge" in name or "overvoltage" in name or "cell_high" in name:
        return _less_brake(event, ride, setup, state)
    if "stop_at_v" in name or "cell_low" in name:
        return _sag(event, ride, setup, state)
    return _FIXED[EventKind.OVERHEAT]


def _sag(event: Event, ride: Ride, setup: Setup, state: Conditions) -> tuple[str, ...]:
    if event.flavour == "empty":
        return (
            "Nothing to set: the pack is nearly empty. Ride home gently and charge.",
            "Caution: derate and stop voltages guard the cells; they are not lowered to get home.",
        )
    to_line, drawn = event.measure("current_to_line_a"), event.measure("highest_current_a")
    if to_line is None or drawn is None or to_line <= 0:
        return ()
    each = max((to_line * (1 - MARGIN) - (setup.pack.aux_a or 0.0)) / len(setup.drives), 0.0)
    rows = slice(*np.searchsorted(ride.time_s, [event.start_s, event.end_s + 1e-9]).tolist())
    cost = climb_cost(
        setup,
        drawn,
        each * len(setup.drives),
        USUAL_OHM if state.resistance_ohm is None else state.resistance_ohm,
        hill_at(state.hills, event.start_s, event.end_s),
        pack_rest_v=_mean(state.rest_v, rows),
        mass_kg=state.mass_kg,
    )
    return (
        f"Ask for {each:.0f} A {'a drive ' if len(setup.drives) > 1 else ''}or less at this charge "
        "and temperature, or start this climb with more charge or a warmer pack.",
        f"Cost: {cost}" if cost else "Cost: slower here; nothing elsewhere.",
        "Caution: the derate voltage guards the cells and is not lowered. A resistance that rose "
        "within weeks can be a contact: with the pack disconnected, look for warmth and browning.",
    )


_BALANCE: dict[str, tuple[str, ...]] = {
    ImbalanceCause.SETTING_NOT_IN_FORCE: (
        "Read the limits back from both controllers, write them again and save; then ride the "
        "same stretch once more. Until then match the other side down to the lower one.",
        "Cost: matched down, the stronger side gives up what it carries above the weaker.",
        "Caution: match sides down before matching up; the stronger side runs hotter meanwhile.",
    ),
    ImbalanceCause.BATTERY_LIMIT_DIFFERS: (
        "Set both sides to the lower battery limit.",
        "Cost: the stronger side's surplus.",
        "Caution: match sides down before matching up.",
    ),
    ImbalanceCause.PHASE_LIMIT_DIFFERS: (
        "Set both sides to the lower motor current limit.",
        "Cost: less pull from rest.",
        "Caution: match sides down before matching up.",
    ),
    ImbalanceCause.DRAG_ONE_SIDE: (
        "With power off, turn both wheels by hand: brake, bearing, belt or chain tension.",
        "Caution: a dragging brake gets hot; let it cool before touching it.",
    ),
    ImbalanceCause.GEARING_OR_TYRE_DIFFERS: (
        "Compare tyre pressure, rolling circumference and teeth on both sides.",
    ),
    ImbalanceCause.DEMAND_DIFFERS: (
        "Calibrate both throttle inputs the same way, wheels clear of the ground.",
        "Caution: wheels off the ground spin up without load: guard them and keep clear.",
    ),
}


def balance_with_remedies(balance: Balance | None) -> Balance | None:
    """The balance with what to do about its causes."""
    if balance is None:
        return None
    return replace(balance, causes=tuple(_advised(one) for one in balance.causes))


def _advised(one: Cause) -> Cause:
    return one if one.remedy else replace(one, remedy=_BALANCE.get(one.cause, ()))

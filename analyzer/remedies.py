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
from analyzer.events import Cause, Event
from analyzer.quantities import drives_current_a, speed_mps
from analyzer.setup_sums import each_a, total
from analyzer.words import EventKind, ImbalanceCause
from importers.ride import Ride
from importers.setup_types import Setup

KMH = 3.6
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


def with_remedies(events: Iterable[Event], ride: Ride, setup: Setup) -> tuple[Event, ...]:
    """The events with what to do about those that have no causes of their own."""
    return tuple(
        one if one.causes or one.remedy else replace(one, remedy=remedy_of(one, ride, setup))
        for one in events
    )


def remedy_of(event: Event, ride: Ride, setup: Setup) -> tuple[str, ...]:
    """What to do about one event; empty where nothing needs doing."""
    if event.severity.rank == 0 and event.kind is not EventKind.SAG:
        return ()
    if event.kind is EventKind.DISCHARGE_OVER_RATING:
        return _less_drive(event, ride, setup)
    if event.kind is EventKind.REGEN_OVER_RATING:
        return _less_brake(event, ride, setup)
    if event.kind is EventKind.NEAR_TRIP:
        return _near_trip(event, ride, setup)
    if event.kind is EventKind.OVERVOLTAGE:
        return (
            f"Leave home with {LEAVE_ROOM_PCT:.0f} % charge or less when the way begins downhill; "
            "braking current has nowhere to go in a full pack.",
            *_less_brake(event, ride, setup),
        )
    if event.kind is EventKind.SAG:
        return _sag(event, ride, setup)
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


def _overshoot(event: Event, ride: Ride, setup: Setup, direction: str) -> float:
    """By what factor the drives' sum passed what is set, 1 where it did not."""
    summed = total(setup, "drive" if direction == "drive" else "brake")
    current = drives_current_a(ride, setup)
    if summed is None or current is None:
        return 1.0
    rows = (ride.time_s >= event.start_s) & (ride.time_s <= event.end_s)
    part = current.values[rows] * (1 if direction == "drive" else -1)
    if not np.isfinite(part).any():
        return 1.0
    limits = sum(value for _, value, _ in summed.parts)
    return float(np.clip(np.nanmax(part) / limits, 1.0, 1.5)) if limits > 0 else 1.0


def _key_text(setup: Setup, name: str, each: float) -> str:
    """`Set drives.left.battery_drive_a and drives.right.battery_drive_a to 17 A or less`, at the
    places where the values stand."""
    keys = dict.fromkeys(setup.home(f"drives.{one.name}.{name}") for one in setup.drives)
    return f"Set {' and '.join(keys)} to {each:g} A or less"


def _sum_text(setup: Setup, each: float, aux_a: float) -> str:
    count = len(setup.drives)
    lights = f" and {aux_a:g} A for lights" if aux_a > 0 else ""
    times = f"{count} drives make {count * each:g} A" if count > 1 else f"{each:g} A"
    return f"{times}{lights}, at least 10 % under the lowest rating."


def _less_drive(event: Event, ride: Ride, setup: Setup) -> tuple[str, ...]:
    each = each_a(setup, "drive", _overshoot(event, ride, setup, "drive"))
    if each is None:
        return ()
    already = [one.battery_drive_a for one in setup.drives]
    if all(one is not None and one <= each for one in already):
        return (
            "The limits as set would do, but more was drawn than is set: read them back from the "
            "controllers.",
            CONTACTS,
        )
    told = f"{_key_text(setup, 'battery_drive_a', each)}: "
    told += _sum_text(setup, each, setup.pack.aux_a or 0.0)
    return (told, _slower(event, ride, setup, each), CONTACTS)


def _slower(event: Event, ride: Ride, setup: Setup, each: float) -> str:
    """Speed in this span, and what the lower limit leaves of it: at steady speed on a grade,
    power goes into weight and rolling, so speed falls with current."""
    speed, current = speed_mps(ride, setup), drives_current_a(ride, setup)
    less = "Cost: climbs taken fast become slower and last longer; the pull from rest stays."
    if speed is None or current is None:
        return less
    rows = (ride.time_s >= event.start_s) & (ride.time_s <= event.end_s)
    v, i = speed.values[rows], current.values[rows]
    good = np.isfinite(v) & np.isfinite(i)
    if not good.any():
        return less
    now, drawn, left = float(v[good].mean()), float(i[good].mean()), each * len(setup.drives)
    if now < 1.0 or drawn <= left:
        return less
    return (
        f"Cost: here about {KMH * now * left / drawn:.0f} km/h instead of {KMH * now:.0f}, as "
        "speed on a climb goes with power; the pull from rest stays, the climb lasts longer."
    )


def _less_brake(event: Event, ride: Ride, setup: Setup) -> tuple[str, ...]:
    each = each_a(setup, "brake", _overshoot(event, ride, setup, "brake"))
    if each is None:
        return (MECHANICAL_BRAKE,)
    already = [one.battery_brake_a for one in setup.drives]
    if all(one is not None and one <= each for one in already):
        return (MECHANICAL_BRAKE,)
    return (
        f"{_key_text(setup, 'battery_brake_a', each)}: {_sum_text(setup, each, 0.0)}",
        "Cost: stopping on the motors alone takes longer, and less energy comes back.",
        MECHANICAL_BRAKE,
    )


def _near_trip(event: Event, ride: Ride, setup: Setup) -> tuple[str, ...]:
    name = event.limit.name if event.limit else ""
    if "discharge" in name:
        return _less_drive(event, ride, setup)
    if "charge" in name or "overvoltage" in name or "cell_high" in name:
        return _less_brake(event, ride, setup)
    if "stop_at_v" in name or "cell_low" in name:
        return _sag(event, ride, setup)
    return _FIXED[EventKind.OVERHEAT]


def _sag(event: Event, ride: Ride, setup: Setup) -> tuple[str, ...]:
    if event.flavour == "empty":
        return (
            "Nothing to set: the pack is nearly empty. Ride home gently and charge.",
            "Caution: derate and stop voltages guard the cells; they are not lowered to get home.",
        )
    to_line, drawn = event.measure("current_to_line_a"), event.measure("highest_current_a")
    if to_line is None or drawn is None or to_line <= 0:
        return ()
    each = max((to_line * 0.9 - (setup.pack.aux_a or 0.0)) / len(setup.drives), 0.0)
    return (
        f"At this charge and temperature the pack carries {to_line:.0f} A down to the voltage "
        f"where power is reduced; {drawn:.0f} A were drawn. Ask for {each:.0f} A a drive or less, "
        "or start this climb with more charge or a warmer pack.",
        "Cost: slower here; nothing elsewhere.",
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

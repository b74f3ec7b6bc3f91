"""One sentence for each kind of event: what happened, its number against its limit, how often."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.events import Event
from analyzer.ride_analysis import RideResult
from analyzer.words import EventKind
from reports.numbers import beside, chance, duration, moment, quantity, unit_suffix
from reports.sentences import (
    KIND,
    capital,
    cause_name,
    counted,
    joined,
    limit_phrase,
    sentence,
)

BECAUSE = {
    "bms_overcurrent_discharge": "the drives together drew more than the battery management "
    "system allows",
    "bms_overcurrent_charge": "braking pushed more current back than the battery management "
    "system allows",
    "bms_overheat": "the battery management system got too hot",
    "cell_low_voltage": "a cell group fell below the line at which the battery management system "
    "opens",
    "cell_high_voltage": "a full cell group closed the charge path",
    "undervoltage_stop": "the pack's voltage fell to the controllers' own stop line",
    "overvoltage_trip": "the voltage rose above what the controllers allow",
    "controller_overheat": "a controller was too hot",
    "motor_overheat": "a motor was too hot",
    "phase_overcurrent": "one controller tripped on motor current",
    "input_signal_lost": "the throttle or remote signal was lost",
    "interlock_opened": "a brake-lever, seat or stand switch opened",
    "idle_shutdown": "the build switched off after standing idle",
    "drive_link_lost": "the link between the controllers was lost",
    "rotor_sensor_fault": "a motor's position sensor failed",
    "motor_phase_fault": "one of a motor's three wires failed",
    "temperature_sensor_fault": "a temperature sensor or its wire failed",
    "mechanical_drive_lost": "a belt, chain or coupling let go",
    "supply_interrupted": "a connector, fuse or switch broke the supply",
}
MOST_TIMES = 3
"""So many further losses of one cause are named in a headline. Our choice."""
FOOT_S = 3.0
"""Where a climb begins is known to so much [s]; what happens before is not said to be on it. Our
choice: some 20 m at a ride's pace."""
SAME_S = 5.0
"""Losses this near to each other are told as one moment [s]. The contract's for retries."""
LEAST_TO_NAME = 0.5
"""Below this probability no cause is named in a headline. Our choice: a cause less likely than
all the others together is a candidate, not an answer."""


def event_headline(events: Sequence[Event], result: RideResult) -> str:
    """What happened, told by the first of these events of one kind; the rest are counted."""
    first = events[0]
    if first.kind in (EventKind.CUTOUT, EventKind.BRAKE_LOSS):
        return _loss(events, result)
    text = _TELL.get(first.kind, _plain)(first, result)
    if len(events) == 1:
        return sentence(f"{text} {_when(first, result)}")
    more = {one for event in events for one in event.drives} - set(first.drives)
    if more and first.kind is EventKind.OVERHEAT:
        others = [name for name in result.setup.drive_names if name in more]
        return sentence(f"{text} {_when(first, result)}; {joined(others)} as well")
    return sentence(f"{text} {_when(first, result)}; {counted(len(events), 'time')} in all")


def _when(event: Event, result: RideResult) -> str:
    at = moment(event.start_s, result.ride.start)
    when = f"at {at}"
    climb = next((c for c in result.climbs if c.start_s + FOOT_S <= event.start_s <= c.end_s), None)
    if climb is None:
        return when
    return f"{when} on {climb.hill or f'a climb of {climb.grade_pct.value:.0f} %'}"


def _loss(events: Sequence[Event], result: RideResult) -> str:
    first = events[0]
    what = "Power went" if first.kind is EventKind.CUTOUT else "Motor braking went"
    if 0 < len(first.drives) < len(result.setup.drives):
        what = f"{what} on {joined(first.drives)}"
    text = f"{what} {_when(first, result)}"
    likeliest = first.causes[0] if first.causes else None
    why = _because(likeliest.cause, result) if likeliest else None
    if likeliest is None or why is None:
        text = f"{text}; why, this ride does not tell."
    elif likeliest.probability >= LEAST_TO_NAME:
        text = f"{text} because {why}. {capital(chance(likeliest.probability))} sure."
    else:
        text = f"{text}; most likely because {why}, but only {chance(likeliest.probability)} sure."
    return f"{text} {_again(events, result)}" if len(events) > 1 else text


def _because(cause: str, result: RideResult) -> str | None:
    why = BECAUSE.get(cause)
    if why is None or len(result.setup.drives) > 1:
        return why
    return why.replace("the drives together", "the drive").replace(
        "one controller", "the controller"
    )


def _again(events: Sequence[Event], result: RideResult) -> str:
    """When else it went, and on which drives where those were others."""
    first, *others = events
    others.sort(key=lambda one: one.start_s)
    times = [
        moment(one.start_s, result.ride.start)
        + ("" if set(one.drives) == set(first.drives) else f" on {joined(one.drives)}")
        for one in others[:MOST_TIMES]
    ]
    if len(others) > MOST_TIMES:
        times.append(f"{counted(len(others) - MOST_TIMES, 'more time')}")
    word = "Also" if any(one.start_s < first.start_s + SAME_S for one in others) else "Again"
    return f"{word} at {joined(times)}."


def peak_against_limit(event: Event) -> tuple[str, str] | None:
    """The event's peak and its limit as texts that can be told apart; None without both."""
    if event.peak is None or event.limit is None:
        return None
    suffix = unit_suffix(event.peak.quantity)
    if suffix != unit_suffix(event.limit.name):
        return None
    signed = suffix in ("c", "v")
    value = event.peak.value if signed else abs(event.peak.value)
    seen, limit = beside(value, event.limit.value, suffix)
    return (f"at least {seen}" if event.peak.at_least else seen), limit


def _limit_words(event: Event) -> str:
    return limit_phrase(event.limit.name) if event.limit else ""


def _who(event: Event, result: RideResult) -> str:
    if len(event.drives) > 1:
        return f"{joined(event.drives)} together"
    return event.drives[0] if event.drives else "the build"


def _plain(event: Event, _: RideResult) -> str:
    if event.facts:
        return event.facts[0].rstrip(".")
    numbers = peak_against_limit(event)
    if numbers:
        return f"{KIND[event.kind]}: {numbers[0]} against {_limit_words(event)} of {numbers[1]},"
    return KIND[event.kind]


def _over_discharge(event: Event, result: RideResult) -> str:
    numbers = peak_against_limit(event)
    if numbers is None:
        return _plain(event, result)
    return (
        f"{_who(event, result)} drew {numbers[0]}, above {_limit_words(event)} of {numbers[1]}, "
        f"for {duration(event.end_s - event.start_s)}"
    )


def _over_regen(event: Event, result: RideResult) -> str:
    numbers = peak_against_limit(event)
    if numbers is None:
        return _plain(event, result)
    return (
        f"Braking pushed {numbers[0]} into the pack, above {_limit_words(event)} of {numbers[1]}, "
        f"for {duration(event.end_s - event.start_s)}"
    )


def _sag(event: Event, result: RideResult) -> str:
    numbers = peak_against_limit(event)
    if numbers is None:
        return _plain(event, result)
    why = {
        "empty": ": the pack is near empty",
        "too_much_current": ": too much current for this pack, not an empty one",
    }.get(event.flavour, "")
    return f"The pack sagged to {numbers[0]}, below the {numbers[1]} where power is reduced{why},"


def _overvoltage(event: Event, result: RideResult) -> str:
    if event.peak is None:
        return _plain(event, result)
    full = result.setup.full_v
    seen, limit = beside(event.peak.value, full, "v")
    return f"The pack rose to {seen}, above the {limit} that are full,"


def _overheat(event: Event, result: RideResult) -> str:
    numbers = peak_against_limit(event)
    if numbers is None:
        return _plain(event, result)
    return f"{_limit_words(event)} of {numbers[1]} was passed: {numbers[0]}"


def _held_back(event: Event, result: RideResult) -> str:
    what = "Power" if event.kind is EventKind.POWER_REDUCED else "Motor braking"
    where = f" on {joined(event.drives)}" if event.drives else ""
    text = f"{what}{where} was held back for {duration(event.end_s - event.start_s)}"
    if event.causes and event.causes[0].cause != "unknown":
        first = event.causes[0]
        text = f"{text} by {cause_name(first.cause)} ({chance(first.probability)} sure),"
    return text


def _near_trip(event: Event, result: RideResult) -> str:
    numbers = peak_against_limit(event)
    if event.facts:
        return f"Close to a protection: {event.facts[0].rstrip('.')},"
    if numbers is None or event.limit is None:
        return _plain(event, result)
    used = event.measure("way_used_pct")
    word = "Passed" if used is not None and used >= 100.0 else "Came close to"
    return f"{word} {_limit_words(event)} of {numbers[1]}: {numbers[0]},"


def _stall(event: Event, result: RideResult) -> str:
    numbers = peak_against_limit(event)
    if numbers is None:
        return _plain(event, result)
    return (
        f"{_who(event, result)} held {numbers[0]} of motor current below walking pace for "
        f"{duration(event.end_s - event.start_s)} (limit {numbers[1]})"
    )


def _log_gap(event: Event, _: RideResult) -> str:
    return f"{duration(event.end_s - event.start_s)} of samples are missing"


def _slip(event: Event, _: RideResult) -> str:
    side = joined(event.drives) or "a wheel"
    apart = event.measure("apart_mps")
    speed = "" if apart is None else f", {3.6 * apart:.0f} km/h faster or slower than the other,"
    return f"The {side} wheel slipped for {duration(event.end_s - event.start_s)}{speed}"


def quantity_of(event: Event) -> str:
    """The event's peak with its unit, "at least" where the channel is slow; empty without one."""
    if event.peak is None:
        return ""
    text = quantity(event.peak.value, unit_suffix(event.peak.quantity))
    return f"at least {text}" if event.peak.at_least else text


_TELL = {
    EventKind.DISCHARGE_OVER_RATING: _over_discharge,
    EventKind.REGEN_OVER_RATING: _over_regen,
    EventKind.SAG: _sag,
    EventKind.OVERVOLTAGE: _overvoltage,
    EventKind.OVERHEAT: _overheat,
    EventKind.POWER_REDUCED: _held_back,
    EventKind.BRAKE_REDUCED: _held_back,
    EventKind.NEAR_TRIP: _near_trip,
    EventKind.STALL: _stall,
    EventKind.LOG_GAP: _log_gap,
    EventKind.WHEEL_SLIP: _slip,
}

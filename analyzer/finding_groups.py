"""Which events are one story: losses of one cause, the current that led to them, the voltage that
went with it. Events stay what they are; the first screen tells each story once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analyzer.events import Event
from analyzer.words import CutoutCause, EventKind, Governor, Severity

SILENT = (EventKind.LOG_GAP, EventKind.IMBALANCE)
"""Kinds that make no finding of their own: a gap is a note; imbalance is the balance's finding."""
SILENT_NOTES = (EventKind.STALL, EventKind.WHEEL_SLIP)
"""Kinds that are ordinary riding while they are notes: a firm start, a spin on wet leaves."""
LOSSES = (EventKind.BRAKE_LOSS, EventKind.CUTOUT)
LIKELY = 0.5
"""Losses are one story when the same cause is likelier than all others together. Our choice."""
OF_THE_WHOLE = frozenset(
    {
        CutoutCause.BMS_OVERCURRENT_DISCHARGE,
        CutoutCause.BMS_OVERCURRENT_CHARGE,
        CutoutCause.BMS_OVERHEAT,
        CutoutCause.CELL_LOW_VOLTAGE,
        CutoutCause.CELL_HIGH_VOLTAGE,
        CutoutCause.UNDERVOLTAGE_STOP,
        CutoutCause.OVERVOLTAGE_TRIP,
        CutoutCause.IDLE_SHUTDOWN,
        CutoutCause.SUPPLY_INTERRUPTED,
    }
)
"""Causes that sit in what all drives share; any other is one story for each set of drives."""

CUTOUT, BRAKE_LOSS = EventKind.CUTOUT, EventKind.BRAKE_LOSS
DISCHARGE, CHARGE = EventKind.DISCHARGE_OVER_RATING, EventKind.REGEN_OVER_RATING
SLIP = EventKind.WHEEL_SLIP
REDUCED, NEAR = EventKind.POWER_REDUCED, EventKind.NEAR_TRIP
SAG, HOT, HIGH = EventKind.SAG, EventKind.OVERHEAT, EventKind.OVERVOLTAGE
TAKEN_IN: tuple[tuple[EventKind, str, EventKind, str], ...] = (
    (CUTOUT, CutoutCause.BMS_OVERCURRENT_DISCHARGE, DISCHARGE, ""),
    (CUTOUT, CutoutCause.BMS_OVERCURRENT_DISCHARGE, NEAR, "discharge"),
    (CUTOUT, CutoutCause.BMS_OVERHEAT, DISCHARGE, ""),
    (CUTOUT, CutoutCause.UNDERVOLTAGE_STOP, SAG, ""),
    (CUTOUT, CutoutCause.UNDERVOLTAGE_STOP, NEAR, "stop_at_v"),
    (CUTOUT, CutoutCause.UNDERVOLTAGE_STOP, REDUCED, Governor.VOLTAGE_DERATE),
    (CUTOUT, CutoutCause.MOTOR_OVERHEAT, HOT, "motor"),
    (CUTOUT, CutoutCause.MOTOR_OVERHEAT, NEAR, "motor_stop_c"),
    (CUTOUT, CutoutCause.MOTOR_OVERHEAT, REDUCED, Governor.MOTOR_HEAT_DERATE),
    (CUTOUT, CutoutCause.CONTROLLER_OVERHEAT, HOT, "controller"),
    (CUTOUT, CutoutCause.CONTROLLER_OVERHEAT, NEAR, "controller_stop_c"),
    (CUTOUT, CutoutCause.CONTROLLER_OVERHEAT, REDUCED, Governor.CONTROLLER_HEAT_DERATE),
    (CUTOUT, CutoutCause.MECHANICAL_DRIVE_LOST, SLIP, ""),
    (CUTOUT, CutoutCause.MECHANICAL_DRIVE_LOST, REDUCED, Governor.NO_VOLTAGE_HEADROOM),
    (BRAKE_LOSS, CutoutCause.MECHANICAL_DRIVE_LOST, SLIP, ""),
    (BRAKE_LOSS, CutoutCause.BMS_OVERCURRENT_CHARGE, CHARGE, ""),
    (BRAKE_LOSS, CutoutCause.BMS_OVERCURRENT_CHARGE, NEAR, ".charge"),
    (BRAKE_LOSS, CutoutCause.CELL_HIGH_VOLTAGE, HIGH, ""),
    (BRAKE_LOSS, CutoutCause.CELL_HIGH_VOLTAGE, NEAR, "high_v"),
    (BRAKE_LOSS, CutoutCause.OVERVOLTAGE_TRIP, HIGH, ""),
    (BRAKE_LOSS, CutoutCause.OVERVOLTAGE_TRIP, NEAR, "overvoltage_v"),
    (DISCHARGE, "", NEAR, "discharge"),
    (CHARGE, "", NEAR, ".charge"),
    (CHARGE, "", HIGH, ""),
    (REDUCED, Governor.VOLTAGE_DERATE, SAG, ""),
    (HOT, "", NEAR, "_stop_c"),
)
"""(story, its cause, kind of event that belongs to it, part of that event's limit or its cause):
one setting answers for both. The first row that fits takes."""

Key = tuple[str, ...]


def stories(events: Sequence[Event]) -> list[list[int]]:
    """Places of events that are one finding, the telling one first, what belongs to it behind."""
    groups: dict[Key, list[int]] = {}
    for place, event in enumerate(events):
        ordinary = event.kind in SILENT_NOTES and event.severity is Severity.NOTE
        if event.kind not in SILENT and not ordinary:
            groups.setdefault(_key(event, place), []).append(place)
    for places in groups.values():
        places.sort(key=lambda place: _telling(events[place]), reverse=True)
    return list(_taken_in(list(groups.values()), events))


def _key(event: Event, place: int) -> Key:
    if event.kind in LOSSES:
        likeliest = event.causes[0] if event.causes else None
        if likeliest is None or likeliest.probability < LIKELY or likeliest.cause == "unknown":
            return (event.kind, str(place))
        shared = likeliest.cause in OF_THE_WHOLE
        return (event.kind, likeliest.cause, *(() if shared else sorted(event.drives)))
    if event.kind is EventKind.OVERHEAT:
        part = event.limit.name.rsplit(".", 1)[-1].split("_")[0] if event.limit else ""
        return (event.kind, part)
    if event.kind in (EventKind.POWER_REDUCED, EventKind.BRAKE_REDUCED) and event.causes:
        return (event.kind, event.causes[0].cause)
    if event.kind is EventKind.NEAR_TRIP and event.limit is not None:
        return (event.kind, event.flavour, event.limit.name.rsplit(".", 1)[-1])
    return (event.kind, event.flavour)


def _telling(event: Event) -> tuple[float, ...]:
    """The worst first: by severity, by how far beyond its limit, by length. Of losses the first."""
    if event.kind in LOSSES:
        return event.severity.rank, -event.start_s, len(event.drives)
    beyond = 0.0
    if event.peak is not None and event.limit is not None and event.limit.value:
        beyond = abs(abs(event.peak.value) / event.limit.value - 1.0)
    return event.severity.rank, beyond, event.end_s - event.start_s


def _taken_in(groups: list[list[int]], events: Sequence[Event]) -> Iterator[list[int]]:
    """The groups, those that belong to another's story behind that one."""
    homes: dict[int, int] = {}
    for place, group in enumerate(groups):
        home = next((h for row in TAKEN_IN for h in _homes(row, group, groups, events)), None)
        if home is not None:
            homes[place] = home
    for place, group in enumerate(groups):
        if place not in homes:
            guests = [groups[one] for one in homes if _root(one, homes) == place]
            yield group + [event for guest in guests for event in guest]


def _root(place: int, homes: dict[int, int]) -> int:
    while place in homes:
        place = homes[place]
    return place


def _homes(
    row: tuple[EventKind, str, EventKind, str],
    group: list[int],
    groups: list[list[int]],
    events: Sequence[Event],
) -> Iterator[int]:
    kind, cause, guest, part = row
    first = events[group[0]]
    about = first.limit.name if first.limit else first.causes[0].cause if first.causes else ""
    if first.kind is not guest or part not in about:
        return
    for place, other in enumerate(groups):
        host = events[other[0]]
        if host.kind is not kind or (cause and not _because(host, cause)):
            continue
        # Heat sits in one drive; and a full pack is the braking's doing only while it lasts.
        heat = guest in (HOT, NEAR) and kind in (CUTOUT, HOT) and about.endswith("_c")
        apart = heat or cause == CutoutCause.MECHANICAL_DRIVE_LOST
        if apart and not set(first.drives) <= set(host.drives):
            continue
        if kind is CHARGE and guest is HIGH and not _all_within(group, other, events):
            continue
        yield place


def _because(event: Event, cause: str) -> bool:
    likeliest = event.causes[0] if event.causes else None
    return likeliest is not None and likeliest.cause == cause and likeliest.probability >= LIKELY


def _all_within(group: list[int], other: list[int], events: Sequence[Event]) -> bool:
    """Whether each of these events overlaps one of those."""
    return all(
        any(
            events[a].start_s <= events[b].end_s and events[b].start_s <= events[a].end_s
            for b in other
        )
        for a in group
    )

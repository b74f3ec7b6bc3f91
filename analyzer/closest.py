"""The closest each protection came to acting, over one ride or a book: on which ride and climb."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.climb_load import HEAT_LOOK_S
from analyzer.events import Event
from analyzer.limits import LimitCheck
from analyzer.near_trip import ACTED_BY
from analyzer.ride_analysis import RideResult
from analyzer.words import EventKind, LimitRole

LOSSES = (EventKind.CUTOUT, EventKind.BRAKE_LOSS)
SURE_CAUSE = 0.5
"""A loss was this protection's from this probability on. Our choice: likelier than not."""


@dataclass(frozen=True, slots=True)
class Closest:
    """One protection at its nearest: a trip, a stop voltage, an overvoltage line, a heat stop."""

    limit: str
    set: float
    unit: str
    seen: float | None
    used_pct: float | None
    """Of the limit, or of the way from rest or from the air to it; None within 0.1 V of rest."""
    held_s: float | None
    """Longest time above a current trip's level that did not open it; None where never."""
    ride: str
    where: str | None
    """The climb or descent of that ride, by the rider's name or number; None between them."""
    acted: bool
    """Whether on some ride a loss was more likely than not its doing; then `ride` is that one."""


def find_closest(
    hardest: Sequence[tuple[LimitCheck, str]], rides: Sequence[tuple[str, RideResult]]
) -> tuple[Closest, ...]:
    """Each protection of the newest setup, the one that came nearest first; `hardest` are the
    limits' hardest tests with the ride they were seen on."""
    by_name = dict(rides)
    found = [
        _closest(check, ride, by_name[ride], rides)
        for check, ride in hardest
        if _protects(check) and check.seen is not None
    ]
    return tuple(sorted(found, key=lambda one: (not one.acted, -(one.used_pct or 0.0))))


def _protects(check: LimitCheck) -> bool:
    return check.role is LimitRole.TRIP or check.limit.endswith("_stop_c")


def _closest(
    check: LimitCheck, ride: str, result: RideResult, rides: Sequence[tuple[str, RideResult]]
) -> Closest:
    where = None if check.at_s is None else place_name(result, check.at_s, hot=check.unit == "°C")
    acts = [(name, one, loss) for name, one in rides for loss in _acted(check, one)]
    if acts:
        ride, on, loss = acts[-1]
        where = place_name(on, loss.start_s, hot=False)
    return Closest(
        check.limit,
        check.set,
        check.unit,
        check.seen,
        check.exercised_pct,
        max((_held_s(check.limit, one) for _, one in rides), default=0.0) or None,
        ride,
        where,
        bool(acts),
    )


def _acted(check: LimitCheck, result: RideResult) -> list[Event]:
    """Losses of this ride that were this protection's doing, at this setting."""
    if not any(one.limit == check.limit and one.set == check.set for one in result.limits):
        return []
    found = []
    for loss in result.events:
        if loss.kind not in LOSSES or not loss.causes:
            continue
        first = loss.causes[0]
        key = ACTED_BY.get(first.cause)
        own = not check.limit.startswith("drives.") or check.limit.split(".")[1] in loss.drives
        if key and check.limit.endswith(key) and own and first.probability >= SURE_CAUSE:
            found.append(loss)
    return found


def _held_s(limit: str, result: RideResult) -> float:
    """Longest near trip of this limit [s]."""
    held = [
        dict(one.measures).get("held_s", 0.0)
        for one in result.events
        if one.kind is EventKind.NEAR_TRIP and one.limit is not None and one.limit.name == limit
    ]
    return max(held, default=0.0)


def place_name(result: RideResult, at_s: float, *, hot: bool) -> str | None:
    """The climb or descent a moment lies on, by the rider's name or its number in the ride; heat
    peaks after the top, so that up to two minutes later still count for it."""
    later = HEAT_LOOK_S if hot else 1.0
    spans = [
        *((f"climb {k}", c.hill, c.start_s, c.end_s) for k, c in enumerate(result.climbs, 1)),
        *((f"descent {k}", d.hill, d.start_s, d.end_s) for k, d in enumerate(result.descents, 1)),
    ]
    for name, hill, start_s, end_s in spans:
        if start_s <= at_s <= end_s + later:
            return hill or name
    return None

"""What limit was really in force from which ride on, beside what the setup said?

A limit that is leaned on shows as a plateau. Over the rides of a book the plateaus tell a setting
that went back after an update, one that was changed in the file but not in the controller, and one
that was saved on one side only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from analyzer.summary import SeenInForce, Triple

SAME, SAME_A = 0.05, 0.3
"""Two plateaus, or a plateau and a setting, this near are one [relative, A], or nearer than their
intervals. Our choice: a controller reads within 3 to 5 % and 0.1 to 0.3 A (common practice, no
source), and a setting is seldom changed by less."""
CONFIRMED = 2
"""A new plateau is believed when so many rides in a row show it, or at once when it is what the
setup says. Our choice: a rider may hold one current for long."""
MOST_TURNS = 4
"""A limit that changes more often than this goes with a power mode. Our choice."""


class InForceKind(StrEnum):
    """What became of a limit."""

    CAME = "came"
    """It followed the setup."""
    NOT_CHANGED = "not_changed"
    """The setup changed, the limit did not."""
    WENT = "went"
    """It changed, the setup did not."""
    NEVER = "never"
    """It differs from the setup since it was first seen."""
    VARIES = "varies"
    """It changes again and again."""


@dataclass(frozen=True, slots=True)
class RideInForce:
    """One ride: what its setup says (by key) and what was seen."""

    ride: str
    start: datetime
    settings: Mapping[str, object]
    seen: tuple[SeenInForce, ...]


@dataclass(frozen=True, slots=True)
class InForceChange:
    """From this ride on a limit was another one than before, or than the setup says."""

    ride: str
    start: datetime
    last_before: str | None
    """The last ride that still showed the old one."""
    key: str
    kind: InForceKind
    set_a: float | None
    """What the setup of this ride says."""
    before_a: float | None
    seen_a: Triple
    others_follow: tuple[str, ...] = ()
    """Other drives' keys of the same setting that were seen to follow the setup."""


@dataclass(frozen=True, slots=True)
class _Reading:
    ride: RideInForce
    seen: Triple
    set_a: float | None

    @property
    def as_set(self) -> bool:
        return self.set_a is not None and _alike(self.seen, self.set_a)


def _alike(seen: Triple, amps: float) -> bool:
    value, low, high = seen
    near = abs(value - amps) <= max(SAME * amps, SAME_A)
    return near or (low is not None and high is not None and low <= amps <= high)


def in_force_course(rides: Sequence[RideInForce]) -> list[InForceChange]:
    """What changed in force over one vehicle's rides, in time order."""
    ordered = sorted(rides, key=lambda one: one.start)
    keys = sorted({seen.key for one in ordered for seen in one.seen})
    found = [change for key in keys for change in _of_key(_readings(ordered, key), key)]
    return sorted((_beside(one, ordered) for one in found), key=lambda one: (one.start, one.key))


def _readings(rides: Sequence[RideInForce], key: str) -> list[_Reading]:
    out = []
    for one in rides:
        seen = next((each.seen_a for each in one.seen if each.key == key), None)
        given = one.settings.get(key)
        if seen is not None and seen[0] > 0:
            out.append(
                _Reading(one, seen, float(given) if isinstance(given, (int, float)) else None)
            )
    return out


def _of_key(readings: Sequence[_Reading], key: str) -> list[InForceChange]:
    regimes = _regimes(readings)
    if len(regimes) - 1 > MOST_TURNS:
        newest = regimes[-1][0]
        return [_change(newest, key, InForceKind.VARIES, regimes[0][0].seen[0], None)]
    out: list[InForceChange] = []
    before: list[_Reading] | None = None
    for regime in regimes:
        first = regime[0]
        was = None if before is None else before[-1].seen[0]
        last = None if before is None else before[-1].ride.ride
        if before is None:
            if first.set_a is not None and not first.as_set and len(regime) >= CONFIRMED:
                out.append(_change(first, key, InForceKind.NEVER, None, None))
        else:
            kind = InForceKind.CAME if first.as_set else InForceKind.WENT
            out.append(_change(first, key, kind, was, last))
        out += _stayed(regime, key)
        before = regime
    return out


def _stayed(regime: Sequence[_Reading], key: str) -> list[InForceChange]:
    """Changes of the setup within a regime that the plateau did not follow."""
    out = []
    for at in range(1, len(regime)):
        before, now = regime[at - 1], regime[at]
        changed = before.set_a is not None and now.set_a is not None and now.set_a != before.set_a
        if changed and before.as_set and not now.as_set:
            out.append(_change(now, key, InForceKind.NOT_CHANGED, before.seen[0], before.ride.ride))
    return out


def _regimes(readings: Sequence[_Reading]) -> list[list[_Reading]]:
    """Stretches of one plateau; readings that nobody confirms are left out."""
    regimes: list[list[_Reading]] = []
    waiting: list[_Reading] = []
    for one in readings:
        if regimes and _goes_on(regimes[-1][-1], one):
            regimes[-1].append(one)
            waiting = []
            continue
        if waiting and not _alike(one.seen, waiting[-1].seen[0]):
            waiting = []
        waiting.append(one)
        if one.as_set or len(waiting) >= CONFIRMED:
            regimes.append(waiting)
            waiting = []
    return regimes


def _goes_on(before: _Reading, now: _Reading) -> bool:
    """Whether two readings are of one plateau: alike, or both what one setting says."""
    kept = before.set_a == now.set_a and before.as_set and now.as_set
    return kept or _alike(now.seen, before.seen[0])


def _change(
    at: _Reading, key: str, kind: InForceKind, before_a: float | None, last: str | None
) -> InForceChange:
    return InForceChange(at.ride.ride, at.ride.start, last, key, kind, at.set_a, before_a, at.seen)


def _beside(one: InForceChange, rides: Sequence[RideInForce]) -> InForceChange:
    """With the other drives' keys of the same setting that are in force on that ride or later."""
    if one.kind is not InForceKind.NOT_CHANGED and one.kind is not InForceKind.NEVER:
        return one
    setting = one.key.rsplit(".", 1)[-1]
    follow = []
    for ride in rides:
        if ride.start < one.start:
            continue
        for seen in ride.seen:
            given = ride.settings.get(seen.key)
            same = seen.key != one.key and seen.key.rsplit(".", 1)[-1] == setting
            if same and isinstance(given, (int, float)) and _alike(seen.seen_a, float(given)):
                follow.append(seen.key)
    return replace(one, others_follow=tuple(dict.fromkeys(follow)))

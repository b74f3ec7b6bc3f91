"""What a book holds, on the terminal and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from analyzer.estimate import Estimate
from analyzer.in_force_course import InForceChange, InForceKind
from importers.book import Entry
from importers.book_notes import HandNote
from reports.json_out import Json, estimate_object, number, to_text

if TYPE_CHECKING:
    from rich.console import Console

BOOK_SCHEMA = "hillproof.book/1"
"""1: first version."""


class Change(Protocol):
    """A setting that differs from the ride before."""

    @property
    def ride(self) -> str:
        """The first ride with the new value."""

    @property
    def start(self) -> datetime:
        """When that ride began."""

    @property
    def key(self) -> str:
        """The setup key."""

    @property
    def before(self) -> object:
        """The old value, None where it was not given."""

    @property
    def after(self) -> object:
        """The new value, None where it is not given any more."""


def book_json(
    entries: Sequence[Entry],
    changes: Sequence[Change],
    notes: Sequence[HandNote],
    in_force: Sequence[InForceChange] = (),
) -> str:
    """Rides, changes of settings, what was in force and notes as JSON text."""
    rides: list[Json] = [
        {
            "ride": one.name,
            "kind": one.kind,
            "pack": one.pack or None,
            "start": one.start.isoformat(),
            "distance_m": (one.summary or {}).get("distance_m"),
            "charge_out_ah": (one.summary or {}).get("charge_out_ah"),
        }
        for one in entries
    ]
    settings: list[Json] = [
        {
            "ride": one.ride,
            "start": one.start.isoformat(),
            "key": one.key,
            "before": _plain(one.before),
            "after": _plain(one.after),
        }
        for one in changes
    ]
    seen: list[Json] = [
        {
            "ride": one.ride,
            "start": one.start.isoformat(),
            "key": one.key,
            "kind": one.kind.value,
            "set": number(one.set_a),
            "before": number(one.before_a),
            "seen": estimate_object(Estimate(*one.seen_a)),
            "text": in_force_text(one),
        }
        for one in in_force
    ]
    hand: list[Json] = [asdict(one) for one in notes]
    return to_text(
        {
            "schema": BOOK_SCHEMA,
            "rides": rides,
            "settings": settings,
            "in_force": seen,
            "notes": hand,
        }
    )


def in_force_text(one: InForceChange) -> str:
    """A limit that was another one than before or than set, in one sentence."""
    seen = f"{one.seen_a[0]:.1f} A"
    said = "the setup says nothing" if one.set_a is None else f"the setup says {one.set_a:g} A"
    before = "" if one.before_a is None else f"{one.before_a:.1f} → "
    if one.kind is InForceKind.CAME:
        return f"{one.key}: {before}{seen} in force, as the setup says"
    if one.kind is InForceKind.VARIES:
        return f"{one.key}: changes from ride to ride, {seen} on the last: a power mode?"
    if one.kind is InForceKind.WENT:
        return (
            f"{one.key}: {before}{seen} in force, though {said}: a reset (an update?), a power "
            "mode, or a change that the setup file does not know"
        )
    follow = ", ".join(one.others_follow)
    side = f"; {follow} follows: saved on one side only" if follow else ""
    if one.kind is InForceKind.NOT_CHANGED:
        return f"{one.key}: still {seen} in force, {said} from now on: the change is not in{side}"
    return f"{one.key}: {seen} in force since it was first seen, {said}{side}"


def _plain(value: object) -> Json:
    return value if isinstance(value, (int, float, str)) else None


def print_book(
    entries: Sequence[Entry],
    changes: Sequence[Change],
    notes: Sequence[HandNote],
    console: Console,
    folder: str,
    in_force: Sequence[InForceChange] = (),
) -> None:
    """One line per ride, change and note, in time order."""

    def say(line: str) -> None:
        console.print(line, markup=False)

    if not entries:
        say(f"The book at {folder} holds no ride yet. Keep one with: hillproof book add LOG…")
    for one in entries:
        own = one.summary or {}
        parts = [one.name, one.kind]
        if one.pack:
            parts.append(one.pack)
        if own.get("distance_m"):
            parts.append(f"{own['distance_m'] / 1000:.1f} km")
        if own.get("charge_out_ah"):
            parts.append(f"{own['charge_out_ah']:.1f} Ah out")
        if one.kind == "charge" and own.get("charge_back_ah"):
            parts.append(f"{own['charge_back_ah']:.1f} Ah in")
        say("  ".join(parts))
    for change in changes:
        before = "not given" if change.before is None else change.before
        after = "not given" if change.after is None else change.after
        say(f"{change.start:%Y-%m-%d}  {change.key}: {before} → {after}  (from {change.ride})")
    for seen in in_force:
        say(f"{seen.start:%Y-%m-%d}  {in_force_text(seen)}  (from {seen.ride})")
    for note in notes:
        say(f"{note.day}  note: {note.text}{_measures(note)}")


def _measures(note: HandNote) -> str:
    told = []
    if note.rest_voltage_v is not None:
        told.append(f"rest {note.rest_voltage_v:g} V")
    if note.cell_min_v is not None:
        told.append(f"lowest cell {note.cell_min_v:g} V")
    if note.cell_max_v is not None:
        told.append(f"highest cell {note.cell_max_v:g} V")
    if note.charged_ah is not None:
        told.append(f"{note.charged_ah:g} Ah from {note.from_pct:g} to {note.to_pct:g} %")
    return f" ({', '.join(told)})" if told else ""

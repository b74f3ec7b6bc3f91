"""The part of the joined logs that is the ride: alone, or each part by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from importers.errors import LogError
from importers.place_logs import PlacedLog
from importers.ride import Ride, Source
from importers.side_pieces import side_pieces
from importers.split_ride import Part, PartKind, parts_of

LEFT_OUT = {
    PartKind.RIDE: "another ride",
    PartKind.CHARGE: "the pack is charged",
    PartKind.CARRIED: "the vehicle is carried: the position moves, wheels and current do not",
    PartKind.IDLE: "nothing moves",
}


@dataclass(frozen=True, slots=True, eq=False)
class JoinedLogs:
    """All logs in one table, before it is known how many rides that is."""

    ride: Ride
    placed: tuple[PlacedLog, ...]


def only_ride(joined: JoinedLogs) -> Ride:
    """The one ride in these logs; what is around it is left out and said.

    Raises
    ------
    LogError : they hold several rides
    """
    parts = parts_of(joined.ride.table)
    rides = [one for one in parts if one.kind is PartKind.RIDE]
    charges = [one for one in parts if one.kind is PartKind.CHARGE]
    if len(rides) > 1:
        raise _several(joined.ride, rides)
    wanted = rides or (charges if len(charges) == 1 else [])
    if len(parts) == 1 or not wanted:
        return _cut(joined, Part(PartKind.RIDE, 0, len(joined.ride.table)), ())
    return _cut(joined, wanted[0], parts)


def all_parts(joined: JoinedLogs) -> list[tuple[PartKind, Ride]]:
    """Every ride and charge, each by itself, in order of time."""
    parts = parts_of(joined.ride.table)
    if len(parts) == 1:
        return [(parts[0].kind, _cut(joined, parts[0], ()))]
    kept = [one for one in parts if one.kind in (PartKind.RIDE, PartKind.CHARGE)]
    return [(one.kind, _cut(joined, one, parts)) for one in kept]


def _cut(joined: JoinedLogs, part: Part, parts: Sequence[Part]) -> Ride:
    """The ride of one part, its time counted from its own first sample."""
    ride = joined.ride
    whole = part.begin == 0 and part.end == len(ride.table)
    if whole:
        ends = ride.time_s[[0, -1]] if len(ride.table) else np.zeros(2)
        return replace(ride, pieces=side_pieces(joined.placed, float(ends[0]), float(ends[1])))
    table = ride.table.iloc[part.begin : part.end].reset_index(drop=True)
    own = [
        name for name in table.columns if str(name).startswith(tuple(f"{d}." for d in ride.drives))
    ]
    known = table[own].notna().any(axis=1).to_numpy() if own else np.zeros(0, np.bool_)
    zero_s = float(table["time_s"].iloc[int(np.argmax(known)) if known.any() else 0])
    end_s = float(table["time_s"].iloc[-1])
    pieces = side_pieces(joined.placed, float(table["time_s"].iloc[0]), end_s, zero_s)
    table["time_s"] = table["time_s"] - zero_s
    return replace(
        ride,
        table=table,
        start=None if ride.start is None else ride.start + timedelta(seconds=zero_s),
        sources=tuple(_shifted(one, zero_s) for one in ride.sources),
        notes=(*ride.notes, *_left_out(ride, part, parts)),
        pieces=pieces,
    )


def _shifted(source: Source, zero_s: float) -> Source:
    """The clock's offset at the part's begin."""
    if source.clock_offset_s is None or not source.clock_drift_ppm:
        return source
    moved = source.clock_drift_ppm * 1e-6 * zero_s
    low, high = source.clock_offset_low_s, source.clock_offset_high_s
    return replace(
        source,
        clock_offset_s=source.clock_offset_s + moved,
        clock_offset_low_s=None if low is None else low + moved,
        clock_offset_high_s=None if high is None else high + moved,
    )


def _left_out(ride: Ride, part: Part, parts: Sequence[Part]) -> list[tuple[str, str]]:
    notes = []
    for other in parts:
        if other == part:
            continue
        notes.append(("ride.sources", f"{_when(ride, other)}: {LEFT_OUT[other.kind]}; left out"))
    return notes


def _when(ride: Ride, part: Part) -> str:
    first, last = ride.time_s[part.begin], ride.time_s[part.end - 1]
    if ride.start is not None:
        begin, end = (ride.start + timedelta(seconds=float(one) + 30.0) for one in (first, last))
        return f"{begin:%Y-%m-%d %H:%M} to {end:%H:%M}"
    return f"{first / 60:.0f} to {last / 60:.0f} min of the log"


def _several(ride: Ride, rides: Sequence[Part]) -> LogError:
    listed = "; ".join(_when(ride, one) for one in rides[:6])
    more = f"; {len(rides) - 6} more" if len(rides) > 6 else ""
    files = ", ".join(one.file for one in ride.sources)
    return LogError(
        where=files,
        what=f"{'holds' if len(ride.sources) == 1 else 'hold'} {len(rides)} rides ({listed}{more})",
        remedy="Keep all of them with `hillproof book add`, then name one of its rides; or split "
        "the log where a ride ends.",
    )

"""The instant a ride began: as typed, by the first log's date, or by another log's clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from importers.place_logs import PlacedLog, instant


def start_of(
    placed: Sequence[PlacedLog], first: int, typed: datetime | None
) -> tuple[datetime | None, list[tuple[str, str]]]:
    """The instant of ride time 0: as typed, by the first log's date, or by another log's."""
    if typed is not None:
        return instant(typed), []
    own = placed[first].table.start
    if own is not None and own.tzinfo is not None:
        return own, []
    zoned = [
        one for one in placed
        if one.fit is not None and one.table.start is not None and one.table.start.tzinfo
    ]  # fmt: skip
    if zoned:
        at = zoned[0]
        assert at.table.start is not None
        began = at.table.start + timedelta(seconds=at.offset_s)
        return began.astimezone(), [("ride.start", f"taken from the clock of {at.table.file}")]
    if own is not None:
        return instant(own), [_zone_note(placed[first].table.file)]
    dated = [one for one in placed if one.fit is not None and one.table.start is not None]
    if dated:
        start = dated[0].table.start
        assert start is not None
        began = instant(start) + timedelta(seconds=dated[0].offset_s)
        return began, [_zone_note(dated[0].table.file)]
    return None, [("ride.start", "the logs carry no date; give it with --start")]


def _zone_note(file: str) -> tuple[str, str]:
    return ("ride.start", f"{file} logs times without a zone: taken as this machine's local time")

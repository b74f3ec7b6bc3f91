"""What each log of a ride was taken for, how its clock runs, and what the rider should know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from importers.join_logs import full_name
from importers.log_table import LogTable
from importers.place_logs import PlacedLog, instant
from importers.ride import Source, Unjudged
from importers.setup_types import Setup

FAR_CLOCK_S = 1800.0
"""Clocks of one ride further apart than this are said to be. Our choice."""


def source_of(one: PlacedLog, first: LogTable, only_drive: str | None) -> Source:
    """What one log was taken for and how well it read, its clock held against the first's."""
    table = one.table
    shown = _readings_apart_s(table, first)
    known = one.first or one.fit is not None
    channels = tuple(
        reading if reading.channel in (None, "time_s")
        else replace(reading, channel=full_name(str(reading.channel), one.role, only_drive))
        for reading in table.readings
    )  # fmt: skip
    return Source(
        file=table.file, role=one.role, rows=table.rows, rows_dropped=table.rows_dropped,
        rate_hz=table.rate_hz, channels=channels, problems=table.problems, start=table.start,
        clock_offset_s=(one.offset_s + shown) if known else None,
        clock_drift_ppm=one.drift * 1e6 if known else None,
        clock_offset_low_s=None if one.fit is None else one.fit.low_s - one.fit.offset_s
        + one.offset_s + shown,
        clock_offset_high_s=None if one.fit is None else one.fit.high_s - one.fit.offset_s
        + one.offset_s + shown,
        form=table.form,
    )  # fmt: skip


def unjudged_of(placed: Sequence[PlacedLog], only_drive: str | None) -> tuple[Unjudged, ...]:
    """Every log's channels whose limits are not to be checked, by their names in the ride."""
    out = [
        replace(doubt, channel=full_name(doubt.channel, one.role, only_drive))
        for one in placed for doubt in one.table.unjudged
    ]  # fmt: skip
    return tuple(dict.fromkeys(out))


def _readings_apart_s(table: LogTable, first: LogTable) -> float:
    """What the two clocks showed at their logs' first rows, one less the other [s]."""
    if table.start is not None and first.start is not None:
        return (instant(table.start) - instant(first.start)).total_seconds()
    if table.start is None and first.start is None and table.of_day == first.of_day:
        return table.first_s - first.first_s
    return 0.0


def notes_of(
    placed: Sequence[PlacedLog],
    remarks: Sequence[str],
    setup: Setup,
    drives: Sequence[str],
    unjudged: Sequence[Unjudged],
) -> list[tuple[str, str]]:
    """(about, text) of everything the rider should know about how the logs were put together."""
    only_drive = setup.drive_names[0] if len(setup.drives) == 1 else None
    notes = [
        (full_name(about, one.role, only_drive) if about in one.table.columns else about, text)
        for one in placed for about, text in one.table.notes
    ]  # fmt: skip
    notes += [(one.channel, one.why) for one in unjudged]
    for one in placed:
        if one.how:
            notes.append(("ride.sources", f"{one.table.file} was placed {one.how}"))
        elif one.fit is not None:
            apart_s = (
                _readings_apart_s(one.table, next(log.table for log in placed if log.first))
                + one.offset_s
            )
            if one.table.start is not None and abs(apart_s) > FAR_CLOCK_S:
                notes.append(
                    (
                        "ride.sources",
                        f"the clock of {one.table.file} is {apart_s / 3600.0:+.1f} h off the "
                        "first log's, yet both felt the same ride",
                    )
                )
            half = 0.5 * (one.fit.high_s - one.fit.low_s)
            notes.append(
                (
                    "ride.sources",
                    f"{one.table.file} was put on the first log's time by its {one.fit.kind}, to "
                    f"± {max(half, 0.001):.3f} s",
                )
            )
    for remark in remarks:
        about, _, text = remark.partition(": ")
        notes.append((about, text))
    absent = [name for name in setup.drive_names if name not in drives]
    if absent and drives:
        notes.append(
            ("ride.drives", f"no log of {', '.join(absent)}: what needs all drives is left out")
        )
    return list(dict.fromkeys(notes))

"""The logs of one ride, whatever wrote them -> one `Ride`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import pandas as pd

from importers.errors import LogError
from importers.gpx import is_gpx, read_gpx_log
from importers.join_logs import full_name, join_logs
from importers.log_table import LogTable
from importers.place_logs import PlacedLog, check_sides, instant, place_logs
from importers.ride import Ride, RideFacts, Source
from importers.setup_types import Setup
from importers.side_pieces import side_pieces
from importers.timebase import MIN_ROWS
from importers.which_log import NamedLog, named_logs, settle_roles

if TYPE_CHECKING:
    from importers.channel_map import ChannelMap

NO_FACTS = RideFacts()
FAR_CLOCK_S = 1800.0
"""Clocks of one ride further apart than this are said to be. Our choice."""


def read_ride(
    logs: Sequence[str],
    setup: Setup,
    *,
    map_file: str | None = None,
    start: datetime | None = None,
    facts: RideFacts = NO_FACTS,
) -> Ride:
    """What was logged of this ride, all logs on one time.

    `logs` are paths or `NAME=path`; `map_file` a saved reading that wins over the guesses;
    `start` the instant the ride began, for logs without a date.

    Raises
    ------
    LogError : a log that cannot be used, logs whose content cannot be told, or that do not belong
        together
    """
    named = named_logs(logs, setup)
    mapping = None
    if map_file is not None:
        from importers.channel_map import read_map

        mapping = read_map(map_file)
    tables = [_read(one, setup, mapping) for one in named]
    return join_ride(tables, setup, typed=[one.role for one in named], start=start, facts=facts)


def _read(one: NamedLog, setup: Setup, mapping: ChannelMap | None) -> LogTable:
    if is_gpx(one.path):
        return read_gpx_log(one.path)
    from importers.log_file import read_log

    return read_log(one.path, setup=setup, mapping=mapping, role=one.role)


def join_ride(
    tables: Sequence[LogTable],
    setup: Setup,
    *,
    typed: Sequence[str | None],
    start: datetime | None = None,
    facts: RideFacts = NO_FACTS,
) -> Ride:
    """One ride from logs already read; `typed` is the name given to each, if any.

    Raises
    ------
    LogError : as `read_ride`
    """
    roles = settle_roles(tables, typed, setup)
    first = next(
        (at for at, role in enumerate(roles) if role in setup.drive_names or role == "all"), 0
    )
    placed = check_sides(place_logs(tables, roles, first))
    only_drive = setup.drive_names[0] if len(setup.drives) == 1 else None
    table, remarks = join_logs(placed, setup.drive_names, only_drive)
    _refuse_useless(table, tables[first])
    drives = tuple(
        name for name in setup.drive_names
        if any(column.startswith(f"{name}.") for column in table.columns)
    )  # fmt: skip
    began, start_notes = _start(placed, first, start)
    return Ride(
        table=table,
        drives=drives,
        sources=tuple(_source(one, tables[first], only_drive) for one in placed),
        start=began,
        facts=facts,
        notes=(*start_notes, *_notes(placed, remarks, setup, drives)),
        pieces=side_pieces(placed),
    )


def _refuse_useless(table: pd.DataFrame, log: LogTable) -> None:
    """Without a voltage there is nothing to say about the pack."""
    volts = [
        name for name in table.columns
        if name == "pack_voltage_v" or name.endswith(".battery_voltage_v")
    ]  # fmt: skip
    if any(table[name].notna().sum() >= MIN_ROWS for name in volts):
        return
    raise LogError(
        where=log.file,
        what="has no usable pack voltage" if not volts else "its pack voltage is almost empty",
        remedy="Log the battery voltage, or name its column in a map file "
        "(`hillproof look --write-map`).",
    )


def _start(
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


def _source(one: PlacedLog, first: LogTable, only_drive: str | None) -> Source:
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
    )  # fmt: skip


def _readings_apart_s(table: LogTable, first: LogTable) -> float:
    """What the two clocks showed at their logs' first rows, one less the other [s]."""
    if table.start is not None and first.start is not None:
        return (instant(table.start) - instant(first.start)).total_seconds()
    if table.start is None and first.start is None and table.of_day == first.of_day:
        return table.first_s - first.first_s
    return 0.0


def _notes(
    placed: Sequence[PlacedLog], remarks: Sequence[str], setup: Setup, drives: Sequence[str]
) -> list[tuple[str, str]]:
    notes = [note for one in placed for note in one.table.notes]
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

"""The logs of one ride, whatever wrote them -> one `Ride`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import pandas as pd

from importers.current_zero import without_zeros
from importers.cut_ride import JoinedLogs, all_parts, only_ride
from importers.errors import LogError
from importers.gpx import is_gpx, read_gpx_log
from importers.guess_unit import NO_SUCH_PACK
from importers.join_logs import join_logs
from importers.log_table import LogTable
from importers.memory import give_back
from importers.own_currents import settle_own_currents
from importers.place_logs import check_sides, place_logs
from importers.ride import Ride, RideFacts
from importers.ride_sources import notes_of, source_of, unjudged_of
from importers.ride_start import start_of
from importers.setup_types import Setup
from importers.split_ride import PartKind
from importers.thin_rows import LONG_RIDE_ROWS, thinned_rows
from importers.timebase import MIN_ROWS
from importers.turns_speed import settle_turns
from importers.unsigned_total import without_unsigned_total
from importers.which_log import NamedLog, named_logs, settle_roles

if TYPE_CHECKING:
    from importers.channel_map import ChannelMap

NO_FACTS = RideFacts()


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
    return only_ride(_read_and_join(logs, setup, map_file, start, facts))


def _read_and_join(
    logs: Sequence[str],
    setup: Setup,
    map_file: str | None,
    start: datetime | None,
    facts: RideFacts,
) -> JoinedLogs:
    """The logs joined; the memory that very long ones took is given back to the system."""
    tables, typed = _read_all(logs, setup, map_file)
    joined = _join(tables, setup, typed, start, facts)
    if sum(one.rows for one in tables) > LONG_RIDE_ROWS:
        del tables
        give_back()
    return joined


def _read_all(
    logs: Sequence[str], setup: Setup, map_file: str | None
) -> tuple[list[LogTable], list[str | None]]:
    named = named_logs(logs, setup)
    mapping = None
    if map_file is not None:
        from importers.channel_map import read_map

        mapping = read_map(map_file)
    return [_read(one, setup, mapping) for one in named], [one.role for one in named]


def _read(one: NamedLog, setup: Setup, mapping: ChannelMap | None) -> LogTable:
    if is_gpx(one.path):
        return read_gpx_log(one.path)
    from importers.log_file import read_log

    return read_log(one.path, setup=setup, mapping=mapping, role=one.role)


def read_rides(
    logs: Sequence[str],
    setup: Setup,
    *,
    map_file: str | None = None,
    start: datetime | None = None,
    facts: RideFacts = NO_FACTS,
) -> list[tuple[PartKind, Ride]]:
    """Every ride and charge in these logs, each by itself, in order of time.

    As `read_ride`, but logs that hold several rides, or a ride and a charge, are split instead of
    refused.

    Raises
    ------
    LogError : as `read_ride`, but for several rides
    """
    return all_parts(_read_and_join(logs, setup, map_file, start, facts))


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
    return only_ride(_join(tables, setup, typed, start, facts))


def _join(
    tables: Sequence[LogTable],
    setup: Setup,
    typed: Sequence[str | None],
    start: datetime | None,
    facts: RideFacts,
) -> JoinedLogs:
    roles = settle_roles(tables, typed, setup)
    first = next(
        (at for at, role in enumerate(roles) if role in setup.drive_names or role == "all"), 0
    )
    placed = check_sides(place_logs(tables, roles, first))
    placed = settle_own_currents(placed, setup.drive_names)
    only_drive = setup.drive_names[0] if len(setup.drives) == 1 else None
    table, remarks = join_logs(placed, only_drive)
    _refuse_useless(table, tables[first])
    if len(table) > LONG_RIDE_ROWS:
        rows = thinned_rows(table)
        remarks.append(
            f"ride.table: {len(table)} rows; {len(table) - rows.size} of them, between which "
            "nothing happened, are left out"
        )
        columns = {str(name): table[name].to_numpy()[rows] for name in table.columns}
        table = pd.DataFrame(columns, copy=False)
    table, unjudged, unsigned = without_unsigned_total(
        table, setup.drive_names, unjudged_of(placed, only_drive)
    )
    table, zeros = without_zeros(table, setup)
    remarks += [*unsigned, *zeros]
    table, sources, turns = settle_turns(
        table, setup, [source_of(one, tables[first], only_drive) for one in placed]
    )
    remarks += turns
    drives = tuple(
        name for name in setup.drive_names
        if any(column.startswith(f"{name}.") for column in table.columns)
    )  # fmt: skip
    began, start_notes = start_of(placed, first, start)
    ride = Ride(
        table=table,
        drives=drives,
        sources=sources,
        start=began,
        facts=facts,
        notes=(*start_notes, *notes_of(placed, remarks, setup, drives, unjudged)),
        unjudged=unjudged,
    )
    return JoinedLogs(ride, tuple(placed))


def _refuse_useless(table: pd.DataFrame, log: LogTable) -> None:
    """Without a voltage there is nothing to say about the pack."""
    volts = [
        name for name in table.columns
        if name == "pack_voltage_v" or name.endswith(".battery_voltage_v")
    ]  # fmt: skip
    if any(table[name].notna().sum() >= MIN_ROWS for name in volts):
        return
    foreign = next((one for one in log.problems if NO_SUCH_PACK in one), None)
    if not volts and foreign is not None:
        raise LogError(
            where=log.file,
            what=f"has no usable pack voltage: {foreign}",
            remedy="Check `pack.series` and the cell voltages in the setup first.",
        )
    raise LogError(
        where=log.file,
        what="has no usable pack voltage" if not volts else "its pack voltage is almost empty",
        remedy="Log the battery voltage, or name its column in a map file "
        "(`hillproof look --write-map`).",
    )

"""What `look` reports: how each file would be read, from the same guesses that `ride` uses."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import replace

from importers.channel_map import ChannelMap
from importers.errors import LogError
from importers.gpx import is_gpx, read_gpx_log
from importers.join_logs import full_name
from importers.log_file import read_log, read_raw
from importers.log_table import LogTable
from importers.pairs_text import with_header
from importers.parquet_table import MAGIC, parquet_cells
from importers.read_ride import join_ride
from importers.ride import ChannelReading, Source
from importers.setup_types import Setup
from importers.text_bytes import NotText, as_text
from importers.text_table import NoTable, find_text_layout, parse
from importers.unpack import read_bytes
from importers.which_log import (
    NOTHING_KNOWN,
    guess_roles,
    line_to_type,
    map_to_write,
    named_logs,
)


def look(
    logs: Sequence[str], *, setup: Setup | None = None, mapping: ChannelMap | None = None
) -> tuple[Source, ...]:
    """How each of these files reads: a table without a ride in it is told, not refused.

    Raises
    ------
    LogError : a file in which there is no table
    """
    if setup is not None:
        named = [(one.path, one.role) for one in named_logs(logs, setup)]
    else:
        named = [_typed(one) for one in logs]
    read = [_look_at(path, role, setup, mapping) for path, role in named]
    if setup is not None:
        _settle(read, [role for _, role in named], setup)
    sources = tuple(one if isinstance(one, Source) else _source(one) for one in read)
    return sources if setup is None else _with_clocks(sources, read, setup)


def _with_clocks(
    sources: tuple[Source, ...], read: Sequence[LogTable | Source], setup: Setup
) -> tuple[Source, ...]:
    """How far each clock runs ahead of the first drive's, where the files are one ride."""
    tables = [one for one in read if isinstance(one, LogTable)]
    roles = [one.role for one in tables]
    if not tables or len(tables) < len(read) or None in roles:
        return sources
    if len(tables) == 1:
        return (_settled(sources[0], tables[0], setup),)
    try:
        joined = {one.file: one for one in join_ride(tables, setup, typed=roles).sources}
    except LogError as error:
        last = replace(sources[-1], problems=(*sources[-1].problems, str(error)))
        return (*sources[:-1], last)
    return tuple(_as_joined(one, joined[one.file]) for one in sources)


def _settled(own: Source, table: LogTable, setup: Setup) -> Source:
    """One log with what a ride of it alone settles; as it is where that alone is no ride."""
    try:
        (joined,) = join_ride([table], setup, typed=[table.role]).sources
    except LogError:
        return own
    return replace(_as_joined(own, joined), clock_offset_s=None, clock_drift_ppm=None)


def _as_joined(own: Source, joined: Source) -> Source:
    """With its clock against the first's, and what another log of the ride settled."""
    channels = tuple(
        replace(mine, channel=one.channel, unit=one.unit, sure=one.sure, why=one.why)
        for mine, one in zip(own.channels, joined.channels, strict=True)
    )
    return replace(
        own,
        clock_offset_s=joined.clock_offset_s,
        clock_drift_ppm=joined.clock_drift_ppm,
        channels=channels,
        problems=joined.problems,
    )


def _settle(read: list[LogTable | Source], typed: Sequence[str | None], setup: Setup) -> None:
    """Roles as `ride` would give them; where it would ask, the line that settles it."""
    at = [n for n, one in enumerate(read) if isinstance(one, LogTable)]
    tables = [one for one in read if isinstance(one, LogTable)]
    roles = guess_roles(tables, [typed[n] for n in at], setup)
    for n, table, role in zip(at, tables, roles, strict=True):
        if role is None:
            text = f"cannot tell what it holds; type: {line_to_type(tables, roles, setup)}"
            if not table.columns:
                text = f"{NOTHING_KNOWN}. {map_to_write(table.file)}"
            read[n] = replace(table, problems=(*table.problems, text))
        else:
            read[n] = replace(table, role=role)


def _typed(log: str) -> tuple[str, str | None]:
    import os

    if os.path.exists(log) or "=" not in log:
        return log, None
    name, _, path = log.partition("=")
    return path, name


def _look_at(
    path: str, role: str | None, setup: Setup | None, mapping: ChannelMap | None
) -> LogTable | Source:
    try:
        if is_gpx(path):
            return read_gpx_log(path)
        return read_log(path, setup=setup, mapping=mapping, role=role)
    except LogError as error:
        return _unusable(path, role, error)


def _source(table: LogTable) -> Source:
    channels = tuple(_named(one, table.role) for one in table.readings)
    return Source(
        file=table.file,
        role=table.role,
        rows=table.rows,
        rows_dropped=table.rows_dropped,
        rate_hz=table.rate_hz,
        clock_offset_s=None,
        clock_drift_ppm=None,
        channels=channels,
        problems=table.problems,
        start=table.start,
        form=table.form,
    )


def _named(one: ChannelReading, role: str | None) -> ChannelReading:
    """The channel as the ride will name it."""
    if one.channel is None or one.channel == "time_s" or role is None:
        return one
    return replace(one, channel=full_name(one.channel, role, None))


def _unusable(path: str, role: str | None, error: LogError) -> Source:
    """A table that is no log of a ride: its columns, none of them read."""
    raw = read_raw(path)
    channels = tuple(
        ChannelReading(one.header, None, one.unit, 1, None, 0.9) for one in raw.columns
    )
    return Source(path, role, raw.rows, raw.rows_dropped, None, None, None, channels,
                  (*raw.problems, error.what))  # fmt: skip


def _is_parquet(path: str) -> bool:
    try:
        with open(path, "rb") as file:
            return file.read(4) == MAGIC
    except OSError:
        return False


def raw_table_csv(path: str) -> str:
    """A file's header and cells as they stand, as CSV by RFC 4180 (UTF-8, CR LF).

    Raises
    ------
    LogError : there is no table in it
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    if _is_parquet(path):
        raw = parquet_cells(path)
        writer.writerow(raw.column_names)
        writer.writerows(zip(*(column.to_pylist() for column in raw.columns), strict=True))
        return out.getvalue()
    try:
        text = with_header(as_text(read_bytes(path)))
        found = find_text_layout(text)
        table, _ = parse(text, found, as_text=True)
    except (NotText, NoTable) as error:
        raise LogError(
            where=path,
            what="there is no table in this file",
            remedy="A table has rows of cells parted by commas, semicolons or tabs.",
        ) from error
    if found.layout.header_lines:
        writer.writerow(found.layout.names)
    writer.writerows(zip(*(column.to_pylist() for column in table.columns), strict=True))
    return out.getvalue()

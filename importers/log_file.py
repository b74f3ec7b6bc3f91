"""One log file -> `LogTable`: unpacked, parsed, its clock read, its columns named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import ChannelMap, FileMap
from importers.channels import channel_of
from importers.charge_current import counted_current, counts_charge, unseen_braking
from importers.clock_set import undo_set_clock
from importers.column_guess import Guess, full
from importers.current_direction import directed
from importers.errors import LogError
from importers.guess import SAMPLE_ROWS, drop_doubtful, guess_columns
from importers.log_ids import IdColumn, find_ids
from importers.log_role import OTHER_ROLES, role_of
from importers.log_table import LogTable
from importers.log_time import LogTime, log_time
from importers.log_values import mapped_guesses, values_of
from importers.logger_limits import undo_overflow
from importers.long_text import is_long, read_long_table
from importers.narrow_table import widened
from importers.not_data import cut_at_top, only_data, without_top
from importers.pack_cells import odd_pack
from importers.pairs_text import with_header
from importers.parquet_table import MAGIC, read_parquet_table
from importers.raw_table import RawTable
from importers.resample import join_groups
from importers.ride import ChannelReading, Unjudged
from importers.setup_types import Setup
from importers.text_bytes import NotText, Text, as_text
from importers.text_table import NoTable, read_text_table
from importers.timebase import rate_hz
from importers.true_rate import true_rate_hz
from importers.unpack import Data, read_bytes

RATE_ROWS = 40_000
"""Rows that tell a channel's own pace: over ten minutes at 50 Hz. Our choice."""
LONGEST_LINE = 4 << 20
"""No row of a log is longer [bytes]: 50 000 cells of 80 characters. Our choice."""
HEAD_BYTES = 64 << 10
"""Where endless lines are looked for; further on a row is too long by a fault [bytes]."""
SHEET_ROWS = (65_536, 1_048_576)
"""Rows a sheet holds (ECMA-376 spreadsheets 1 048 576; older ones 65 536)."""
Values = NDArray[np.float64] | NDArray[np.object_]


def read_raw(path: str) -> RawTable:
    """The table in a file, whatever it is about.

    Raises
    ------
    LogError : there is no table in it
    """
    try:
        with open(path, "rb") as file:
            parquet = file.read(4) == MAGIC
    except OSError:
        parquet = False  # `read_bytes` says what is wrong
    if parquet:
        return read_parquet_table(path)
    try:
        data = read_bytes(path)
        _refuse_endless_line(path, data)
        table = read_long_table(data) if is_long(data) else _short_table(as_text(data))
    except (NotText, NoTable) as error:
        what = "no text" if isinstance(error, NotText) else "no table"
        raise LogError(
            where=path,
            what=f"there is {what} in this file",
            remedy="A log has a header and rows of values, parted by commas, semicolons or tabs.",
        ) from error
    if table.rows == 0:
        raise LogError(
            where=path,
            what="it has a header but no rows",
            remedy="Copy it from the logger again; nothing was logged.",
        )
    return table


def _short_table(text: Text) -> RawTable:
    """The table of a text that is read at once."""
    named = with_header(text)
    table = widened(read_text_table(named))
    return table if named is text else replace(table, form="names beside the values")


def _refuse_endless_line(path: str, data: Data) -> None:
    """A file that is one line, or has one under its header: reading it takes ten times its size."""
    low = 0
    while low < HEAD_BYTES and len(data) - low > LONGEST_LINE:
        high = low + LONGEST_LINE
        end = max(data.rfind(b"\n", low, high), data.rfind(b"\r", low, high))
        if end < 0 and bytes(data[low:high]).strip(b"\0"):
            raise LogError(
                where=path,
                what=f"a line in it is longer than {LONGEST_LINE >> 20} MB, so it is no table",
                remedy="A log has a row on each line; copy it from the logger again.",
            )
        low = end + 1 if end >= 0 else high


def read_log(
    path: str,
    *,
    setup: Setup | None = None,
    mapping: ChannelMap | None = None,
    role: str | None = None,
) -> LogTable:
    """What one log file holds, columns named, in SI units, signs settled, on its own clock.

    `role` is the NAME of `NAME=path`; a `mapping` of this file wins over the guesses.

    Raises
    ------
    LogError : no table, no usable time, or a map that does not fit the file
    """
    raw = read_raw(path)
    own = mapping.of(path) if mapping is not None else None
    drives = setup.drive_names if setup is not None else ()
    ids = find_ids(raw, drives, dict(own.ids) if own else {})
    clock = log_time(
        raw, file=path, header=own.time if own else None, groups=ids.groups if ids else None
    )
    taken = {*clock.columns, *clock.others, *({ids.at} if ids else ())}
    left = [at for at in range(len(raw.columns)) if at not in taken]
    keep = clock.reading.keep
    bent: list[str] = []
    if ids is None:
        raw, bent = _overflow_undone(raw, left)
    sample = _sample(keep, ids, raw.whole)
    if own is not None:
        guesses = mapped_guesses(raw, left, own, path, setup)
        remarks: list[str] = []
    else:
        guesses, remarks = guess_columns(
            [raw.columns[at] for at in left], clock.reading.time_s[sample], keep[sample], setup
        )
        remarks += drop_doubtful(guesses)
    _take_role(guesses, role, drives)
    return _assemble(path, raw, clock, ids, left, guesses, [*bent, *remarks], role, own, setup)


def _overflow_undone(raw: RawTable, left: list[int]) -> tuple[RawTable, list[str]]:
    """The table with values that ran over the end of a counter put right, and what was."""
    columns, told = list(raw.columns), []
    for at in left:
        numbers = columns[at].numbers
        if numbers is None:
            continue
        undone = undo_overflow(numbers)
        if undone.told:
            columns[at] = replace(columns[at], numbers=undone.numbers)
            told.append(f"'{columns[at].header}': {undone.told}")
    return (replace(raw, columns=tuple(columns)) if told else raw), told


def _sample(
    keep: NDArray[np.intp], ids: IdColumn | None, whole: tuple[tuple[int, int], ...]
) -> slice | NDArray[np.intp]:
    """Which of the kept rows the guesses look at: of a long file the first id's, of a thinned one
    its whole stretches."""
    if whole:
        part = SAMPLE_ROWS // len(whole)
        rows = np.concatenate([np.arange(a, min(b, a + part)) for a, b in whole])
        return rows[rows < keep.size]
    if ids is not None:
        mine = np.flatnonzero(ids.groups[keep] == 0)
        return mine[:SAMPLE_ROWS]
    if keep.size <= SAMPLE_ROWS:
        return slice(None)
    # Whole stretches, so that changes from row to row stay what they are.
    part = SAMPLE_ROWS // 6
    starts = np.linspace(0, keep.size - part, 6).astype(np.intp)
    return (starts[:, None] + np.arange(part)).ravel()


def _take_role(guesses: list[Guess], role: str | None, drives: tuple[str, ...]) -> None:
    """In a file that was named as one drive's, a word for that side says nothing new."""
    if role is None or role in OTHER_ROLES:
        return
    for one in guesses:
        if one.drive == role or (one.drive is not None and len(drives) == 1):
            one.drive = None


def _assemble(
    path: str,
    raw: RawTable,
    clock: LogTime,
    ids: IdColumn | None,
    left: list[int],
    guesses: list[Guess],
    remarks: list[str],
    role: str | None,
    own: FileMap | None,
    setup: Setup | None,
) -> LogTable:
    reading = clock.reading
    drives = setup.drive_names if setup is not None else ()
    problems = [
        *raw.problems,
        *_cut_rows(raw),
        *reading.problems,
        *(ids.problems if ids else ()),
        *remarks,
    ]
    read = _read_columns(clock, ids, left, guesses)
    readings = _readings(raw, clock, ids, read.told)
    time_s, columns = reading.time_s, read.columns
    if ids is not None:
        time_s, columns = _side_by_side(reading.time_s, reading.keep, ids, columns)
    start, ahead_s = reading.start, 0.0
    if not raw.whole:
        time_s, ahead_s, set_told = undo_set_clock(time_s, columns)
        problems += set_told
        start = start if start is None else start + timedelta(seconds=ahead_s)
    if ids is None:
        columns, ways = directed(columns, raw.columns, reading.keep, time_s)
        problems += ways
    clean = only_data(time_s, columns, readings, drives, mapped=own is not None)
    columns, problems = clean.columns, [*problems, *read.problems, *clean.problems]
    odd = odd_pack(columns, readings, setup) if setup is not None else []
    problems += [f"{name}: {text}" for name, text in odd]
    found, found_sure = role_of(columns, role, own.role if own else None, drives, ids is not None)
    return LogTable(
        file=path,
        time_s=time_s,
        columns=columns,
        readings=readings,
        rows=raw.rows,
        rows_dropped=raw.rows_dropped + reading.dropped,
        rate_hz=rate_hz(time_s[slice(*raw.whole[0])] if raw.whole else time_s),
        start=start,
        role=found,
        role_sure=found_sure,
        problems=tuple(dict.fromkeys(problems)),
        notes=(*reading.notes, *odd),
        unjudged=(*read.unjudged, *clean.unjudged),
        first_s=reading.first_s + ahead_s,
        of_day=reading.of_day,
        restarts=reading.restarts if ids is None else (),
        form=raw.form,
    )


@dataclass(slots=True)
class _Read:
    """The columns as they are read, before what is no data is left out."""

    columns: dict[str, Values] = field(default_factory=dict)
    told: dict[int, ChannelReading] = field(default_factory=dict)
    """By the column's place in the file."""
    problems: list[str] = field(default_factory=list)
    unjudged: list[Unjudged] = field(default_factory=list)


def _read_columns(
    clock: LogTime, ids: IdColumn | None, left: list[int], guesses: list[Guess]
) -> _Read:
    """Each guessed column's values on the rows kept, and what is wrong with them."""
    reading, out = clock.reading, _Read()
    groups = None if ids is None else ids.groups[reading.keep]
    for at, one in zip(left, guesses, strict=True):
        name = full(one) if one.name is not None else None
        counts = counts_charge(one)
        cut = cut_at_top(one, reading.keep) if ids is None and not counts else None
        values, fault = values_of(one, reading.keep)
        if counts and name is not None and values is not None:
            values = counted_current(values.astype(np.float64), reading.time_s, groups)
            values = values if name not in out.columns else values + out.columns[name]
            out.unjudged += unseen_braking(one, name, guesses)
        out.problems += _column_problems(one, fault)
        if cut is not None and name is not None and values is not None:
            values, sides, text = without_top(values, cut)
            out.problems.append(f"'{one.column.header}': {text}")
            out.unjudged += [Unjudged(name, side, text) for side in sides]
        rate = None
        if values is not None and name is not None:
            out.columns[name] = values
            if values.dtype != object:
                rate = _rate(reading.time_s, values, ids, reading.keep)
        out.told[at] = ChannelReading(
            one.column.header, name, one.unit.name if name else _unit_word(one),
            one.sign.sign if name else 1, rate, round(one.sure, 3), one.why,
        )  # fmt: skip
    return out


def _column_problems(one: Guess, fault: str) -> list[str]:
    header, column = one.column.header, one.column
    problems = [f"'{header}': {fault}"] if fault else []
    if column.date_cells:
        problems.append(
            f"'{header}': {column.date_cells} numbers became dates, as a spreadsheet does: export "
            "the log again without it"
        )
    elif column.odd_cells:
        problems.append(f"'{header}': {column.odd_cells} cells are no numbers")
    return problems


def _cut_rows(raw: RawTable) -> list[str]:
    """A table that ends exactly where a spreadsheet's sheet does."""
    if raw.rows + 1 + len(raw.preamble) not in SHEET_ROWS and raw.rows not in SHEET_ROWS:
        return []
    return [
        f"the log ends at {raw.rows} rows, where spreadsheets cut: the rest of the ride may be "
        "missing; use the logger's own file"
    ]


def _unit_word(one: Guess) -> str:
    return one.words.unit.name.split("\n")[0] if one.words.unit is not None else ""


def _rate(
    time_s: NDArray[np.float64],
    values: Values,
    ids: IdColumn | None,
    keep: NDArray[np.intp],
) -> float | None:
    """The channel's own pace; looked for in the first `RATE_ROWS`."""
    rows: slice | NDArray[np.intp] = slice(0, RATE_ROWS)
    if ids is not None:
        rows = np.flatnonzero(ids.groups[keep] == 0)[:RATE_ROWS]
    return true_rate_hz(time_s[rows], values[rows].astype(np.float64))


def _readings(
    raw: RawTable, clock: LogTime, ids: IdColumn | None, told: Mapping[int, ChannelReading]
) -> tuple[ChannelReading, ...]:
    """One reading per column of the file, in its order."""
    out = []
    for at, column in enumerate(raw.columns):
        if at in clock.columns:
            sure = round(min(clock.reading.sure, 0.99), 3)
            out.append(ChannelReading(column.header, "time_s", clock.reading.unit, 1, None, sure))
        elif ids is not None and at == ids.at:
            out.append(ChannelReading(column.header, None, "", 1, None, ids.sure, "tells drives"))
        elif at in told:
            out.append(told[at])
        else:
            out.append(
                ChannelReading(column.header, None, "", 1, None, 0.9, "another clock, not used")
            )
    return tuple(out)


def _side_by_side(
    time_s: NDArray[np.float64],
    keep: NDArray[np.intp],
    ids: IdColumn,
    columns: Mapping[str, Values],
) -> tuple[NDArray[np.float64], dict[str, Values]]:
    """A long file's ids as columns of their own."""
    groups = ids.groups[keep]
    by_id: dict[int, dict[str, Values]] = {}
    for number, drive in enumerate(ids.drives):
        own: dict[str, Values] = {}
        for name, values in columns.items():
            row = channel_of(name)
            if row is not None and row.per_drive:
                own[f"{drive}.{name}"] = values
            elif number == 0:
                own[name] = values
        by_id[number] = own
    return join_groups(time_s, groups, by_id)

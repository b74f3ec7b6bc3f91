"""Which log holds what: `NAME=path` as typed, else headers, data and file name. In doubt, ask."""

from __future__ import annotations

import difflib
import os
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath

from importers.errors import LogError
from importers.guess_side import drive_of_side
from importers.log_table import LogTable
from importers.setup_types import Setup
from importers.words import plain, side_of

OTHER_ROLES = ("gps", "bms", "all")
SURE = 0.8
"""A role guessed with at least this is taken without asking. Our choice."""


@dataclass(frozen=True, slots=True)
class NamedLog:
    """An argument taken apart."""

    path: str
    role: str | None
    """As typed, None where the argument is a path alone."""


def named_logs(logs: Sequence[str], setup: Setup) -> list[NamedLog]:
    """`NAME=path` arguments taken apart.

    Raises
    ------
    LogError : a name that is neither a drive of the setup nor `gps`, `bms`, `all`; a file given
        twice
    """
    out = [_named(log, setup) for log in logs]
    if not out:
        raise LogError(where="", what="no log was given", remedy="Name the log files of one ride.")
    seen: dict[str, str] = {}
    for one in out:
        key = os.path.realpath(one.path)
        if key in seen:
            raise LogError(
                where=one.path, what="is given twice", remedy="Name each log of the ride once."
            )
        seen[key] = one.path
    return out


def _named(log: str, setup: Setup) -> NamedLog:
    name, mark, path = log.partition("=")
    known = (*setup.drive_names, *OTHER_ROLES)
    if not mark or not path:
        return NamedLog(log, None)
    if name in known:
        return NamedLog(path, name)
    if os.path.exists(log):
        return NamedLog(log, None)
    near = difflib.get_close_matches(name, known, 1)
    hint = f"Did you mean {near[0]}={path}? " if near else ""
    raise LogError(
        where=log,
        what=f"'{name}' is no drive of the setup",
        remedy=f"{hint}It can be {_listed(known)}.",
    )


NOTHING_KNOWN = "no header in it says what its column holds"


def settle_roles(
    tables: Sequence[LogTable], typed: Sequence[str | None], setup: Setup
) -> list[str]:
    """A role for every log, in their order.

    Raises
    ------
    LogError : it cannot be told; the message prints the line to type instead
    """
    roles = guess_roles(tables, typed, setup)
    open_logs = [at for at, role in enumerate(roles) if role is None]
    if open_logs:
        raise _in_doubt(tables, roles, open_logs, setup)
    return [role for role in roles if role is not None]


def guess_roles(
    tables: Sequence[LogTable], typed: Sequence[str | None], setup: Setup
) -> list[str | None]:
    """A role for every log, None where it cannot be told."""
    roles = [_first_guess(one, name, setup) for one, name in zip(tables, typed, strict=True)]
    open_logs = [at for at, role in enumerate(roles) if role is None]
    for at in open_logs:
        roles[at] = _by_file_name(tables[at].file, setup.drive_names)
    open_logs = [at for at, role in enumerate(roles) if role is None]
    left_over = [one for one in setup.drive_names if one not in roles]
    if len(open_logs) == 1 and len(left_over) == 1 and _all_but_one_known(roles, setup):
        roles[open_logs[0]] = left_over[0]
    return roles


def _first_guess(table: LogTable, typed: str | None, setup: Setup) -> str | None:
    if typed is not None:
        return typed
    if table.role is not None and table.role_sure >= SURE:
        known = (*setup.drive_names, *OTHER_ROLES)
        return table.role if table.role in known else None
    if not any("." in name for name in table.columns) and len(setup.drives) == 1:
        return setup.drive_names[0] if table.role in (None, *setup.drive_names) else table.role
    return None


def _by_file_name(file: str, drives: Sequence[str]) -> str | None:
    """The drive (or `gps`, `bms`) that a file name speaks of, when it speaks of one only."""
    stem = PurePath(file).name.casefold()
    words = re.split(r"[^0-9a-zà-öø-ÿ]+", stem)
    for known in (*drives, "gps", "bms"):
        if known.casefold() in words:
            told = {one for one in (*drives, "gps", "bms") if one.casefold() in words}
            return known if len(told) == 1 else None
    sides = {side for word in words if len(word) > 1 and (side := side_of(plain(word)))}
    if len(sides) == 1 and (drive := drive_of_side(sides.pop(), drives)) is not None:
        return drive
    inside = [one for one in drives if len(one) > 2 and one.casefold() in stem]
    return inside[0] if len(inside) == 1 else None


def _all_but_one_known(roles: Sequence[str | None], setup: Setup) -> bool:
    """Whether the other drives' logs are all there, so that one log and one drive are left."""
    return len(setup.drives) == 1 or any(one in setup.drive_names for one in roles if one)


def _in_doubt(
    tables: Sequence[LogTable], roles: Sequence[str | None], open_logs: list[int], setup: Setup
) -> LogError:
    for at in open_logs:
        if not tables[at].columns:
            file = tables[at].file
            return LogError(where=file, what=NOTHING_KNOWN, remedy=map_to_write(file))
    names = _listed([tables[at].file for at in open_logs])
    one = len(open_logs) == 1
    return LogError(
        where="",
        what=f"cannot tell what {names} {'holds' if one else 'hold'}",
        remedy=f"Type it (or the other way round): {line_to_type(tables, roles, setup)}. "
        f"A name can be {_listed([*setup.drive_names, *OTHER_ROLES])}.",
    )


def map_to_write(path: str) -> str:
    """What to do about a file of whose columns none is known."""
    words = shlex.join(["hillproof", "look", path, "--write-map", "map.toml"])
    return f"Say in a map file what they hold: {words}, edit it, and read with --map map.toml."


def line_to_type(tables: Sequence[LogTable], roles: Sequence[str | None], setup: Setup) -> str:
    """The command that names every log, open ones by the drives that are left."""
    spare = [one for one in setup.drive_names if one not in roles] or list(setup.drive_names)
    words = []
    for table, role in zip(tables, roles, strict=True):
        name = role if role is not None else (spare.pop(0) if spare else "NAME")
        words.append(shlex.quote(f"{name}={table.file}"))
    return f"hillproof ride {' '.join(words)}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"

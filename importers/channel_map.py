"""Map files: a saved reading of log files that wins over the guesses.

["left.csv"]
role = "left"
time = "time [s]"
channels."Battery current [A]" = { channel = "left.battery_current_a", unit = "A", sign = 1 }
ids = { "1" = "left", "2" = "right" }
"""

from __future__ import annotations

import difflib
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any

from importers.channels import CHANNELS, COUNTED, Channel, channel_of
from importers.errors import LogError
from importers.ride import Source
from importers.units import parse_unit

FILE_KEYS = ("role", "time", "channels", "ids")
CHANNEL_KEYS = ("channel", "unit", "sign")


@dataclass(frozen=True, slots=True)
class MappedChannel:
    """What a map says of one column."""

    channel: str
    unit: str = ""
    sign: int = 1


@dataclass(frozen=True, slots=True)
class FileMap:
    """What a map says of one file; columns it does not name are not read."""

    role: str | None = None
    time: str | None = None
    channels: Mapping[str, MappedChannel] = field(default_factory=dict)
    ids: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ChannelMap:
    """A map file: readings by file name."""

    file: str
    files: Mapping[str, FileMap]

    def of(self, path: str) -> FileMap | None:
        """The reading of a file, by its path as typed, else by its name."""
        return self.files.get(path) or self.files.get(PurePath(path).name)


def read_map(path: str) -> ChannelMap:
    """A map file.

    Raises
    ------
    LogError : it cannot be read; every fault in it is named
    """
    try:
        text = Path(path).read_text("utf-8-sig")
        raw = tomllib.loads(text)
    except (OSError, UnicodeDecodeError) as error:
        raise LogError(
            where=path, what="the map file cannot be read", remedy=f"({error}) Check its name."
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise LogError(
            where=path, what=f"the map is no TOML: {error}",
            remedy="`hillproof look LOG --write-map FILE` writes one to start from.",
        ) from error  # fmt: skip
    faults: list[LogError] = []
    files = {name: _file_map(path, text, name, part, faults) for name, part in raw.items()}
    if faults:
        first, *more = faults
        raise LogError(where=first.where, what=first.what, remedy=first.remedy, more=tuple(more))
    return ChannelMap(path, files)


def _where(path: str, text: str, word: str) -> str:
    """The file and the line in which a word stands."""
    for number, line in enumerate(text.splitlines(), 1):
        if word in line:
            return f"{path}, line {number}"
    return path


def _file_map(path: str, text: str, name: str, part: Any, faults: list[LogError]) -> FileMap:
    def fault(word: str, what: str, remedy: str) -> None:
        faults.append(LogError(where=_where(path, text, word), what=what, remedy=remedy))

    if not isinstance(part, dict):
        fault(name, f"'{name}' is no table of a file", f'Write it as a table: ["{name}"].')
        return FileMap()
    for key in part:
        if key not in FILE_KEYS:
            near = difflib.get_close_matches(key, FILE_KEYS, 1)
            hint = f"Did you mean '{near[0]}'?" if near else f"Known: {', '.join(FILE_KEYS)}."
            fault(key, f"unknown key '{key}' in [\"{name}\"]", hint)
    for key in ("role", "time"):
        if key in part and not isinstance(part[key], str):
            fault(key, f"'{key}' must be text", f'Write it in quotes: {key} = "…".')
            part = {**part, key: None}
    channels: dict[str, MappedChannel] = {}
    for header, one in _table(part, "channels", fault).items():
        found = _mapped(header, one, fault)
        if found is not None:
            channels[header] = found
    ids = {str(key): str(value) for key, value in _table(part, "ids", fault).items()}
    return FileMap(part.get("role"), part.get("time"), channels, ids)


def _table(part: Mapping[str, Any], key: str, fault: Any) -> Mapping[str, Any]:
    value = part.get(key, {})
    if isinstance(value, dict):
        return value
    fault(key, f"'{key}' must be a table", f'`{key}."…" = …` makes one.')
    return {}


def _mapped(header: str, one: Any, fault: Any) -> MappedChannel | None:
    if not isinstance(one, dict) or not isinstance(one.get("channel"), str):
        fault(header, f"'{header}' needs a channel", '{ channel = "…", unit = "…", sign = 1 }')
        return None
    for key in one:
        if key not in CHANNEL_KEYS:
            fault(header, f"unknown key '{key}' of '{header}'", f"Known: {', '.join(CHANNEL_KEYS)}")
    row = channel_of(one["channel"])
    if row is None:
        base = one["channel"].rsplit(".", 1)[-1]
        near = difflib.get_close_matches(base, CHANNELS, 1)
        hint = f"Did you mean '{near[0]}'?" if near else f"Known: {', '.join(CHANNELS)}."
        fault(header, f"'{one['channel']}' is no channel", hint)
        return None
    unit, sign = one.get("unit", ""), one.get("sign", 1)
    if not isinstance(unit, str) or (unit and not _unit_fits(unit, row)):
        fault(header, f"'{unit}' is no unit of a {row.dimension}", f"For example '{row.unit}'.")
        return None
    if sign not in (1, -1) or isinstance(sign, bool):
        fault(header, f"the sign of '{header}' must be 1 or -1", "-1 turns the channel round.")
        return None
    return MappedChannel(one["channel"], unit, int(sign))


def _unit_fits(unit: str, row: Channel) -> bool:
    if row.dimension == "text":
        return True
    also = {"fraction": "pulse", "current": "charge" if row.name == COUNTED else ""}
    dimensions = (row.dimension, also.get(row.dimension, ""))
    return any(parse_unit(unit, one) is not None for one in dimensions if one)


def map_text(sources: Sequence[Source]) -> str:
    """The reading of these files as a map file to edit."""
    lines = [
        "# How hillproof read these files. Edit what is wrong; a column left out is not read.",
        "# Channels, units and signs: see README. Use it with: hillproof ride LOG… --map FILE",
    ]
    for source in sources:
        lines += ["", f"[{_quoted(PurePath(source.file).name)}]"]
        if source.role is not None:
            lines.append(f"role = {_quoted(source.role)}")
        times = [one for one in source.channels if one.channel == "time_s"]
        if times:
            lines.append(time_line(times[0].header))
        for one in source.channels:
            if one.channel is None or one.channel == "time_s":
                continue
            entry = map_line(one.header, one.channel, one.unit, one.sign)
            lines.append(entry if one.sure >= 0.95 else f"{entry}  # {int(100 * one.sure)} % sure")
        unread = [one for one in source.channels if one.channel is None]
        if unread:
            lines.append("# not read; name a channel and take the sign # away to read one:")
        lines += [f"# {map_line(one.header, '', one.unit, 1)}" for one in unread]
    return "\n".join(lines) + "\n"


def map_line(header: str, channel: str, unit: str, sign: int) -> str:
    """The line of a map file that settles how one column is read."""
    return (
        f"channels.{_quoted(header)} = {{ channel = {_quoted(channel)}, "
        f"unit = {_quoted(unit)}, sign = {sign} }}"
    )


def time_line(header: str) -> str:
    """The line of a map file that names the column of time."""
    return f"time = {_quoted(header)}"


def _quoted(text: str) -> str:
    """A TOML basic string: JSON's escapes are a subset of TOML's."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")

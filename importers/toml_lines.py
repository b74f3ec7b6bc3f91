"""On which line of a TOML text does a key stand? The standard parser tells this for syntax errors
only; every other fault of a setup has to name its line too."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

KeyPath = tuple[str | int, ...]
"""The way to a value: table names, keys, and the place in an array of tables."""

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|[\[\]{}\n]"
    r"|[^\[\]{}\n\"'\#]+"
    r"|.",
    re.DOTALL,
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line (from 1) of every key and table header of `text`, which is taken to be valid TOML.

    Keys inside an inline table are not listed: ask `line_of`, which falls back to its table.
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    for line, statement in _statements(text):
        if statement.startswith("[["):
            path = _with_places(_split_key(statement.strip("[] \t")), counts)
            counts[path] = counts.get(path, -1) + 1
            table = (*path, counts[path])
            lines.setdefault(path, line)
            lines[table] = line
        elif statement.startswith("["):
            table = _with_places(_split_key(statement[1:].rstrip("] \t")), counts)
            _set_first(lines, table, line)
        else:
            key = _split_key(_before_equals(statement))
            if key:
                _set_first(lines, (*table, *key), line)
    return lines


def line_of(path: KeyPath, lines: dict[KeyPath, int]) -> int:
    """The line of a key, else of the nearest table around it, else 1."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def _set_first(lines: dict[KeyPath, int], path: KeyPath, line: int) -> None:
    """A key's line, and for the tables a dotted key makes on the way, the first mention."""
    lines[path] = line
    for length in range(1, len(path)):
        lines.setdefault(path[:length], line)


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """(line it begins on, text) of each header and each key with its value, comments left out."""
    line, depth, begun = 1, 0, 1
    parts: list[str] = []
    for match in _TOKEN.finditer(text.replace("\r\n", "\n")):
        token = match.group()
        if token == "\n" and depth <= 0:
            if statement := "".join(parts).strip():
                yield begun, statement
            parts, depth, begun = [], 0, line + 1
        elif not token.startswith("#"):
            depth += (token in "[{") - (token in "]}") if len(token) == 1 else 0
            parts.append(token)
        line += token.count("\n")
    if statement := "".join(parts).strip():
        yield begun, statement


def _before_equals(statement: str) -> str:
    """The key of a `key = value` statement; quoted keys may hold an equals sign."""
    at = 0
    for match in _TOKEN.finditer(statement):
        token = match.group()
        if token[0] in "\"'":
            at = match.end()
            continue
        if "=" in token:
            return statement[: match.start() + token.index("=")]
    return statement[:at]


def _split_key(text: str) -> tuple[str, ...]:
    """The parts of a bare, quoted or dotted key, read by the standard parser itself."""
    try:
        level: object = tomllib.loads(f"{text.strip()} = 0")
    except ValueError:
        return ()
    parts: list[str] = []
    while isinstance(level, dict) and level:
        name, level = next(iter(level.items()))
        parts.append(name)
    return tuple(parts)


def _with_places(key: tuple[str, ...], counts: dict[KeyPath, int]) -> KeyPath:
    """A header's path, with the place of the array element that each part of it lies in."""
    path: KeyPath = ()
    for number, part in enumerate(key):
        path = (*path, part)
        if number < len(key) - 1 and path in counts:
            path = (*path, counts[path])
    return path

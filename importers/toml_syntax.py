"""What did the rider mean where the text is no TOML? One guess per broken line, in plain words."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass

MOST_BROKEN = 20
"""After so many broken lines the file is something else altogether. Our choice."""

_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_KEY = re.compile(r"\s*([A-Za-z0-9_.\-\"' ]+?)\s*=")


@dataclass(frozen=True, slots=True)
class BrokenLine:
    """A line that is no TOML, what is wrong with it and what to write instead."""

    line: int
    key: str
    """The key on that line, empty where there is none."""
    what: str
    remedy: str


def load_leniently(text: str) -> tuple[dict[str, object] | None, str, tuple[BrokenLine, ...]]:
    """The values of a TOML text, the text without its broken lines, and those lines.

    Broken `key = value` lines are left out one by one, so that one typo does not hide the others;
    where a table header is broken everything below it would land in the wrong table, so the values
    are None.
    """
    broken: list[BrokenLine] = []
    while True:
        try:
            return tomllib.loads(text), text, tuple(broken)
        except RecursionError:
            one = BrokenLine(
                1, "", "brackets are nested too deeply", "A setup needs no such depth."
            )
            return None, text, (*broken, one)
        except ValueError as error:
            one, mended = _describe(text, str(error))
            broken.append(one)
            if mended is None or len(broken) >= MOST_BROKEN:
                return None, text, tuple(broken)
            text = mended


def _describe(text: str, message: str) -> tuple[BrokenLine, str | None]:
    """The broken line, and the text without it where that leaves the rest as it was meant."""
    lines = text.split("\n")
    found = _LINE.search(message)
    number = int(found.group(1)) if found else len(lines)
    while number > 1 and not lines[number - 1].strip() and not found:
        number -= 1
    number = min(number, len(lines))
    line = lines[number - 1].rstrip("\r")
    key = _KEY.match(line)
    name = key.group(1).strip("\"' ") if key and not line.lstrip().startswith(("[", "#")) else ""
    what, remedy = _guess(line, message)
    one = BrokenLine(number, _under(lines[: number - 1]) + name if name else "", what, remedy)
    if not name or '"""' in text or "'''" in text:
        return one, None
    lines[number - 1] = "#"
    return one, "\n".join(lines)


def _under(lines: list[str]) -> str:
    """The name of the table that the last header of `lines` opens, with a dot; else empty."""
    for line in reversed(lines):
        if header := re.match(r"\s*\[+\s*([^\[\]]+?)\s*\]+\s*(#.*)?$", line):
            return header.group(1).replace(" ", "") + "."
    return ""


_CASES: tuple[tuple[str, str, str], ...] = (
    (
        r"=\s*([+-]?\d[\d ]*),(\d+)\s*(#.*)?$",
        "has a comma in a number",
        "Write a point: {1}.{2}",
    ),
    (
        r"=\s*([+-]?\d+(?:\.\d+)?)\s*([A-Za-z°%µΩ²/]+)\s*(#.*)?$",
        "has a unit after the number",
        "Write the number alone: {1} (the key's name ends with its unit)",
    ),
    (r"=\s*([+-]?)\.(\d+)\s*(#.*)?$", "begins a number with a point", "Write {1}0.{2}"),
    (r"=\s*([+-]?\d+)\.\s*(#.*)?$", "ends a number with a point", "Write {1}.0"),
    (
        r"=\s*(\d{1,2})[./](\d{1,2})[./](\d{4})\s*(#.*)?$",
        "has a date in another order",
        "Write year, month, day: {3}-MM-DD",
    ),
    (r"[“”„‘’«»]", "has curly quotes", 'Use straight ones: "'),
    (r"=\s*(#.*)?$", "has no value after the equals sign", "Give one, or take the line out"),
    (
        r"^\s*([A-Za-z_][\w-]*)\s*:\s*(.+)$",
        "has a colon instead of an equals sign",
        "Write {1} = {2}",
    ),
    (r"^\s*\[[^\]]*$", "opens a table header and does not close it", "Close it with ]"),
    (r"=\s*(True|TRUE|False|FALSE|yes|no|on|off)\b", "has no TOML value", "No key needs yes or no"),
    (
        r"=\s*([^\W\d][^\"'#\[\]{{}}]*?)\s*(#.*)?$",
        "has text without quotes",
        'Write "{1}" in quotes',
    ),
    (r"=\s*0\d", "has a number that begins with 0", "Leave the leading zero out"),
    (r"^\s*[A-Za-z_][\w-]*\s+[\d.]+", "has no equals sign", "Write key = value"),
)


def _guess(line: str, message: str) -> tuple[str, str]:
    header = re.match(r"\s*\[{1,2}\s*([^\]]+?)\s*\]", line)
    again = ("Cannot declare", "twice", "Cannot overwrite", "Cannot mutate")
    if header and any(words in message for words in again):
        remedy = "Put its keys under one header"
        if header[1] == "pack":
            remedy += "; two packs in parallel cannot be judged: their sum would be true of neither"
        return f"[{header[1]}] stands twice", f"{remedy}."
    if "Cannot overwrite" in message or "Cannot mutate" in message:
        return "stands twice", "Keep one of them."
    for pattern, what, remedy in _CASES:
        if found := re.search(pattern.replace("{{", "{").replace("}}", "}"), line):
            groups = [(part or "").strip() for part in found.groups()]
            return what, remedy.format("", *groups) + "."
    return (
        f"is not TOML ({_LINE.sub('', message).strip()})",
        'Lines read key = value, texts stand in "quotes", table names in [brackets].',
    )

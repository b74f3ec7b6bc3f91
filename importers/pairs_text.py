"""Lines of named values (`t=1.2 il=3.4`, `{"t": 1.2, "il": 3.4}`) as a table with a header.

What a microcontroller prints to its serial line, or a phone writes as JSON, one object a line
(RFC 8259). Pure; texts that are no such lines stay as they are.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from importers.text_bytes import Text

HEAD_BYTES = 1 << 15
"""Looked at to tell such lines [bytes]. Our choice."""
LEAST_LINES, LEAST_PAIRS = 5, 2
"""Fewer lines, or fewer values on a line, are no such table. Our choice."""
SHARE = 0.8
"""Share of lines that must be of named values. Our choice: a start-up message may stand above."""
MOST_KEYS = 2000
"""More names than this are no table's. Our choice."""
STAMP = "time"
"""What a bare value before the first name is called."""
_KEY = r"[^\W\d][^=:,;\t|{}\"]*?"
_PAIR = re.compile(rf"(?P<key>{_KEY}) ?[=:] ?(?P<value>[^\s,;|\t=]+)(?:[,;|\t ]+|$)")
_LEAD = re.compile(r"(?P<lead>[\[(]?\d[\d.:TZ+/\- ]*(?:,\d{1,6})?[\])]?)[,;|\t ]+(?=[^\W\d])")

Pairs = dict[str, str]


def with_header(text: Text) -> Text:
    """The text as a table, where its lines are named values; as it is where they are not."""
    head = bytes(text.data[:HEAD_BYTES])
    if b"=" not in head and b":" not in head:
        return text
    lines = [one for one in head.decode("utf-8", "replace").split("\n")[:-1] if one.strip()]
    read = next((one for one in (_of_json, _of_text) if _are_pairs(lines, one)), None)
    if read is None:
        return text
    rows = [
        pairs for line in bytes(text.data).decode("utf-8", "replace").split("\n")
        if len(pairs := read(line)) >= LEAST_PAIRS
    ]  # fmt: skip
    names = list(dict.fromkeys(name for row in rows for name in row))[:MOST_KEYS]
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    writer.writerow(names)
    writer.writerows([row.get(name, "") for name in names] for row in rows)
    told = "each line names its values: read as a table"
    return replace(text, data=out.getvalue().encode(), problems=(*text.problems, told))


def _are_pairs(lines: Sequence[str], read: Callable[[str], Pairs]) -> bool:
    good = sum(len(read(line).keys() - {STAMP}) >= LEAST_PAIRS for line in lines)
    return good >= LEAST_LINES and good >= SHARE * len(lines)


def _of_json(line: str) -> Pairs:
    line = line.strip().rstrip(",")
    if not line.startswith("{") or not line.endswith("}"):
        return {}
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return _flat(found, "") if isinstance(found, dict) else {}


def _flat(found: dict[str, object], before: str) -> Pairs:
    out: Pairs = {}
    for key, value in found.items():
        name = f"{before} {key}".strip()
        if isinstance(value, dict):
            out |= _flat(value, name)
        elif value is not None and not isinstance(value, list):
            out[name] = str(value)
    return out


def _of_text(line: str) -> Pairs:
    """Names and values of a line that holds nothing else but a time before them."""
    line = line.strip()
    out: Pairs = {}
    if lead := _LEAD.match(line):
        out[STAMP], line = lead["lead"].strip("[() ]"), line[lead.end() :]
    at = 0
    while at < len(line):
        found = _PAIR.match(line, at)
        if found is None:
            return {}
        out[found["key"].strip()] = found["value"]
        at = found.end()
    return out

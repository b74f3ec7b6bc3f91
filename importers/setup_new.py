"""The commented starter file, and the questions that fill it in one by one."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from importers.errors import SetupError
from importers.setup_drives import BAD_LETTERS, TAKEN
from importers.setup_file import parse_setup
from importers.setup_keys import TABLES, Key, Kind

DRIVES_KEY = "drives"
"""The question for the drives' names; its answer is names parted by spaces or commas."""
MOST_DRIVES = 16
"""More names than this are no answer to the question. Our choice."""

INTRO = """\
# The setup of one build. Lines that begin with # are not read: take the # away and put your own
# value in. What is not given is not checked; reports list what was left out for want of which key.
# Read values off the datasheet, the controller's settings or the label, never from memory.
# Currents are positive numbers; their direction is in the name, and at its end stands the unit.
"""
HEADS: dict[str, str] = {
    "vehicle": "",
    "pack": "# One pack: all cells behind one battery management system (BMS).\n",
    "bms": "# What the BMS allows through. Ratings are for ever, trips are where it opens.\n",
    "wiring": "",
    "drives": (
        "# One table per motor controller: any number, any names. Limits as set on it.\n"
        "# Two drives on one pack draw together: their battery limits ADD UP against the BMS.\n"
    ),
    "hills": "",
    "logger": "",
}
FAULT_WORDS = """\
# [fault_words]
# Your controller's fault numbers, from its manual, to causes (README lists the words).
# 7 = "controller_overheat"
"""
MEANT_FOR_ASKING = ("vehicle", "pack", "bms", "wiring", "drives", "logger")
"""Tables whose keys are asked for; hills are easier to write down by hand."""
_NOT_ASKED = ("pack.rest_voltage_curve", "drives.same_as", "drives.follows")


@dataclass(frozen=True, slots=True)
class Question:
    """One value to ask the rider for."""

    key: str
    """The key it fills: `pack.series`; `drives` for the names, `drives.KEY` for each limit."""
    text: str
    unit: str
    default: str
    """An example of an answer; it is never taken silently."""
    required: bool
    check: Callable[[str], str | None]
    """What is wrong with an answer, in one sentence, or None."""


def new_setup_text(answers: Mapping[str, str] | None = None) -> str:
    """A commented setup file with every key and its meaning; answered keys are filled in.

    `answers` maps the keys of `QUESTIONS` to what was typed. Without an answer a required key
    carries its example, marked so; an optional one is commented out.

    Raises
    ------
    SetupError : an answer, or two of them together, cannot be
    """
    given = dict(answers or {})
    names = _drive_names(given.get(DRIVES_KEY, "left right"))
    blocks = [INTRO]
    for table, keys in TABLES.items():
        if table == "drives":
            blocks.append(HEADS[table] + _drive_tables(names, keys, given))
        else:
            blocks.append(HEADS[table] + _table_text(table, keys, given))
    text = "\n".join([*blocks, FAULT_WORDS])
    parse_setup(text, "answers" if answers else "starter")
    return text


def _table_text(table: str, keys: tuple[Key, ...], given: Mapping[str, str]) -> str:
    # Headers of empty tables stay live: a key freed below a dead one would land in another table.
    header = "# [[hills]]" if table == "hills" else f"[{table}]"
    lines = [_line(key, given.get(key.path), live=table != "hills") for key in keys]
    return "\n".join([header, *lines]) + "\n"


def _drive_tables(names: list[str], keys: tuple[Key, ...], given: Mapping[str, str]) -> str:
    """The first drive with every key, the others the same as it."""
    first, *others = [_quoted_name(name) for name in names]
    lines = [f"[drives.{first}]"]
    lines += [_line(k, given.get(k.path)) for k in keys if k.name not in ("same_as", "follows")]
    same, follows = (next(k for k in keys if k.name == name) for name in ("same_as", "follows"))
    target = _text_value(names[0])
    for name in others:
        lines += ["", f"[drives.{name}]", _line(same, names[0])]
        lines.append(_line(replace(follows, example=target), None))
    return "\n".join(lines) + "\n"


def _line(key: Key, answer: str | None, *, live: bool = True) -> str:
    unit = f" [{key.unit}]" if key.unit else ""
    if answer is not None and answer.strip():
        return f"{_padded(f'{key.name} = {_toml_value(key, answer)}')} # {key.meaning}{unit}"
    if key.required and live:
        meaning = f"{key.meaning}{unit} EXAMPLE: put your own"
        return f"{_padded(f'{key.name} = {key.example}')} # {meaning}"
    return f"{_padded(f'# {key.name} = {key.example}')} # {key.meaning}{unit}"


def _padded(text: str) -> str:
    return text.ljust(34)


def _toml_value(key: Key, answer: str) -> str:
    """What was typed as a TOML value; decimal commas and units after the number are forgiven."""
    text = answer.strip()
    if key.kind in (Kind.TEXT, Kind.WORD):
        return _text_value(text.lower() if key.kind is Kind.WORD else text)
    if key.kind is Kind.DATE:
        return text
    number = re.fullmatch(r"([+-]?\d*[.,]?\d+)\s*[^\d\s.,][^\d]*|([+-]?\d*[.,]?\d+)", text)
    plain = (number.group(1) or number.group(2)).replace(",", ".") if number else text
    try:
        value = float(plain)
    except ValueError:
        return _text_value(text)
    return str(int(value)) if value.is_integer() and abs(value) < 1e12 else repr(value)


def _text_value(text: str) -> str:
    """A text as a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    hidden = "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in escaped)
    return f'"{hidden}"'


def _quoted_name(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text_value(name)


def _drive_names(answer: str) -> list[str]:
    return [name for name in re.split(r"[,;\s]+", answer.strip()) if name] or ["left", "right"]


def _names_fault(answer: str) -> str | None:
    names = _drive_names(answer)
    if len({name.lower() for name in names}) < len(names):
        return "Two drives need two names."
    if len(names) > MOST_DRIVES:
        return f"These are {len(names)} names; one for each controller is expected."
    for name in names:
        if name.lower() in TAKEN or any(c in BAD_LETTERS or not c.isprintable() for c in name):
            return f"{name!r} cannot be a drive's name; left, right, front, motor can."
    return None


def _check_of(key: Key) -> Callable[[str], str | None]:
    def check(answer: str) -> str | None:
        if not answer.strip():
            return f"This one is needed: {key.expected}." if key.required else None
        from importers.setup_faults import Faults
        from importers.setup_values import read_value
        from importers.toml_syntax import load_leniently

        values, _, broken = load_leniently(f"{key.name} = {_toml_value(key, answer)}")
        if values is None or broken:
            return f"Expected {key.expected}."
        faults = Faults("", {})
        read_value(key, values[key.name], (key.name,), faults)
        return " ".join(f"{what}. {remedy}" for _, what, remedy in faults.found[:1]) or None

    return check


def _questions() -> tuple[Question, ...]:
    found = []
    for table in MEANT_FOR_ASKING:
        if table == "drives":
            text = "Names of the motor controllers, parted by spaces"
            found.append(Question(DRIVES_KEY, text, "", "left right", False, _names_fault))
        for key in TABLES[table]:
            if key.path in _NOT_ASKED:
                continue
            text = f"{table}, {key.name}: {key.meaning}"
            if table == "drives":
                text = f"each drive, {key.name}: {key.meaning}"
            default = key.example.strip('"')
            found.append(Question(key.path, text, key.unit, default, key.required, _check_of(key)))
    return tuple(found)


QUESTIONS: tuple[Question, ...] = _questions()
"""What `setup new --ask` asks, in the file's order. An empty answer leaves a value out."""


def answers_fault(answers: Mapping[str, str]) -> str | None:
    """What is wrong with these answers taken together, or None: an empty cell above a full one."""
    try:
        new_setup_text(answers)
    except SetupError as error:
        return f"{error.what}. {error.remedy}".strip()
    return None

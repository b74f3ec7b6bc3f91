"""What one cell of text is by its shape: a number, a date or time, missing, or words."""

from __future__ import annotations

import re

MISSING = (
    "",
    "-",
    "--",
    "---",
    "?",
    ".",
    "*",
    "nan",
    "NaN",
    "NAN",
    "-nan",
    "null",
    "Null",
    "NULL",
    "nil",
    "none",
    "None",
    "NONE",
    "na",
    "NA",
    "n/a",
    "N/A",
    "#N/A",
    "#DIV/0!",
    "#VALUE!",
    "#REF!",
    "#NV",
    "inf",
    "Inf",
    "INF",
    "-inf",
    "-Inf",
    "-INF",
    "+inf",
    "infinity",
    "-infinity",
    "Infinity",
    "-Infinity",
    "ovf",
    "OVF",
    "void",
    "missing",
    "invalid",
)
"""Cells that say there is no value. Common practice of loggers and spreadsheets, no source."""

_MISSING = frozenset(MISSING)
_EXPONENT = r"(?:[eE][+-]?\d{1,3})?"
_NUMBER = {
    ".": re.compile(rf"[+\-−]?(?:\d+\.?\d*|\.\d+){_EXPONENT}"),
    ",": re.compile(rf"[+\-−]?(?:\d+,?\d*|,\d+){_EXPONENT}"),
}
_GROUPED = {
    ".": re.compile(r"[+\-−]?\d{1,3}(?:([,' \u00a0\u202f’_])\d{3})(?:\1\d{3})*(?:\.\d+)?"),
    ",": re.compile(r"[+\-−]?\d{1,3}(?:([.' \u00a0\u202f’_])\d{3})(?:\1\d{3})*(?:,\d+)?"),
}
_TIME = r"\d{1,3}:\d{1,2}(?::\d{1,2}(?:[.,:]\d{1,9})?)?(?:\.\d+)?(?: ?[AaPp]\.?[Mm]\.?)?"
_ZONE = r"(?: ?(?:Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2}))?"
_DAY = (
    r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}\.?"
    r"|\d{1,2}[-/. ][A-Za-zä]{3,9}\.?[-/. ]\d{2,4}|[A-Za-z]{3,9} \d{1,2},? \d{4}"
    r"|\d{4}-?W\d{2}-?\d|\d{4}-\d{3}(?=T)|\d{8}T)"
)
_WHEN = re.compile(
    rf"(?:(?:[A-Za-z]{{2,9}},? )?{_DAY}(?:(?:T|, | |_|t)?(?:{_TIME}|\d{{6}}(?:\.\d+)?))?"
    rf"|{_TIME}){_ZONE}"
)


def is_missing(cell: str) -> bool:
    """Whether the cell says that there is no value."""
    return cell in _MISSING


def is_number(cell: str, decimal: str) -> bool:
    """Whether the cell is a number with that decimal mark, thousands marks allowed."""
    return bool(_NUMBER[decimal].fullmatch(cell)) or is_grouped(cell, decimal)


def is_grouped(cell: str, decimal: str) -> bool:
    """Whether the cell is a number with a mark between its thousands."""
    found = _GROUPED[decimal].fullmatch(cell)
    return bool(found) and not cell.lstrip("+-−").startswith("0")


def is_when(cell: str) -> bool:
    """Whether the cell is a date, a time of day, or both."""
    return bool(_WHEN.fullmatch(cell))


def is_value(cell: str, decimal: str) -> bool:
    """Whether the cell is a value: a number, date or time."""
    return is_number(cell, decimal) or is_when(cell)

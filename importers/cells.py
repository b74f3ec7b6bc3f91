"""What one cell of text is by its shape: a number, a date or time, missing, or words."""

from __future__ import annotations

import re

from importers.time_spelling import usual_cell

SHORTEST_WHEN = 6
"""The fewest characters of a time spelled in a less usual way, `9h12:5`. Our choice."""
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
_TIME = r"\d{1,3}:\d{1,2}(?::\d{1,2}(?:[.,:]\d{1,9})?)?(?:[.,]\d+)?(?: ?[AaPp]\.? ?[Mm]\.?)?"
_ZONE = r"(?: ?(?:Z|(?:UTC|GMT)?[+-]\d{2}:?\d{2}|[+-]\d{2}|[A-Z]{3,4}))?"
_DAYS = r"(?:\d{1,4} ?(?:days?|d|Tage?|jours?|j)[, ]+)?\+?"
_DAY = (
    r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}\.?"
    r"|\d{1,2}[-/. ]{1,2}[^\W\d_]{3,10}[-/., ]{1,2}\d{2,4}|[^\W\d_]{3,10} \d{1,2},? \d{4}"
    r"|\d{4}-?W\d{2}-?\d|\d{4}-\d{3}(?=T)|\d{8}T)"
)
_WHEN = re.compile(
    rf"(?:(?:[^\W\d_]{{2,10}}[.,]{{0,2}} )?{_DAY}(?:(?:T|, | |_|t)?(?:{_TIME}|\d{{6}}(?:\.\d+)?))?"
    rf"|{_DAYS}{_TIME}){_ZONE}"
)
_MARKED = re.compile(r"(?![+\-]?\d*[.,]?\d+$).*\d ?[.:hH].*\d")
"""A cell with the marks of a time between its digits, and no plain number: only such are looked at
more closely."""


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
    if _WHEN.fullmatch(cell):
        return True
    return len(cell) >= SHORTEST_WHEN and bool(
        _MARKED.match(cell) and _WHEN.fullmatch(usual_cell(cell))
    )


def is_value(cell: str, decimal: str) -> bool:
    """Whether the cell is a value: a number, date or time."""
    return is_number(cell, decimal) or is_when(cell)

"""Less usual spellings of dates and times of day -> the usual ones that `time_text` reads. Pure.

Rewritten are the hours' letter of French (`9h12m05`), points between hours, minutes and seconds
(`9.12.05,3`), `de` before month and year, the order of C's `asctime` (ISO/IEC 9899, 7.27.3.1),
named zones in brackets (RFC 9557) or parentheses, a count of days, days without a year.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

MOST_DAYS = 10
"""More different days than this are in no log of a ride: `09.12.00` is then a time. Our choice."""
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?"
_DATE = r"\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}"
_DOTS = r"(\d{1,2})\.(\d{2})\.(\d{2})"


@dataclass(frozen=True, slots=True)
class _Spelling:
    """A spelling as a regular expression, and what it is rewritten to."""

    pattern: str
    usual: str
    remark: str = ""


_SPELLINGS = (
    _Spelling(r"^(?:\[(.+)\]|'(.+))$", r"\1\2"),
    _Spelling(r"^(.+[0-9Zz]) ?(?:\[[A-Za-z_/+\-0-9]+\]|\([^()]+\))$", r"\1"),
    _Spelling(r"^(.*\d) ?[Uu]hr$", r"\1"),
    _Spelling(
        r"^(.*?)(\d{1,2}) ?[hH] ?(\d{2})(?: ?(?:min|mn|m|'|:) ?| )(\d{2}(?:[.,]\d{1,9})?)"
        r" ?(?:s|sec|''|\")?$",
        r"\1\2:\3:\4",
    ),
    _Spelling(r"^(.*?)(\d{1,2}) ?[hH] ?(\d{2})(?: ?(?:min|mn|m))?$", r"\1\2:\3"),
    _Spelling(
        rf"^(?:\pL{{2,4}} +)?(\pL{{3,4}}) +(\d{{1,2}}) +({_CLOCK})( +[A-Z]{{2,5}})? +(\d{{4}})$",
        r"\1 \2 \5 \3\4",
    ),
    _Spelling(
        r"^((?:\pL{2,10}[.,]{0,2} +)?\d{1,2}) de (\pL{3,10})(?: de)? (\d{4})(.*)$", r"\1 \2 \3\4"
    ),
    _Spelling(rf"^({_DATE}(?:T|_|[ ,;]+)){_DOTS}([.,]\d{{1,9}})?$", r"\1\2:\3:\4\5"),
    _Spelling(rf"^{_DOTS}([.,]\d{{1,9}})$", r"\1:\2:\3\4"),
    _Spelling(
        rf"^\d{{1,2}}[-/.]\d{{1,2}}\.?(?:T|_|[ ,;]+)({_CLOCK}(?: ?[AaPp]\.?[Mm]\.?)?)$",
        r"\1",
        "dates have no year: only the time of day is read, `--start` says the day",
    ),
)
_PYTHON = tuple(
    (re.compile(one.pattern.replace(r"\pL", r"[^\W\d_]")), one.usual) for one in _SPELLINGS
)
_DOTS_ALONE = rf"^{_DOTS}$"


def usual_cell(cell: str) -> str:
    """One cell in the usual spelling; as it is where it has none of these."""
    cell = cell.replace("\u00a0", " ").replace("\u202f", " ")
    for pattern, usual in _PYTHON:
        if pattern.match(cell):
            cell = pattern.sub(usual, cell)
    return cell


def usual_cells(cells: pa.Array, picks: pa.Array, share: float) -> tuple[pa.Array, tuple[str, ...]]:
    """A column in the usual spelling, and remarks; `picks` are rows that stand for all of it.

    A spelling is rewritten where at least this `share` of the picked cells has it.
    """
    remarks: list[str] = []
    for mark in ("\u00a0", "\u202f"):
        cells = pc.replace_substring(cells, mark, " ")
    for one in _SPELLINGS:
        if _share(cells.take(picks), one.pattern) < share:
            continue
        cells = pc.replace_substring_regex(cells, one.pattern, one.usual)
        remarks += [one.remark] if one.remark else []
    if _share(cells.take(picks), _DOTS_ALONE) >= share and _is_clock(cells):
        cells = pc.replace_substring_regex(cells, _DOTS_ALONE, r"\1:\2:\3")
    return cells, tuple(remarks)


def _share(cells: pa.Array, pattern: str) -> float:
    found = pc.mean(pc.cast(pc.match_substring_regex(cells, pattern), pa.float64())).as_py()
    return float(found or 0.0)


def _is_clock(cells: pa.Array) -> bool:
    """Whether `09.12.00` is a time of day: as days there would be too many."""
    return len(pc.unique(cells)) > MOST_DAYS

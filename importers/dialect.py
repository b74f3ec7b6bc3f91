"""How a text table is written: delimiter, quotes, decimal and thousands mark.

Every candidate is tried on whole lines from the file's start, middle and end, and scored as in
G. J. J. van den Burg, A. Nazabal, C. Sutton, "Wrangling messy CSV files by detecting row and type
patterns", Data Mining and Knowledge Discovery 33 (2019), section 4: how alike the rows are, times
how many of the cells are of a known type. We differ in the weights: logs are mostly numbers.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from importers.cells import is_grouped, is_missing, is_number, is_value, is_when

DELIMITERS = (",", ";", "\t", "|", " ")
"""Candidates, likeliest first; a blank stands for runs of blanks and tabs."""
HEAD_LINES = 80
MIDDLE_LINES = 30
END_LINES = 20
"""Lines a dialect is judged by. Our choice: enough for a stable vote, few enough to be quick."""
TEXT_FLOOR = 0.1
"""Added to the share of typed cells, so that tables of words are told by their rows. Our choice."""
LEAST_SCORE = 0.1
"""Below this no table is seen. Our choice."""
MARK_TYPED = 0.7
"""Share of typed cells from which a mark is believed where blanks would do, too. Our choice."""
COMMENT = re.compile(r"\s*(?:#|//|%|!)")
"""How comment lines begin. Common practice, no source."""
_BLANKS = re.compile(r"[ \t]+")
_UNAMBIGUOUS = {
    ".": re.compile(r"[+\-−]?(?:0?\.\d+|0\.\d*|\d{4,}\.\d+|\d+\.(?:\d{1,2}|\d{4,}))"),
    ",": re.compile(r"[+\-−]?(?:0?,\d+|0,\d*|\d{4,},\d+|\d+,(?:\d{1,2}|\d{4,}))"),
}
_AMBIGUOUS = {
    ".": re.compile(r"[+\-−]?[1-9]\d{0,2}\.\d{3}"),
    ",": re.compile(r"[+\-−]?[1-9]\d{0,2},\d{3}"),
}


@dataclass(frozen=True, slots=True)
class Dialect:
    """The way rows are cut into cells and cells into digits."""

    delimiter: str
    quote: str
    decimal: str
    thousands: str
    width: int
    """Cells in most rows."""
    score: float
    typed: float = 1.0
    """Share of cells of a known type."""


Rows = list[list[str]]


def split_rows(lines: Sequence[str], delimiter: str, quote: str) -> tuple[Rows, list[int]]:
    """Lines cut into cells, blanks at their ends removed, and the line each row begins at."""
    if delimiter == " ":
        rows = [_BLANKS.split(line.strip()) for line in lines]
        return rows, list(range(len(lines)))
    rows, starts, before = [], [], 0
    reader = csv.reader(lines, delimiter=delimiter, quotechar=quote)
    try:
        for row in reader:
            rows.append([cell.strip() for cell in row])
            starts.append(before)
            before = reader.line_num
    except csv.Error:
        pass
    return rows, starts


def find_dialect(lines: Sequence[str]) -> Dialect | None:
    """How are these lines (line ends kept) written? None where no table is seen in them."""
    body = [line for line in lines if line.strip() and not COMMENT.match(line)]
    quote = _quote(body)
    tried = [one for mark in DELIMITERS if (one := _try(body, mark, quote)) is not None]
    best = max(tried, key=lambda one: one.score, default=None)
    if best is not None and best.delimiter == " ":
        best = _rather_than_blanks(best, tried)
    if best is not None and best.score >= LEAST_SCORE:
        return best
    return _one_column(body, quote) or _words_alone(body, tried)


def _rather_than_blanks(blanks: Dialect, tried: Sequence[Dialect]) -> Dialect:
    """Blanks within cells (`2031-05-04 09:12:00`) also make even rows: a mark goes first."""
    marks = [
        one
        for one in tried
        if one.delimiter != " " and one.typed >= MARK_TYPED and one.score >= 0.5 * blanks.score
    ]
    return max(marks, key=lambda one: one.score, default=blanks)


def _quote(lines: Sequence[str]) -> str:
    """The quote in use: the double one unless only single ones stand around cells."""
    text = "".join(lines)
    if '"' in text:
        return '"'
    wrapped = len(re.findall(r"(?:^|[,;\t|])'[^'\n]*'(?=[,;\t|\n]|$)", text, re.MULTILINE))
    return "'" if wrapped >= max(2, len(lines)) else '"'


def _try(lines: Sequence[str], delimiter: str, quote: str) -> Dialect | None:
    if delimiter != " " and not any(delimiter in line for line in lines):
        return None
    rows = [row for row in split_rows(lines, delimiter, quote)[0] if any(row)]
    widths = Counter(len(row) for row in rows if len(row) > 1)
    if not widths:
        return None
    width, count = max(widths.items(), key=lambda one: (one[1], one[0]))
    alike = [row for row in rows if len(row) == width]
    cells = [cell for row in alike[1:] or alike for cell in row if not is_missing(cell)]
    decimal, thousands = _marks(cells, delimiter)
    typed = sum(is_value(cell, decimal) for cell in cells) / max(1, len(cells))
    pattern = count / max(1, len(rows)) * (width - 1) / width
    score = pattern * (TEXT_FLOOR + typed) ** 2
    return Dialect(delimiter, quote, decimal, thousands, width, score, typed)


def _marks(cells: Sequence[str], delimiter: str) -> tuple[str, str]:
    """Decimal and thousands mark that explain most cells."""
    sure = {mark: sum(bool(_UNAMBIGUOUS[mark].fullmatch(c)) for c in cells) for mark in ".,"}
    dates = sum(is_when(cell) for cell in cells)
    sure["."] = max(0, sure["."] - dates)
    both = {
        ".": sum("," in c and "." in c and is_grouped(c, ".") for c in cells),
        ",": sum("," in c and "." in c and is_grouped(c, ",") for c in cells),
    }
    votes = {mark: sure[mark] + both[mark] for mark in ".,"}
    if votes["."] != votes[","]:
        decimal = "." if votes["."] > votes[","] else ","
    else:
        open_ = {mark: sum(bool(_AMBIGUOUS[mark].fullmatch(c)) for c in cells) for mark in ".,"}
        decimal = "," if open_[","] > open_["."] and delimiter != "," else "."
    if not any(is_grouped(cell, decimal) for cell in cells):
        return decimal, ""
    other = "," if decimal == "." else "."
    marks = Counter(
        found.group()
        for cell in cells
        if is_grouped(cell, decimal) and (found := re.search(rf"[{other}' \u00a0\u202f’_]", cell))
    )
    # A lone '12.345' in a file without any other sign of grouping is decimals, not thousands.
    mark = marks.most_common(1)[0][0]
    return decimal, mark


def _words_alone(lines: Sequence[str], tried: Sequence[Dialect]) -> Dialect | None:
    """A table without a single number is one only when all its rows are alike."""
    for one in tried:
        rows = [row for row in split_rows(lines, one.delimiter, one.quote)[0] if any(row)]
        if one.delimiter != " " and rows and all(len(row) == one.width for row in rows):
            return one
    return None


def _one_column(lines: Sequence[str], quote: str) -> Dialect | None:
    """A table of one column is one only when it is all values."""
    cells = [line.strip().strip(quote) for line in lines]
    for decimal in (".", ","):
        good = sum(is_number(cell, decimal) or is_missing(cell) for cell in cells)
        if len(cells) > 1 and good >= len(cells) - 1:
            return Dialect("," if decimal == "." else ";", quote, decimal, "", 1, LEAST_SCORE)
    return None

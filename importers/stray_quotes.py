"""Quote marks that open a cell and never close it: the rest of the file would be one cell. Pure.

RFC 4180 allows a cell in quotes to hold line ends, so a lone mark takes in all lines up to the
next one. A line that is a whole row by itself, with as many delimiters as the others, opens no
such cell: its mark is a slip (an inch sign, a torn line) and is taken out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MARKS = b",;\t|"
"""Delimiters that may part the cells."""
EVEN_SHARE = 0.6
"""A delimiter parts the cells when this share of the lines has equally many. Our choice."""
MOST_ODD = 0.02
"""More lines with a lone mark than this share are no slips. Our choice."""
FEW_ODD = 3
"""As many may be in any file. Our choice."""
JUDGED_LINES = 20_000
"""Lines that tell the delimiters and their number. Our choice."""

Flags = NDArray[np.bool_]


def without_stray_quotes(data: bytes) -> tuple[bytes, tuple[int, ...]]:
    """The text (UTF-8, double quote marks) without marks that belong to no cell, and the lines
    they stood in, counted from 1."""
    values = np.frombuffer(data, np.uint8)
    quotes = np.flatnonzero(values == ord('"'))
    ends = np.flatnonzero(values == 10)
    if not quotes.size:
        return data, ()
    counts = np.diff(np.searchsorted(quotes, ends), prepend=0, append=quotes.size)
    odd = np.flatnonzero(counts % 2 == 1)
    if not odd.size or odd.size > max(FEW_ODD, MOST_ODD * (ends.size + 1)):
        return data, ()
    whole = _whole_rows(values, ends, odd)
    stray = _stray(odd, whole)
    if not stray:
        return data, ()
    gone = quotes[np.isin(np.searchsorted(ends, quotes), stray)]
    return bytes(np.delete(values, gone).tobytes()), tuple(one + 1 for one in stray)


def _whole_rows(values: NDArray[np.uint8], ends: NDArray[np.intp], odd: NDArray[np.intp]) -> Flags:
    """Which of these lines have as many delimiters as most lines."""
    found = np.zeros(odd.size, np.bool_)
    top = int(ends[JUDGED_LINES - 1]) + 1 if ends.size >= JUDGED_LINES else values.size
    low = np.where(odd > 0, ends[np.clip(odd - 1, 0, None)] + 1, 0) if ends.size else np.zeros(1)
    high = np.append(ends, values.size)[odd]
    lines = min(ends.size + (top == values.size), JUDGED_LINES)
    for mark in MARKS:
        at = np.flatnonzero(values[:top] == mark)
        per_line = np.bincount(np.searchsorted(ends, at), minlength=lines)[:lines]
        per_line = np.delete(per_line, odd[odd < lines])
        if not per_line.size:
            continue
        usual = int(np.bincount(per_line).argmax())
        if usual == 0 or float(np.mean(per_line == usual)) < EVEN_SHARE:
            continue
        for n, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
            found[n] |= int((values[int(a) : int(b)] == mark).sum()) == usual
    return found


def _stray(odd: NDArray[np.intp], whole: Flags) -> list[int]:
    """Lines whose mark is a slip. Two in turn open and close a cell of several lines unless both
    are whole rows; a last one alone closes nothing."""
    out: list[int] = []
    at = 0
    while at < odd.size:
        if not whole[at]:
            at += 2  # opens a cell, which the next mark closes
        elif at + 1 < odd.size and not whole[at + 1]:
            at += 2  # its last cell has several lines
        else:
            out.append(int(odd[at]))
            at += 1
    return out

"""A text table with uneven rows made even: found with array arithmetic, mended line by line only
where a line is odd.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.dialect import COMMENT, Dialect
from importers.layout import Layout

MOST_SHOWN = 3
"""Line numbers named in a problem. Our choice."""


@dataclass(frozen=True, slots=True)
class Mended:
    """Rows of one width, and what was done to get there."""

    data: bytes
    rows_dropped: int
    problems: tuple[str, ...]
    restarts: tuple[int, ...]
    """Rows before which the header stood again."""


def collapse_blanks(data: bytes) -> bytes:
    """Runs of blanks and tabs as one blank, none at a line's ends."""
    values = np.frombuffer(data, np.uint8).copy()
    values[(values == 9) | (values == 13)] = 32
    blank = values == 32
    before = np.concatenate([[True], blank[:-1] | (values[:-1] == 10)])
    after = np.concatenate([values[1:] == 10, [True]])
    keep = ~(blank & before)
    out = values[keep]
    blank, after = out == 32, np.concatenate([out[1:] == 10, [True]])
    return bytes(out[~(blank & after)].tobytes())


def mend(data: bytes, layout: Layout, dialect: Dialect, first_line: int) -> Mended:
    """Rows of `data` (values only, UTF-8) brought to the usual width.

    Short rows are filled with empty cells, long ones cut where what is too much is empty; a row
    cut by the end of the file, rows with too many cells, comments and repeated headers are left
    out. All of it is counted and said.
    """
    values = np.frombuffer(data, np.uint8)
    starts, ends, widths = _lines(values, dialect)
    lengths = ends - starts
    repeated = _repeated(data, starts, ends, layout)
    wrong = np.flatnonzero((widths != dialect.width) & (lengths > 0))
    odd = np.union1d(wrong, np.flatnonzero(repeated | _comments(values, starts, lengths)))
    unfinished = not data.endswith((b"\n", b"\r"))
    work = _Work(dialect, layout, first_line)
    pieces: list[bytes] = []
    done = 0
    for at in odd.tolist():
        a, b = int(starts[at]), int(ends[at])
        pieces.append(data[done:a])
        line = data[a:b].rstrip(b"\r")
        last = at == starts.size - 1
        mended = work.line(at, line, int(widths[at]), bool(repeated[at]), last and unfinished)
        if mended is not None:
            pieces.append(mended + b"\n")
        done = min(b + 1, len(data))
    pieces.append(data[done:])
    full = np.cumsum(lengths > 0)
    gone = np.array(sorted(work.gone), np.int64)
    restarts = [int(full[at] - 1 - np.searchsorted(gone, at, side="left")) for at in work.restarted]
    return Mended(b"".join(pieces), work.dropped, tuple(work.said()), tuple(restarts))


def _lines(
    values: NDArray[np.uint8], dialect: Dialect
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Where each line starts and ends, and how many cells it has; quotes respected."""
    newline, mark = values == 10, values == ord(dialect.delimiter)
    quote = values == ord(dialect.quote)
    if quote.any():
        outside = ~np.logical_xor.accumulate(quote)
        newline &= outside
        mark &= outside
    ends = np.flatnonzero(newline)
    if ends.size == 0 or ends[-1] != values.size - 1:
        ends = np.append(ends, values.size)
    starts = np.concatenate([[0], ends[:-1] + 1])
    marks = np.flatnonzero(mark)
    widths = np.searchsorted(marks, ends) - np.searchsorted(marks, starts) + 1
    carriage = (ends > starts) & (values[np.clip(ends - 1, 0, None)] == 13)
    return starts, ends, np.where(ends - starts - carriage > 0, widths, dialect.width)


def _repeated(
    data: bytes, starts: NDArray[np.int64], ends: NDArray[np.int64], layout: Layout
) -> NDArray[np.bool_]:
    """Lines that are the header or the units row once more."""
    found = np.zeros(starts.size, np.bool_)
    for header in layout.header_lines:
        needle = header.strip().encode("utf-8")
        if len(needle) < 2:
            continue
        at = data.find(needle)
        while at >= 0:
            line = int(np.searchsorted(starts, at, side="right")) - 1
            if data[starts[line] : ends[line]].strip() == needle:
                found[line] = True
            at = data.find(needle, at + len(needle))
    return found


def _comments(
    values: NDArray[np.uint8], starts: NDArray[np.int64], lengths: NDArray[np.int64]
) -> NDArray[np.bool_]:
    first = values[np.clip(starts, 0, values.size - 1)]
    return (lengths > 0) & np.isin(first, np.frombuffer(b"#%!/", np.uint8))


class _Work:
    """Counts what is done to odd lines."""

    def __init__(self, dialect: Dialect, layout: Layout, first_line: int) -> None:
        self.dialect, self.layout, self.first_line = dialect, layout, first_line
        self.short: list[int] = []
        self.trailing: list[int] = []
        self.long: list[int] = []
        self.comments: list[int] = []
        self.headers: list[int] = []
        self.restarted: list[int] = []
        self.cut: int | None = None
        self.gone: set[int] = set()
        self.dropped = 0

    def line(
        self, at: int, line: bytes, width: int, repeated: bool, unfinished: bool
    ) -> bytes | None:
        """The line mended, or None where it is left out."""
        number, usual = at + self.first_line, self.dialect.width
        mark = self.dialect.delimiter.encode()
        if repeated:
            self.headers.append(number)
            if not self.restarted or at - self.restarted[-1] > 1:
                self.restarted.append(at)
            self._drop(at, counted=False)
            return None
        if COMMENT.match(line.decode("utf-8", "replace")) and width != usual:
            self.comments.append(number)
            self._drop(at, counted=False)
            return None
        if width == usual:
            return line
        if width > usual:
            extra = line.split(mark)[usual:]
            if any(cell.strip() for cell in extra) or self.dialect.quote.encode() in line:
                self.long.append(number)
                self._drop(at)
                return None
            self.trailing.append(number)
            return mark.join(line.split(mark)[:usual])
        if unfinished:
            self.cut = number
            self._drop(at)
            return None
        if width == 1 and usual > 3 and not line.strip(b'"').replace(b".", b"").isdigit():
            self.comments.append(number)
            self._drop(at, counted=False)
            return None
        self.short.append(number)
        return line + mark * (usual - width)

    def _drop(self, at: int, *, counted: bool = True) -> None:
        self.gone.add(at)
        self.dropped += counted

    def said(self) -> list[str]:
        """What was done, one line each."""
        out: list[str] = []
        for lines, text in (
            (self.short, "rows with too few cells, filled with missing ones"),
            (self.long, "rows with too many cells, left out"),
            (self.trailing, "rows with empty cells too many at their end, cut"),
            (self.comments, "lines of comment or text between the rows, left out"),
        ):
            if lines:
                out.append(f"{len(lines)} {text} ({_where(lines)})")
        if self.restarted:
            where = _where(self.headers)
            out.append(
                f"the header stands {times_more(len(self.restarted))} further down ({where}): "
                "the logger was started anew"
            )
        if self.cut is not None:
            out.append(f"the last line is cut short and was left out (line {self.cut})")
        return out


def times_more(count: int) -> str:
    """`once more`, `twice more`, `3 times more`."""
    return {1: "once more", 2: "twice more"}.get(count, f"{count} times more")


def _where(lines: Sequence[int]) -> str:
    """`line 3`, or `lines 3, 9, 12 …`."""
    shown = ", ".join(str(one) for one in lines[:MOST_SHOWN])
    more = " …" if len(lines) > MOST_SHOWN else ""
    return f"line{'s' if len(lines) > 1 else ''} {shown}{more}"

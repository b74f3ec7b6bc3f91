"""One file's table before anything is known of its meaning: columns of numbers or of text."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class RawColumn:
    """One column as it stands in the file; exactly one of `numbers` and `texts` is given."""

    header: str
    """As written, spaces at its ends removed; `column 3` where the file has no header."""
    unit: str
    """The cell of a units row under it, or what stands behind each number; else empty."""
    numbers: NDArray[np.float64] | None = None
    """n values; missing, unreadable and infinite are NaN."""
    texts: pa.StringArray | None = None
    """n cells with spaces at their ends removed; null where missing. Times of day, dates,
    words and identifiers come this way."""
    odd_cells: int = 0
    """Cells of a column of numbers that are neither a number nor a word for missing."""
    date_cells: int = 0
    """Cells beside numbers that are dates: what a spreadsheet makes of `2.5` or `1-2`."""


@dataclass(frozen=True, slots=True, eq=False)
class RawTable:
    """A file as columns, and what had to be mended to get them."""

    columns: tuple[RawColumn, ...]
    rows: int
    rows_dropped: int = 0
    problems: tuple[str, ...] = ()
    """What was mended or left out, each with its count."""
    preamble: tuple[str, ...] = ()
    """Lines above the header, comments among them."""
    restarts: tuple[int, ...] = ()
    """Rows before which the file repeats its header: a logger that started anew."""
    header_trusted: bool = True
    """False where names and cells do not pair off one to one (no header, or another number
    of names than of cells)."""
    form: str = ""
    """How it is written, in a few words, for `look`: `semicolons, decimal comma, Latin-1`."""
    whole: tuple[tuple[int, int], ...] = ()
    """Of a table thinned while it was read: the stretches of its rows in which none is left out,
    the first of them at its begin. Empty where all rows are here; `rows` counts the file's."""
    facts: tuple[tuple[str, str], ...] = field(default=())
    """Key and value pairs of the preamble or of a Parquet file's metadata."""

"""Tables as pages show them: rows of final text, with a mark and a place where they have them."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.words import Severity


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the ride to look, as a link: the moment in words, the seconds to show."""

    text: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its cells, and a mark and a place where it has them."""

    cells: tuple[str, ...]
    severity: Severity | None = None
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its caption for those who cannot see it."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]

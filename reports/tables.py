"""Tables as pages show them: rows of final text, with a mark and a place where they have them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analyzer.words import Severity

NOTHING = ("", "–")
"""Cells that say nothing."""


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

    def without_empty(self) -> Table:
        """The same without columns that say nothing in any row."""
        if not self.rows:
            return self
        keep = [
            place
            for place in range(len(self.heads))
            if any(row.cells[place] not in NOTHING for row in self.rows)
        ]
        return replace(
            self,
            heads=tuple(self.heads[place] for place in keep),
            rows=tuple(
                replace(row, cells=tuple(row.cells[place] for place in keep)) for row in self.rows
            ),
        )

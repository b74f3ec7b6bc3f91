"""All faults of one setup file, collected and shown together in the order of its lines."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

from importers.errors import SetupError
from importers.toml_lines import KeyPath, line_of

LIKE = 0.6
"""How alike two names must be to be offered as a correction (ratio of `difflib`). Its default."""
MOST_SHOWN = 40
"""More faults than this are counted, not listed. Our choice."""


@dataclass(slots=True)
class Faults:
    """Collects what is wrong with one file; each fault knows its line and its key."""

    file: str
    lines: dict[KeyPath, int]
    found: list[tuple[int, str, str]] = field(default_factory=list)

    def add(self, path: KeyPath, what: str, remedy: str) -> None:
        """A fault of the key at `path`; its name and line are put in front of `what`."""
        self.add_line(line_of(path, self.lines), f"{key_name(path)} {what}", remedy)

    def add_line(self, line: int, what: str, remedy: str) -> None:
        """A fault of a line that has no key of its own."""
        one = (line, what, remedy)
        if one not in self.found:
            self.found.append(one)

    def raise_if_any(self) -> None:
        """Raise one `SetupError` that carries every fault."""
        if not self.found:
            return
        ordered = sorted(self.found, key=lambda one: one[0])
        errors = [
            SetupError(where=f"{self.file}, line {line}", what=what, remedy=remedy)
            for line, what, remedy in ordered[:MOST_SHOWN]
        ]
        if len(ordered) > MOST_SHOWN:
            rest = len(ordered) - MOST_SHOWN
            errors.append(SetupError(where=self.file, what=f"and {rest} more faults", remedy=""))
        first, *more = errors
        raise SetupError(where=first.where, what=first.what, remedy=first.remedy, more=tuple(more))


def key_name(path: KeyPath) -> str:
    """A key as messages name it: `pack.series`, `drives.left.stop_at_v`, `hills 2 name`."""
    name = ""
    for part in path:
        name += f" {part + 1}" if isinstance(part, int) else f"{'.' if name else ''}{part}"
    return name


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` is most likely a slip of, or None."""
    close = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=LIKE)
    return close[0] if close else None

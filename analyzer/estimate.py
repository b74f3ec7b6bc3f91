"""The only way to state something inferred: a value with its 95 % interval, or a note why not."""

from __future__ import annotations

from dataclasses import dataclass

Z_95 = 1.959964
"""Standard deviations to either side that hold 95 % of a normal spread."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with a 95 % interval. `low` or `high` is None where that side is open."""

    value: float
    low: float | None
    high: float | None

    @property
    def half_width(self) -> float:
        """Half the interval's width; infinite where a side is open."""
        if self.low is None or self.high is None:
            return float("inf")
        return (self.high - self.low) / 2


@dataclass(frozen=True, slots=True)
class Note:
    """Why something is not known, or what was assumed; `about` is a JSON path or a subject."""

    about: str
    text: str

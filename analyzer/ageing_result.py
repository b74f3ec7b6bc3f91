"""What `ageing` answers with: every number it says, in the parts that pages and JSON show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from analyzer.ageing_capacity import CapacityAgeing
from analyzer.ageing_hills import HillAhead
from analyzer.ageing_parts import Kept
from analyzer.ageing_resistance import ResistanceAgeing
from analyzer.estimate import Estimate, Note
from analyzer.forecast import DatedAhead
from analyzer.use import Use
from importers.setup_types import Setup


@dataclass(frozen=True, slots=True)
class DayNote:
    """A note by hand, with its day."""

    day: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Health:
    """A quantity of the vehicle over the rides: fitted at the first and the last."""

    quantity: str
    first: Estimate | None
    last: Estimate | None


@dataclass(frozen=True, slots=True)
class RideUse:
    """One ride of the book and whether the trends rest on it."""

    kept: Kept
    used: bool
    why_not: str | None


@dataclass(frozen=True, slots=True)
class JumpTold:
    """A jump with what the rider noted around that day."""

    date: datetime
    step_pct: Estimate
    part: str
    note: str | None


@dataclass(frozen=True, slots=True)
class Mark:
    """A day from which the readings come from elsewhere: no change of the pack."""

    date: datetime
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class AgeingResult:
    """Everything `ageing` says; None with a note where the rides cannot tell."""

    setup: Setup
    rides: int
    rides_used: int
    span_days: float
    resistance: ResistanceAgeing | None
    jumps: tuple[JumpTold, ...]
    marks: tuple[Mark, ...]
    capacity: CapacityAgeing | None
    of_rated_pct: Estimate | None
    usable_ah: Estimate | None
    usable_new_ah: Estimate | None
    """The same when the first ride was ridden."""
    use: Use
    wh_per_km: tuple[Estimate | None, Estimate | None]
    health: tuple[Health, ...]
    capacity_80: DatedAhead | None
    resistance_150: DatedAhead | None
    hills: tuple[HillAhead, ...]
    basis: str
    per_ride: tuple[RideUse, ...]
    notes: tuple[Note, ...]

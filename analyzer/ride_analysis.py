"""The order of the steps: one ride and its setup in, everything the contract shows out."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyzer.balance import Balance, InForce
from analyzer.climbs import Climb
from analyzer.estimate import Note
from analyzer.events import Event, NotChecked
from analyzer.findings import Finding
from analyzer.limits import LimitCheck
from analyzer.pack_state import PackFit, PackState
from analyzer.totals import Totals
from importers.ride import Ride
from importers.setup_types import Setup


@dataclass(frozen=True, slots=True, eq=False)
class RideResult:
    """Everything found in one ride; machine output and pages are made from this alone."""

    ride: Ride
    setup: Setup
    totals: Totals
    pack: PackState
    pack_fit: PackFit | None
    """None where voltage and current do not let the pack be fitted; `notes` says why."""
    balance: Balance | None
    """None with one drive."""
    in_force: tuple[InForce, ...]
    """One per drive of the setup, in its order."""
    events: tuple[Event, ...]
    """In time order, then by severity."""
    limits: tuple[LimitCheck, ...]
    not_checked: tuple[NotChecked, ...]
    climbs: tuple[Climb, ...]
    findings: tuple[Finding, ...]
    """Ranked, most important first."""
    notes: tuple[Note, ...]

    @property
    def table(self) -> pd.DataFrame:
        """The ride's table: `time_s` and one column per channel."""
        return self.ride.table

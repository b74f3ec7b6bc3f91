"""What will go wrong on the road, from the setup and, where given, from rides? The order of the
rules, and no rule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.events import NotChecked
from analyzer.setup_braking import check_braking, check_sag
from analyzer.setup_cells import check_cells
from analyzer.setup_evidence import gather_evidence
from analyzer.setup_finding import SetupCheck, SetupFinding, Sheet, Suggestion
from analyzer.setup_protection import check_protection
from analyzer.setup_ridden import check_ridden
from analyzer.setup_sides import check_sides
from analyzer.setup_suggest import check_consistent
from analyzer.setup_sums import check_sums
from analyzer.setup_voltages import check_voltages
from importers.setup_types import Setup

if TYPE_CHECKING:
    from analyzer.ride_analysis import RideResult

__all__ = ["SetupCheck", "SetupFinding", "Suggestion", "check_setup"]


def check_setup(setup: Setup, rides: Sequence[RideResult] = ()) -> SetupCheck:
    """What will go wrong with these limits, why it matters, what would do, and what that costs?

    The gravest first; what could not be judged is listed with the keys it needs. With rides of
    the same pack it goes by what they showed, too: overshoot, resistance, the cells' spread.
    """
    sheet = Sheet.empty()
    evidence = gather_evidence(setup, rides)
    check_ridden(setup, rides, evidence, sheet)
    check_sums(setup, evidence, sheet)
    check_voltages(setup, evidence, sheet)
    check_cells(setup, sheet)
    check_protection(setup, sheet)
    check_sides(setup, sheet)
    check_braking(setup, evidence, sheet)
    check_sag(setup, evidence, sheet)
    check_consistent(setup, evidence, sheet)
    ranked = sorted(sheet.findings, key=lambda one: -one.severity.rank)
    return SetupCheck(tuple(ranked), _merged(sheet.not_checked), tuple(sheet.held))


def _merged(missed: list[NotChecked]) -> tuple[NotChecked, ...]:
    """Each thing not judged once, with all the keys it needs."""
    keys: dict[str, dict[str, None]] = {}
    for one in missed:
        keys.setdefault(one.what, {}).update(dict.fromkeys(one.missing))
    return tuple(NotChecked(what, tuple(names)) for what, names in keys.items())

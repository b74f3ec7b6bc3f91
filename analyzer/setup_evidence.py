"""What rides have shown of a build that its setup has to allow for: resistance, overshoot, spread
of the cells, and from which speed on full throttle reaches a battery current."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analyzer.estimate import Estimate
from analyzer.limits import LimitCheck
from analyzer.setup_duty import DutyLine, fit_duty
from analyzer.setup_paper import paper_resistance_ohm
from analyzer.words import Verdict
from importers.setup_types import Setup

if TYPE_CHECKING:
    from analyzer.ride_analysis import RideResult

LATEST = 5
"""So many latest rides tell the pack's resistance: it ages, and one ride alone may be off. Our
choice."""
MOST_OVERSHOOT = 1.5
"""No more than this is allowed for: beyond it the setting is not in force, which is a finding of
its own. Our choice."""
SPREAD_QUANTILE = 0.99
"""The spread of the cells that is nearly never passed. Our choice."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the checks go by: from rides where there are some, else from paper."""

    resistance_ohm: Estimate
    resistance_from: str
    """Where it is from, as the end of a sentence."""
    measured: bool
    drive_overshoot: float = 1.0
    """The most that 1 s of battery current was of its limit; 1 where none was passed."""
    brake_overshoot: float = 1.0
    cell_spread_v: float | None = None
    duty: DutyLine | None = None
    rides: int = 0


def paper_evidence(setup: Setup) -> Evidence:
    """Before any ride."""
    return Evidence(paper_resistance_ohm(setup), "from the usual resistance of such cells", False)


def same_pack(setup: Setup, other: Setup) -> bool:
    """Whether a ride's pack is of this setup's kind: it may be another's log."""
    mine, theirs = setup.pack, other.pack
    return (mine.chemistry, mine.series, mine.capacity_ah, mine.name) == (
        theirs.chemistry,
        theirs.series,
        theirs.capacity_ah,
        theirs.name,
    )


def gather_evidence(setup: Setup, rides: Sequence[RideResult]) -> Evidence:
    """What rides of this pack showed; rides of other packs are left out."""
    own = [ride for ride in rides if same_pack(setup, ride.setup)]
    paper = paper_evidence(setup)
    if not own:
        return paper
    ohm = _resistance(own)
    checks = [check for ride in own for check in ride.limits]
    return Evidence(
        resistance_ohm=paper.resistance_ohm if ohm is None else ohm,
        resistance_from=paper.resistance_from if ohm is None else "as rides showed, at 25 °C",
        measured=ohm is not None,
        drive_overshoot=overshoot_of(checks, "battery_drive_a"),
        brake_overshoot=overshoot_of(checks, "battery_brake_a"),
        cell_spread_v=_spread_v(own),
        duty=fit_duty(own),
        rides=len(own),
    )


def _resistance(rides: Sequence[RideResult]) -> Estimate | None:
    """The middle of the latest rides' values at 25 °C, with all of their intervals."""
    dated = sorted(rides, key=lambda r: (r.ride.start is not None, str(r.ride.start)))
    found = [r.pack.resistance_10s_25c_ohm for r in dated]
    latest = [one for one in found if one is not None][-LATEST:]
    if not latest:
        return None
    return Estimate(
        float(np.median([one.value for one in latest])),
        min(one.value if one.low is None else one.low for one in latest),
        max(one.value if one.high is None else one.high for one in latest),
    )


def overshoot_of(checks: Iterable[LimitCheck], name: str) -> float:
    """The most that 1 s of a drive's current was of this limit, 1 where none was passed: limits
    regulate, they do not clip."""
    ratios = [
        check.seen / check.set
        for check in checks
        if check.limit.endswith(f".{name}")
        and check.seen is not None
        and check.verdict in (Verdict.WORKS, Verdict.OVERSHOOTS)
        and check.set > 0
    ]
    return float(min(max([1.0, *ratios]), MOST_OVERSHOOT))


def _spread_v(rides: Sequence[RideResult]) -> float | None:
    """How far the lowest cell lies under the highest, nearly never passed; None without cells."""
    found = []
    for ride in rides:
        low, high = ride.ride.get("cell_min_v"), ride.ride.get("cell_max_v")
        if low is None or high is None:
            continue
        spread = (high - low)[np.isfinite(high - low)]
        if spread.size:
            found.append(float(np.quantile(spread, SPREAD_QUANTILE)))
    return max(found, default=None)

"""What the trends share: which rides, when, which logger, and how sure each ride is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from analyzer.summary import RideSummary, Triple

YEAR_S = 365.25 * 86400.0
ORIGIN_SD = 0.03
"""Two loggers' scales against each other, one standard deviation of ln. Controllers' currents are
within 3 to 5 %, a BMS's within 1 to 3 % (common practice, no source)."""


BY_HAND = "by hand"
"""The origin of what the rider measured."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A ride of the book with its name there."""

    name: str
    summary: RideSummary
    start: datetime = field(init=False, compare=False)
    """When it began."""
    start_s: float = field(init=False, compare=False)
    """The same in seconds since 1970."""

    def __post_init__(self) -> None:
        start = datetime.fromisoformat(self.summary.start)
        object.__setattr__(self, "start", start)
        object.__setattr__(self, "start_s", start.timestamp())


def years(rides: Sequence[Kept]) -> Floats:
    """n times in years since the first."""
    begin = np.array([one.start_s for one in rides])
    return np.asarray((begin - begin[0]) / YEAR_S, np.float64)


def origin_columns(rides: Sequence[Kept]) -> tuple[Floats, tuple[int, ...]]:
    """One indicator column per logger beside the commonest, and the places where it changes."""
    origins = [one.summary.origin for one in rides]
    kinds = sorted(set(origins), key=lambda one: (-origins.count(one), one))
    columns = [[float(own == kind) for own in origins] for kind in kinds[1:]]
    changes = tuple(i for i in range(1, len(origins)) if origins[i] != origins[i - 1])
    shape = np.array(columns).T if columns else np.zeros((len(rides), 0))
    return shape, changes


def sd_of(one: Triple) -> float:
    """Standard deviation of an estimate from its 95 % interval."""
    value, low, high = one
    if low is None or high is None:
        return abs(value)
    return (high - low) / 3.92


def own_sd(one: Triple, common: float, least: float) -> float:
    """What is this ride's own in its uncertainty: the interval less the scale errors that all
    rides of one logger share (`common`, relative), and not under `least` (relative)."""
    value = abs(one[0])
    own = max(sd_of(one) ** 2 - (common * value) ** 2, 0.0) ** 0.5
    return float(max(own, least * value))


def widened(one: Estimate, relative_sd: float) -> Estimate:
    """The estimate with a common scale error added to its interval."""
    if one.low is None or one.high is None:
        return one
    extra = 1.96 * relative_sd * abs(one.value)
    return Estimate(
        one.value,
        one.value - float(np.hypot(one.value - one.low, extra)),
        one.value + float(np.hypot(one.high - one.value, extra)),
    )

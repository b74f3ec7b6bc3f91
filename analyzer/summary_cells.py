"""How far are the cell groups apart in one ride, at rest and under load, and which is lowest?"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from analyzer.quantities import Bools, Floats, pack_current_a, spans_where
from importers.ride import Ride
from importers.setup_types import Setup

GROUP = re.compile(r"cell_(\d+)_v")
REST_PART_A = 0.05
"""Current under this part of the rated capacity per hour counts as rest. Our choice."""
SETTLED_S = 20.0
"""Rest lasts this long before cells are compared, except where the log begins at rest [s]. Our
choice: most of a cell's quick relaxation is over."""
FULL_FROM_PCT, LOW_TO_PCT = 85.0, 35.0
"""Where a pack is called full, and low, for this [% charge]. Our choice."""
LOAD_PART_A = 0.5
"""Load is a current above this part of the rated capacity per hour ... Our choice."""
LOAD_QUANTILE = 0.8
"""... and among the ride's highest. Our choice."""
LEAST_ROWS = 5


@dataclass(frozen=True, slots=True)
class Apart:
    """How far the groups were apart, and which was lowest."""

    spread_v: float
    lowest: int | None
    """Number of the group as logged; None where only the lowest and highest voltage were."""


@dataclass(frozen=True, slots=True)
class CellFacts:
    """A ride's cell groups; None where the ride has no such moment."""

    groups: int
    """How many were logged one by one; 0 where only lowest and highest were."""
    full: Apart | None
    """At rest, nearly full."""
    low: Apart | None
    """At rest, nearly empty."""
    load: Apart | None


def cell_facts(ride: Ride, setup: Setup, charge_pct: Floats | None) -> CellFacts | None:
    """How far the groups were apart; None without a cell's voltage or the pack's current."""
    numbers, volts = _groups(ride)
    current = pack_current_a(ride, setup)
    if volts is None or current is None:
        return None
    amps = current.values
    rest = _resting(ride, amps, REST_PART_A * setup.pack.capacity_ah)
    known = np.full(amps.size, np.nan) if charge_pct is None else charge_pct
    with np.errstate(invalid="ignore"):
        full, low = rest & (known >= FULL_FROM_PCT), rest & (known <= LOW_TO_PCT)
        pulling = amps[amps > LOAD_PART_A * setup.pack.capacity_ah]
        hard = np.quantile(pulling, LOAD_QUANTILE) if pulling.size else np.inf
        load = amps >= hard
    return CellFacts(len(numbers), *(_apart(volts, numbers, rows) for rows in (full, low, load)))


def _groups(ride: Ride) -> tuple[tuple[int, ...], Floats | None]:
    """Numbers of the groups and their volts (n x groups); with no group logged by itself, the
    lowest's and highest's."""
    names = [str(c) for c in ride.table.columns if GROUP.fullmatch(str(c)) and ride.has(str(c))]
    if len(names) > 1:
        numbers = tuple(int(GROUP.fullmatch(name)[1]) for name in names)  # type: ignore[index]
        return numbers, ride.table[names].to_numpy(np.float64)
    low, high = ride.get("cell_min_v"), ride.get("cell_max_v")
    if low is None or high is None:
        return (), None
    return (), np.column_stack([low, high])


def _resting(ride: Ride, amps: Floats, small_a: float) -> Bools:
    """Rows at rest, and settled: from the begin of the log, or after `SETTLED_S` of rest."""
    with np.errstate(invalid="ignore"):
        still = np.abs(amps) < small_a
    rows = np.zeros(amps.size, np.bool_)
    time_s = ride.time_s
    for span in spans_where(still, ride, join_s=0.5, min_s=1.0):
        begin = time_s[span.rows][0]
        settled = begin if begin <= time_s[0] + 1.0 else begin + SETTLED_S
        rows[span.rows] = time_s[span.rows] >= settled
    return rows & still


def _apart(volts: Floats, numbers: tuple[int, ...], rows: Bools) -> Apart | None:
    part = volts[rows]
    part = part[np.isfinite(part).all(axis=1)]
    if part.shape[0] < LEAST_ROWS:
        return None
    middle = np.median(part, axis=0)
    lowest = numbers[int(np.argmin(middle))] if numbers else None
    return Apart(float(np.ptp(middle)), lowest)

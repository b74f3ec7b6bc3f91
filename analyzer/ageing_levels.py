"""Between which levels did each ride or charge move how much charge, and how sure is that?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.ageing_parts import BY_HAND, Kept, sd_of
from analyzer.capacity import LEAST_DEPTH_PCT
from analyzer.quantities import Floats
from analyzer.rest_voltage import charge_pct
from analyzer.summary import Triple
from importers.setup_types import Setup

REST_SD_V = (0.006, 0.008)
"""A rest voltage out of one ride, at its start and its end, one standard deviation beside what all
rides share [V per cell]. Measured on simulated rides, benchmarks/tables."""
LEVEL_SD_PCT = 0.8
"""Likewise in points of charge, where only the level was kept, and the least."""
LEVEL_OWN_PART = 0.5
"""... and not less than this part of what the ride itself gives, whose interval holds errors that
all rides of one logger share, too. Our choice."""
SLOPE_STEP_V = 0.006


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Rides and charges that moved enough charge (n, in time order)."""

    rides: tuple[Kept, ...]
    start_pct: Floats
    end_pct: Floats
    start_sd_pct: Floats
    end_sd_pct: Floats
    """Of the two levels, as the setup's curve has them."""
    moved_ah: Floats
    sign: Floats
    """1 where charge was drawn, -1 where it was put in."""
    by_curve: Floats
    """1 where the levels were read from the curve, 0 where the rider said them."""

    @property
    def depth_pct(self) -> Floats:
        """Points of charge moved through, by the setup's curve."""
        return np.asarray(self.sign * (self.start_pct - self.end_pct), np.float64)


def moves_of(rides: Sequence[Kept], setup: Setup | None) -> Moves | None:
    """What was moved between which levels; None where no ride tells. Levels are read anew from
    rest voltages through the setup's curve where both are there."""
    rows = [(one, row) for one in rides if (row := _row(one, setup)) is not None]
    if not rows:
        return None
    start, end, start_sd, end_sd, moved, by_curve = (np.array(column) for column in zip(
        *(row for _, row in rows), strict=True))  # fmt: skip
    return Moves(
        tuple(one for one, _ in rows), start, end, start_sd, end_sd, moved,
        np.where(start > end, 1.0, -1.0), by_curve,
    )  # fmt: skip


def _row(one: Kept, setup: Setup | None) -> tuple[float, ...] | None:
    own = one.summary
    moved = abs((own.charge_out_ah or 0.0) - (own.charge_back_ah or 0.0))
    if moved <= 0:
        return None
    ends = [_level(one, last, setup) for last in (False, True)]
    if ends[0] is None or ends[1] is None:
        return None
    (start, start_sd), (end, end_sd) = ends[0], ends[1]
    if abs(start - end) < LEAST_DEPTH_PCT:
        return None
    by_curve = 0.0 if own.origin == BY_HAND else 1.0
    return start, end, start_sd, end_sd, moved, by_curve


def _level(one: Kept, last: bool, setup: Setup | None) -> tuple[float, float] | None:
    """The charge at a ride's start or end and its standard deviation [%]."""
    own = one.summary
    rest = own.rest_end_v if last else own.rest_start_v
    if rest is not None and setup is not None:
        return _from_rest(rest, REST_SD_V[last], setup, own.kind == "ride")
    level = own.charge_end_pct if last else own.charge_start_pct
    if level is None:
        return None
    return level[0], max(LEVEL_OWN_PART * sd_of(level), LEVEL_SD_PCT)


def _from_rest(rest: Triple, ride_sd_v: float, setup: Setup, ridden: bool) -> tuple[float, float]:
    series = setup.pack.series
    cell = rest[0] / series
    sd = sd_of(rest) / series
    sd = min(ride_sd_v, sd) if ridden else sd
    pct = float(charge_pct(setup.curve, cell, setup))
    slope = float(
        charge_pct(setup.curve, cell + SLOPE_STEP_V, setup)
        - charge_pct(setup.curve, cell - SLOPE_STEP_V, setup)
    ) / (2 * SLOPE_STEP_V)
    return pct, max(slope * sd, LEVEL_SD_PCT / 2)

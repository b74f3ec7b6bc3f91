"""How was the pack used: full cycles, how deep, how long full or hot, charged in the cold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from analyzer.summary import FULL_PCT, RideSummary

DEPTH_BIN_PCT = 10
STOOD_FULL_PCT = 93.0
"""A pack that was above `FULL_PCT` at the end of one log and is still above this at the begin of
the next stood full between [% charge]. Our choice: two points for what a level is known to."""


@dataclass(frozen=True, slots=True)
class DepthCount:
    """Charge cycles whose depth lies in a bin [points of charge], the upper edge included."""

    depth_pct: tuple[int, int]
    cycles: float


@dataclass(frozen=True, slots=True)
class Use:
    """Sums over the rides kept. Of what happened between logs only standing full is counted, where
    the logs on both sides show it."""

    distance_km: float | None
    charge_out_ah: float
    equivalent_full_cycles: float
    """Charge given out over rated capacity; what braking put back counts on neither side."""
    hours_full: float
    hours_hot: float
    charged_cold_ah: float
    depths: tuple[DepthCount, ...]


def sum_use(summaries: Sequence[RideSummary]) -> Use:
    """How the pack was used over these rides and charges, in time order."""
    rides = [one for one in summaries if one.kind == "ride"]
    out_ah = sum(one.charge_out_ah or 0.0 for one in rides)
    cycles = sum((one.charge_out_ah or 0.0) / one.rated_ah for one in rides)
    known = [one.distance_m for one in rides if one.distance_m is not None]
    return Use(
        distance_km=sum(known) / 1000 if known else None,
        charge_out_ah=out_ah,
        equivalent_full_cycles=cycles,
        hours_full=sum(one.hours_full for one in summaries) + _hours_stood_full(summaries),
        hours_hot=sum(one.hours_hot for one in summaries),
        charged_cold_ah=sum(one.charged_cold_ah for one in summaries),
        depths=count_depths(charge_levels(summaries)),
    )


def _hours_stood_full(summaries: Sequence[RideSummary]) -> float:
    """Hours between two logs of which the one ends and the other begins full."""
    hours = 0.0
    for before, after in pairwise(summaries):
        end, start = before.charge_end_pct, after.charge_start_pct
        if end is None or start is None or end[0] < FULL_PCT or start[0] < STOOD_FULL_PCT:
            continue
        began, ended = (datetime.fromisoformat(one.start) for one in (after, before))
        hours += max((began - ended).total_seconds() - before.duration_s, 0.0) / 3600
    return hours


def charge_levels(summaries: Sequence[RideSummary]) -> list[float]:
    """State of charge at the start and end of each ride or charge, in time order [%]."""
    levels: list[float] = []
    for one in summaries:
        for level in (one.charge_start_pct, one.charge_end_pct):
            if level is not None:
                levels.append(level[0])
    return levels


def count_depths(levels_pct: Sequence[float]) -> tuple[DepthCount, ...]:
    """Cycles by depth, counted by rainflow (ASTM E1049-85, 5.4.4), bins of 10 points."""
    import rainflow

    counts = [0.0] * (100 // DEPTH_BIN_PCT)
    for depth, _mean, count, _start, _end in rainflow.extract_cycles(list(levels_pct)):
        # The upper edge belongs to the bin; rounding keeps 30.000000001 out of the next one.
        place = min(max(-int(-round(depth, 6) // DEPTH_BIN_PCT) - 1, 0), len(counts) - 1)
        counts[place] += count
    return tuple(
        DepthCount((at * DEPTH_BIN_PCT, (at + 1) * DEPTH_BIN_PCT), count)
        for at, count in enumerate(counts)
    )

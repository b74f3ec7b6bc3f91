"""How was the pack used: full cycles, how deep, how long full or hot, charged in the cold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.summary import RideSummary

DEPTH_BIN_PCT = 10


@dataclass(frozen=True, slots=True)
class DepthCount:
    """Charge cycles whose depth lies in a bin [points of charge], the upper edge included."""

    depth_pct: tuple[int, int]
    cycles: float


@dataclass(frozen=True, slots=True)
class Use:
    """Sums over the rides kept; what happened between logs is not in them."""

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
        hours_full=sum(one.hours_full for one in summaries),
        hours_hot=sum(one.hours_hot for one in summaries),
        charged_cold_ah=sum(one.charged_cold_ah for one in summaries),
        depths=count_depths(charge_levels(summaries)),
    )


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

"""What looks like data and is not, left out of one file's columns and said. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.absent_sensors import drop_absent
from importers.channel_map import map_line
from importers.column_guess import Guess
from importers.current_doubts import braking_doubts
from importers.logger_limits import full_scale
from importers.place_drift import without_drift
from importers.place_fixes import fixes_only
from importers.ride import ChannelReading, Unjudged
from importers.stale_rows import stale_rows
from importers.total_current import odd_total

Values = NDArray[np.float64] | NDArray[np.object_]

CAN_CLIP = ("_current_a", "_rpm", "power_w", "speed_mps")
"""Endings of the channels that a logger's full scale cuts: what swings wide and fast."""


@dataclass(frozen=True, slots=True, eq=False)
class OnlyData:
    """One file's columns (n values each) without what is no data, and what was left out."""

    columns: dict[str, Values]
    problems: tuple[str, ...]
    unjudged: tuple[Unjudged, ...]


def only_data(
    time_s: NDArray[np.float64],
    columns: Mapping[str, Values],
    readings: Sequence[ChannelReading],
    drives: Sequence[str],
    *,
    mapped: bool,
) -> OnlyData:
    """Which of these columns were measured? Absent sensors, a total that knows one side only,
    braking that was lost, stale rows, places without a fix, held and wandering ones are found in
    this order; a file whose columns a map names (`mapped`) keeps its total."""
    found, absent = drop_absent(time_s, columns)
    problems = [f"{name}: {text}, taken as missing" for name, text in absent]
    odd = None if mapped else odd_total(found, len(drives))
    if odd is not None:
        del found["pack_current_a"]
        name = "pack_current_a"
        header = next((one.header for one in readings if one.channel == name), name)
        problems.append(
            f"pack_current_a: {odd}; left out. If it is the pack's all the same, a map file says "
            f"so: {map_line(header, 'pack_current_a', 'A', 1)}"
        )
    doubts = braking_doubts(found, time_s)
    problems += [f"{name}: {text}" for name, text in doubts]
    found, stale = stale_rows(time_s, found)
    found, nowhere = fixes_only(time_s, found)
    found, adrift = without_drift(time_s, found)
    unjudged = tuple(Unjudged(name, -1, text) for name, text in doubts)
    return OnlyData(found, (*problems, *stale, *nowhere, *adrift), unjudged)


def cut_at_top(one: Guess, keep: NDArray[np.intp]) -> tuple[float, NDArray[np.bool_]] | None:
    """The level and rows (of those kept) at which a column is cut off, in the unit logged."""
    if one.name is None or one.column.numbers is None:
        return None
    if not one.name.channel.endswith(CAN_CLIP):
        return None
    found = full_scale(one.column.numbers)
    return None if found is None else (found[0], found[1][keep])


def without_top(
    values: Values, cut: tuple[float, NDArray[np.bool_]]
) -> tuple[Values, tuple[int, ...], str]:
    """The values without those at full scale, the sides of zero these lie on, and what it is."""
    level, rows = cut
    sides = tuple(side for side in (1, -1) if bool((values[rows] * side > 0).any()))
    text = (
        f"{int(rows.sum())} values stand at {level:g}, the logger's full scale: they were that "
        "much or more and are taken as missing"
    )
    return np.asarray(np.where(rows, np.nan, values), np.float64), sides, text

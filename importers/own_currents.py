"""A `pack current` in each drive's own log: no controller feels what the others draw. Pure.

Where the logs of two drives each have one and the two differ, each is its drive's battery current.
Only where they are one and the same (told over a link) are they the pack's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from importers.channels import PACK_OF_DRIVE
from importers.place_logs import PlacedLog

Floats = NDArray[np.float64]

BIN_S = 1.0
"""Currents are compared as means over this long [s]: two logs' rows do not coincide. Our choice."""
LEAST_BINS = 60
"""... and over so many of these at least. Our choice."""
SAME = 0.005
"""One current, told twice, keeps its scale within this part, and its course. Our choice: two
sensors are never so alike."""
SAME_COURSE = 0.05
"""Part of the current's size that may be left between two tellings of one current. Our choice."""
DRIVES_OWN = {pack: own for own, pack in PACK_OF_DRIVE.items() if own != "battery_voltage_v"}
"""Channels of the pack, and what they are when one drive's own."""
SETTLED = 0.97
"""Chance that currents which differ are the drives' own. Our choice."""


def settle_own_currents(placed: Sequence[PlacedLog], drives: Sequence[str]) -> list[PlacedLog]:
    """The logs, with pack currents that are drives' own read as such."""
    claims = [
        one for one in placed
        if one.role in drives and "pack_current_a" in one.table.columns
        and "battery_current_a" not in one.table.columns and not _told(one)
    ]  # fmt: skip
    pairs = [(one, two) for one in claims for two in claims if _in_order(one, two, drives)]
    if not any(_differ(one, two) for one, two in pairs):
        return list(placed)
    return [_as_own(one) if one in claims else one for one in placed]


def _told(one: PlacedLog) -> bool:
    """Whether a map says that it is the pack's."""
    return any(
        reading.channel == "pack_current_a" and reading.sure >= 1.0
        for reading in one.table.readings
    )


def _in_order(one: PlacedLog, two: PlacedLog, drives: Sequence[str]) -> bool:
    """Whether these are logs of two drives, the first of them before the second."""
    return list(drives).index(one.role) < list(drives).index(two.role)


def _differ(one: PlacedLog, two: PlacedLog) -> bool:
    begin = max(one.span_s[0], two.span_s[0])
    edges = np.arange(begin, min(one.span_s[1], two.span_s[1]), BIN_S)
    if edges.size <= LEAST_BINS:
        return False
    x, y = _means(one, edges), _means(two, edges)
    good = np.isfinite(x) & np.isfinite(y)
    x, y = x[good], y[good]
    size = float(x @ x)
    if x.size < LEAST_BINS or size <= 0:
        return False
    scale = float(x @ y) / size
    left = float(np.sqrt(np.mean((y - scale * x) ** 2) / np.mean(x * x)))
    return abs(scale - 1.0) > SAME or left > SAME_COURSE


def _means(one: PlacedLog, edges: Floats) -> Floats:
    """Mean current between the edges, NaN where there is none."""
    amps = np.asarray(one.table.columns["pack_current_a"], np.float64)
    at = np.digitize(one.to_ride_s(one.table.time_s), edges) - 1
    good = np.isfinite(amps) & (at >= 0) & (at < edges.size - 1)
    count = np.bincount(at[good], minlength=edges.size - 1)
    total = np.bincount(at[good], amps[good], minlength=edges.size - 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _as_own(one: PlacedLog) -> PlacedLog:
    table = one.table
    named = {name: DRIVES_OWN.get(name, name) for name in table.columns}
    columns = {named[name]: values for name, values in table.columns.items()}
    readings = tuple(
        replace(
            reading, channel=DRIVES_OWN[reading.channel], sure=min(reading.sure, SETTLED)
            if reading.channel != "pack_current_a" else SETTLED,
            why="it differs from the other drive's: no current of the whole pack",
        )
        if reading.channel in DRIVES_OWN else reading
        for reading in table.readings
    )  # fmt: skip
    headers = [r.header for r in table.readings if r.channel == "pack_current_a"]
    doubts = tuple(
        text for text in table.problems
        if not any(text.startswith(f"'{header}' is read as pack_") for header in headers)
    )  # fmt: skip
    text = f"'{headers[0]}' differs from the other drive's: read as {one.role}'s battery current"
    unjudged = tuple(
        replace(doubt, channel=DRIVES_OWN.get(doubt.channel, doubt.channel))
        for doubt in table.unjudged
    )
    return replace(
        one, table=replace(table, columns=columns, readings=readings, unjudged=unjudged,
                           problems=(*doubts, text))
    )  # fmt: skip

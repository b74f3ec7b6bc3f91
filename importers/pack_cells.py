"""Is this voltage one the setup's cells can have? A log of another pack, or in another scale, must
not be analysed as this one's. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import map_line
from importers.ride import ALL_RESTS_ON_IT, ChannelReading
from importers.setup_types import Setup

Values = NDArray[np.float64] | NDArray[np.object_]

BELOW_V, ABOVE_V = 0.15, 0.05
"""Volts per cell beyond rest at empty (load pulls further down) or at full (braking pushes further
up) from which a ride's middle voltage is none of these cells. Our choice."""
ALIVE_PART = 0.25
"""Voltages below this part of a full pack's are a bus without pack. Our choice."""
CELL_PART = 0.35
"""The voltage over a cell's tells the number of cells within this part of one. Our choice: two
readings right within 1 % tell up to 20 cells from their neighbours, and a bit more."""
ROWS = 5000
"""Rows looked at. Our choice: a middle value needs no more."""


def odd_pack(
    columns: Mapping[str, Values], readings: Sequence[ChannelReading], setup: Setup
) -> list[tuple[str, str]]:
    """(channel, what is odd) of each pack voltage that this setup's cells cannot have."""
    out = []
    for name, values in columns.items():
        if not name.endswith(("pack_voltage_v", "battery_voltage_v")) or values.dtype == object:
            continue
        told = _beyond(values, setup) or _other_count(values, columns, setup)
        if told is None:
            continue
        one = next((each for each in readings if each.channel == name), None)
        line = ""
        if one is not None:
            line = f". A map file settles unit and scale: {map_line(one.header, name, one.unit, 1)}"
        wrong = (
            "`pack.series` or the cell voltages in the setup, the unit or scale, or the log "
            f"(another vehicle's?) is wrong; {ALL_RESTS_ON_IT}"
        )
        out.append((name, f"{told}: {wrong}{line}"))
    return out


def _few(values: Values) -> NDArray[np.float64]:
    return np.asarray(values[:: max(1, values.size // ROWS)], np.float64)


def _beyond(values: Values, setup: Setup) -> str | None:
    volts = _few(values)
    with np.errstate(invalid="ignore"):
        volts = volts[volts > ALIVE_PART * setup.full_v]
    if volts.size < 10:
        return None
    cells = setup.pack.series
    middle = float(np.median(volts))
    if middle < setup.empty_v - BELOW_V * cells:
        return (
            f"for most of the log it is below {setup.empty_v:.1f} V, which {cells} cells have at "
            f"rest when empty ({middle:.1f} V: {middle / cells:.2f} V a cell)"
        )
    if middle > setup.full_v + ABOVE_V * cells:
        return (
            f"for most of the log it is above {setup.full_v:.1f} V, which {cells} cells have when "
            f"full ({middle:.1f} V: {middle / cells:.2f} V a cell)"
        )
    return None


def _other_count(values: Values, columns: Mapping[str, Values], setup: Setup) -> str | None:
    """By the cells' own voltages, where they are logged beside the pack's."""
    low, high = columns.get("cell_min_v"), columns.get("cell_max_v")
    if low is None or high is None or low.dtype == object or high.dtype == object:
        return None
    cell = 0.5 * (_few(low) + _few(high))
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = _few(values) / cell
    ratio = ratio[np.isfinite(ratio)]
    if ratio.size < 10:
        return None
    told, spread = float(np.median(ratio)), float(np.subtract(*np.quantile(ratio, [0.75, 0.25])))
    count = round(told)
    if count == setup.pack.series or spread > CELL_PART or abs(told - count) > CELL_PART:
        return None
    return (
        f"over the cells' own voltages it tells {count} cells in series, the setup says "
        f"{setup.pack.series}"
    )

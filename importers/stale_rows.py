"""Rows that hold no measurement: zeros at connect, and repeats after a link was lost. Pure.

A logger that waits for its controller writes zeros, temperatures included; one whose link is gone
often writes the last values again and again while its own clock runs on. Neither was measured:
they become missing, and are said.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64] | NDArray[np.object_]

LEAST_COLUMNS = 4
"""Fewer columns may agree by chance. Our choice."""
FROZEN_S = 1.0
FROZEN_PACES = 6.0
"""Frozen: all of a drive's values repeat for this long, and for this many mean pauses between
changes. Our choice: no load stays equal to the last digit for a second while moving."""
MOVING = {"battery_current_a": 1.0, "phase_current_a": 2.0, "motor_rpm": 30.0,
          "wheel_speed_mps": 0.5, "pack_current_a": 1.0}  # fmt: skip
"""Only values above these can be told from a vehicle at rest, whose readings may well repeat."""


def stale_rows(
    time_s: NDArray[np.float64], columns: Mapping[str, Values]
) -> tuple[dict[str, Values], list[str]]:
    """The columns with stale rows missing, and what was found.

    `columns` have n values each, named with the drive before them where they have one; each
    drive's are judged by themselves, for one link may be lost and not the other.
    """
    out = dict(columns)
    told: list[str] = []
    for drive in dict.fromkeys(name.rpartition(".")[0] for name in columns):
        mine = [
            name for name, values in columns.items()
            if name.rpartition(".")[0] == drive and values.dtype != object
        ]  # fmt: skip
        if len(mine) < LEAST_COLUMNS or time_s.size < 20:
            continue
        table = {name.rpartition(".")[2]: columns[name] for name in mine}
        zero = _all_zero(table)
        frozen = _frozen(time_s, table)
        stale = zero | frozen
        if not stale.any() or stale.mean() > 0.5:
            continue
        side = f" of {drive}" if drive else ""
        if zero.any():
            told.append(f"{int(zero.sum())} rows{side} are all zeros, taken as missing")
        if frozen.any():
            told.append(
                f"{int(frozen.sum())} rows{side} repeat the last values to the last digit while "
                f"moving, from {time_s[int(np.argmax(frozen))]:.1f} s on: taken as missing"
            )
        for name in mine:
            out[name] = np.asarray(np.where(stale, np.nan, columns[name]), np.float64)
    return out, told


def _all_zero(table: Mapping[str, Values]) -> NDArray[np.bool_]:
    """Rows in which everything is 0, the voltage and any temperature too."""
    first = next(iter(table.values()))
    nothing = np.zeros(first.size, np.bool_)
    warm = [name for name in table if name.endswith(("_voltage_v", "_temp_c"))]
    if not any(name.endswith("_voltage_v") for name in warm) or len(warm) < 2:
        return nothing
    alive = [name for name in warm if float(np.nanmax(np.abs(table[name]), initial=0.0)) > 0]
    if len(alive) < 2:
        return nothing
    rows = ~nothing
    for values in table.values():
        rows &= values == 0
        if not rows.any():
            return nothing
    return rows


def _frozen(time_s: NDArray[np.float64], table: Mapping[str, Values]) -> NDArray[np.bool_]:
    """Rows that repeat the row before in every column, for long, while something moves."""
    n = time_s.size
    same = np.ones(n - 1, np.bool_)
    for values in table.values():
        same &= (values[1:] == values[:-1]) | (np.isnan(values[1:]) & np.isnan(values[:-1]))
    out = np.zeros(n, np.bool_)
    if not same.any():
        return out
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]])))
    starts, ends = edges[::2], edges[1::2]  # rows starts to ends are alike, both included
    pace = float(np.median(np.diff(time_s[:100_000]))) / max(1.0 - float(same.mean()), 0.01)
    long = time_s[ends] - time_s[starts] >= max(FROZEN_S, FROZEN_PACES * pace)
    for first, last in zip(starts[long].tolist(), ends[long].tolist(), strict=True):
        if any(name in table and abs(table[name][first]) > least for name, least in MOVING.items()):
            out[first + 1 : last + 1] = True
    return out

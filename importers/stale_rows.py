"""Rows that hold no measurement: zeros and defaults at connect, repeats after a lost link. Pure.

A logger that waits for its controller writes zeros, and zeros or other defaults for temperatures;
one whose link is gone often writes the last values again and again while its own clock runs on.
Neither was measured: they become missing, and are said.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64] | NDArray[np.object_]

LEAST_COLUMNS = 3
"""Fewer columns may agree by chance. Our choice."""
FROZEN_S = 1.0
FROZEN_PACES = 6.0
"""Frozen: all of a drive's values repeat for this long, and for this many mean pauses between
changes. Our choice: no load stays equal to the last digit for a second while moving."""
JUMPS_K = 3.0
"""No body warms or cools by more than this from one row to the next [K]. Our choice."""
MOST_RUNS = 200
"""Stretches looked at. Our choice."""
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
        zero = _at_connect(table)
        frozen = _frozen(time_s, table)
        stale = zero | frozen
        if not stale.any() or stale.mean() > 0.5:
            continue
        side = f" of {drive}" if drive else ""
        if zero.any():
            told.append(
                f"{int(zero.sum())} rows{side} are zeros and defaults from before anything was "
                "measured: taken as missing"
            )
        if frozen.any():
            told.append(
                f"{int(frozen.sum())} rows{side} repeat the last values to the last digit while "
                f"moving, from {time_s[int(np.argmax(frozen))]:.1f} s on: taken as missing"
            )
        for name in mine:
            out[name] = np.asarray(np.where(stale, np.nan, columns[name]), np.float64)
    return out, told


def _at_connect(table: Mapping[str, Values]) -> NDArray[np.bool_]:
    """Rows that were written before anything was measured: no voltage (0, or dropped as none
    already), everything else 0, and each temperature at one value, 0 or another default, far from
    what it reads next. A bus that lost its pack keeps its temperatures."""
    first = next(iter(table.values()))
    nothing = np.zeros(first.size, np.bool_)
    heats = [name for name in table if name.endswith("_temp_c")]
    alive = [name for name in heats if float(np.nanmax(np.abs(table[name]), initial=0.0)) > 0]
    if not alive or not any(name.endswith("_voltage_v") for name in table):
        return nothing
    rows = ~nothing
    for name, values in table.items():
        if name in heats:
            continue
        zero = values == 0
        rows &= (zero | np.isnan(values)) if name.endswith("_voltage_v") else zero
        if not rows.any():
            return nothing
    edges = np.flatnonzero(np.diff(np.concatenate([[False], rows, [False]])))
    out = nothing
    for a, b in zip(edges[::2].tolist()[:MOST_RUNS], edges[1::2].tolist(), strict=False):
        beside = b if b < first.size else a - 1
        if beside >= 0 and all(_is_default(table[name], a, b, beside) for name in alive):
            out[a:b] = True
    return out


def _is_default(values: Values, a: int, b: int, beside: int) -> bool:
    """Whether rows a to b (not included) stand at one value far from the row beside them."""
    return bool((values[a:b] == values[a]).all()) and abs(values[beside] - values[a]) > JUMPS_K


def _frozen(time_s: NDArray[np.float64], table: Mapping[str, Values]) -> NDArray[np.bool_]:
    """Rows that repeat the row before in every column, for long, while something moves."""
    n = time_s.size
    same = np.ones(n - 1, np.bool_)
    out = np.zeros(n, np.bool_)
    for values in table.values():
        same &= (values[1:] == values[:-1]) | (np.isnan(values[1:]) & np.isnan(values[:-1]))
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

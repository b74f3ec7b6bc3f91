"""A clock set forward in mid-ride: its time jumps by minutes or days, and nothing else does. Pure.

A pause changes what is logged: the vehicle slowed down and stood. Where speed, voltage, currents
and demand go on as if one sample had passed, one sample has passed. At a halt they tell nothing,
but heat does: a motor that is as warm as before the jump did not stand for hours.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Values = NDArray[np.float64] | NDArray[np.object_]

JUMP_S = 60.0
"""Shorter jumps are gaps [s]. Our choice: a corrected clock is off by more, or hardly matters."""
MOST_JUMPS = 8
"""More jumps than this are pauses of a logger that sleeps. Our choice."""
GOES_ON = ("wheel_speed_mps", "speed_mps", "gps_speed_mps", "motor_rpm", "battery_current_a",
           "pack_current_a", "phase_current_a", "battery_voltage_v", "pack_voltage_v",
           "throttle_pct", "duty_pct", "power_w", "motor_temp_c", "controller_temp_c",
           "altitude_m")  # fmt: skip
"""What goes on through a set clock. Logged places and totals do, too, but are not needed."""
MOVES = {"wheel_speed_mps": 1.0, "speed_mps": 1.0, "gps_speed_mps": 1.5, "motor_rpm": 60.0}
"""Moving, on both sides of the jump: a halt looks the same after an hour."""
WARM = ("motor_temp_c", "controller_temp_c")
COOLING_S = 3600.0
"""Time constant of the slowest of them [s]. Our choice: some kilograms of iron in still air take
10 to 40 min."""
LEAST_COOLING_K = 5.0
"""A part that had to lose less tells nothing. Our choice: sensors of 1 K, heat from deeper in."""
KEPT = 0.3
"""A part that lost less than this of what it had to did not stand. Our choice."""
COOLEST = 0.01
NEAR_ROWS = 20
"""Rows on either side whose middle counts. Our choice."""
RESTS = {"battery_voltage_v": 0.1, "pack_voltage_v": 0.1, "battery_current_a": 0.3,
         "pack_current_a": 0.3, "altitude_m": 3.0}  # fmt: skip
"""Readings at rest scatter by this much. Our choice."""
LEAST_CHANNELS = 3
USUAL_STEP = 0.98
"""A change over the jump is usual within this quantile of the changes from row to row."""
BY_CHANCE = 0.005
"""Two rows of the ride are that alike by chance, at most. Our choice: a cruise in which all rows
are alike tells nothing."""
PICKED_ROWS = 2000
"""Rows that tell how often that is. Our choice."""
APART_S = 30.0
"""Rows nearer than this to the jump are alike for another reason [s]. Our choice."""


def undo_set_clock(
    time_s: Floats, columns: Mapping[str, Values]
) -> tuple[Floats, float, list[str]]:
    """The times without jumps of the clock in mid-ride, by how much all of them were [s], and
    what was found. `time_s` are n times, rising; `columns` have n values each."""
    steps = np.diff(time_s)
    jumps = np.flatnonzero(steps > JUMP_S)
    if not jumps.size or jumps.size > MOST_JUMPS:
        return time_s, 0.0, []
    usual_s = float(np.median(steps))
    alike = _Alike(time_s, columns)
    shift = np.zeros(time_s.size)
    told = []
    for jump in jumps.tolist():
        too_much_s = float(steps[jump]) - usual_s
        if alike.goes_on(jump):
            why = "while the ride went on (speed, voltage and the rest continue)"
        elif alike.stands(jump) and (warm := _still_warm(columns, jump, too_much_s)):
            why = f"at a halt ({warm} would have cooled)"
        else:
            continue
        shift[jump + 1] -= too_much_s
        told.append(
            f"the clock was set forward by {_span(too_much_s)} at row {jump + 2} {why}: undone, it "
            "is no gap"
        )
    if not told:
        return time_s, 0.0, []
    return time_s + np.cumsum(shift), -float(shift.sum()), told


def _still_warm(columns: Mapping[str, Values], jump: int, jump_s: float) -> str | None:
    """The first part that lost no heat over a jump in which it must have (Newton's cooling, from
    what it was above its coolest); None where one did cool, or none was warm enough to tell."""
    found = None
    for name, values in columns.items():
        if not name.endswith(WARM) or values.dtype == object:
            continue
        heat = np.asarray(values, np.float64)
        near = (heat[max(0, jump + 1 - NEAR_ROWS) : jump + 1], heat[jump + 1 :][:NEAR_ROWS])
        if not all(np.isfinite(one).any() for one in near):
            continue
        before, after = (float(np.nanmedian(one)) for one in near)
        above_k = before - float(np.nanquantile(heat, COOLEST))
        loses_k = above_k * (1.0 - np.exp(-jump_s / COOLING_S))
        if loses_k < LEAST_COOLING_K:
            continue
        if before - after > KEPT * loses_k:
            return None
        found = found or f"{name} at {before:.0f} °C"
    return found


class _Alike:
    """How alike two rows are, measured by how much channels change from row to row."""

    def __init__(self, time_s: Floats, columns: Mapping[str, Values]) -> None:
        names = [
            name for name, values in columns.items()
            if name.rpartition(".")[2] in GOES_ON and values.dtype != object
        ]  # fmt: skip
        self.time_s = time_s
        self.values = {name: np.asarray(columns[name], np.float64) for name in names}
        self.usual = {name: _usual_step(values) for name, values in self.values.items()}

    def stands(self, jump: int) -> bool:
        """Whether nothing moves on either side of a jump, and all but heat reads the same."""
        known, still = 0, False
        for name, values in self.values.items():
            if name.endswith("_temp_c"):
                continue
            bare = name.rpartition(".")[2]
            one, two = float(values[jump]), float(values[jump + 1])
            if np.isfinite(one) and np.isfinite(two):
                known += 1
                if abs(two - one) > max(2.0 * self.usual[name], RESTS.get(bare, 0.0)):
                    return False
                if bare in MOVES and max(abs(one), abs(two)) > MOVES[bare]:
                    return False
                still |= bare in MOVES
        return still and known >= LEAST_CHANNELS

    def goes_on(self, jump: int) -> bool:
        """Whether the row after a jump is the next one of the same ride, as far as all tell."""
        before, after = jump, jump + 1
        near: list[tuple[NDArray[np.float64], float, float]] = []
        moves = False
        for name, values in self.values.items():
            one, two = float(values[before]), float(values[after])
            if not (np.isfinite(one) and np.isfinite(two)) or self.usual[name] <= 0:
                continue
            if abs(two - one) > self.usual[name]:
                return False
            least = MOVES.get(name.rpartition(".")[2])
            moves |= least is not None and min(abs(one), abs(two)) > least
            near.append((values, one, self.usual[name]))
        if len(near) < LEAST_CHANNELS or not moves:
            return False
        rows = np.linspace(0, self.time_s.size - 1, PICKED_ROWS).astype(np.intp)
        rows = rows[(np.abs(self.time_s[rows] - self.time_s[before]) > APART_S)
                    & (np.abs(self.time_s[rows] - self.time_s[after]) > APART_S)]  # fmt: skip
        if rows.size < 100:
            return False
        same = np.ones(rows.size, np.bool_)
        for values, one, usual in near:
            same &= np.abs(values[rows] - one) <= usual
        return float(same.mean()) <= BY_CHANCE


def _usual_step(values: NDArray[np.float64]) -> float:
    steps = np.abs(np.diff(values[:60_000]))
    steps = steps[np.isfinite(steps)]
    return float(np.quantile(steps, USUAL_STEP)) if steps.size > 20 else 0.0


def _span(seconds: float) -> str:
    if seconds >= 172_800.0:
        return f"{seconds / 86_400.0:.1f} days"
    return f"{seconds / 3600.0:.1f} h" if seconds >= 7200.0 else f"{seconds / 60.0:.0f} min"

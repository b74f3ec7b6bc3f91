"""Placed logs -> one table on the first drive's samples; other logs continue it where it has none.

The first log's samples stay exactly as they are. What other logs say is read off at those times:
fast channels by linear interpolation at the true offset, held ones held, nothing across a gap.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from importers.place_logs import PlacedLog, speed_from_positions
from importers.resample import HELD_BELOW, Values, onto, with_uncovered

DRIVE_CHANNELS = frozenset(
    {
        "battery_current_a",
        "battery_voltage_v",
        "phase_current_a",
        "motor_rpm",
        "wheel_speed_mps",
        "throttle_pct",
        "brake_pct",
        "duty_pct",
        "power_w",
        "controller_temp_c",
        "motor_temp_c",
        "status",
    }
)
"""Channels that carry a drive's name (contract, `channel`)."""
PACK_NAMES = {
    "battery_current_a": "pack_current_a",
    "battery_voltage_v": "pack_voltage_v",
    "power_w": "pack_power_w",
}
"""What a BMS calls the battery's is the pack's."""


def full_name(channel: str, role: str, only_drive: str | None) -> str:
    """The channel's name in the ride's table, given what the log holds."""
    if "." in channel:
        return channel
    if role == "bms":
        return PACK_NAMES.get(channel, channel)
    if role == "gps":
        return "gps_speed_mps" if channel == "speed_mps" else channel
    drive = only_drive if role == "all" else role
    if channel in DRIVE_CHANNELS and drive is not None:
        return f"{drive}.{channel}"
    return channel


def join_logs(
    placed: Sequence[PlacedLog], only_drive: str | None
) -> tuple[pd.DataFrame, list[str]]:
    """One table for the ride, and what was done that the rider should know.

    `placed` are the logs in the order given; `only_drive` the setup's drive when it has one.
    """
    order = sorted(placed, key=lambda one: not one.first)
    remarks: list[str] = []
    if len(order) == 1:
        first = order[0]
        columns = _named(first, only_drive)
        _add_ground_speed(first, columns, remarks)
        return _frame(first.table.time_s, columns), remarks
    base = _base_times(order)
    joined: dict[str, Values] = {}
    origin: dict[str, str] = {}
    rank = {"bms": 1, "gps": 2}
    for one in sorted(order, key=lambda log: (not log.first, rank.get(log.role, 0))):
        columns = _named(one, only_drive)
        _add_ground_speed(one, columns, remarks)
        whole = one.first and base.size == one.table.time_s.size
        mine = (
            columns
            if whole
            else onto(one.table.time_s, one.to_own_s(base), columns, held=_held(one, only_drive))
        )
        for name, values in mine.items():
            if name not in joined:
                joined[name], origin[name] = values, one.role
            elif origin[name] == one.role:
                joined[name] = _filled(joined[name], values)
            else:
                remarks.append(
                    f"{name}: logged by {origin[name]} and by {one.role}; {origin[name]} is used"
                )
    return _frame(base, joined), remarks


def _base_times(order: Sequence[PlacedLog]) -> NDArray[np.float64]:
    """The first log's times, continued by drives and BMS; a track alone is no ride."""
    base = order[0].table.time_s
    for one in order[1:]:
        if one.role != "gps":
            base = with_uncovered(base, one.to_ride_s(one.table.time_s))
    for one in order[1:]:
        if one.role == "gps":
            track = one.to_ride_s(one.table.time_s)
            within = track[(track > base[0]) & (track < base[-1])]
            base = with_uncovered(base, within) if within.size else base
    return base


def _named(one: PlacedLog, only_drive: str | None) -> dict[str, Values]:
    return {
        full_name(name, one.role, only_drive): values
        for name, values in one.table.columns.items()
        if name != "time_s"
    }


def _held(one: PlacedLog, only_drive: str | None) -> Callable[[str], bool]:
    """Which of this log's channels keep their value between updates."""
    pace = one.table.rate_hz
    slow = set()
    for reading in one.table.readings:
        if reading.channel is None or pace is None:
            continue
        if reading.rate_hz is None or reading.rate_hz < HELD_BELOW * pace:
            slow.add(full_name(reading.channel, one.role, only_drive))
    return slow.__contains__


def _add_ground_speed(one: PlacedLog, columns: dict[str, Values], remarks: list[str]) -> None:
    """Speed over ground from positions, where a log has fixes and no speed at all."""
    speeds = ("gps_speed_mps", "speed_mps")
    if not {"latitude_deg", "longitude_deg"} <= set(columns) or any(s in columns for s in speeds):
        return
    if any(name.endswith(".wheel_speed_mps") for name in columns):
        return
    speed = speed_from_positions(one.table)
    if np.isfinite(speed).sum() < 10:
        return
    columns["gps_speed_mps"] = speed
    remarks.append(f"gps_speed_mps: worked out from the positions in {one.table.file}")


def _filled(have: Values, more: Values) -> Values:
    """`have`, and `more` where it has nothing."""
    if have.dtype == object or more.dtype == object:
        missing = pd.isna(have)
        return np.where(missing, more, have).astype(object)
    return np.asarray(np.where(np.isnan(have.astype(np.float64)), more, have), np.float64)


def _frame(time_s: NDArray[np.float64], columns: dict[str, Values]) -> pd.DataFrame:
    data: dict[str, Values] = {"time_s": np.asarray(time_s, np.float64)}
    for name, values in columns.items():
        kept = values.dtype in (np.dtype(object), np.dtype(np.float32))  # float32: of a long file
        data[name] = values if kept else np.asarray(values, np.float64)
    return pd.DataFrame(data, copy=False)

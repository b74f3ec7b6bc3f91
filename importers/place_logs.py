"""Where each log of a ride lies on the ride's time: by what it felt, by dates, by its own count.

Ride time is the first drive log's own. Logs are placed one after another, each against those of
another role that are placed already. Logs that do not belong together are refused with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from importers.clock_grids import Signals
from importers.clocks import ClockFit, NoFit, fit_clock
from importers.errors import LogError
from importers.log_table import LogTable
from importers.wgs84 import legs_m

LONGEST_PAUSE_S = 6 * 3600.0
"""Files further apart than this are two rides. Our choice."""
DATE_SLACK_S = 120.0
"""Dated logs that lie this far apart may still have been one ride: clocks are set by hand."""
SAME_SPREAD = 0.02
"""Two files of one side agree where they overlap when they differ by less than this part of the
channel's range. Our choice."""
ASKED_PCT, IDLE_PART, AROUND_S = 15.0, 0.1, 5.0
"""A motor asked for so much [%] that draws less than this part of its high current turns nothing;
so long before and after [s] its speed is not taken for the road's either. Our choice."""
_PULLS = ("phase_current_a", "battery_current_a")
_VOLTAGES = ("pack_voltage_v", "battery_voltage_v")
_SPEEDS = ("wheel_speed_mps", "speed_mps", "gps_speed_mps", "motor_rpm")
_CURRENTS = ("pack_current_a", "battery_current_a", "phase_current_a")
_DEMANDS = ("throttle_pct",)


@dataclass(frozen=True, slots=True, eq=False)
class PlacedLog:
    """One log with its clock: own time = t + offset_s + drift · t at ride time t."""

    table: LogTable
    role: str
    offset_s: float = 0.0
    drift: float = 0.0
    fit: ClockFit | None = None
    first: bool = False
    how: str = ""
    """How it was placed, when not by what it felt."""

    def to_ride_s(self, own_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Ride times of times on this log's clock."""
        if self.offset_s == 0.0 and self.drift == 0.0:
            return own_s
        return np.asarray((own_s - self.offset_s) / (1.0 + self.drift), np.float64)

    def to_own_s(self, ride_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Times on this log's clock at ride times."""
        if self.offset_s == 0.0 and self.drift == 0.0:
            return ride_s
        return np.asarray(ride_s + self.offset_s + self.drift * ride_s, np.float64)

    @property
    def span_s(self) -> tuple[float, float]:
        """Ride time of its first and last sample."""
        ends = self.to_ride_s(self.table.time_s[[0, -1]])
        return float(ends[0]), float(ends[1])


def instant(start: datetime) -> datetime:
    """A logged time as an instant; without a zone it is this machine's local time."""
    return start.astimezone()


def place_logs(tables: Sequence[LogTable], roles: Sequence[str], first: int) -> list[PlacedLog]:
    """Every log on the time of `tables[first]`, in the order given.

    Raises
    ------
    LogError : logs that are not of one ride, or two of one side that overlap and disagree
    """
    placed = {first: PlacedLog(tables[first], roles[first], first=True)}
    if len(tables) == 1:
        return [placed[first]]
    felt = [signals_of(one) for one in tables]
    waiting = [at for at in range(len(tables)) if at != first]
    waiting.sort(key=lambda at: roles[at] == roles[first])
    against: dict[int, NoFit] = {}
    tried: set[tuple[int, int]] = set()
    while waiting:
        # One side may have failed: what does not fit it may fit another, placed later.
        found = next(
            (
                (at, one)
                for at in waiting
                if (one := _fitted(at, tables, roles, felt, placed, tried, against)) is not None
            ),
            None,
        )
        at, one = found or (waiting[0], None)
        placed[at] = one or _unfitted(at, tables, roles, placed, first, against.get(at))
        waiting.remove(at)
    return [placed[at] for at in range(len(tables))]


def signals_of(table: LogTable) -> Signals:
    """What this log felt, by kind, for comparing clocks."""
    out: dict[str, NDArray[np.float64]] = {}
    for kind, names in (
        ("voltage", _VOLTAGES), ("speed", _SPEEDS), ("current", _CURRENTS), ("demand", _DEMANDS),
    ):  # fmt: skip
        values = _mean_of(table, names)
        if values is not None:
            out[kind] = values
    if "speed" not in out and {"latitude_deg", "longitude_deg"} <= set(table.columns):
        out["speed"] = speed_from_positions(table)
    return out


def without_idling(table: LogTable, felt: Signals) -> Signals | None:
    """What a log felt, without the speed where its motors are asked to pull and draw next to
    nothing; None where they never do."""
    amps, demand = (_mean_of(table, names) for names in (_PULLS, _DEMANDS))
    if amps is None or demand is None or "speed" not in felt:
        return None
    asked = (np.abs(demand) > ASKED_PCT) & np.isfinite(amps)
    high = float(np.quantile(np.abs(amps[asked]), 0.9)) if asked.any() else 0.0
    idle = asked & (np.abs(amps) < IDLE_PART * high)
    if not idle.any():
        return None
    at = np.searchsorted(table.time_s, table.time_s[idle][:, None] + np.array([-1, 1]) * AROUND_S)
    edges = np.zeros(table.time_s.size + 1, np.int64)
    np.add.at(edges, at[:, 0], 1)
    np.add.at(edges, at[:, 1], -1)
    return {**felt, "speed": np.where(np.cumsum(edges)[:-1] > 0, np.nan, felt["speed"])}


def speed_from_positions(table: LogTable) -> NDArray[np.float64]:
    """Speed over ground at each fix, from the legs on either side of it [m/s]; NaN without fix."""
    speed = np.full(table.time_s.size, np.nan)
    latitude = np.asarray(table.columns["latitude_deg"], np.float64)
    longitude = np.asarray(table.columns["longitude_deg"], np.float64)
    good = np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude))
    if good.size < 3:
        return speed
    moved = np.concatenate(
        [[True], (np.diff(latitude[good]) != 0) | (np.diff(longitude[good]) != 0)]
    )
    held = np.flatnonzero(moved)
    steps = np.diff(table.time_s[good])
    if held.size > 10 and held.size < 0.5 * good.size and float(np.median(steps)) < 0.5:
        good = good[held]  # positions held between fixes: a leg lasts from fix to fix
    legs = legs_m(latitude[good], longitude[good])
    along = np.concatenate([[0.0], np.cumsum(legs)])
    at = table.time_s[good]
    middle = (along[2:] - along[:-2]) / (at[2:] - at[:-2])
    ends = legs[[0, -1]] / np.diff(at)[[0, -1]]
    speed[good] = np.concatenate([[ends[0]], middle, [ends[1]]])
    return speed


def _mean_of(table: LogTable, names: tuple[str, ...]) -> NDArray[np.float64] | None:
    """The first of these quantities that is logged, over the drives where it is per drive."""
    for name in names:
        mine = [
            np.asarray(values, np.float64)
            for channel, values in table.columns.items()
            if channel.rsplit(".", 1)[-1] == name and values.dtype != object
        ]
        mine = [one for one in mine if np.isfinite(one).sum() >= 10]
        if mine:
            total = mine[0] if len(mine) == 1 else np.mean(mine, axis=0)
            return np.abs(total) if name == "motor_rpm" else np.asarray(total, np.float64)
    return None


def _fitted(
    at: int,
    tables: Sequence[LogTable],
    roles: Sequence[str],
    felt: Sequence[Signals],
    placed: dict[int, PlacedLog],
    tried: set[tuple[int, int]],
    against: dict[int, NoFit],
) -> PlacedLog | None:
    """The log where what it felt puts it beside one that is placed; notes what was `tried` and what
    speaks `against`."""
    table, role = tables[at], roles[at]
    for other, there in placed.items():
        if (at, other) in tried or roles[other] == role or not _may_overlap(table, there.table):
            continue
        tried.add((at, other))
        both = tables[other].time_s, table.time_s
        fit = fit_clock(both[0], felt[other], both[1], felt[at])
        if isinstance(fit, NoFit) and fit.against:
            # A motor whose belt is gone turns by itself: its speed is not the road's.
            road = [without_idling(tables[i], felt[i]) for i in (other, at)]
            if any(road):
                fit = fit_clock(both[0], road[0] or felt[other], both[1], road[1] or felt[at])
        if isinstance(fit, ClockFit):
            drift = fit.drift_ppm * 1e-6
            # own = u + offset + drift u, and u = t + there.offset + there.drift t
            offset_s = fit.offset_s + there.offset_s * (1.0 + drift)
            return PlacedLog(table, role, offset_s, (1 + drift) * (1 + there.drift) - 1, fit)
        if fit.active:
            against[at] = fit
    return None


def _unfitted(
    at: int,
    tables: Sequence[LogTable],
    roles: Sequence[str],
    placed: dict[int, PlacedLog],
    first: int,
    against: NoFit | None,
) -> PlacedLog:
    """The log where its dates, its logger's count or nothing puts it."""
    table, role = tables[at], roles[at]
    by_date = _by_date(table, tables[first])
    same = [one for one in placed.values() if one.role == role]
    if against is not None and not same and (by_date is None or role not in ("gps", "bms")):
        raise _other_ride(table, tables[first], against.why)
    if by_date is not None:
        _refuse_far(table, tables[first], by_date)
        return PlacedLog(table, role, -by_date, how="by the dates of both")
    return _by_count(table, role, tables[first], same)


def _may_overlap(table: LogTable, other: LogTable) -> bool:
    """Whether dates, where both have them, allow the logs to share some time."""
    apart = _by_date(table, other)
    if apart is None:
        return True
    return (
        -float(table.time_s[-1]) - DATE_SLACK_S <= apart <= float(other.time_s[-1]) + DATE_SLACK_S
    ) or not (table.start is not None and table.start.tzinfo and _zoned(other))


def _zoned(table: LogTable) -> bool:
    return table.start is not None and table.start.tzinfo is not None


def _by_date(table: LogTable, reference: LogTable) -> float | None:
    """How long after the reference's first sample this log's first was, by their dates [s]."""
    if table.start is not None and reference.start is not None:
        return (instant(table.start) - instant(reference.start)).total_seconds()
    if table.of_day and reference.of_day:
        return (table.first_s - reference.first_s + 43_200.0) % 86_400.0 - 43_200.0
    return None


def _by_count(
    table: LogTable, role: str, reference: LogTable, same: Sequence[PlacedLog]
) -> PlacedLog:
    """No dates and nothing in common: by the logger's own count, or begun together."""
    if same:
        before = same[-1]
        since = table.first_s - before.table.first_s - before.offset_s
        return PlacedLog(table, role, -since, before.drift, how="by its logger's own count")
    return PlacedLog(
        table, role, 0.0, how="as if both logs began together: nothing in them tells otherwise"
    )


def _refuse_far(table: LogTable, reference: LogTable, apart_s: float) -> None:
    after = apart_s - float(reference.time_s[-1])
    before = -apart_s - float(table.time_s[-1])
    if max(after, before) > LONGEST_PAUSE_S:
        raise _other_ride(table, reference, f"they lie {max(after, before) / 3600.0:.0f} h apart")


def _other_ride(table: LogTable, reference: LogTable, why: str) -> LogError:
    when = ""
    if table.start is not None and reference.start is not None:
        when = f" (they begin {reference.start:%Y-%m-%d %H:%M} and {table.start:%Y-%m-%d %H:%M})"
    return LogError(
        where=table.file,
        what=f"does not belong to the ride of {reference.file}: {why}{when}",
        remedy="Name only logs of one ride; analyse the other by itself.",
    )


def check_sides(placed: Sequence[PlacedLog]) -> list[PlacedLog]:
    """Files of one role that overlap must say the same; the later one then continues the first.

    Raises
    ------
    LogError : they overlap and disagree
    """
    out = list(placed)
    for i, one in enumerate(out):
        for j in range(i + 1, len(out)):
            other = out[j]
            if one.role != other.role:
                continue
            low = max(one.span_s[0], other.span_s[0])
            high = min(one.span_s[1], other.span_s[1])
            if high - low <= 1.0:
                continue
            if not _agree(one, other, low, high):
                raise LogError(
                    where=other.table.file,
                    what=f"overlaps {one.table.file} for {high - low:.0f} s and disagrees with it, "
                    f"both as {one.role}",
                    remedy="Give each its own name (left=… right=…), or only one of them; files of "
                    "one side must follow one another.",
                )
    return out


def _agree(one: PlacedLog, other: PlacedLog, low_s: float, high_s: float) -> bool:
    at = np.linspace(low_s, high_s, 400)
    for name, values in one.table.columns.items():
        theirs = other.table.columns.get(name)
        if theirs is None or values.dtype == object or theirs.dtype == object:
            continue
        mine = np.interp(one.to_own_s(at), one.table.time_s, values.astype(np.float64))
        yours = np.interp(other.to_own_s(at), other.table.time_s, theirs.astype(np.float64))
        spread = float(np.ptp(mine)) if np.isfinite(mine).all() else np.nan
        if spread > 0 and float(np.median(np.abs(mine - yours))) > SAME_SPREAD * spread:
            return False
    return True

"""What did a stretch of road ask of the build: currents, voltage, heat, limits touched?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from analyzer.quantities import (
    Floats,
    drive_channel,
    drives_current_a,
    pack_peaks_a,
    pack_voltage_v,
    window_means,
)
from importers.ride import Ride
from importers.setup_types import Drive, Setup

TOUCHED = 0.95
"""A limit counts as touched from this part of it. The contract's."""
WINDOW_S = 1.0
"""Peaks are highest means over this [s]. The contract's, for limits."""
HEAT_LOOK_S = 120.0
"""A winding is hottest up to this long after the top [s]. Issue 5; time constants of windings
are minutes (common practice, no source)."""


Share = Callable[[slice], Floats]
"""A quantity's part of its limit over some rows. Worked out when asked: kept for every limit of a
day's ride they would fill more memory than the ride."""


@dataclass(frozen=True, slots=True, eq=False)
class RideLoad:
    """The ride's currents, voltages and temperatures as 1 s means, worked out once."""

    pack_current_a: Floats | None
    pack_voltage_v: Floats | None
    limits: tuple[tuple[str, float, Share], ...]
    """(setup key, limit, share): the quantity as a part of its limit; 1 is at the limit."""
    motor_temp_c: tuple[tuple[str, Floats | None], ...]


@dataclass(frozen=True, slots=True)
class StretchLoad:
    """The extremes of one stretch."""

    peak_pack_current_a: float | None
    mean_pack_current_a: float | None
    min_voltage_v: float | None
    max_voltage_v: float | None
    top_motor_temp_c: tuple[tuple[str, float | None], ...]
    limits_touched: tuple[str, ...]


def ride_load(ride: Ride, setup: Setup, rest_voltage_v: Floats | None = None) -> RideLoad:
    """The series that stretches are judged by; `rest_voltage_v` (n values) lets voltage limits
    be measured as the way used from rest to the limit."""
    means = _Means(ride)
    current = pack_peaks_a(ride, setup)
    voltage = pack_voltage_v(ride, setup)
    together = drives_current_a(ride, setup)
    found = [
        _shared_limits(setup, None if current is None else means.of(current.values)),
        _drive_limits(ride, setup, means),
    ]
    if voltage is not None:
        found.append(iter(_voltage_limits(setup, means.of(voltage.values), rest_voltage_v)))
    limits = tuple(limit for one in found for limit in one)
    if current is None and together is not None:
        current = together
    return RideLoad(
        None if current is None else means.of(current.values),
        None if voltage is None else means.of(voltage.values),
        limits,
        tuple((d, drive_channel(ride, d, "motor_temp_c")) for d in setup.drive_names),
    )


class _Means:
    """One second means of the ride's series, each worked out once."""

    def __init__(self, ride: Ride) -> None:
        self._window = window_means(ride, WINDOW_S)
        self._known: dict[int, tuple[Floats, Floats]] = {}

    def of(self, values: Floats) -> Floats:
        """The means, or the values themselves where no second is whole."""
        if id(values) not in self._known:
            means = self._window.of(values)
            whole = means if bool(np.isfinite(means).any()) else values
            self._known[id(values)] = (values, whole)
        return self._known[id(values)][1]


def _shared_limits(setup: Setup, mean: Floats | None) -> Iterator[tuple[str, float, Share]]:
    if mean is None:
        return
    for part in ("discharge_rating_a", "discharge_peak_a"):
        for table, values in (("bms", setup.bms), ("pack", setup.pack)):
            limit = getattr(values, part)
            if limit:
                yield f"{table}.{part}", limit, _part_of(mean, limit)
    if setup.bms.discharge_trip_a:
        trip_a = setup.bms.discharge_trip_a
        yield "bms.discharge_trip_a", trip_a, _part_of(mean, trip_a)
    for part in ("charge_rating_a", "charge_peak_a"):
        for table, values in (("bms", setup.bms), ("pack", setup.pack)):
            limit = getattr(values, part)
            if limit:
                yield f"{table}.{part}", limit, _part_of(mean, -limit)
    if setup.bms.charge_trip_a:
        trip_a = setup.bms.charge_trip_a
        yield "bms.charge_trip_a", trip_a, _part_of(mean, -trip_a)
    for part in ("fuse_a", "connector_rating_a"):
        limit = getattr(setup.wiring, part)
        if limit:
            yield f"wiring.{part}", limit, _size_of(mean, limit)


def _drive_limits(ride: Ride, setup: Setup, means: _Means) -> Iterator[tuple[str, float, Share]]:
    for drive in setup.drives:
        series = {
            name: drive_channel(ride, drive.name, name)
            for name in ("battery_current_a", "phase_current_a")
        }
        for part, channel, sign in (
            ("battery_drive_a", "battery_current_a", 1.0),
            ("battery_brake_a", "battery_current_a", -1.0),
            ("phase_drive_a", "phase_current_a", 1.0),
            ("phase_brake_a", "phase_current_a", -1.0),
        ):
            limit, values = getattr(drive, part), series[channel]
            if limit and values is not None:
                yield f"drives.{drive.name}.{part}", limit, _part_of(means.of(values), sign * limit)
        yield from _heat_limits(ride, drive)


def _heat_limits(ride: Ride, drive: Drive) -> Iterator[tuple[str, float, Share]]:
    """Temperatures as the way used from the coolest seen to the limit."""
    ambient = ride.get("ambient_temp_c")
    for what in ("controller", "motor"):
        values = drive_channel(ride, drive.name, f"{what}_temp_c")
        if values is None:
            continue
        cool = float(np.nanmin(values)) if ambient is None else float(np.nanmedian(ambient))
        for part in ("derate", "stop"):
            limit = getattr(drive, f"{what}_{part}_c")
            if limit and limit > cool:
                key = f"drives.{drive.name}.{what}_{part}_c"
                yield key, limit, _part_of(values, limit - cool, from_value=cool)


def _voltage_limits(
    setup: Setup, mean: Floats, rest: Floats | None
) -> Iterator[tuple[str, float, Share]]:
    near = 0.1 * setup.pack.series  # within this of rest the contract gives volts, not per cent
    for drive in setup.drives:
        for part in ("derate_from_v", "stop_at_v", "overvoltage_v"):
            limit = getattr(drive, part)
            if limit:
                sign = 1.0 if part == "overvoltage_v" else -1.0
                start = setup.full_v if rest is None else rest
                key = f"drives.{drive.name}.{part}"
                yield key, limit, _way_used(mean, start, limit, sign, near)


def _part_of(values: Floats, limit: float, *, from_value: float = 0.0) -> Share:
    return lambda rows: (values[rows] - from_value) / limit


def _size_of(values: Floats, limit: float) -> Share:
    return lambda rows: np.abs(values[rows]) / limit


def _way_used(mean: Floats, start: Floats | float, limit: float, sign: float, near: float) -> Share:
    """The way used from rest to a voltage limit; `sign` 1 where the limit lies above."""

    def share(rows: slice) -> Floats:
        seen = mean[rows]
        rest = start if isinstance(start, float) else start[rows]
        way, used = sign * (limit - rest), sign * (seen - rest)
        beyond = sign * (seen - limit) >= 0
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(way > near, used / way, np.where(beyond, 1.0, 0.0))

    return share


def _extreme(values: Floats | None, rows: slice, largest: bool) -> float | None:
    if values is None:
        return None
    part = values[rows]
    part = part[np.isfinite(part)]
    if part.size == 0:
        return None
    return float(part.max() if largest else part.min())


def stretch_load(
    load: RideLoad, time_s: Floats, first: int, last: int, heat_until_s: float
) -> StretchLoad:
    """The extremes between two rows (inclusive); motor temperatures up to `heat_until_s`."""
    rows = slice(first, last + 1)
    hot_end = int(np.searchsorted(time_s, min(time_s[last] + HEAT_LOOK_S, heat_until_s), "right"))
    hot_rows = slice(first, max(hot_end, last + 1))
    current = load.pack_current_a
    mean = None
    if current is not None and last > first:
        step = np.diff(time_s[rows], append=time_s[last])
        good = np.isfinite(current[rows])
        weight = float(step[good].sum())
        mean = float(np.sum((current[rows] * step)[good]) / weight) if weight > 0 else None
    touched = tuple(
        key
        for key, _, share in load.limits
        if (most := _extreme(share(rows), slice(None), True)) is not None and most >= TOUCHED
    )
    return StretchLoad(
        _extreme(current, rows, True),
        mean,
        _extreme(load.pack_voltage_v, rows, False),
        _extreme(load.pack_voltage_v, rows, True),
        tuple((d, _extreme(v, hot_rows, True)) for d, v in load.motor_temp_c),
        touched,
    )

"""Where did the road fall, and what did braking on it ask of the pack?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analyzer.balance import InForce
from analyzer.climb_load import RideLoad, stretch_load
from analyzer.climb_spans import MIN_GAIN_M, descent_spans
from analyzer.climbs import name_of_hill
from analyzer.estimate import Estimate
from analyzer.quantities import (
    BACK_A,
    Bools,
    Floats,
    brake_pct,
    bus_voltage_v,
    drive_channel,
    drives_current_a,
    phase_braking_a,
    step_s,
    window_means,
)
from analyzer.road import Road
from analyzer.way import rows_between
from analyzer.words import GradeSource
from importers.ride import Ride
from importers.setup_types import Drive, Setup

AT_LIMIT = 0.95
"""From this part of a limit on it governs. The contract's line for a limiter that works."""
ASKED_PCT = 10.0
"""Braking demand that counts as asked [%]. Our choice: beyond a lever's dead band."""


class BrakeGovernor(StrEnum):
    """What held a drive's braking where it was; `rider` where no limit did."""

    RIDER = "rider"
    BATTERY_LIMIT = "battery_limit"
    PHASE_LIMIT = "phase_limit"
    OVERVOLTAGE = "overvoltage"
    """At the controllers' overvoltage line, or, where none is given, at the full pack's."""


@dataclass(frozen=True, slots=True)
class BrakeGoverned:
    """One drive over a descent: per cent of the time it braked that each held it; empty where it
    did not brake. A drive whose currents are not logged has none."""

    drive: str
    parts: tuple[tuple[BrakeGovernor, float], ...]


@dataclass(frozen=True, slots=True)
class Descent:
    """A stretch that falls 10 m or more without a rise of more than 2 m, mean grade -2 % or more.
    Currents are highest 1 s means into the pack, positive; None where not logged."""

    start_s: float
    end_s: float
    length_m: float
    drop_m: float
    grade_pct: Estimate
    """Negative: downhill."""
    grade_source: GradeSource
    charge_pct: tuple[float, float] | None
    """State of charge at the top and at the foot."""
    braking_a: tuple[tuple[str, float | None], ...]
    """Each drive's."""
    braking_together_a: float | None
    charge_back_ah: float | None
    max_voltage_v: float | None
    margin_to_full_v: float | None
    governed: tuple[BrakeGoverned, ...]
    limits_touched: tuple[str, ...]
    hill: str | None = None


def find_descents(
    ride: Ride,
    setup: Setup,
    roads: Sequence[Road],
    *,
    load: RideLoad,
    charge_pct: Floats | None = None,
    in_force: Sequence[InForce] = (),
) -> tuple[Descent, ...]:
    """Where did the road fall by 10 m or more, and what did the motors' braking push into the
    pack on it? In the order ridden. `charge_pct` and the series of `load` have n values each."""
    spans = [(road, a, b) for road in roads for a, b in _spans(road)]
    if not spans:
        return ()
    one = _Braking(ride, setup, in_force)
    return tuple(_descent(one, load, road, (a, b), charge_pct) for road, a, b in spans)


def _spans(road: Road) -> list[tuple[float, float]]:
    """As for climbs: those that fall 10 m, or would with a height one deviation lower."""
    spans = descent_spans(road.profile.distance_m, road.profile.height_m)
    if not spans:
        return []
    ends = np.array(spans)
    drop = road.profile.height_at(ends[:, 0]) - road.profile.height_at(ends[:, 1])
    sd = road.profile.difference_sd_m(ends[:, 0], ends[:, 1])
    near = [one for one, sure in zip(spans, drop + sd >= MIN_GAIN_M, strict=True) if sure]
    # where not even its sign is sure, it is no descent
    return [one for one in near if (road.grade(*one).high or 0.0) < 0.0]


class _Braking:
    """The ride's braking currents, worked out once for all descents."""

    def __init__(self, ride: Ride, setup: Setup, in_force: Sequence[InForce]) -> None:
        self.ride, self.setup = ride, setup
        means = window_means(ride, 1.0)
        whole = drives_current_a(ride, setup)
        self.together_a = None if whole is None else means.of(-whole.values)
        self.back_a = None if whole is None else np.clip(-np.nan_to_num(whole.values), 0.0, None)
        self.each_a = {
            name: None if values is None else means.of(-values)
            for name in setup.drive_names
            for values in [
                whole.values
                if whole is not None and len(setup.drives) == 1
                else drive_channel(ride, name, "battery_current_a")
            ]
        }
        self.codes = {
            drive.name: codes
            for drive in setup.drives
            if (codes := _codes(ride, setup, drive, in_force)) is not None
        }


def _codes(
    ride: Ride, setup: Setup, drive: Drive, in_force: Sequence[InForce]
) -> dict[BrakeGovernor, Bools] | None:
    """What held the drive's braking, row by row; rows in none did not brake. None where neither
    its battery current nor its phase current is known."""
    found = next((one for one in in_force if one.drive == drive.name), None)
    battery = drive_channel(ride, drive.name, "battery_current_a")
    together = drives_current_a(ride, setup)
    if battery is None and len(setup.drives) == 1 and together is not None:
        battery = together.values
    phase = phase_braking_a(ride, drive.name)
    if battery is None and phase is None:
        return None
    asked = brake_pct(ride, drive.name)
    rows = ride.time_s.size
    braking = np.zeros(rows, np.bool_)
    with np.errstate(invalid="ignore"):
        if battery is not None:
            braking |= battery < -BACK_A
        if asked is not None and phase is not None:
            braking |= (asked > ASKED_PCT) & (phase > BACK_A)
        free = braking.copy()
        out: dict[BrakeGovernor, Bools] = {}
        for word, values, name in (
            (BrakeGovernor.OVERVOLTAGE, None, ""),
            (BrakeGovernor.BATTERY_LIMIT, None if battery is None else -battery, "battery_brake_a"),
            (BrakeGovernor.PHASE_LIMIT, phase, "phase_brake_a"),
        ):
            if word is BrakeGovernor.OVERVOLTAGE:
                held = _over(ride, setup, drive)
            else:
                seen = None if found is None else getattr(found, name)
                limit = getattr(drive, name) if seen is None else seen.value
                held = None if values is None or not limit else values >= AT_LIMIT * limit
            if held is not None:
                out[word] = free & held
                free &= ~held
    out[BrakeGovernor.RIDER] = free
    return out


def _over(ride: Ride, setup: Setup, drive: Drive) -> Bools | None:
    volts = bus_voltage_v(ride, setup, drive.name)
    line = drive.overvoltage_v or setup.full_v
    return None if volts is None else np.asarray(volts >= line, np.bool_)


def _descent(
    one: _Braking,
    load: RideLoad,
    road: Road,
    places: tuple[float, float],
    charge_pct: Floats | None,
) -> Descent:
    ride, setup = one.ride, one.setup
    first, last = rows_between(road.way, ride, *places)
    rows = slice(first, last + 1)
    seen = stretch_load(load, ride.time_s, first, last, float(ride.time_s[last]))
    high, low = road.profile.height_at(np.asarray(places))
    back = (
        None if one.back_a is None else float((one.back_a[rows] * step_s(ride)[rows]).sum()) / 3600
    )
    top = seen.max_voltage_v
    return Descent(
        start_s=float(ride.time_s[first]),
        end_s=float(ride.time_s[last]),
        length_m=places[1] - places[0],
        drop_m=float(high - low),
        grade_pct=road.grade(*places),
        grade_source=road.source,
        charge_pct=_ends(charge_pct, rows),
        braking_a=tuple((name, _most(values, rows)) for name, values in one.each_a.items()),
        braking_together_a=_most(one.together_a, rows),
        charge_back_ah=back,
        max_voltage_v=top,
        margin_to_full_v=None if top is None else setup.full_v - top,
        governed=tuple(_governed(name, codes, ride, rows) for name, codes in one.codes.items()),
        limits_touched=tuple(key for key in seen.limits_touched if _bears_on_braking(key)),
        hill=name_of_hill(ride, setup, (first, last)),
    )


def _bears_on_braking(key: str) -> bool:
    braking = key.endswith(("overvoltage_v", "_brake_a", "_c")) or key.startswith("wiring.")
    return braking or ".charge_" in key


def _ends(values: Floats | None, rows: slice) -> tuple[float, float] | None:
    part = np.zeros(0) if values is None else values[rows]
    part = part[np.isfinite(part)]
    return (float(part[0]), float(part[-1])) if part.size else None


def _most(values: Floats | None, rows: slice) -> float | None:
    part = np.zeros(0) if values is None else values[rows]
    part = part[np.isfinite(part)]
    return max(float(part.max()), 0.0) if part.size else None


def _governed(
    drive: str, codes: dict[BrakeGovernor, Bools], ride: Ride, rows: slice
) -> BrakeGoverned:
    weight = step_s(ride)[rows]
    seconds = {word: float(weight[mask[rows]].sum()) for word, mask in codes.items()}
    whole = sum(seconds.values())
    parts = tuple(
        (word, 100.0 * seconds[word] / whole)
        for word in BrakeGovernor
        if whole > 0 and seconds.get(word, 0.0) > 0
    )
    return BrakeGoverned(drive, parts)

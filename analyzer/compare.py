"""Did a change of settings do what it was meant to, and what did it cost?

Two rides: what was set differently; what came out differently on the climbs ridden in both, else
at matching load, charge and temperature, else not said. A difference counts only when it is larger
than what both numbers' intervals together allow by chance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from analyzer.climbs import Climb
from analyzer.estimate import Estimate, Note
from analyzer.ride_analysis import RideResult
from analyzer.same_climb import climb_shapes, pairs_of
from importers.setup_types import Setup

CURRENT_SD = 0.02
VOLTAGE_SD_V = 0.004
TEMP_SD_K = 2.0
SPEED_SD = 0.02
"""How far one ride's number on a climb repeats on the same day with the same settings: parts of a
current or speed, volts per cell, kelvin. Our choice: sensor gains and a rider's hand."""
SAME_LOAD = 0.15
SAME_CHARGE_PCT = 15.0
SAME_TEMP_K = 8.0
"""Rides whose mean current, charge and temperature differ by less count as alike. Our choice."""
FEW = 3
"""From so many pairs of climbs on their own scatter is used beside the assumed one. Our choice."""


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One key of the setup that differs; None where it was not given."""

    key: str
    before: float | int | str | None
    after: float | int | str | None


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity before and after; `None` where it cannot be said or not compared."""

    quantity: str
    before: Estimate | None
    after: Estimate | None
    change: Estimate | None
    beyond_chance: bool
    basis: str
    """What it rests on: matching climbs, alike rides, or each ride's own estimate."""


@dataclass(frozen=True, slots=True)
class CompareResult:
    """Two rides against each other."""

    setup_changes: tuple[SettingChange, ...]
    differences: tuple[Difference, ...]
    climbs: tuple[tuple[Climb, Climb], ...]
    notes: tuple[Note, ...]


def compare_rides(before: RideResult, after: RideResult) -> CompareResult:
    """What changed between two rides, in the setup and in the numbers, and which of it is more
    than chance."""
    pairs = pairs_of(
        climb_shapes(before.ride, before.setup, before.climbs),
        climb_shapes(after.ride, after.setup, after.climbs),
    )
    notes: list[Note] = []
    alike, why = _alike(before, after)
    differences = [*_pack_differences(before, after), *_balance_differences(before, after)]
    if pairs:
        differences += _climb_differences(before, after, pairs)
        count = f"{len(pairs)} climb{'s' if len(pairs) > 1 else ''}"
        notes.append(Note("differences", f"Compared on {count} ridden in both."))
    else:
        notes.append(Note("climbs", "No climb was ridden in both."))
        if not alike:
            notes.append(Note("differences", f"Load, voltage and heat are not compared: {why}."))
    differences += _whole_differences(before, after, alike, why)
    if len({before.ride.facts.mass_kg, after.ride.facts.mass_kg}) > 1:
        notes.append(Note("differences", "The rides were not ridden with the same mass."))
    return CompareResult(
        setup_changes(before.setup, after.setup), tuple(differences), pairs, tuple(notes)
    )


# ------------------------------------------------------------------ setups


def setup_changes(before: Setup, after: Setup) -> tuple[SettingChange, ...]:
    """Every key that differs between two setups, in the file's order, `same_as` resolved."""
    old, new = dict(_settings(before)), dict(_settings(after))
    keys = [*old, *(key for key in new if key not in old)]
    return tuple(
        SettingChange(key, old.get(key), new.get(key))
        for key in keys
        if old.get(key) != new.get(key)
    )


def _settings(setup: Setup) -> list[tuple[str, float | int | str | None]]:
    out: list[tuple[str, float | int | str | None]] = []
    tables = [
        ("vehicle", setup.vehicle),
        ("pack", setup.pack),
        ("bms", setup.bms),
        ("wiring", setup.wiring),
        *((f"drives.{one.name}", one) for one in setup.drives),
    ]
    for table, values in tables:
        for one in fields(values):
            value = getattr(values, one.name)
            if value is None or (table.startswith("drives.") and one.name in ("name", "same_as")):
                continue
            plain = value if isinstance(value, float | int) else str(value)
            out.append((f"{table}.{one.name}", plain))
    return out


# ------------------------------------------------------------------ differences


def _difference(
    quantity: str, before: Estimate | None, after: Estimate | None, basis: str
) -> Difference:
    change = None
    if before is not None and after is not None:
        half = float(np.hypot(before.half_width, after.half_width))
        value = after.value - before.value
        if np.isfinite(half):
            change = Estimate(value, value - half, value + half)
    beyond = (
        change is not None
        and change.low is not None
        and change.high is not None
        and not change.low <= 0.0 <= change.high
    )
    return Difference(quantity, before, after, change, beyond, basis)


def _pack_differences(before: RideResult, after: RideResult) -> list[Difference]:
    return [
        _difference(
            name, getattr(before.pack, name), getattr(after.pack, name), "each ride's own fit"
        )
        for name in ("resistance_10s_25c_ohm", "resistance_instant_ohm", "capacity_ah")
    ]


def _balance_differences(before: RideResult, after: RideResult) -> list[Difference]:
    out = []
    if before.balance is not None and after.balance is not None:
        new = {one.drive: one for one in after.balance.shares}
        for old in before.balance.shares:
            if old.drive in new:
                for part in ("drive_pct", "brake_pct"):
                    out.append(
                        _difference(
                            f"share.{old.drive}.{part}",
                            getattr(old, part),
                            getattr(new[old.drive], part),
                            "each ride's own common load",
                        )
                    )
        out.append(
            _difference(
                "speed_ratio",
                before.balance.speed_ratio,
                after.balance.speed_ratio,
                "each ride's straight stretches",
            )
        )
    new_force = {one.drive: one for one in after.in_force}
    for force in before.in_force:
        if force.drive not in new_force:
            continue
        for part in ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a"):
            old_a, new_a = getattr(force, part), getattr(new_force[force.drive], part)
            if old_a is not None or new_a is not None:
                name = f"in_force.{force.drive}.{part}"
                out.append(_difference(name, old_a, new_a, "where the drive saturated"))
    return out


def _climb_differences(
    before: RideResult, after: RideResult, pairs: tuple[tuple[Climb, Climb], ...]
) -> list[Difference]:
    series = before.setup.pack.series
    basis = f"{len(pairs)} matching climb{'s' if len(pairs) > 1 else ''}"
    out = [
        _paired("climb.peak_pack_current_a", pairs, lambda c: c.peak_pack_current_a, CURRENT_SD, 0),
        _paired("climb.mean_pack_current_a", pairs, lambda c: c.mean_pack_current_a, CURRENT_SD, 0),
        _paired("climb.min_voltage_v", pairs, lambda c: c.min_voltage_v, 0.0, VOLTAGE_SD_V * series),
        _paired(
            "climb.margin_to_derate_v", pairs, lambda c: c.margin_to_derate_v, 0.0,
            VOLTAGE_SD_V * series,
        ),
        _paired("climb.speed_mps", pairs, _climb_speed, SPEED_SD, 0.0),
        _paired("climb.charge_ah", pairs, _climb_charge, CURRENT_SD, 0.0),
        _paired("climb.motor_temp_rise_c", _with_rise(before, after, pairs), _rise, 0.0, TEMP_SD_K),
    ]  # fmt: skip
    return [
        Difference(one.quantity, one.before, one.after, one.change, one.beyond_chance, basis)
        for one in out
    ]


@dataclass(frozen=True, slots=True)
class _Rise:
    """How much the hotter motor warmed on one climb."""

    kelvin: float | None


def _with_rise(
    before: RideResult, after: RideResult, pairs: tuple[tuple[Climb, Climb], ...]
) -> tuple[tuple[_Rise, _Rise], ...]:
    return tuple((_warmed(before, a), _warmed(after, b)) for a, b in pairs)


def _warmed(result: RideResult, climb: Climb) -> _Rise:
    rises = []
    for drive, top in climb.top_motor_temp_c:
        temp = result.ride.get(f"{drive}.motor_temp_c")
        if top is None or temp is None:
            continue
        at = int(np.searchsorted(result.ride.time_s, climb.start_s))
        near = temp[max(at - 50, 0) : at + 50]
        if np.isfinite(near).any():
            rises.append(top - float(np.nanmedian(near)))
    return _Rise(max(rises) if rises else None)


def _rise(one: _Rise) -> float | None:
    return one.kelvin


def _climb_speed(one: Climb) -> float | None:
    if one.end_s <= one.start_s:
        return None
    return one.length_m / (one.end_s - one.start_s)


def _climb_charge(one: Climb) -> float | None:
    if one.mean_pack_current_a is None:
        return None
    return one.mean_pack_current_a * (one.end_s - one.start_s) / 3600.0


def _paired(
    quantity: str,
    pairs: Sequence[tuple[Any, Any]],
    read: Callable[[Any], float | None],
    relative_sd: float,
    absolute_sd: float,
) -> Difference:
    """Means over the climbs both rides have the number on; the change is of pairs, so that the
    climbs' own differences drop out."""
    values = [(read(a), read(b)) for a, b in pairs]
    known = np.array([(a, b) for a, b in values if a is not None and b is not None])
    if known.size == 0:
        return Difference(quantity, None, None, None, False, "")
    n = known.shape[0]
    means = known.mean(axis=0)
    sds = [float(np.hypot(relative_sd * abs(mean), absolute_sd)) for mean in means]
    ends = [
        Estimate(float(m), float(m - 1.96 * s), float(m + 1.96 * s))
        for m, s in zip(means, sds, strict=True)
    ]
    step = known[:, 1] - known[:, 0]
    # the assumed part is common to all climbs of a ride: more climbs do not shrink it
    spread = float(step.std(ddof=1)) / np.sqrt(n) if n >= FEW else 0.0
    half = 1.96 * float(np.sqrt(sds[0] ** 2 + sds[1] ** 2 + spread**2))
    change = Estimate(float(step.mean()), float(step.mean()) - half, float(step.mean()) + half)
    beyond = abs(change.value) > half
    return Difference(quantity, ends[0], ends[1], change, beyond, "")


# ------------------------------------------------------------------ whole rides


def _alike(before: RideResult, after: RideResult) -> tuple[bool, str]:
    """Whether load, charge and temperature of two rides match; if not, what does not."""
    loads = [_mean_load_a(one) for one in (before, after)]
    if loads[0] is None or loads[1] is None:
        return False, "one of the rides has no current"
    if abs(np.log(max(loads[1], 0.1) / max(loads[0], 0.1))) > SAME_LOAD:
        return False, "the loads differ"
    charges = [one.pack.state_of_charge_start_pct for one in (before, after)]
    if charges[0] is None or charges[1] is None:
        return False, "the charge of one is not known"
    if abs(charges[1].value - charges[0].value) > SAME_CHARGE_PCT:
        return False, "the charges differ"
    temps = [one.pack.temperature_c for one in (before, after)]
    if temps[0] is None or temps[1] is None or abs(temps[1] - temps[0]) > SAME_TEMP_K:
        return False, "the temperatures differ or are not known"
    return True, ""


def _mean_load_a(result: RideResult) -> float | None:
    out, time = result.totals.charge_out_ah, result.totals.duration_s
    return None if out is None or time <= 0 else out / time * 3600.0


def _whole_differences(
    before: RideResult, after: RideResult, alike: bool, why: str
) -> list[Difference]:
    """Of the whole ride, only where the rides were alike."""
    out = []
    for name, read in (
        ("wh_per_km", _wh_per_km),
        ("mean_speed_mps", _mean_speed),
    ):
        values = [read(one) for one in (before, after)]
        ends = [
            None
            if one is None
            else Estimate(one, one * (1 - 2 * SPEED_SD), one * (1 + 2 * SPEED_SD))
            for one in values
        ]
        if alike:
            out.append(_difference(name, ends[0], ends[1], "alike rides"))
        else:
            out.append(Difference(name, ends[0], ends[1], None, False, f"not compared: {why}"))
    return out


def _wh_per_km(result: RideResult) -> float | None:
    t = result.totals
    if t.energy_out_wh is None or not t.distance_m or t.distance_m < 500:
        return None
    return (t.energy_out_wh - (t.energy_back_wh or 0.0)) / t.distance_m * 1000.0


def _mean_speed(result: RideResult) -> float | None:
    t = result.totals
    return None if not t.distance_m or t.duration_s <= 0 else t.distance_m / t.duration_s

"""Did a change do what it was meant to: two rides, number by number, and what is beyond chance.

Currents, speeds and heat are held against each other on climbs that both rides have; a number that
needs a like moment and finds none is None. A difference is beyond chance when its 95 % interval
leaves out zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from analyzer.balance import CURRENT_LIMITS
from analyzer.climbs import Climb
from analyzer.compare_climbs import (
    around,
    climb_ride,
    climbing_energy,
    lowest_voltage,
    mean_current,
    mean_speed,
    peak_current,
    top_rise,
)
from analyzer.compare_load import full_demand_power
from analyzer.compare_road import ROAD, UNTOLD, road_changes, which_is_open
from analyzer.estimate import Estimate, Note
from analyzer.ride_analysis import RideResult
from analyzer.same_climb import climb_shapes, pairs_of
from analyzer.temperature import (
    DEFAULT_E_J_PER_MOL,
    GAS_J_PER_MOL_K,
    PLAUSIBLE_E_J_PER_MOL,
    known_temp_c,
)
from importers.setup_flat import Value, flat_settings

ALIKE = 0.15
"""Climbs are one when length and gain differ by less than this. Our choice: GPS height wanders by
some metres, and a climb of 20 m is the shortest worth following."""
ALIKE_LEAST_M = 4.0
"""... or by less than this in gain [m]. Our choice."""
CURRENT_SHARE = 0.03
"""A reading of current repeats within this part from ride to ride, 95 %. Our choice: controllers'
scales are off by 3 to 5 % (common practice, no source), but one's own scale stays."""
PEAK_RIDE_SHARE = 0.24
"""The highest second of a whole ride likewise: one start or one gust makes it. Measured on made
pairs (`compare_climbs`)."""
ENERGY_SHARE = 0.11
"""How well energy for a kilometre repeats, 95 %: wind, stops, tyres. Measured likewise."""
CHARGE_NEAR_PCT, TEMP_NEAR_C = 15.0, 8.0
"""Voltages compare when charge and pack temperature are this near. Our choice."""


REPEATS = (
    "Intervals of currents, speeds, warming and energy hold how far two rides of one unchanged "
    "build differ by traffic, wind and the rider's hand, not only how well they were measured."
)
COSTS = (
    ("mean_speed_mps", "speed on a climb"),
    ("full_demand_power_w", "power at full demand"),
    ("motor_rise_k", "a motor's warming"),
    ("energy_wh_per_m", "energy for a metre climbed"),
    ("energy_wh_per_km", "energy for a kilometre"),
)
"""Quantities that say what a change cost."""


@dataclass(frozen=True, slots=True)
class SettingChange:
    """A setup key with another value; None where it is not given."""

    key: str
    before: Value
    after: Value


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity on both rides."""

    quantity: str
    unit: str
    before: Estimate | None
    after: Estimate | None
    change: Estimate | None
    beyond_chance: bool


@dataclass(frozen=True, slots=True)
class ClimbPair:
    """The same climb on both rides."""

    before: Climb
    after: Climb


@dataclass(frozen=True, slots=True, eq=False)
class CompareResult:
    """What was set otherwise, and what came out otherwise."""

    before: RideResult
    after: RideResult
    setup_changes: tuple[SettingChange, ...]
    differences: tuple[Difference, ...]
    climbs: tuple[ClimbPair, ...]
    notes: tuple[Note, ...]


def compare_rides(before: RideResult, after: RideResult) -> CompareResult:
    """What changed between two rides, and is it more than chance?"""
    pairs = _pairs(before, after)
    notes: list[Note] = []
    if not pairs:
        notes.append(Note("climbs", "No climb is on both rides: what needs one is left open."))
    if not _conditions_alike(before, after):
        notes.append(
            Note(
                "differences",
                "Charge or pack temperature differ too much for voltages to be compared.",
            )
        )
    changes = setup_changes(before, after)
    differences = (
        *_pack(before, after),
        *_sides(before, after),
        *_limits(before, after),
        *_on_climbs(before, after, pairs),
        *_at_load(before, after),
        _energy(before, after),
        *_road(before, after, [(one.before, one.after) for one in pairs]),
    )
    notes.append(Note("differences", REPEATS))
    if which_is_open({one.quantity for one in differences if one.beyond_chance}):
        notes.append(Note(ROAD[0][0], UNTOLD))
    cost = cost_of(differences, changes)
    if cost:
        notes.append(Note("cost", cost))
    return CompareResult(before, after, changes, differences, pairs, tuple(notes))


def setup_changes(before: RideResult, after: RideResult) -> tuple[SettingChange, ...]:
    """Every setup key with another value, by name."""
    one, two = flat_settings(before.setup), flat_settings(after.setup)
    return tuple(
        SettingChange(key, one.get(key), two.get(key))
        for key in sorted({*one, *two})
        if one.get(key) != two.get(key)
    )


def _pairs(before: RideResult, after: RideResult) -> tuple[ClimbPair, ...]:
    """Climbs on both rides: by name, by place, by the profile of the road; where none of these
    tells any, by length and gain."""
    found = pairs_of(
        climb_shapes(before.ride, before.setup, before.climbs),
        climb_shapes(after.ride, after.setup, after.climbs),
    )
    if found:
        return tuple(ClimbPair(a, b) for a, b in found)
    if _placed(before) and _placed(after):
        return ()
    return match_climbs(before.climbs, after.climbs)


def _placed(result: RideResult) -> bool:
    return result.ride.has("latitude_deg") and result.ride.has("longitude_deg")


def match_climbs(before: Sequence[Climb], after: Sequence[Climb]) -> tuple[ClimbPair, ...]:
    """Climbs that are on both rides, in the order of the first; by name, else by shape."""
    free = list(after)
    pairs = []
    for one in before:
        near = [two for two in free if _same_climb(one, two)]
        if near:
            best = min(near, key=lambda two: abs(two.gain_m - one.gain_m))
            free.remove(best)
            pairs.append(ClimbPair(one, best))
    return tuple(pairs)


def _same_climb(one: Climb, two: Climb) -> bool:
    if one.hill is not None or two.hill is not None:
        return one.hill == two.hill
    gain = abs(one.gain_m - two.gain_m)
    length = abs(one.length_m - two.length_m)
    return gain < max(ALIKE * one.gain_m, ALIKE_LEAST_M) and length < 2 * ALIKE * one.length_m


def difference(
    quantity: str, unit: str, before: Estimate | None, after: Estimate | None
) -> Difference:
    """Two independent estimates and their difference: variances add."""
    if before is None or after is None:
        return Difference(quantity, unit, before, after, None, beyond_chance=False)
    value = after.value - before.value
    spread = hypot(before.half_width, after.half_width)
    change = Estimate(value, value - spread, value + spread) if np.isfinite(spread) else None
    beyond = change is not None and abs(value) > spread
    return Difference(quantity, unit, before, after, change, beyond)


def _pack(before: RideResult, after: RideResult) -> list[Difference]:
    one, two = before.pack, after.pack
    return [
        _resistance_alike(before, after),
        difference("resistance_10s_25c_ohm", "Ω", one.resistance_10s_25c_ohm,
                   two.resistance_10s_25c_ohm),
        difference("resistance_instant_ohm", "Ω", one.resistance_instant_ohm,
                   two.resistance_instant_ohm),
        difference("capacity_ah", "Ah", one.capacity_ah, two.capacity_ah),
    ]  # fmt: skip


def _resistance_alike(before: RideResult, after: RideResult) -> Difference:
    """Resistance as the rides felt it, both brought to their mean temperature: over a few kelvin
    that is far surer than all the way to 25 degrees. None where temperatures are too far apart or
    one is not known."""
    temps = [known_temp_c(one.ride) for one in (before, after)]
    values = [one.pack.resistance_10s_ohm for one in (before, after)]
    name = "resistance_10s_ohm"
    if any(t is None for t in temps) or any(v is None for v in values):
        return difference(name, "Ω", None, None)
    known = [t for t in temps if t is not None]
    middle = sum(known) / 2
    if abs(known[0] - known[1]) > TEMP_NEAR_C:
        return difference(name, "Ω", None, None)
    moved = []
    for ohm, temp in zip(values, known, strict=True):
        assert ohm is not None
        low, usual, high = (
            np.exp(e / GAS_J_PER_MOL_K * (1 / (middle + 273.15) - 1 / (temp + 273.15)))
            for e in (PLAUSIBLE_E_J_PER_MOL[0], DEFAULT_E_J_PER_MOL, PLAUSIBLE_E_J_PER_MOL[1])
        )
        value = ohm.value * float(usual)
        spread = hypot(ohm.half_width * float(usual), ohm.value * abs(float(high - low)) / 2)
        moved.append(Estimate(value, value - spread, value + spread))
    return difference(name, "Ω", moved[0], moved[1])


def _sides(before: RideResult, after: RideResult) -> list[Difference]:
    out = []
    one, two = before.balance, after.balance
    if one is not None and two is not None:
        shares = {share.drive: share for share in two.shares}
        for share in one.shares[:1]:
            other = shares.get(share.drive)
            out.append(
                difference(f"{share.drive}.share_pct", "%", share.drive_pct,
                           None if other is None else other.drive_pct)
            )  # fmt: skip
    later = {limits.drive: limits for limits in after.in_force}
    for limits in before.in_force:
        found = later.get(limits.drive)
        for name in CURRENT_LIMITS:
            a = getattr(limits, name)
            b = None if found is None else getattr(found, name)
            if a is not None or b is not None:
                out.append(
                    difference(f"{limits.drive}.{name.removesuffix('_a')}_in_force_a", "A", a, b)
                )
    return out


def _limits(before: RideResult, after: RideResult) -> list[Difference]:
    """The most that was asked of each limit of current, on the whole ride."""
    out = []
    for name, ending, share in (
        ("peak_pack_current_a", "discharge", PEAK_RIDE_SHARE),
        ("peak_braking_current_a", "charge", CURRENT_SHARE),
    ):
        one, two = (_most_seen_a(result, f".{ending}_") for result in (before, after))
        if one is not None or two is not None:
            out.append(difference(name, "A", around(one, share), around(two, share)))
    return out


def _most_seen_a(result: RideResult, kind: str) -> float | None:
    """The highest second of the pack's current one way, from the limits that bound it."""
    seen = [
        one.seen
        for one in result.limits
        if one.limit.startswith(("bms.", "pack.")) and kind in one.limit and one.unit == "A"
    ]
    return max((one for one in seen if one is not None), default=None)


def _conditions_alike(before: RideResult, after: RideResult) -> bool:
    one, two = before.pack, after.pack
    if one.temperature_c is None or two.temperature_c is None:
        return False
    charge_a, charge_b = one.state_of_charge_start_pct, two.state_of_charge_start_pct
    if charge_a is None or charge_b is None:
        return False
    return (
        abs(one.temperature_c - two.temperature_c) <= TEMP_NEAR_C
        and abs(charge_a.value - charge_b.value) <= CHARGE_NEAR_PCT
    )


def _on_climbs(
    before: RideResult, after: RideResult, pairs: Sequence[ClimbPair]
) -> list[Difference]:
    """On every climb of both rides: current, speed, lowest voltage, heat; over all of them
    together the energy for a metre climbed."""
    if not pairs:
        return []
    one, two = climb_ride(before), climb_ride(after)
    volts_compare = _conditions_alike(before, after)
    out = []
    for number, pair in enumerate(pairs, 1):
        a, b = pair.before, pair.after
        name = f"climb {number}" if a.hill is None else a.hill
        out += [
            difference(f"{name}: peak_pack_current_a", "A", peak_current(one, a),
                       peak_current(two, b)),
            difference(f"{name}: mean_pack_current_a", "A", mean_current(one, a),
                       mean_current(two, b)),
            difference(f"{name}: mean_speed_mps", "m/s", mean_speed(one, a), mean_speed(two, b)),
        ]  # fmt: skip
        if volts_compare:
            out.append(
                difference(f"{name}: min_voltage_v", "V", lowest_voltage(one, a, two, b),
                           lowest_voltage(two, b, one, a))
            )  # fmt: skip
        for drive, _ in a.top_motor_temp_c:
            out.append(
                difference(f"{name}: {drive}.motor_rise_k", "K", top_rise(one, a, drive),
                           top_rise(two, b, drive))
            )  # fmt: skip
    gains = [0.5 * (pair.before.gain_m + pair.after.gain_m) for pair in pairs]
    out.append(
        difference(
            "climbs.energy_wh_per_m",
            "Wh/m",
            climbing_energy(one, [pair.before for pair in pairs], gains),
            climbing_energy(two, [pair.after for pair in pairs], gains),
        )
    )
    return out


def _at_load(before: RideResult, after: RideResult) -> list[Difference]:
    """Power at full demand at the same speeds, where charge and pack temperature match; without a
    match it is said to be open."""
    one, two = full_demand_power(before, after)
    if one is None and two is None:
        return []
    if not _conditions_alike(before, after):
        return [difference("full_demand_power_w", "W", None, None)]
    return [difference("full_demand_power_w", "W", one, two)]


def cost_of(differences: Sequence[Difference], changes: Sequence[SettingChange]) -> str:
    """What the change cost in speed, heat and energy, where the rides show it."""
    told, unclear = [], []
    for ending, words in COSTS:
        found = [one for one in differences if one.quantity.endswith(ending) and one.change]
        beyond = [one for one in found if one.beyond_chance]
        for one in beyond:
            assert one.change is not None
            assert one.before is not None
            part = 100.0 * one.change.value / one.before.value if one.before.value else 0.0
            where = one.quantity.removesuffix(ending).strip(" :.")
            told.append(f"{words} {part:+.0f} %{f' ({where})' if where else ''}")
        if found and not beyond:
            unclear.append(words)
    if not told and not unclear:
        return "What the change cost in speed, heat or energy these rides do not tell."
    out = f"What it cost: {', '.join(told)}." if told else "No cost is larger than chance."
    if unclear:
        out += f" Within what rides differ by chance: {', '.join(unclear)}."
    return out if changes or told else ""


def _road(
    before: RideResult, after: RideResult, pairs: Sequence[tuple[Climb, Climb]]
) -> list[Difference]:
    """What holds the vehicle back: together, rolling, drag; open where either ride tells none."""
    found = road_changes(before, after, pairs)
    if found is None:
        return [difference(name, unit, None, None) for name, unit in ROAD]
    return [
        Difference(name, unit, one, two, change, abs(change.value) > change.half_width)
        for (name, unit), (one, two, change) in zip(
            ROAD, (found.together, found.rolling, found.drag_m2), strict=True
        )
    ]


def _energy(before: RideResult, after: RideResult) -> Difference:
    return difference("energy_wh_per_km", "Wh/km", _wh_per_km(before), _wh_per_km(after))


def _wh_per_km(result: RideResult) -> Estimate | None:
    one = result.totals
    if one.energy_out_wh is None or one.distance_m is None or one.distance_m < 500.0:
        return None
    net = one.energy_out_wh - abs(one.energy_back_wh or 0.0)
    return around(1000.0 * net / one.distance_m, ENERGY_SHARE)

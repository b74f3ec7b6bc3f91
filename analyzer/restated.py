"""What becomes of a verdict at another charge, in cold, in heat, with full load?

A verdict holds under the conditions it was earned. Where a ride's fit of the pack carries it, its
hardest seconds are ridden once more (`restated_model`) at 30 % charge, at 0 and at 35 degrees and
with full load, each alone, the rest as ridden. This is the only place that restates verdicts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.conditions import Conditions, conditions
from analyzer.estimate import Estimate, Note
from analyzer.limit_checks import COLD_HOLDS_K, COLD_TOUCH_K, by_volts
from analyzer.limit_keys import LimitKey, limit_keys
from analyzer.limits import LimitCheck, judge
from analyzer.near_trip import SHORTEST_WAY_K, SHORTEST_WAY_V
from analyzer.pack_errors import CONTROLLER_GAIN_SD, OFFSET_SD_A
from analyzer.quantities import Floats
from analyzer.restated_model import (
    DRAWS,
    Condition,
    HardSeconds,
    Restaged,
    hard_seconds,
    restage,
)
from analyzer.ride_analysis import RideResult
from analyzer.words import LimitRole, Verdict
from importers.setup_types import Setup

LOW_CHARGE_PCT, COLD_C, WARM_C = 30.0, 0.0, 35.0
"""The conditions verdicts are restated for."""
FULL_LOAD = 1.25
"""Full load over `vehicle.mass_kg`. Our choice, said wherever it is used: the setup gives the mass
as usually ridden; a passenger or a full box adds about a quarter to a light vehicle."""
WINDING_PER_K = 0.0039
"""Copper's resistance rises by this part a kelvin at 20 degC (IEC 60028)."""
HEAT_POWER = (1.5, 2.0)
"""Heat in a motor grows with force to a power between these: copper with its square, iron less.
Textbook. Controllers, whose switching loss grows with the current itself, from 1 to 2."""
REPEATS_SD = 0.02
"""How well a rider repeats the hardest second [1]. Our choice; benchmarks/tables/restated_truth.py
says how often the intervals hold."""
MOST_RIDES = 12
"""So many of the hardest rides are restaged for a book. Our choice: the hardest second is on one
of them, and each takes a tenth of a second."""


@dataclass(frozen=True, slots=True)
class Restated:
    """One limit under one condition; None, and a note, where the rides do not carry it."""

    limit: str
    condition: Condition
    value: Estimate | None
    """What `seen` would become, in the limit's unit."""
    verdict: Verdict | None


@dataclass(frozen=True, slots=True)
class RestatedSet:
    """Every restated verdict, and why some are missing."""

    conditions: tuple[Condition, ...]
    rows: tuple[Restated, ...]
    notes: tuple[Note, ...]

    def of(self, limit: str) -> tuple[Restated, ...]:
        """One limit's, in the order of `conditions`."""
        return tuple(one for one in self.rows if one.limit == limit)


def conditions_for(setup: Setup) -> tuple[Condition, ...]:
    """The conditions of this build; full load only where its usual mass is known."""
    out = [
        Condition("30 % charge", charge_pct=LOW_CHARGE_PCT),
        Condition("0 °C", temp_c=COLD_C),
        Condition("35 °C", temp_c=WARM_C),
    ]
    if setup.vehicle.mass_kg is not None:
        full = FULL_LOAD * setup.vehicle.mass_kg
        out.append(Condition(f"full load, {full:.0f} kg", mass_kg=full))
    return tuple(out)


def restate(
    checks: Sequence[LimitCheck], rides: Sequence[RideResult], setup: Setup, *, seed: int = 0
) -> RestatedSet:
    """Every check of the newest setup under other conditions, over the rides that had it set the
    same: the hardest of them counts. Same input and seed: same answer."""
    known = conditions_for(setup)
    keys = {key.key: key for key in limit_keys(setup)}
    staged = [_staged(one, known, seed) for one in _hardest(rides)]
    fitted = [one for one in staged if one is not None]
    notes = _notes(setup, fitted)
    rows = []
    for check in checks:
        for place, condition in enumerate(known):
            values = [
                value
                for one in fitted
                if (value := _value(keys[check.limit], check, one, place)) is not None
            ]
            rows.append(_row(check, keys[check.limit], condition, values))
    return RestatedSet(known, tuple(rows), notes)


@dataclass(frozen=True, slots=True, eq=False)
class _Staged:
    """One ride and its hardest seconds, under each condition."""

    result: RideResult
    state: Conditions
    seconds: HardSeconds
    conditions: tuple[Condition, ...]
    stages: tuple[Restaged | None, ...]
    caps_a: dict[str, float]
    seed: int


@dataclass(frozen=True, slots=True, eq=False)
class _Value:
    """One limit on one ride under one condition: what would be seen, and how much of the limit."""

    seen: Floats
    """One per draw."""
    used_pct: Floats | None
    """None where only volts are given (near rest)."""
    verdict: Verdict | None = None
    """Where the rule is not by per cent."""


def _hardest(rides: Sequence[RideResult]) -> list[RideResult]:
    """The rides with the most current each way: only they hold the hardest second."""
    if len(rides) <= MOST_RIDES:
        return list(rides)

    def most(result: RideResult, word: str) -> float:
        seen = [r.seen for r in result.limits if f".{word}" in r.limit and r.seen is not None]
        return max(seen, default=0.0)

    half = MOST_RIDES // 2
    order = sorted(range(len(rides)), key=lambda k: -most(rides[k], "discharge"))[:half]
    order += sorted(range(len(rides)), key=lambda k: -most(rides[k], "charge"))[:half]
    return [rides[k] for k in sorted(set(order))]


def _staged(result: RideResult, known: tuple[Condition, ...], seed: int) -> _Staged | None:
    state = conditions(result.ride, result.setup, pack=result.pack, fit=result.pack_fit)
    seconds = hard_seconds(result, state)
    if seconds is None:
        return None
    caps = _caps_a(result)
    rng = [np.random.default_rng([seed, place]) for place in range(len(known))]
    stages = tuple(
        restage(seconds, one, result.setup, caps, draw)
        for one, draw in zip(known, rng, strict=True)
    )
    return _Staged(result, state, seconds, known, stages, caps, seed)


def _caps_a(result: RideResult) -> dict[str, float]:
    """Battery limits while driving, as in force where that was seen, else as set."""
    caps: dict[str, float] = {}
    for drive in result.setup.drives:
        seen = next((x.battery_drive_a for x in result.in_force if x.drive == drive.name), None)
        cap = drive.battery_drive_a if seen is None else seen.value
        if cap is not None:
            caps[drive.name] = cap
    return caps


def _value(key: LimitKey, newest: LimitCheck, one: _Staged, place: int) -> _Value | None:
    check = next(
        (x for x in one.result.limits if x.limit == newest.limit and x.set == newest.set), None
    )
    if check is None or check.seen is None:
        return None
    condition = one.conditions[place]
    if key.bounds == "cold":
        return _cold(check, condition)
    stage = one.stages[place]
    if stage is None:
        return None
    if key.bounds == "heat":
        return _heat(key, check, condition, one, stage)
    if key.bounds == "current":
        return _current(key, check, one, stage)
    return _voltage(key, check, one, stage)


def _current(key: LimitKey, check: LimitCheck, one: _Staged, stage: Restaged) -> _Value | None:
    assert check.seen is not None
    was = one.seconds.current_a[:, None]
    times = stage.current_a / was
    if key.channel == "pack_current_a":
        old = was
    else:
        name, _, channel = key.channel.partition(".")
        own = next(d for d in one.seconds.drives if d[0] == name)
        values = own[1] if channel == "battery_current_a" else own[2]
        if values is None or not np.isfinite(values).any():
            return None
        old = np.nan_to_num(values)[:, None]
        if channel == "phase_current_a":
            times = stage.pull  # a phase ampere is force: charge and temperature leave it alone
    sign = key.sign if key.sign != 0 else np.sign(was)
    toward = sign * old
    if float(toward.max()) <= 0:
        return None
    moved = (toward * times).max(axis=0) - float(toward.max())
    moved = moved + _reading_error_a(check.seen, one)
    seen = np.clip(check.seen + moved, 0.0, None)
    cap = _cap(key, check, one)
    seen = np.minimum(seen, max(cap, check.seen) + _reading_error_a(check.seen, one))
    return _Value(seen, 100.0 * seen / check.set)


def _reading_error_a(seen_a: float, one: _Staged) -> Floats:
    """A current's scale and zero err, and no rider asks for quite the same twice."""
    rng = np.random.default_rng([one.seed, 98])
    gain = rng.normal(0.0, np.hypot(CONTROLLER_GAIN_SD, REPEATS_SD), DRAWS)
    return np.asarray(seen_a * gain + rng.normal(0.0, OFFSET_SD_A, DRAWS), np.float64)


def _cap(key: LimitKey, check: LimitCheck, one: _Staged) -> float:
    """What the limits in force let through of this quantity."""
    if check.role is LimitRole.LIMITER:
        if key.key.endswith("battery_drive_a"):
            return one.caps_a.get(key.key.split(".")[1], check.set)
        return check.set
    drives = one.result.setup.drives
    if key.sign < 0:
        given = [d.battery_brake_a for d in drives]
        whole = sum(x for x in given if x is not None)
        return whole if all(x is not None for x in given) else np.inf
    if len(one.caps_a) < len(drives):
        return np.inf
    return sum(one.caps_a.values()) + (one.result.setup.pack.aux_a or 0.0)


def _voltage(key: LimitKey, check: LimitCheck, one: _Staged, stage: Restaged) -> _Value | None:
    series = one.result.setup.pack.series
    cells = 1 if key.key.startswith("bms.cell") else series
    volts, rest = stage.volts * cells / series, stage.rest_v * cells / series
    if key.channel == "cell_min_v":
        weakest = one.seconds.cell_min_v
        if weakest is None:
            return None
        volts = volts - (one.seconds.volts / series - weakest)[:, None]
    elif key.channel == "cell_max_v":
        return None
    toward = key.sign * volts
    if not np.isfinite(toward).any():
        return None
    row = np.nanargmax(toward, axis=0)
    draw = np.arange(toward.shape[1])
    seen = volts[row, draw]
    at_rest = rest[row, draw]
    way = np.abs(key.sign * (check.set - at_rest))
    used = key.sign * (seen - at_rest) / np.maximum(way, 1e-9) * 100.0
    if float(np.median(way)) < SHORTEST_WAY_V * cells:
        left = float(key.sign * (check.set - np.median(seen)))
        return _Value(seen, None, by_volts(check.role, left, SHORTEST_WAY_V * cells))
    beyond = key.sign * (seen - check.set) >= 0
    used = np.where(way < SHORTEST_WAY_V * cells, np.where(beyond, 105.0, used), used)
    return _Value(seen, np.where(beyond, np.maximum(used, 100.0), np.clip(used, 0.0, None)))


def _heat(
    key: LimitKey, check: LimitCheck, condition: Condition, one: _Staged, stage: Restaged
) -> _Value | None:
    """A rise above the air goes with what the force was, and the air with the condition."""
    air = one.state.ambient_c
    if air is None or check.seen is None:
        return None
    motor = ".motor_" in key.key
    rng = np.random.default_rng([one.seed, 99])
    rise = max(check.seen - air, 0.0)
    power = rng.uniform(*(HEAT_POWER if motor else (1.0, 2.0)), DRAWS)
    driving = one.seconds.current_a > 0
    pull = stage.pull[driving].mean(axis=0) if driving.any() else np.ones(DRAWS)
    now_air = air if condition.temp_c is None else condition.temp_c
    warmer = now_air - air if motor else 0.0
    times = pull**power * (1.0 + WINDING_PER_K * warmer / 1.2)
    seen = now_air + rise * times
    way = check.set - now_air
    if way < SHORTEST_WAY_K:
        return _Value(seen, None, Verdict.EXCEEDED if np.median(seen) > check.set else None)
    return _Value(seen, 100.0 * np.clip(seen - now_air, 0.0, None) / way)


def _cold(check: LimitCheck, condition: Condition) -> _Value | None:
    assert check.seen is not None
    temp = check.seen if condition.temp_c is None else condition.temp_c
    if temp < check.set:
        verdict = Verdict.EXCEEDED
    elif temp < check.set + COLD_TOUCH_K:
        verdict = Verdict.TOUCHED
    else:
        verdict = Verdict.HOLDS if temp < check.set + COLD_HOLDS_K else Verdict.NOT_EXERCISED
    return _Value(np.full(DRAWS, temp), None, verdict)


def _row(
    check: LimitCheck, key: LimitKey, condition: Condition, values: Sequence[_Value]
) -> Restated:
    """The hardest of the rides."""
    if not values:
        return Restated(check.limit, condition, None, None)

    def hard(one: _Value) -> float:
        way = 1.0 if key.bounds in ("heat", "high_voltage", "current") else -1.0
        return float(np.median(one.used_pct if one.used_pct is not None else way * one.seen))

    hardest = max(values, key=hard)
    low, middle, high = np.quantile(hardest.seen, [0.025, 0.5, 0.975])
    verdict = hardest.verdict
    if hardest.used_pct is not None:
        verdict = judge(check.role, float(np.median(hardest.used_pct)), _accuracy_pct(check))
    if check.role is LimitRole.LIMITER and verdict is Verdict.NOT_EXERCISED:
        verdict = Verdict.NOT_REACHED
    value = Estimate(float(middle), float(low), float(high))
    return Restated(check.limit, condition, value, verdict)


def _accuracy_pct(check: LimitCheck) -> float:
    """How far above the limit a reading of this ride was still at it; the same holds elsewhere."""
    at_it = check.verdict in (Verdict.WORKS, Verdict.TOUCHED)
    return max((check.exercised_pct or 0.0) - 100.0, 0.0) if at_it else 0.0


def _notes(setup: Setup, fitted: Sequence[_Staged]) -> tuple[Note, ...]:
    about = "limits.restated"
    if not fitted:
        text = (
            "No ride tells the pack's rest voltage and resistance under load: what becomes of the "
            "verdicts at another charge, temperature or load is not known."
        )
        return (Note(about, text),)
    out = [
        Note(
            about,
            "Restated: the hardest seconds of these rides once more, the rider asking for the same "
            "power, one condition changed at a time (charge; pack, motors and air; load), every "
            "limit in force kept.",
        )
    ]
    if setup.vehicle.mass_kg is None:
        out.append(Note(about, "Full load is not restated: vehicle.mass_kg is not given."))
    else:
        out.append(
            Note(
                about,
                f"Full load is taken as {FULL_LOAD:g} times vehicle.mass_kg, the mass as usually "
                f"ridden: {FULL_LOAD * setup.vehicle.mass_kg:.0f} kg. Our choice; set mass_kg "
                "higher to look further.",
            )
        )
    if all(one.seconds.temp_c is None for one in fitted):
        out.append(
            Note(
                about,
                "0 and 35 °C are not restated: no pack temperature is known; log it, or give "
                "--temp.",
            )
        )
    if all(one.stages[0] is None for one in fitted):
        out.append(Note(about, "30 % charge is not restated: no ride tells its charge."))
    return tuple(out)

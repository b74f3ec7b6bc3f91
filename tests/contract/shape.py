"""A strict reading of the contract's sections 3 to 5: every key always there, of its type, its
words among the known ones, and a reason in `notes` for every estimate that is null."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from typing import Any

from analyzer.words import (
    BalanceVerdict,
    CutoutCause,
    EventKind,
    Governor,
    GradeSource,
    ImbalanceCause,
    LimitRole,
    Severity,
    Verdict,
)  # fmt: skip

Check = Callable[[Any, str], Iterator[str]]
"""(value, path) -> what is wrong with it."""


def num(value: Any, at: str) -> Iterator[str]:
    """A finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        yield f"{at} is no number: {value!r}"


def text(value: Any, at: str) -> Iterator[str]:
    """Text that says something."""
    if not isinstance(value, str) or not value.strip():
        yield f"{at} is no text: {value!r}"


def word(words: Any) -> Check:
    """One of these words."""

    def check(value: Any, at: str) -> Iterator[str]:
        if value not in set(words):
            yield f"{at} is no known word: {value!r}"

    return check


def maybe(inner: Check) -> Check:
    """The same or null."""
    return lambda value, at: iter(()) if value is None else inner(value, at)


def many(inner: Check) -> Check:
    """A list of these."""

    def check(value: Any, at: str) -> Iterator[str]:
        if not isinstance(value, list):
            yield f"{at} is no list"
            return
        for place, one in enumerate(value):
            yield from inner(one, f"{at}[{place}]")

    return check


def named(inner: Check) -> Check:
    """An object of these by name."""

    def check(value: Any, at: str) -> Iterator[str]:
        if not isinstance(value, dict):
            yield f"{at} is no object"
            return
        for name, one in value.items():
            yield from inner(one, f"{at}.{name}")

    return check


def keys(**fields: Check) -> Check:
    """An object with exactly these keys."""

    def check(value: Any, at: str) -> Iterator[str]:
        if not isinstance(value, dict):
            yield f"{at} is no object: {value!r}"
            return
        if set(value) != set(fields):
            yield f"{at} lacks {set(fields) - set(value)}, has more {set(value) - set(fields)}"
        for name in set(fields) & set(value):
            yield from fields[name](value[name], f"{at}.{name}")

    return check


def at_least(**fields: Check) -> Check:
    """An object with these keys and more."""

    def check(value: Any, at: str) -> Iterator[str]:
        yield from keys(**fields)({one: value[one] for one in fields if one in value}, at)

    return check


def estimate(value: Any, at: str) -> Iterator[str]:
    """`{"value", "low", "high"}` in order, or null; an interval may be open."""
    if value is None:
        return
    yield from keys(value=num, low=maybe(num), high=maybe(num))(value, at)
    if isinstance(value, dict):
        low, mid, high = (value.get(one) for one in ("low", "value", "high"))
        if (low is not None and low > mid) or (high is not None and high < mid):
            yield f"{at} lies outside its interval: {value}"


def span(value: Any, at: str) -> Iterator[str]:
    """`[low, high]` or null."""
    if value is not None and not (len(value) == 2 and value[0] <= value[1]):
        yield f"{at} is no span: {value}"


def sign(value: Any, at: str) -> Iterator[str]:
    """1 or -1."""
    if value not in (1, -1):
        yield f"{at} is no sign: {value}"


def when(value: Any, at: str) -> Iterator[str]:
    """ISO 8601 with offset."""
    if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?([+-]\d\d:\d\d|Z)", str(value)):
        yield f"{at} is no ISO 8601 time with offset: {value!r}"


def cause_of(words: Any) -> Check:
    """One candidate cause."""
    return keys(
        cause=word(words), probability=num, consequences=many(word(CutoutCause)),
        evidence=many(text), would_confirm=many(text), remedy=many(text),
    )  # fmt: skip


def causes(value: Any, at: str) -> Iterator[str]:
    """Likeliest first, their sum 1, `unknown` among them; or none."""
    words = {*CutoutCause, *Governor, *ImbalanceCause}
    yield from many(cause_of(words))(value, at)
    chances = [one["probability"] for one in value]
    if chances and abs(sum(chances) - 1) > 1e-6:
        yield f"{at} sum to {sum(chances)}"
    if chances != sorted(chances, reverse=True):
        yield f"{at} are not ranked"
    if chances and "unknown" not in {one["cause"] for one in value}:
        yield f"{at} lack unknown"


LOADS = ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a")
NOT_CHECKED = many(keys(what=text, missing=many(text)))
NOTES = many(keys(about=text, text=text))
SOURCE = keys(
    file=text, role=maybe(text), rows=num, rows_dropped=num, rate_hz=maybe(num),
    clock_offset_s=maybe(num), clock_drift_ppm=maybe(num), problems=many(text),
    channels=many(
        keys(header=text, channel=maybe(text), unit=lambda *_: iter(()), sign=sign,
             rate_hz=maybe(num), sure=num)
    ),
)  # fmt: skip
CLIMB = keys(
    start_s=num, end_s=num, length_m=num, gain_m=num, grade_pct=estimate,
    grade_source=word(GradeSource), peak_pack_current_a=maybe(num),
    mean_pack_current_a=maybe(num), min_voltage_v=maybe(num), margin_to_derate_v=maybe(num),
    top_motor_temp_c=named(maybe(num)), governed_pct=named(named(num)),
    limits_touched=many(text),
)  # fmt: skip
TRIED = keys(charge_pct=span, pack_temp_c=span, mass_kg=span, climbs=num)
LIMIT_KEYS: dict[str, Check] = {
    "limit": text, "role": word(LimitRole), "set": num, "seen": maybe(num), "window_s": num,
    "seen_10s": maybe(num), "seen_60s": maybe(num), "verdict": word(Verdict),
    "exercised_pct": maybe(num), "tried": TRIED,
}  # fmt: skip
EVENT = keys(
    kind=word(EventKind), start_s=num, end_s=num, drives=many(text), severity=word(Severity),
    peak=maybe(keys(quantity=text, value=num)), limit=maybe(keys(name=text, value=num)),
    causes=causes,
)  # fmt: skip
PACK = keys(
    resistance_10s_ohm=estimate, resistance_10s_25c_ohm=estimate, resistance_instant_ohm=estimate,
    temperature_c=maybe(num), rest_voltage_start_v=estimate, rest_voltage_end_v=estimate,
    state_of_charge_start_pct=estimate, state_of_charge_end_pct=estimate, capacity_ah=estimate,
)  # fmt: skip
BALANCE = keys(
    shares=maybe(named(keys(drive_pct=estimate, brake_pct=estimate))), speed_ratio=estimate,
    in_force=named(keys(**dict.fromkeys(LOADS, estimate))), verdict=maybe(word(BalanceVerdict)),
    causes=maybe(many(keys(cause=word(ImbalanceCause), probability=num, evidence=many(text)))),
)  # fmt: skip
RIDE = keys(
    schema=word(["hillproof.ride/1"]),
    ride=keys(
        start=maybe(when), duration_s=num, distance_m=maybe(num), energy_out_wh=maybe(num),
        energy_back_wh=maybe(num), charge_out_ah=maybe(num), charge_back_ah=maybe(num),
        drives=many(text), setup=text, sources=many(SOURCE),
    ),
    pack=PACK, balance=BALANCE, events=many(EVENT), limits=many(keys(**LIMIT_KEYS)),
    not_checked=NOT_CHECKED, climbs=many(CLIMB), notes=NOTES,
)  # fmt: skip
SETUP = keys(
    schema=word(["hillproof.setup/1"]),
    findings=many(
        keys(check=text, keys=many(text), severity=word(Severity), value=maybe(num),
             limit=maybe(num), message=text, suggest=many(keys(key=text, value=num, why=text)))
    ),
    not_checked=NOT_CHECKED,
)  # fmt: skip
PREDICT = keys(
    schema=word(["hillproof.predict/1"]),
    hill=keys(grade_pct=maybe(num), length_m=num, charge_pct=num, temp_c=num,
              speed_mps=maybe(num), mass_kg=num),
    limits=many(keys(limit=text, set=num, expected_peak=estimate, chance_touched_pct=maybe(num))),
    speed_mps=estimate, power_first_reduced_at_m=estimate, lowest_voltage_v=estimate,
    highest_voltage_v=estimate, charge_used_ah=estimate, motor_temp_top_c=estimate,
    works_up_to=keys(grade_pct=estimate, charge_down_to_pct=estimate, temp_down_to_c=estimate),
    not_checked=NOT_CHECKED, notes=NOTES,
)  # fmt: skip
COMPARE = keys(
    schema=word(["hillproof.compare/1"]),
    setup_changes=many(keys(key=text, before=lambda *_: iter(()), after=lambda *_: iter(()))),
    differences=many(
        keys(quantity=text, before=estimate, after=estimate, change=estimate,
             beyond_chance=maybe(word([True, False])))
    ),
    climbs=many(keys(before=CLIMB, after=CLIMB)), notes=NOTES,
)  # fmt: skip
LIMITS = at_least(
    schema=word(["hillproof.limits/1"]),
    limits=many(at_least(**LIMIT_KEYS, rides_exercised=num)),
    climbs=many(lambda value, at: _ride_climb(value, at)),
    next_ride=many(text),
)  # fmt: skip
HEALTH = ("share", "speed_ratio", "wheel_circumference", "rolling", "heat_per_watt", "demand_rest")
MONTH = maybe(text)
AGEING = keys(
    schema=word(["hillproof.ageing/1"]), rides=num, rides_used=num, span_days=num,
    resistance=keys(
        now_25c_ohm=estimate, new_25c_ohm=estimate, growth_pct_per_year=estimate,
        jumps=many(keys(date=text, step_pct=estimate, part=word(["instant", "slow", "both"]),
                        note=maybe(text))),
    ),
    capacity=keys(now_ah=estimate, of_rated_pct=estimate, fade_pct_per_year=estimate,
                  usable_ah=estimate),
    use=keys(
        distance_km=maybe(num), charge_out_ah=maybe(num), equivalent_full_cycles=maybe(num),
        hours_full=maybe(num), hours_hot=maybe(num), charged_cold_ah=maybe(num),
        depths=many(keys(depth_pct=span, cycles=num)),
        wh_per_km=keys(first=estimate, last=estimate),
    ),
    drive_health=many(keys(quantity=word(HEALTH), first=estimate, last=estimate)),
    forecast=keys(
        capacity_80_pct=maybe(keys(value=MONTH, low=MONTH, high=MONTH)),
        resistance_150_pct=maybe(keys(value=MONTH, low=MONTH, high=MONTH)),
        hills=many(keys(hill=text, charge_pct=num,
                        **{"from": maybe(keys(value=MONTH, low=MONTH, high=MONTH))})),
        basis=text,
    ),
    per_ride=many(
        keys(ride=text, kind=word(["ride", "charge"]), start=when, used=word([True, False]),
             why_not=maybe(text), resistance_10s_25c_ohm=estimate, capacity_ah=estimate)
    ),
    notes=NOTES,
)  # fmt: skip


def _ride_climb(value: Any, at: str) -> Iterator[str]:
    yield from text(value.get("ride"), f"{at}.ride")
    yield from CLIMB({name: one for name, one in value.items() if name != "ride"}, at)


def faults(content: dict[str, Any], form: Check) -> list[str]:
    """What is wrong with this output."""
    return list(form(content, content.get("schema", "?")))


def unexplained(told: dict[str, Any]) -> list[str]:
    """Estimates of a ride that are null without a reason in `notes`."""
    about = [one["about"] for one in told["notes"]]
    nulls = [f"pack.{name}" for name, one in told["pack"].items() if one is None]
    wanted = ("start", "distance_m", "energy_out_wh", "charge_out_ah")
    nulls += [f"ride.{name}" for name in wanted if told["ride"][name] is None]
    if len(told["ride"]["drives"]) > 1 and told["balance"]["speed_ratio"] is None:
        nulls.append("balance.speed_ratio")
    shares = told["balance"]["shares"] or {}
    if shares and all(one["drive_pct"] is None for one in shares.values()):
        nulls.append("balance.shares")
    parts = {name: name.split(".")[0] for name in nulls}
    return [one for one in nulls if not any(note in (one, parts[one]) for note in about)]

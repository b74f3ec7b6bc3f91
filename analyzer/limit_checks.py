"""Every limit of the setup against the most this ride asked of it, and what could not be judged."""

from __future__ import annotations

from typing import Any

import numpy as np

from analyzer.blocks import Blocks
from analyzer.conditions import Conditions, tried
from analyzer.events import NotChecked
from analyzer.limit_keys import LimitKey, limit_keys
from analyzer.limits import LimitCheck, Tried, judge
from analyzer.near_trip import SHORTEST_WAY_K, SHORTEST_WAY_V, way_used
from analyzer.quantities import (
    SLOW_RATE_HZ,
    Floats,
    WindowMeans,
    braking_is_logged,
    pack_peaks_a,
    pack_voltage_v,
    window_means,
)
from analyzer.sensors import believable_temp_c
from analyzer.words import LimitRole, Verdict
from importers.ride import Ride
from importers.scatter import log_step, noise_sd
from importers.setup_types import Ports, Setup

WINDOWS_S = (1.0, 10.0, 60.0)
"""The contract's: `seen`, `seen_10s`, `seen_60s`."""
BLOCKS_A_WINDOW = 40
"""The longer windows move on by this part of themselves. Our choice: a tenth of the work, and the
highest mean is missed by a fortieth of what enters in one step at most."""
COLD_TOUCH_K, COLD_HOLDS_K = 2.0, 10.0
"""Braking within this of the coldest charging temperature touches it, within that exercises it [K].
Our choice: a cold limit has no way from ambient to measure along."""
EXTREME_SD = 3.0
"""The highest of many noisy means lies about this many standard deviations above the truth: the
expected largest of 500 to 1000 independent normal values."""
CHARGING_A = -1.0
"""More than this into the pack is charging it [A]. Our choice: beyond a shunt's offset."""
SERIES_KEPT = 2
"""So many quantities' series are kept for the next limit. Our choice, for memory."""


class _Checker:
    """One ride against the limits of its setup; keeps what several limits share."""

    def __init__(self, ride: Ride, setup: Setup, state: Conditions, conditions: Tried) -> None:
        self.ride, self.setup, self.state, self.tried = ride, setup, state, conditions
        self.second = window_means(ride, WINDOWS_S[0])
        self.longer = tuple(
            (blocks, WindowMeans.over(blocks.start_s, blocks.length_s, window_s))
            for window_s in WINDOWS_S[1:]
            for blocks in [Blocks(ride, window_s / BLOCKS_A_WINDOW)]
        )
        self.current = pack_peaks_a(ride, setup)
        self.voltage = pack_voltage_v(ride, setup)
        self.braking = braking_is_logged(ride, setup)
        self._accuracy: dict[str, float] = {}
        self._series: dict[str, Floats | None] = {}
        self._means: dict[tuple[str, int], tuple[Floats, ...]] = {}

    def series(self, limit: LimitKey) -> Floats | None:
        """The quantity a limit bounds, in its own direction."""
        if limit.channel not in self._series:
            _make_room(self._series)
            self._series[limit.channel] = self._read(limit)
        values = self._series[limit.channel]
        if values is None or limit.bounds in ("heat", "cold"):
            return values
        return np.abs(values) if limit.sign == 0 else np.asarray(limit.sign * values, np.float64)

    def _read(self, limit: LimitKey) -> Floats | None:
        values: Floats | None
        if limit.channel == "pack_current_a":
            values = None if self.current is None else self.current.values
        elif limit.channel.endswith(".battery_voltage_v"):
            values = self.ride.get(limit.channel)
            if values is None and self.voltage is not None:
                values = self.voltage.values
        else:
            values = self.ride.get(limit.channel)
        if values is None:
            return None
        return believable_temp_c(values, self.ride) if limit.bounds == "heat" else values

    def means(self, limit: LimitKey, values: Floats) -> tuple[Floats, ...]:
        """Its means over each window; limits on one quantity share them."""
        sign = limit.sign if limit.bounds != "heat" else 1
        if (limit.channel, -sign) in self._means and sign != 0:
            return tuple(-mean for mean in self._means[limit.channel, -sign])
        if (limit.channel, sign) not in self._means:
            _make_room(self._means)
            means = [(blocks.mean(values), window) for blocks, window in self.longer]
            self._means[limit.channel, sign] = (
                self.second.of(values),
                *(window.of(mean) for mean, window in means if mean is not None),
            )
        return self._means[limit.channel, sign]

    def accuracy_a(self, limit: LimitKey, values: Floats) -> float:
        """How far the highest second of many may lie above the truth: half a step and noise."""
        if limit.channel not in self._accuracy:
            length_s = max(self.ride.time_s[-1] - self.ride.time_s[0], 1.0)
            per_s = max(values.size / length_s, 1.0)
            noise_a = EXTREME_SD * noise_sd(values) / float(np.sqrt(per_s))
            self._accuracy[limit.channel] = log_step(values) / 2 + noise_a
        return self._accuracy[limit.channel]

    def at_least(self, limit: LimitKey) -> bool:
        """Whether what it bounds is updated too rarely to show its peaks."""
        if limit.channel == "pack_current_a":
            return self.current is not None and self.current.at_least
        rate = self.ride.rate_hz(limit.channel)
        return limit.bounds not in ("heat", "cold") and rate is not None and rate < SLOW_RATE_HZ


def check_limits(
    ride: Ride, setup: Setup, state: Conditions, *, climbs: int
) -> tuple[tuple[LimitCheck, ...], tuple[NotChecked, ...]]:
    """Every limit of the setup that this ride can judge, and every one it cannot, with why."""
    one = _Checker(ride, setup, state, tried(state, climbs=climbs))
    checks: list[LimitCheck] = []
    missing: list[NotChecked] = []
    for limit in limit_keys(setup):
        if limit.value is None:
            missing.append(NotChecked(limit.what, (limit.key,)))
            continue
        found = _check(one, limit, limit.value)
        if isinstance(found, NotChecked):
            missing.append(found)
        else:
            checks.append(found)
    return tuple(checks), tuple(missing)


def _make_room(known: dict[Any, Any]) -> None:
    """Limits on one quantity follow one another: series of a day's ride are not kept for later."""
    if len(known) >= SERIES_KEPT:
        del known[next(iter(known))]


def _check(one: _Checker, limit: LimitKey, value: float) -> LimitCheck | NotChecked:
    values = one.series(limit)
    if values is None:
        return _no_channel(one, limit)
    why = _unjudged(one, limit)
    if why is not None:
        return NotChecked(f"{limit.what}: {why[1]}", (why[0],))
    if limit.bounds == "current":
        if limit.sign < 0 and not one.braking:
            told = "the vehicle braked, but the log shows no current going back"
            return NotChecked(f"{limit.what}: {told}", (limit.channel,))
        if limit.key.startswith("bms.charge") and one.setup.bms.ports is Ports.SEPARATE:
            told = "with separate ports braking passes no charge protection"
            return NotChecked(f"{limit.what}: {told}", ("bms.ports",))
        return _current_check(one, limit, value, values)
    if limit.bounds == "cold":
        return _cold_check(one, limit, value, values)
    if limit.bounds == "heat":
        return _heat_check(one, limit, value, values)
    return _voltage_check(one, limit, value, values)


def _unjudged(one: _Checker, limit: LimitKey) -> tuple[str, str] | None:
    """The channel from which this limit cannot be judged, and why."""
    if limit.channel == "pack_current_a" and one.current is not None:
        channels: tuple[str, ...] = one.current.channels
    else:
        channels = (limit.channel,)
    # Where the lower side of a two-sided limit is unknown the upper one still tells its peak.
    side = 1 if limit.sign == 0 else limit.sign
    for channel in channels:
        why = one.ride.unjudged_why(channel, side)
        if why is not None:
            return channel, why
    return None


def _no_channel(one: _Checker, limit: LimitKey) -> NotChecked:
    if one.ride.has(limit.channel) and limit.bounds == "heat":
        return NotChecked(f"{limit.what}: the sensor reads a constant", (limit.channel,))
    if limit.channel == "pack_current_a":
        parts = [f"{d}.battery_current_a" for d in one.setup.drive_names]
        absent = tuple(name for name in parts if not one.ride.has(name))
        return NotChecked(limit.what, absent or (limit.channel,))
    return NotChecked(limit.what, (limit.channel,))


def _most(values: Floats) -> tuple[float | None, int | None]:
    if values.size == 0 or not np.isfinite(values).any():
        return None, None
    at = int(np.nanargmax(values))
    return float(values[at]), at


def _current_check(one: _Checker, limit: LimitKey, value: float, values: Floats) -> LimitCheck:
    means = one.means(limit, values)
    (seen, at), (seen_10s, _), (seen_60s, _) = (_most(mean) for mean in means)
    if seen is None or at is None:
        return _row(one, limit, value, None, None, None, Verdict.NOT_EXERCISED, None, None, "")
    seen, seen_10s, seen_60s = (
        None if s is None else max(s, 0.0) for s in (seen, seen_10s, seen_60s)
    )
    used_pct = 100.0 * (seen or 0.0) / value
    accuracy_pct = 100.0 * one.accuracy_a(limit, values) / value
    verdict = judge(limit.role, used_pct, accuracy_pct)
    text = f"{used_pct:.0f} % of {value:g} A in the highest second."
    return _row(
        one, limit, value, seen, seen_10s, seen_60s, verdict, used_pct, _end_s(one, at), text
    )


def _end_s(one: _Checker, at: int) -> float:
    return float(one.ride.time_s[at])


def _voltage_check(
    one: _Checker, limit: LimitKey, value: float, values: Floats
) -> LimitCheck | NotChecked:
    cells = 1 if limit.key.startswith("bms.cell") else one.setup.pack.series
    rest = None if one.state.rest_v is None else one.state.rest_v * cells / one.setup.pack.series
    shortest = SHORTEST_WAY_V * cells
    means = one.means(limit, values)
    (toward, at), (ten, _), (sixty, _) = (_most(mean) for mean in means)
    if toward is None or at is None:
        return NotChecked(f"{limit.what}: no second of it without a hole", (limit.channel,))
    seen = limit.sign * toward
    seen_10s, seen_60s = (None if s is None else limit.sign * s for s in (ten, sixty))
    used_pct: float | None = None
    left_v = limit.sign * (value - seen)
    if rest is not None:
        used = way_used(limit.sign * means[0], rest, value, shortest)
        if np.isfinite(used).any() and (np.isfinite(used[at]) or left_v > shortest):
            used_pct = max(100.0 * float(np.nanmax(used)), 0.0)
    if used_pct is None:
        verdict = by_volts(limit.role, left_v, shortest)
        text = f"{seen:.2f} V, {abs(left_v):.2f} V {'short of' if left_v >= 0 else 'beyond'} it."
    else:
        verdict = judge(limit.role, used_pct)
        side = "left" if left_v >= 0 else "beyond"
        text = f"{used_pct:.0f} % of the way from rest; {abs(left_v):.2f} V {side}."
    return _row(
        one, limit, value, seen, seen_10s, seen_60s, verdict, used_pct, _end_s(one, at), text
    )


def by_volts(role: LimitRole, left_v: float, shortest_v: float) -> Verdict:
    """Where per cent of the way say nothing: reached, within a twentieth of 0.1 V per cell, within
    0.1 V per cell, or further away."""
    limiter = role is LimitRole.LIMITER
    if left_v < 0:
        return Verdict.WORKS if limiter else Verdict.EXCEEDED
    if left_v < 0.05 * shortest_v:
        return Verdict.WORKS if limiter else Verdict.TOUCHED
    if limiter:
        return Verdict.NOT_REACHED
    return Verdict.HOLDS if left_v < shortest_v else Verdict.NOT_EXERCISED


def _heat_check(
    one: _Checker, limit: LimitKey, value: float, values: Floats
) -> LimitCheck | NotChecked:
    (seen, at), (ten, _), (sixty, _) = (_most(mean) for mean in one.means(limit, values))
    if seen is None or at is None:
        return NotChecked(f"{limit.what}: no second of it without a hole", (limit.channel,))
    air_c = one.state.ambient_c
    way_k = 0.0 if air_c is None else value - air_c
    if air_c is None or way_k < SHORTEST_WAY_K:
        verdict = Verdict.EXCEEDED if seen > value else Verdict.NOT_EXERCISED
        return _row(
            one, limit, value, seen, ten, sixty, verdict, None, _end_s(one, at), f"{seen:.0f} °C."
        )
    used_pct = max(100.0 * (seen - air_c) / way_k, 0.0)
    verdict = judge(limit.role, used_pct)
    text = f"{seen:.0f} °C: {used_pct:.0f} % of the way from {air_c:.0f} °C."
    return _row(one, limit, value, seen, ten, sixty, verdict, used_pct, _end_s(one, at), text)


def _cold_check(
    one: _Checker, limit: LimitKey, value: float, values: Floats
) -> LimitCheck | NotChecked:
    if one.current is None:
        return NotChecked(limit.what, ("pack_current_a",))
    charging = (one.current.values < CHARGING_A) & np.isfinite(values)
    if not charging.any():
        return _row(
            one, limit, value, None, None, None, Verdict.NOT_EXERCISED, None, None, "No braking."
        )
    at = int(np.flatnonzero(charging)[np.argmin(values[charging])])
    seen = float(values[at])
    if seen < value:
        verdict = Verdict.EXCEEDED
    elif seen < value + COLD_TOUCH_K:
        verdict = Verdict.TOUCHED
    else:
        verdict = Verdict.HOLDS if seen < value + COLD_HOLDS_K else Verdict.NOT_EXERCISED
    text = f"Coldest pack while braking: {seen:.0f} °C."
    return _row(one, limit, value, seen, None, None, verdict, None, _end_s(one, at), text)


def _row(
    one: _Checker,
    limit: LimitKey,
    value: float,
    seen: float | None,
    seen_10s: float | None,
    seen_60s: float | None,
    verdict: Verdict,
    used_pct: float | None,
    at_s: float | None,
    text: str,
) -> LimitCheck:
    if limit.role is LimitRole.LIMITER and verdict is Verdict.NOT_EXERCISED:
        verdict = Verdict.NOT_REACHED
    return LimitCheck(
        limit=limit.key,
        role=limit.role,
        set=value,
        unit=limit.unit,
        seen=seen,
        window_s=WINDOWS_S[0],
        seen_10s=seen_10s,
        seen_60s=seen_60s,
        verdict=verdict,
        exercised_pct=used_pct,
        tried=one.tried,
        at_s=at_s,
        at_least=one.at_least(limit),
        text=text,
    )

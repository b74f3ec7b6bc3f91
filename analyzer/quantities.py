"""What every finding needs of a ride: time steps, spans, window means, and the currents,
voltages and speeds of the whole vehicle, whichever channels carry them.

Arrays are float64 with n values, one per row of `ride.table`; missing is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from importers.ride import Ride
from importers.setup_types import Setup

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

JOIN_S = 1.0
"""Spans of one kind less than this apart are one [s]. The contract's."""
MIN_SPAN_S = 0.3
"""Spans shorter than this are dropped [s]. The contract's."""
LIGHTS_ROWS = 20
"""So many rows tell what a BMS reads beyond the drives' sum. Our choice."""
SLOW_RATE_HZ = 5.0
"""Peaks of channels updated less often than this are lower bounds [Hz]. The contract's."""

STEADY_S, STEADY_A, STEADY_PART = 2.0, 0.5, 0.03
"""Drives' currents that moved less than this in that time can be held against a reading once a
second. Our choice."""
AGREED_S = 20.0
"""So much of it tells whether they agree [s]. Our choice."""
AGREE_A, AGREE_PART, AGREE_ROWS = 0.7, 0.06, 0.8
"""They agree where so many of those rows are this near. Our choice: a few per cent of gain apart,
as shunts are (common practice, no source)."""

BACK_A = 0.2
"""A battery current below minus this goes back into the pack [A]. Our choice: above a shunt's
offset (0.1 to 0.3 A, common practice, no source)."""
BRAKES_FROM_MPS = 4.0
"""Motor braking gives current back from about here [m/s]; slower it may draw some. Our choice."""
BRAKE_ASKED_PCT = 20.0
"""Braking that must give current back [% of demand]. Our choice."""
BRAKE_PHASE_A = 5.0
"""Likewise [A of phase current]. Our choice."""
BRAKED_S = 2.0
"""... for this long [s]. Our choice."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity of the whole vehicle and the channels it was taken from."""

    values: Floats
    channels: tuple[str, ...]
    at_least: bool
    """True where a channel it rests on is updated less than 5 times a second."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of samples, `first` to `last` inclusive."""

    first: int
    last: int
    start_s: float
    end_s: float

    @property
    def rows(self) -> slice:
        """The samples of the span."""
        return slice(self.first, self.last + 1)

    @property
    def length_s(self) -> float:
        """Seconds from the first to the end of the last sample."""
        return self.end_s - self.start_s


def step_s(ride: Ride) -> Floats:
    """How long each sample stands for [s]: the time to the next one, 0 before a hole in the log
    and, for the last sample, the step before it."""
    return _step_s(ride)


@lru_cache(maxsize=1)
def _step_s(ride: Ride) -> Floats:
    time_s = ride.time_s
    step = np.zeros(time_s.size)
    if time_s.size >= 2:
        step = np.diff(time_s, append=2 * time_s[-1] - time_s[-2])
        step[step > ride.gap_s] = 0.0
    step.flags.writeable = False
    return step


def spans_where(
    mask: Bools, ride: Ride, *, join_s: float = JOIN_S, min_s: float = MIN_SPAN_S
) -> list[Span]:
    """Stretches where `mask` is true: those closer than `join_s` joined, then those shorter than
    `min_s` dropped. A stretch never crosses a hole in the log."""
    time_s, step = ride.time_s, step_s(ride)
    if mask.size == 0 or not mask.any():
        return []
    holes = np.concatenate([[0], np.cumsum(step[:-1] == 0.0)])
    same = mask[1:] & mask[:-1] & (holes[1:] == holes[:-1])
    firsts = np.flatnonzero(mask & ~np.concatenate([[False], same]))
    lasts = np.flatnonzero(mask & ~np.concatenate([same, [False]]))
    ends = time_s[lasts] + step[lasts]
    apart = (time_s[firsts[1:]] - ends[:-1] >= join_s) | (holes[firsts[1:]] != holes[lasts[:-1]])
    opens, closes = np.concatenate([[True], apart]), np.concatenate([apart, [True]])
    spans = [
        Span(int(a), int(b), float(time_s[a]), float(end))
        for a, b, end in zip(firsts[opens], lasts[closes], ends[closes], strict=True)
    ]
    return [one for one in spans if one.length_s >= min_s - 1e-9]


def next_true(mask: Bools, at: int) -> int | None:
    """The first row from `at` on where `mask` is true, looked for no further than needed."""
    low, some = at, 256
    while low < mask.size:
        part = mask[low : low + some]
        if part.any():
            return low + int(np.argmax(part))
        low, some = low + some, 2 * some
    return None


class WindowMeans:
    """Time-weighted means over the `window_s` seconds that end with each sample, for one ride.

    NaN where the window reaches over a hole in the log, over missing values, or before the ride's
    start. Each sample stands for the time to the next one.
    """

    def __init__(self, ride: Ride, window_s: float) -> None:
        self._lay_out(ride.time_s, step_s(ride), window_s)

    @classmethod
    def over(cls, time_s: Floats, length_s: Floats, window_s: float) -> WindowMeans:
        """The same over samples or blocks that begin at `time_s` and last `length_s`."""
        made = cls.__new__(cls)
        made._lay_out(time_s, length_s, window_s)
        return made

    def _lay_out(self, time_s: Floats, step: Floats, window_s: float) -> None:
        self.window_s = window_s
        self._step = step
        if time_s.size == 0:
            return
        end = time_s + step
        begin = end - window_s
        self._first = np.clip(np.searchsorted(end, begin, side="right"), 0, time_s.size - 1)
        self._part = np.clip(begin - time_s[self._first], 0.0, step[self._first])
        self._no_hole = self._behind(np.ones(time_s.size))
        self._last = np.ones(time_s.size, np.bool_), self._no_hole

    def _behind(self, values: Floats) -> Floats:
        """What n values add up to over the window behind each sample, by time."""
        area = np.zeros(values.size + 1)
        np.cumsum(values * self._step, out=area[1:])
        out = area[1:] - area[self._first]
        out -= values[self._first] * self._part
        return out

    def _covered(self, good: Bools) -> Floats:
        """How much of each window is known [s]; the channels of one log mostly share it."""
        mask, time = self._last
        if not np.array_equal(mask, good):
            time = self._behind(good.astype(np.float64))
            self._last = good, time
        return time

    def of(self, values: Floats) -> Floats:
        """The means of one channel of the ride, n values."""
        if values.size == 0:
            return np.zeros(0)
        good = np.isfinite(values)
        time = self._no_hole if good.all() else self._covered(good)
        total = self._behind(values if time is self._no_hole else np.where(good, values, 0.0))
        full = time >= self.window_s * (1 - 1e-6) - 1e-9
        with np.errstate(invalid="ignore", divide="ignore"):
            total /= time
        total[~full] = np.nan
        return total


@lru_cache(maxsize=2)
def window_means(ride: Ride, window_s: float) -> WindowMeans:
    """Many ask one ride for the same windows."""
    return WindowMeans(ride, window_s)


def window_mean(values: Floats, ride: Ride, window_s: float) -> Floats:
    """Time-weighted mean over the `window_s` seconds that end with each sample; NaN where the
    window reaches over a hole in the log, over missing values, or before the ride's start."""
    return window_means(ride, window_s).of(values)


def _quantity(ride: Ride, channels: tuple[str, ...], values: Floats) -> Quantity:
    rates = [ride.rate_hz(one) for one in channels]
    slow = any(rate is not None and rate < SLOW_RATE_HZ for rate in rates)
    return Quantity(values, channels, slow)


def drive_channel(ride: Ride, drive: str, name: str) -> Floats | None:
    """One drive's channel, or None where it is not logged."""
    return ride.get(f"{drive}.{name}")


@lru_cache(maxsize=2)
def _summed_a(ride: Ride, drives: tuple[str, ...]) -> Quantity | None:
    names = tuple(f"{drive}.battery_current_a" for drive in drives)
    parts = [ride.get(name) for name in names]
    if any(part is None for part in parts):
        return None
    total = np.zeros(ride.time_s.size)
    for part in parts:
        if part is not None:
            total += part
    total.flags.writeable = False  # shared by all who ask for it
    return _quantity(ride, names, total)


def drives_current_a(ride: Ride, setup: Setup) -> Quantity | None:
    """All drives' battery currents together [A], lights apart: what is judged against ratings.
    NaN where one drive's is missing. Where a drive has none logged, the pack's own current less
    the lights; None without that."""
    total = _summed_a(ride, setup.drive_names)
    if total is not None:
        return total
    logged = ride.get("pack_current_a")
    if logged is not None:
        return _quantity(ride, ("pack_current_a",), logged - (setup.pack.aux_a or 0.0))
    return None


def pack_current_a(ride: Ride, setup: Setup) -> Quantity | None:
    """The pack's current [A]: as a BMS logs it, else all drives' plus `aux_a`."""
    return _pack_current_a(ride, setup.drive_names, setup.pack.aux_a or 0.0)


@lru_cache(maxsize=2)
def _pack_current_a(ride: Ride, drives: tuple[str, ...], aux_a: float) -> Quantity | None:
    logged = ride.get("pack_current_a")
    if logged is not None:
        return _quantity(ride, ("pack_current_a",), logged)
    total = _summed_a(ride, drives)
    if total is None:
        return None
    values = total.values + aux_a
    values.flags.writeable = False  # shared by all who ask for it
    return Quantity(values, total.channels, total.at_least)


def pack_peaks_a(ride: Ride, setup: Setup) -> Quantity | None:
    """The pack's current [A] where its peaks count: `pack_current_a`, but of a BMS that writes too
    rarely to show them only what lights draw, on top of what the drives' faster logs sum to. The
    slow reading itself where the two do not agree: another consumer draws as it likes."""
    logged = pack_current_a(ride, setup)
    total = _summed_a(ride, setup.drive_names)
    if logged is None or total is None or not logged.at_least or total.at_least:
        return logged
    rest = logged.values - total.values
    known = rest[np.isfinite(rest)]
    if known.size < LIGHTS_ROWS or _disagree(ride, rest, total.values):
        return logged
    lights_a = setup.pack.aux_a
    if lights_a is None:
        lights_a = max(float(np.median(known)), 0.0)
    values = np.where(np.isfinite(total.values), total.values + lights_a, logged.values)
    return Quantity(values, total.channels, False)


def _disagree(ride: Ride, rest: Floats, total: Floats) -> bool:
    """Whether what flows past the drives changes while their own currents stand still."""
    back = np.searchsorted(ride.time_s, ride.time_s - STEADY_S)
    with np.errstate(invalid="ignore"):
        still = np.abs(total - total[back]) < STEADY_A + STEADY_PART * np.abs(total)
    known = still & np.isfinite(rest)
    if float(step_s(ride)[known].sum()) < AGREED_S:
        return False
    off = np.abs(rest[known] - np.median(rest[known]))
    near = off <= AGREE_A + AGREE_PART * np.abs(total[known])
    return float(np.mean(near)) < AGREE_ROWS


def pack_voltage_v(ride: Ride, setup: Setup) -> Quantity | None:
    """The pack's voltage [V]: as logged for the pack, else the mean of the drives' readings."""
    logged = ride.get("pack_voltage_v")
    if logged is not None:
        return _quantity(ride, ("pack_voltage_v",), logged)
    names = tuple(
        f"{d}.battery_voltage_v" for d in ride.drives if ride.has(f"{d}.battery_voltage_v")
    )
    if not names:
        return None
    table = ride.table[list(names)]
    return _quantity(ride, names, table.mean(axis=1).to_numpy(np.float64))


def bus_voltage_v(ride: Ride, setup: Setup, drive: str) -> Floats | None:
    """The voltage at one drive's controller [V], n values: its own reading, else the pack's."""
    own = drive_channel(ride, drive, "battery_voltage_v")
    if own is not None:
        return own
    whole = pack_voltage_v(ride, setup)
    return None if whole is None else whole.values


def wheel_speed_mps(ride: Ride, setup: Setup, drive: str) -> Quantity | None:
    """One drive's wheel speed over ground without slip [m/s], logged or from motor turns."""
    logged = ride.get(f"{drive}.wheel_speed_mps")
    if logged is not None:
        return _quantity(ride, (f"{drive}.wheel_speed_mps",), logged)
    rpm = ride.get(f"{drive}.motor_rpm")
    vehicle = setup.vehicle
    if rpm is None or vehicle.gear_ratio is None or vehicle.wheel_diameter_m is None:
        return None
    speed = rpm / 60.0 / vehicle.gear_ratio * np.pi * vehicle.wheel_diameter_m
    return _quantity(ride, (f"{drive}.motor_rpm",), speed)


def speed_mps(ride: Ride, setup: Setup) -> Quantity | None:
    """The vehicle's speed [m/s]: its own channel, else the wheels' mean, else the GPS's."""
    logged = ride.get("speed_mps")
    if logged is not None:
        return _quantity(ride, ("speed_mps",), logged)
    wheels = [w for d in ride.drives if (w := wheel_speed_mps(ride, setup, d)) is not None]
    if wheels:
        stack = np.vstack([w.values for w in wheels])
        with np.errstate(invalid="ignore"):
            count = np.isfinite(stack).sum(axis=0)
            mean = np.where(count > 0, np.nansum(stack, axis=0) / np.maximum(count, 1), np.nan)
        return Quantity(
            mean, tuple(c for w in wheels for c in w.channels), any(w.at_least for w in wheels)
        )
    gps = ride.get("gps_speed_mps")
    return None if gps is None else _quantity(ride, ("gps_speed_mps",), gps)


def throttle_pct(ride: Ride, drive: str) -> Floats | None:
    """The demand that reaches this drive [%]: its own channel, else the ride's."""
    own = ride.get(f"{drive}.throttle_pct")
    return own if own is not None else ride.get("throttle_pct")


def brake_pct(ride: Ride, drive: str) -> Floats | None:
    """The braking demand that reaches this drive [%], positive; from its own channel, the
    ride's, or the negative part of a signed throttle."""
    for name in (f"{drive}.brake_pct", "brake_pct"):
        own = ride.get(name)
        if own is not None:
            return own
    signed = throttle_pct(ride, drive)
    if signed is None or not bool((signed < -2.0).any()):
        return None
    return np.asarray(np.clip(-signed, 0.0, None), np.float64)


def braking_is_logged(ride: Ride, setup: Setup) -> bool:
    """Whether braking currents can be judged: false where the vehicle braked with its motors (by
    demand or phase current) and no battery current ever goes back, so that the log clips it."""
    total = pack_current_a(ride, setup)
    if total is None:
        return False
    logged = ride.get("pack_current_a")
    currents = [ride.get(f"{d}.battery_current_a") for d in ride.drives]
    for one in (logged, *currents):
        if one is not None and bool((one < -BACK_A).any()):
            return True
    speed = speed_mps(ride, setup)
    if speed is None:
        return True
    fast = speed.values > BRAKES_FROM_MPS
    step = step_s(ride)
    for drive in ride.drives:
        asked = brake_pct(ride, drive)
        phase = ride.get(f"{drive}.phase_current_a")
        braked = np.zeros(fast.size, np.bool_)
        if asked is not None:
            braked |= asked > BRAKE_ASKED_PCT
        if phase is not None:
            braked |= phase < -BRAKE_PHASE_A
        if float(step[fast & braked].sum()) > BRAKED_S:
            return False
    return True


def phase_braking_a(ride: Ride, drive: str) -> Floats | None:
    """One drive's phase current while it brakes, positive [A]: minus the logged one, or, where
    the log has its size only, its size while battery current goes back."""
    phase, battery = ride.get(f"{drive}.phase_current_a"), ride.get(f"{drive}.battery_current_a")
    if phase is None:
        return None
    if bool((phase < -BRAKE_PHASE_A).any()) or battery is None:
        return -phase
    back = battery < -BACK_A
    return np.where(back, np.abs(phase), -np.abs(phase))

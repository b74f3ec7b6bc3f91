"""Where the whole of one log lies in another: for rides so calm that their stretches say nothing.

Masked normalised cross-correlation: Pearson's correlation over the readings that both logs have, at
every lag at once by FFT (Padfield, Masked object registration in the Fourier domain, IEEE
Transactions on Image Processing 21, 2012). Holes and ends weigh nothing. Pure. By numpy alone: to
load `scipy.signal` for its `correlate` takes a third of a second and 40 MB of every `ride`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.clock_grids import Signals, mean_around
from importers.resample import gap_limit_s

Floats = NDArray[np.float64]

STEP_S = 0.5
"""Grid of the whole rides [s]. Our choice: least squares find the lag between its steps."""
OVERLAP_PART = 0.6
"""Of the shorter log must lie in the longer. Our choice."""
FLAT_PART = 1e-3
"""Of a log's own variance: an overlap with less has nothing to say. Our choice."""
MATCHES = ((0.75, 0.05), (0.55, 0.12))
"""Alike from this correlation on where it is by so much more than at any lag further off. Our
choice: made rides reach 0.99 with their own logs, 0.6 to 0.8 where one side failed; other rides
0.45, and 0.05 more than at their next best lag."""
ELSEWHERE_S = 15.0
"""A lag is another one when it is so far off [s]. Our choice: half a pull away."""
QUICK_MEAN_S, SLOW_MEAN_S = 1.0, 10.0
"""Rides are compared as means over this long [s]; the second hides surging, which a slow log sees
as something else. Our choice: surges take up to 2 s."""
SLOW_ERROR_S = 2.0
"""How well a lag is known from slow means only, one sd [s]. Our choice: a fifth of the mean."""
MOST_MOVE_S = 3.0
"""Further from the coarse lag no finer one is looked for [s]. Our choice: twice the grid's step and
a fast log's smoothing."""
STEPS, ENOUGH_S = 12, 1e-3
"""Gauss-Newton steps at most, and the step [s] that ends them. Our choice."""
HUBER = 1.5
"""Residuals beyond so many robust standard deviations count less (Huber 1964)."""
LEAST_ROWS = 30
"""Fewer common readings tell no lag. Our choice."""
KIND_MATCH, DIGITS = 0.5, 1e-7
"""A kind of signal that is less alike than this there says nothing of the lag; no reading is better
than this part of itself. Our choice."""
STAMP_PART, STAMP_S = 0.1, 0.02
"""Of a slow log's step: how well its rows say when they were read, and at least so many seconds.
Our choice: loggers stamp a row when it is written."""


@dataclass(frozen=True, slots=True)
class WholeFit:
    """Reading of the second clock = t + offset + drift · (t - middle) around the shared middle."""

    offset_s: float
    error_s: float
    """One standard error."""
    drift: float
    drift_error: float
    middle_s: float
    match: float
    """How alike the logs are there, 0 to 1."""


def whole_fit(
    first_s: Floats, first: Signals, second_s: Floats, second: Signals, usual_drift: float
) -> WholeFit | None:
    """How does the second clock run against the first's, from all that both logs felt at once?

    `first_s` and `second_s` are the logs' times, the signals have a value for each; `usual_drift`
    is how far clocks usually drift (a part, one standard deviation). None where no lag stands out.
    """
    for mean_s in (QUICK_MEAN_S, SLOW_MEAN_S):
        found = _best(first_s, first, second_s, second, mean_s)
        if found is None:
            continue
        lag_s, match = found
        fits = (
            []
            if mean_s == SLOW_MEAN_S
            else [
                fit
                for kind in first
                if kind in second
                and (
                    fit := _by_slope(
                        first_s, first[kind], second_s, second[kind], lag_s, usual_drift
                    )
                )
            ]
        )
        if fits:
            return _joined(fits, match)
        return WholeFit(lag_s, SLOW_ERROR_S, 0.0, usual_drift, float(first_s.mean()), match)
    return None


def _joined(fits: list[WholeFit], match: float) -> WholeFit:
    """What the kinds of signal say together, weighed by their errors; wider where they differ more
    than those (Birge's ratio)."""
    lag = np.array([[one.offset_s, one.error_s] for one in fits])
    drift = np.array([[one.drift, one.drift_error] for one in fits])

    def mean(rows: Floats) -> tuple[float, float]:
        weight = rows[:, 1] ** -2.0
        middle = float(np.average(rows[:, 0], weights=weight))
        spread = float(np.sum(weight * (rows[:, 0] - middle) ** 2)) / max(len(rows) - 1, 1)
        return middle, float(np.sqrt(max(spread, 1.0) / weight.sum()))

    return WholeFit(*mean(lag), *mean(drift), float(np.mean([x.middle_s for x in fits])), match)


def _by_slope(
    first_s: Floats,
    first: Floats,
    second_s: Floats,
    second: Floats,
    lag_s: float,
    usual_drift: float,
) -> WholeFit | None:
    """The slower log at its own moments against the faster one between its readings: least squares
    over lag and drift (Gauss-Newton, Huber's weights), their errors from what is left."""
    x_s, x, y_s, y, sign = first_s, first, second_s, second, 1.0
    swap = bool(np.median(np.diff(second_s)) < np.median(np.diff(first_s)))
    if swap:
        x_s, x, y_s, y, sign = second_s, second, first_s, first, -1.0
    good = np.isfinite(x)
    own_s, own = x_s[good], x[good]
    if own_s.size < LEAST_ROWS:
        return None
    held = np.isfinite(y)
    held[1:] &= y[1:] != y[:-1]  # a channel that is held was read when it changed
    at, value = y_s[held], y[held]
    begin = lag = sign * lag_s
    drift, middle = 0.0, float(at.mean()) if at.size else 0.0
    if not _alike(own_s, own, at - lag, value):
        return None
    for _ in range(STEPS):
        where = at - lag - drift * (at - middle)
        inside = (where >= own_s[0]) & (where <= own_s[-1])
        if int(inside.sum()) < LEAST_ROWS:
            return None
        step, errors = _newton(own_s, own, where[inside], value[inside], at[inside] - middle,
                               drift, usual_drift)  # fmt: skip
        lag, drift = lag + float(np.clip(step[0], -1.0, 1.0)), drift + step[1]
        if abs(lag - begin) > MOST_MOVE_S:
            return None
        if abs(step[0]) < ENOUGH_S:
            break
    stamp_s = max(STAMP_PART * float(np.median(np.diff(at))), STAMP_S) / 2.0
    error_s = float(np.hypot(errors[0], stamp_s))
    return WholeFit(sign * lag, error_s, sign * drift, errors[1], middle - (not swap) * lag, 1.0)


def _alike(x_s: Floats, x: Floats, where: Floats, y: Floats) -> bool:
    """Whether this kind of signal has anything to say at the coarse lag."""
    inside = (where >= x_s[0]) & (where <= x_s[-1])
    if int(inside.sum()) < LEAST_ROWS:
        return False
    near = np.interp(where[inside], x_s, x)
    if np.ptp(near) <= 0 or np.ptp(y[inside]) <= 0:
        return False
    return float(np.corrcoef(near, y[inside])[0, 1]) > KIND_MATCH


def _newton(
    x_s: Floats, x: Floats, where: Floats, y: Floats, since: Floats, drift: float, usual: float
) -> tuple[Floats, Floats]:
    """One step of lag [s] and drift, and their standard errors."""
    half = 0.5 * max(float(np.median(np.diff(x_s))), 0.05)
    near = np.interp(where, x_s, x)
    slope = (np.interp(where + half, x_s, x) - np.interp(where - half, x_s, x)) / (2 * half)
    facts = np.column_stack([near, np.ones(y.size), -slope, -slope * since])
    gain = abs(float(np.polyfit(near, y, 1)[0])) if np.ptp(near) > 0 else 1.0
    facts[:, 2:] *= gain
    weight = np.ones(y.size)
    for _ in range(3):
        root = np.sqrt(weight)
        left, *_ = np.linalg.lstsq(facts * root[:, None], y * root, rcond=None)
        rest = y - facts @ left
        scale = 1.4826 * float(np.median(np.abs(rest))) + 1e-12
        weight = np.minimum(1.0, HUBER * scale / np.maximum(np.abs(rest), 1e-12))
    noise = float(np.sum(weight * rest**2) / max(weight.sum() - 4, 1.0))
    noise = max(noise, (DIGITS * float(np.abs(y).max())) ** 2, 1e-24)
    runs = rest - rest.mean()
    alike = float(np.clip((runs[1:] @ runs[:-1]) / max(runs @ runs, 1e-12), 0.0, 0.95))
    noise *= (1 + alike) / (1 - alike)  # neighbours that err together count once
    prior = np.diag([0.0, 0.0, 0.0, usual**-2.0])
    normal = (facts * weight[:, None]).T @ facts / noise + prior
    pull = (facts * weight[:, None]).T @ y / noise + np.array([0, 0, 0, -drift * usual**-2.0])
    inverse = np.linalg.pinv(normal)
    solved = inverse @ pull
    return solved[2:], np.sqrt(np.maximum(np.diag(inverse)[2:], 0.0))


def _best(
    first_s: Floats, first: Signals, second_s: Floats, second: Signals, mean_s: float
) -> tuple[float, float] | None:
    """The lag [s] at which both are most alike, and how alike; None where none stands out."""
    kinds = [one for one in first if one in second and _moves(first[one]) and _moves(second[one])]
    pairs = [
        (_even(first_s, first[kind], mean_s), _even(second_s, second[kind], mean_s))
        for kind in kinds
    ]
    alike = [_masked(*a, *b) for a, b in pairs if a[1].any() and b[1].any()]
    if not alike:
        return None
    total = np.mean(alike, axis=0)
    top = int(np.argmax(total))
    far = np.abs(np.arange(total.size) - top) * STEP_S > ELSEWHERE_S
    lead = float(total[top] - total[far].max(initial=-1.0))
    if not any(total[top] >= match and lead >= margin for match, margin in MATCHES):
        return None
    lag = (top - (pairs[0][0][0].size - 1)) * STEP_S
    return float(second_s[0] - first_s[0] + lag), float(total[top])


def _moves(values: Floats) -> bool:
    """Whether a signal changes at all."""
    good = values[np.isfinite(values)]
    return bool(good.size and np.std(good) > DIGITS * float(np.abs(good).max()))


def _even(time_s: Floats, values: Floats, mean_s: float) -> tuple[Floats, NDArray[np.bool_]]:
    """The signal every half second as a mean around, and where it has readings."""
    at = time_s[0] + STEP_S * np.arange(int((time_s[-1] - time_s[0]) / STEP_S) + 1)
    good = np.isfinite(values)
    if good.sum() < 10:
        return np.zeros(at.size), np.zeros(at.size, np.bool_)
    own_s, own = time_s[good], values[good]
    width = max(round(mean_s / float(np.median(np.diff(own_s)))), 1)
    place = np.clip(np.searchsorted(own_s, at), 1, own_s.size - 1)
    known = own_s[place] - own_s[place - 1] <= max(gap_limit_s(own_s), 2 * STEP_S)
    known &= at <= own_s[-1]
    return np.interp(at, own_s, mean_around(own, width)), np.asarray(known, np.bool_)


def _masked(a: Floats, in_a: NDArray[np.bool_], b: Floats, in_b: NDArray[np.bool_]) -> Floats:
    """Pearson's correlation of the two at every lag, -1 where too little overlaps."""
    size = a.size + b.size - 1
    length = 1 << (size - 1).bit_length()

    def sums(x: Floats, y: Floats) -> Floats:
        spectrum = np.fft.rfft(y, length) * np.fft.rfft(x[::-1], length)
        return np.asarray(np.fft.irfft(spectrum, length)[:size], np.float64)

    one, other = in_a.astype(np.float64), in_b.astype(np.float64)
    a, b = (a - a[in_a].mean()) * one, (b - b[in_b].mean()) * other
    rows = np.maximum(sums(one, other), 1e-9)
    of_a, of_b = sums(a, other), sums(one, b)
    spread_a = np.maximum(sums(a * a, other) - of_a**2 / rows, FLAT_PART * (a @ a) + 1e-12)
    spread_b = np.maximum(sums(one, b * b) - of_b**2 / rows, FLAT_PART * (b @ b) + 1e-12)
    found = (sums(a, b) - of_a * of_b / rows) / np.sqrt(spread_a * spread_b)
    return np.where(rows >= OVERLAP_PART * min(one.sum(), other.sum()), found, -1.0)

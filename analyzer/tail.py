"""How high may the worst of many to come be? Peaks over threshold, with a profile-likelihood
interval: that of extremes is far from symmetric.

Source: Coles 2001, An Introduction to Statistical Modeling of Extreme Values, ch. 4: level
x_m = u + (sigma / xi) [(m zeta)^xi - 1] over a generalised Pareto tail; interval by section 4.3.3.
"""

from __future__ import annotations

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats

TAIL_SHARE = 0.25
"""Part of the values that makes the tail. Our choice: 13 of 50 (Coles takes less than 1 % of daily
values, having 17 531 of them)."""
LEAST_EXCESSES = 8
CHI2_95 = 3.841
"""95 % point of chi-squared with one degree of freedom."""
SHAPES = np.linspace(-0.9, 0.9, 121)
"""Shapes looked at. Our choice: lighter tails end within what was seen, heavier ones have no
mean."""
SHAPE_MEAN, SHAPE_SD = 0.0, 0.25
"""What a shape is before the climbs: with a dozen excesses likelihood alone runs to its ends
(penalised likelihood: Coles and Dixon, Extremes 2, 1999, 5). Our choice of numbers: currents under
limits lie at or below 0; with 100 excesses and more it no longer counts."""
RATE_SD = 1.0
"""How much of the doubt how often the threshold is passed (binomial) goes into the interval [sd].
Our choice: the profile knows nothing of it; with both, 96 to 100 % of intervals hold the truth
on exponential, normal and bounded tails of 50 and 150 values."""
LEVELS = 90


def level_in_scales(shape: Floats, times: float) -> Floats:
    """How many scales above the threshold the level lies that is passed once while the threshold
    is passed so many times, for each shape: (times^xi - 1) / xi, at shape nought its limit."""
    level = np.expm1(shape * np.log(times)) / _not_zero(shape)
    return np.asarray(np.where(np.abs(shape) < 1e-9, np.log(times), level), np.float64)


def tail_level(values: Floats, ahead: int, *, threshold: float | None = None) -> Estimate | None:
    """The level passed once in `ahead` values to come, with its 95 % interval; None on too few, or
    on values that do not differ."""
    u = float(np.quantile(values, 1 - TAIL_SHARE)) if threshold is None else threshold
    excess = values[values > u] - u
    if excess.size < LEAST_EXCESSES or float(np.ptp(excess)) == 0.0:
        return None
    rate = excess.size / values.size
    sd = RATE_SD * float(np.sqrt(rate * (1 - rate) / values.size))
    level, low, high = _range(excess, ahead * rate)
    low = min(low, _range(excess, ahead * max(rate - sd, 1e-9))[1])
    high = max(high, _range(excess, ahead * (rate + sd))[2])
    return Estimate(u + level, u + low, u + high)


def _range(excess: Floats, times: float) -> tuple[float, float, float]:
    """The likeliest level above the threshold when it is passed so many times, and the 95 % range
    of its profile."""
    times = max(times, 1.0 + 1e-6)
    # far enough for any shape looked at; denser near the threshold, where most levels lie
    reach = float(excess.mean()) * (times ** SHAPES[-1] - 1) / SHAPES[-1] * 3
    above = np.geomspace(0.05 * float(excess.mean()), max(reach, float(excess.max())), LEVELS)
    best = _profile(excess, above, times)
    for _ in range(2):  # once more around the top and its 95 % range, finer
        inside = np.flatnonzero(best >= best.max() - CHI2_95 / 2)
        first, last = max(inside[0] - 1, 0), min(inside[-1] + 1, above.size - 1)
        above = np.linspace(above[first], above[last], LEVELS)
        best = _profile(excess, above, times)
    inside = np.flatnonzero(best >= best.max() - CHI2_95 / 2)
    top = float(above[int(np.argmax(best))])
    return top, float(above[inside[0]]), float(above[inside[-1]])


def _profile(excess: Floats, above: Floats, times: float) -> Floats:
    """For each level above the threshold the highest log-likelihood over all shapes."""
    scale = above[:, None] / level_in_scales(SHAPES, times)[None, :]
    total = np.zeros(scale.shape)
    shape = _not_zero(SHAPES)[None, :]
    with np.errstate(invalid="ignore", divide="ignore"):
        for one in excess:
            part = np.log1p(shape * one / scale)
            total += np.where(np.abs(SHAPES)[None, :] < 1e-9, one / scale, (1 + 1 / shape) * part)
        likelihood = -excess.size * np.log(scale) - total
    likelihood = likelihood - 0.5 * ((SHAPES - SHAPE_MEAN) / SHAPE_SD) ** 2
    return np.asarray(np.nan_to_num(likelihood, nan=-np.inf).max(axis=1), np.float64)


def _not_zero(values: Floats) -> Floats:
    return np.where(np.abs(values) < 1e-9, 1e-9, values)

"""What height did the road have, from noisy readings and, where known, the power balance?

A reading is the road's height plus scatter plus an error that wanders over a minute or so, as
satellite heights do. The road's height is what the power balance says (a few parameters) plus a
wander of its own, a random walk; without a power balance the road's *slope* is the random walk.
How strongly road and error wander nobody knows before: every strength counts by how probable it
makes the readings, so a flat ride with 3 m of scatter comes out flat, a sharp little hill stays a
hill, and an interval holds what the readings leave open of it. Sources: Whittaker
1923, Proc. Edinburgh Math. Soc. 41, 63 (the smoother); Rasmussen & Williams 2006, sections 2.7
and 5.4 (parameters with a prior; marginal likelihood); Gelman et al. 2013, section 7.4 (averaging
over discrete choices).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analyzer.height_profile import Candidate, HeightProfile, cell_of, cells_for
from analyzer.likely_choices import Choice, flood, valley
from analyzer.quantities import Bools, Floats

NOISE_FLOOR_M = 0.05
"""No height channel is better than this [m]. Our choice."""
OUTLIER_SDS = 4.0
"""A reading this many scatters off the road is left out. Our choice."""
OUTLIER_FLOOR_M = 0.3
"""... where the scatter is at least this [m]. Our choice."""
ERROR_FORGETS_S = (60.0, 180.0)
"""Tried times over which the wandering error of a height channel forgets itself [s]. GPS errors
wander over minutes (references to the GPS SPS standard, 2020); our choice within that."""
ERROR_SDS_M = (0.05, 0.2, *(0.4 * 2.0 ** (k / 2) for k in range(9)))
"""Tried sizes of that error [m], from a barometer to a GPS among houses; half an hour tells a large
one within such a step, and what the small ones are hardly matters. Our choice."""
ROAD_GRADE_ERRORS = (0.001, 0.002, 0.004, 0.008, 0.016)
"""Tried errors of the power balance's grade over 100 m [1]."""
USUAL_GRADE_ERROR, GRADE_ERROR_FACTOR = 0.004, 3.0
"""What that error usually is, and by what factor it may differ (one sd of its log). Our choice: a
wind that changes by 0.5 m/s at 6 m/s holds a vehicle of 150 kg by 0.15 % of its weight more or
less, another surface by 0.3 %; checked by benchmarks/tables/grade_truth.py."""
SLOPE_STEPS = (0.0003, 0.001, 0.003, 0.006, 0.012, 0.025)
"""Tried changes of slope over 10 m [1] where there is no power balance."""
POOR_FIT = 2.0
"""Readings this many times further off than their scatter (in squares) throw doubt on the power
balance: the readings alone are tried, too. Our choice."""
SPARSE_S = 20.0
"""Readings further apart than this tell nothing of their scatter [s]. Our choice."""
LEAST_CHANCE = 0.05
"""Choices of wander less probable than this part of the likeliest are left out. Our choice."""
MIN_READINGS, FEW_READINGS = 8, 4
MIN_WAY_M = 30.0
"""Fewer readings (with a power balance: few) or less way tell no profile. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Lean:
    """Heights by the power balance: linear in k parameters with what is known of them before."""

    per_parameter: Floats
    """(m, k) at the profile's places; only differences along the way count."""
    expected: Floats
    """k values before the ride."""
    precision: Floats
    """k inverse variances before the ride."""
    sure: Floats
    """(m - 1): how much each cell's balance is to be trusted, 0 to 1."""
    known: Bools | None = None
    """(m - 1): cells whose height difference the balance tells at all; None: all."""
    open_m2: Floats | None = None
    """(m - 1): variance of each cell's height difference that the balance leaves open beside its
    wander, above all what the mechanical brake may have taken [m2]; None: nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class HeightFit:
    """A fitted profile, its likelihood for comparing models, and the fitted parameters."""

    profile: HeightProfile
    score: float
    """Minus twice the log likelihood; lower is more probable."""
    parameters: Floats
    covariance: Floats
    misfit: float
    """Mean square of reading less road and wandering error, in scatters squared."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """n height readings along one way."""

    distance_m: Floats
    """Rising or equal."""
    height_m: Floats
    weight: Floats
    """What each is worth; 0 leaves it out."""
    time_s: Floats
    least_sd_m: float = NOISE_FLOOR_M
    """What one reading cannot be better than: its rounding."""


@dataclass(frozen=True, slots=True, eq=False)
class _Data:
    """The readings as normal equations over road and error, two unknowns a cell."""

    bands: Floats
    moment: Floats
    total: float
    count: float
    sd: float
    passed_s: Floats
    """(m): when each place was passed."""


def fit_height(readings: Readings, length_m: float, lean: Lean | None = None) -> HeightFit | None:
    """The road's height along `length_m` of way; None with too few readings or too little way."""
    good = np.isfinite(readings.height_m) & (readings.weight > 0)
    if (
        good.sum() < (MIN_READINGS if lean is None else FEW_READINGS)
        or np.ptp(readings.distance_m[good]) < MIN_WAY_M
    ):
        return None
    one = Readings(
        readings.distance_m[good], readings.height_m[good], readings.weight[good].copy(),
        readings.time_s[good], readings.least_sd_m,
    )  # fmt: skip
    cell_m, m = cells_for(length_m)
    grid = np.arange(m) * cell_m
    size, tried = _trials(one, length_m, lean)
    quick = range(size[0] // len(ERROR_FORGETS_S))
    found = valley(size, tried, quick, (quick.stop // 2, size[1] // 2))
    best = min(found, key=lambda choice: found[choice].score)
    off = one.height_m - np.interp(one.distance_m, grid, found[best].height_m)
    off = np.abs(off - _running_middle(off))
    limit = OUTLIER_SDS * max(1.4826 * float(np.median(off)), OUTLIER_FLOOR_M)
    out = (off > limit) & (one.weight > 0)
    if bool(out.any()) and out.mean() <= 0.3:
        one.weight[out] = 0.0
        size, tried = _trials(one, length_m, lean)
        found = valley(size, tried, quick, best)
    other = (best[0] + quick.stop, best[1])
    found |= valley(size, tried, range(quick.stop, size[0]), other)
    return _mixed(flood(size, tried, found), cell_m)


def _running_middle(values: Floats, half: int = 7) -> Floats:
    """Median of each reading's neighbours: what wanders is not an outlier."""
    if values.size < 2 * half + 1:
        return np.full(values.size, float(np.median(values)))
    padded = np.pad(values, half, mode="edge")
    return np.asarray(
        np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    )


def _scatter_m(readings: Readings) -> float:
    """The readings' own scatter, from their second differences: neither road nor a wandering
    error moves much within three readings."""
    known = readings.height_m[readings.weight >= 1.0]
    if known.size < 10:
        known = readings.height_m
    if known.size < 6 or float(np.median(np.diff(readings.time_s))) > SPARSE_S:
        return readings.least_sd_m  # so far apart, their differences are road
    bent = np.abs(np.diff(known, 2))
    spread = 1.4826 * float(np.median(bent)) / np.sqrt(6.0)
    return float(max(spread, readings.least_sd_m))


def _interleave(m: int, road: Floats, error: Floats) -> Floats:
    """Upper bands (5, 2m) of two banded matrices over unknowns taken by turns."""
    bands = np.zeros((5, 2 * m))
    for k in range(3):  # k off the diagonal there is 2k off it here
        bands[4 - 2 * k, 0::2] = road[2 - k]
        bands[4 - 2 * k, 1::2] = error[2 - k]
    return bands


def _data(readings: Readings, cell_m: float, m: int, sd: float) -> tuple[_Data, float]:
    cell, part = cell_of(readings.distance_m, cell_m, m)
    worth = readings.weight / sd**2
    level = float(np.average(readings.height_m, weights=readings.weight))
    above = readings.height_m - level
    own = np.zeros((3, m))
    own[2] = np.bincount(cell, worth * (1 - part) ** 2, m)
    own[2] += np.bincount(cell + 1, worth * part**2, m)
    own[1] = np.bincount(cell + 1, worth * part * (1 - part), m)
    bands = _interleave(m, own, own)
    bands[3, 1::2] = own[2]  # road and error of one cell
    bands[3, 2::2] = own[1, 1:]  # error of one, road of the next
    bands[1, 3::2] = own[1, 1:]  # road of one, error of the next
    pull = np.bincount(cell, worth * above * (1 - part), m)
    pull += np.bincount(cell + 1, worth * above * part, m)
    known = readings.weight > 0
    grid = np.arange(m) * cell_m
    place = readings.distance_m[known] + np.arange(int(known.sum())) * 1e-7
    passed = np.interp(grid, place, readings.time_s[known])
    total = float(np.sum(worth * above**2))
    return _Data(bands, np.repeat(pull, 2), total, float(known.sum()), sd, passed), level


def _road_bands(m: int, order: int, weight: Floats) -> Floats:
    """Upper bands (3, m) of D'WD for differences of first or second order of m heights."""
    bands = np.zeros((3, m))
    taps = (-1.0, 1.0) if order == 1 else (1.0, -2.0, 1.0)
    count = m - order
    for i, a in enumerate(taps):
        for j in range(i, len(taps)):
            bands[2 - (j - i), j : j + count] += a * taps[j] * weight
    return bands


def _bending_road(m: int, variance: float) -> tuple[Floats, float]:
    """Upper bands of the inverse covariance of a road whose slope wanders, and the log
    determinant of that inverse."""
    return _road_bands(m, 2, np.full(m - 2, 1.0 / variance)), -(m - 2) * float(np.log(variance))


def _leaning_road(m: int, walk_m2: float, grade_error: float, lean: Lean) -> tuple[Floats, float]:
    """Likewise of what the balance leaves open, and how likely so large an error is before."""
    variance = walk_m2 / lean.sure + (0.0 if lean.open_m2 is None else lean.open_m2)
    doubt = (np.log(grade_error / USUAL_GRADE_ERROR) / np.log(GRADE_ERROR_FACTOR)) ** 2
    return _road_bands(m, 1, 1.0 / variance), -float(np.log(variance).sum()) - float(doubt)


def _error_bands(passed_s: Floats, forgets_s: float) -> tuple[Floats, float]:
    """Upper bands of the inverse covariance of a unit error that forgets itself, and the log
    determinant of that inverse."""
    keeps = np.exp(-np.clip(np.diff(passed_s), 0.02, None) / forgets_s)
    fresh = 1.0 - keeps**2
    bands = np.zeros((3, keeps.size + 1))
    bands[2, 0] = 1.0
    bands[2, 1:] += 1.0 / fresh
    bands[2, :-1] += keeps**2 / fresh
    bands[1, 1:] = -keeps / fresh
    return bands, -float(np.log(fresh).sum())


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """The fit under one choice of wanders."""

    score: float
    """Minus twice the log likelihood, and what is known of the choice before."""
    height_m: Floats
    factor: Floats
    lean: Floats
    parameters: Floats
    covariance: Floats
    misfit: float


def _trials(
    readings: Readings, length_m: float, lean: Lean | None
) -> tuple[Choice, Callable[[Choice], _Trial]]:
    """The choices there are and what each gives."""
    cell_m, m = cells_for(length_m)
    data, level = _data(readings, cell_m, m, _scatter_m(readings))
    errors = [_error_bands(data.passed_s, one) for one in ERROR_FORGETS_S]
    seen = None if lean is None else _both(data, lean.per_parameter)
    if lean is None:
        roads = [_bending_road(m, one**2 * cell_m**3 / 10.0) for one in SLOPE_STEPS]
    else:
        roads = [_leaning_road(m, one**2 * 100.0 * cell_m, one, lean) for one in ROAD_GRADE_ERRORS]

    def tried(choice: Choice) -> _Trial:
        road, road_log = roads[choice[0] % len(roads)]
        error, error_log = errors[choice[0] // len(roads)]
        error_sd = ERROR_SDS_M[choice[1]]
        prior = _interleave(m, road, error / error_sd**2)
        prior[4] += 1e-8
        free = 2 * m * float(np.log(error_sd)) - road_log
        return _solve(data, prior, free - error_log, lean, seen, level)

    return (len(roads) * len(errors), len(ERROR_SDS_M)), tried


def _mixed(found: dict[Choice, _Trial], cell_m: float) -> HeightFit:
    """The mean of all choices, each counting by its probability."""
    best = min(one.score for one in found.values())
    kept = [(np.exp(0.5 * (best - one.score)), one) for one in found.values()]
    kept = [(chance, one) for chance, one in kept if chance > LEAST_CHANCE]
    total = sum(chance for chance, _ in kept)
    parts = tuple(
        Candidate(float(chance / total), one.height_m, one.factor, one.lean, one.covariance)
        for chance, one in kept
    )
    height = np.sum([one.chance * one.height_m for one in parts], axis=0)
    chances = np.array([one.chance for one in parts])
    thetas = np.array([one.parameters for _, one in kept])
    theta = chances @ thetas
    apart = thetas - theta
    covariance = np.sum([c.chance * c.lean_cov for c in parts], axis=0)
    covariance = covariance + (apart * chances[:, None]).T @ apart
    likeliest = min(found.values(), key=lambda one: one.score)
    profile = HeightProfile(cell_m, height, parts)
    return HeightFit(profile, best, theta, covariance, likeliest.misfit)


def _both(data: _Data, columns: Floats) -> Floats:
    """The readings' normal matrix times (road, no error) columns: (2m, k)."""
    m = columns.shape[0]
    spread = np.zeros((2 * m, columns.shape[1]))
    spread[0::2] = columns
    out = data.bands[4][:, None] * spread
    for k in range(1, 4):
        out[k:] += data.bands[4 - k][k:, None] * spread[:-k]
        out[:-k] += data.bands[4 - k][k:, None] * spread[k:]
    return np.asarray(out, np.float64)


def _solve(
    data: _Data, prior: Floats, free: float, lean: Lean | None, seen: Floats | None, level_m: float
) -> _Trial:
    """One choice of wanders: road, error and parameters together, by eliminating the first two."""
    # LAPACK's banded Cholesky itself: some 170 of them a ride, and SciPy's wrapper costs as much.
    from scipy.linalg.lapack import dpbtrf, dpbtrs

    factor, failed = dpbtrf(data.bands + prior, lower=0)
    if failed:
        raise np.linalg.LinAlgError("the road's equations are not positive definite")
    log_det = 2 * float(np.log(factor[-1]).sum())
    asked = data.moment[:, None] if seen is None else np.column_stack([data.moment, seen])
    answers, _ = dpbtrs(factor, asked, lower=0)
    found, shadow = answers[:, 0], answers[:, 1:]
    total = data.total - float(data.moment @ found)
    noise = data.count * 2 * float(np.log(data.sd))
    m = data.moment.size // 2
    if lean is None or seen is None:
        score, empty = total + log_det + free + noise, np.zeros(0)
        return _Trial(
            score, found[0::2] + level_m, factor, np.zeros((m, 0)), empty, np.zeros((0, 0)),
            total / data.count,
        )  # fmt: skip
    schur = lean.per_parameter.T @ seen[0::2] - seen.T @ shadow + np.diag(lean.precision)
    right = lean.per_parameter.T @ data.moment[0::2] - seen.T @ found
    right = right + lean.precision * lean.expected
    theta: Floats = np.asarray(np.linalg.solve(schur, right), np.float64)
    total += float(lean.precision @ lean.expected**2) - float(right @ theta)
    log_det += float(np.linalg.slogdet(schur)[1]) - float(np.log(lean.precision).sum())
    height = lean.per_parameter @ theta + (found - shadow @ theta)[0::2] + level_m
    covariance = np.asarray(np.linalg.inv(schur), np.float64)
    score = total + log_det + free + noise
    return _Trial(
        score, height, factor, lean.per_parameter - shadow[0::2], theta, covariance,
        total / data.count,
    )  # fmt: skip

"""What do energy and speed alone say of the road, where no height was logged?

The unknown grade is taken to wander about level: what goes up comes down. A grade that keeps
changing fast with speed or current is not a road, so those terms tell their own parameters.
"""

from __future__ import annotations

import numpy as np

from analyzer.height_fit import Lean
from analyzer.height_profile import Candidate, HeightProfile, cells_for
from analyzer.quantities import Floats

GRADE_SD = 0.035
"""Spread of the roads' grade about level [1]. Our choice: hilly country."""
GRADE_LENGTH_M = 150.0
"""Distance over which a road's grade forgets itself [m]. Our choice."""
UNEXPLAINED_GRADE = 0.006
"""Grade error over 100 m that no parameter explains: wind, surface, filters [1]. Our choice,
checked by benchmarks/tables/hills_truth.py."""
TRUSTED = 0.5
"""Cells the balance is surer of than this tell its parameters [1]. Our choice."""

GAUSS_NEWTON_STEPS = 4
"""Nearly quadratic: the second step changes less than 1 % of an sd. Our choice."""


def fit_lean(lean: Lean, length_m: float) -> tuple[HeightProfile, Floats, Floats]:
    """The profile by energy alone, its parameters and their covariance."""
    cell_m, _ = cells_for(length_m)
    slope = np.diff(lean.per_parameter, axis=0) / cell_m
    good = np.ones(slope.shape[0], np.bool_) if lean.known is None else lean.known
    trusted = good & (lean.sure > TRUSTED)
    phi = float(np.exp(-cell_m / GRADE_LENGTH_M))
    step_sd = GRADE_SD * np.sqrt(1.0 - phi**2)
    noise = UNEXPLAINED_GRADE * np.sqrt(100.0 / cell_m)
    pair = trusted[1:] & trusted[:-1]
    rows = (slope[1:] - phi * slope[:-1])[pair]
    spread = np.sqrt(step_sd**2 + noise**2 * (1 + phi**2))
    limit = 0.5
    calm = np.abs(rows @ lean.expected) < limit  # a cell entered at a crawl says anything
    theta, covariance = _smoothest(rows[calm] / spread, lean)
    grade = _filled(slope @ theta, good)
    answer = np.column_stack([_filled(slope[:, k], good) for k in range(slope.shape[1])])
    height = np.concatenate([[0.0], np.cumsum(grade * cell_m)])
    per = np.vstack([np.zeros(answer.shape[1]), np.cumsum(answer * cell_m, axis=0)])
    walk = UNEXPLAINED_GRADE**2 * 100.0
    only = Candidate(1.0, height, None, per, covariance)
    return HeightProfile(cell_m, height, (only,), walk), theta, covariance


def _smoothest(rows: Floats, lean: Lean) -> tuple[Floats, Floats]:
    """The parameters under which the grade changes least for the work done, and their covariance.

    Grades that are all smaller change less, too, but that is the first parameter's scale (how much
    of the drives' work reaches the road), of which a smooth road tells nothing: changes count
    relative to it (the density of the power, not of the grade, is what was observed).
    """
    theta = lean.expected.copy()
    for _ in range(GAUSS_NEWTON_STEPS):
        scale = lean.expected[0] / theta[0]
        off = scale * (rows @ theta)
        slopes = scale * rows
        slopes[:, 0] -= off / theta[0]
        precision = slopes.T @ slopes + np.diag(lean.precision)
        pull = slopes.T @ off + lean.precision * (theta - lean.expected)
        theta = theta - np.linalg.solve(precision, pull)
        theta[0] = max(theta[0], 0.5 * lean.expected[0])
    return theta, np.asarray(np.linalg.inv(precision), np.float64)


def _filled(values: Floats, good: np.ndarray) -> Floats:
    if good.all() or not good.any():
        return values
    at = np.arange(values.size)
    return np.asarray(np.interp(at, at[good], values[good]), np.float64)

"""The road by energy alone: what it may and may not learn from a road it does not know."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.height_fit import Lean
from analyzer.lean_fit import fit_lean


def test_a_hilly_road_says_nothing_of_the_drives_efficiency() -> None:
    # Closed form: the power was seen, the road was not. Any efficiency explains it with a road as
    # much flatter, so what is known of it stays what it was, value and spread
    grid = np.arange(401) * 10.0
    work = 30 * np.sin(grid / 200.0)
    for steep in (0.5, 1.0, 4.0):
        lean = Lean(steep * work[:, None], np.array([0.95]), np.array([1 / 0.04**2]), np.ones(400))
        profile, theta, covariance = fit_lean(lean, 4000.0)
        assert theta[0] == pytest.approx(0.95, abs=1e-6)
        assert np.sqrt(covariance[0, 0]) == pytest.approx(0.04, rel=1e-6)
        assert np.ptp(profile.height_m) == pytest.approx(0.95 * steep * 60, rel=0.01)


def test_what_changes_with_speed_is_still_learned() -> None:
    # a level road ridden fast and slow by turns: work is what the air took, 0.8 of a unit; before
    # the ride 0.5 +- 0.3
    grid = np.arange(801) * 10.0
    air = np.cumsum(0.2 * (1 + np.sign(np.sin(grid / 60.0))))
    rng = np.random.default_rng(0)
    work = 0.8 * air + np.cumsum(rng.normal(0, 0.02, 801))
    lean = Lean(
        np.column_stack([work / 0.95, -air]), np.array([0.95, 0.5]),
        np.array([1 / 0.04**2, 1 / 0.3**2]), np.ones(800),
    )  # fmt: skip
    _, theta, covariance = fit_lean(lean, 8000.0)
    assert abs(theta[1] - 0.8) < 3 * np.sqrt(covariance[1, 1])
    assert np.sqrt(covariance[1, 1]) < 0.15

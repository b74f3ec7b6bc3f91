"""Rolling and drag of two rides, with what is alike on both taken out."""

import numpy as np
import pytest

from analyzer.compare_road import ALIKE, DRAG, ROLLING, _given, which_is_open
from analyzer.estimate import Estimate
from analyzer.road_load import Fitted, RoadLoad


def load(theta, covariance):
    one = Fitted(Estimate(0.0, -1.0, 1.0), True, "ride")
    prior = (np.zeros(6), np.ones(6))
    return RoadLoad(one, one, one, one, None, one, one, None, theta, covariance, prior, 165.0, ())


def test_a_parameter_given_the_others_is_the_conditional_normal() -> None:
    # two correlated normals: mean m1 + r s1/s2 (x2 - m2), sd s1 sqrt(1 - r^2) (Gelman et al. 2013,
    # appendix A); the other four are independent and say nothing
    theta = np.array([0.95, 0.1, 1.05, 0.020, 0.60, 1.05])
    sd = np.array([0.03, 0.05, 0.03, 0.004, 0.10, 0.03])
    covariance = np.diag(sd**2)
    r = -0.8
    covariance[ROLLING, DRAG] = covariance[DRAG, ROLLING] = r * 0.004 * 0.10
    alike = [*ALIKE, DRAG]
    held = np.array([0.99, 1.00, 1.01, 0.70])
    mean, spread = _given(load(theta, covariance), [ROLLING], alike, held)
    assert mean[0] == pytest.approx(0.020 + r * 0.004 / 0.10 * 0.10)
    assert np.sqrt(spread[0, 0]) == pytest.approx(0.004 * np.sqrt(1 - r**2))


def test_two_that_trade_keep_their_covariance_given_the_others() -> None:
    # what is alike is independent of both here, so it takes nothing from them: the pair's own
    # covariance stays, and with it the wide interval of each alone
    sd = np.array([0.03, 0.05, 0.03, 0.004, 0.10, 0.03])
    covariance = np.diag(sd**2)
    covariance[ROLLING, DRAG] = covariance[DRAG, ROLLING] = -0.9 * 0.004 * 0.10
    theta = np.array([0.95, 0.1, 1.05, 0.020, 0.60, 1.05])
    held = theta[list(ALIKE)]
    mean, spread = _given(load(theta, covariance), [ROLLING, DRAG], ALIKE, held)
    assert mean == pytest.approx([0.020, 0.60])
    assert spread == pytest.approx(covariance[np.ix_([ROLLING, DRAG], [ROLLING, DRAG])])


def test_which_part_changed_is_open_unless_one_must_have() -> None:
    assert which_is_open({"resistance_to_motion", "energy_wh_per_km"})
    assert not which_is_open({"resistance_to_motion", "rolling_coefficient"})
    assert not which_is_open({"energy_wh_per_km"})

"""A course over months against published data and against books whose truth is known."""

import numpy as np
import pytest

from analyzer.trend import fit_trend


def test_a_clean_line_is_met_to_the_last_digit():
    # Closed form: y = 2 exp(0.1 t) grows by 10.517 % of the first value in the first year.
    t = np.linspace(0, 1, 20)
    trend = fit_trend(t, 2 * np.exp(0.1 * t), np.full(20, 1e-3))
    assert trend.new.value == pytest.approx(2.0, rel=1e-3)
    assert trend.growth_pct_per_year.value == pytest.approx(100 * np.expm1(0.1), abs=0.1)
    assert trend.steps == ()


def test_the_nile_steps_once_in_1898():
    # Cobb 1978, Biometrika 65, 243; R's documentation of the data: one change after 28 years,
    # means 1097.75 before and 849.97 after. The trend beside it may take a little of the step.
    sm = pytest.importorskip("statsmodels.datasets")
    flow = sm.nile.load_pandas().data["volume"].to_numpy(float)
    t = np.arange(100) / 100.0  # a century as a "year": a yearly swing is one per century then
    trend = fit_trend(t, flow, 0.13 * flow)
    assert [step.first for step in trend.steps] == [28]
    ratio = trend.steps[0].ratio
    assert ratio.low < 849.972 / 1097.75 < ratio.high


@pytest.mark.parametrize("seed", range(3))
def test_one_wild_ride_is_neither_a_jump_nor_a_trend(seed):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 1.2, 60))
    y = 0.08 * np.exp(rng.normal(0, 0.02, 60))
    y[30] *= 1.5
    trend = fit_trend(t, y, 0.02 * y)
    assert trend.steps == ()
    assert trend.growth_pct_per_year.low < 0 < trend.growth_pct_per_year.high


def test_a_change_of_scale_with_its_own_regressor_is_no_jump():
    rng = np.random.default_rng(3)
    t = np.linspace(0, 1, 60)
    after = (np.arange(60) >= 30).astype(float)
    y = np.exp(rng.normal(0, 0.01, 60) + np.log(1.05) * after)
    assert [one.first for one in fit_trend(t, y, 0.01 * y).steps] == [30]
    joined = fit_trend(
        t,
        y,
        0.01 * y,
        regressors=after[:, None],
        prior_mean=np.zeros(1),
        prior_sd=np.array([0.03]),
        barred=(30,),
    )
    assert joined.steps == ()
    assert joined.growth_pct_per_year.low < 0 < joined.growth_pct_per_year.high


def test_too_few_rides_or_no_time_between_them_is_no_trend():
    assert fit_trend(np.arange(4.0), np.ones(4), np.ones(4)) is None
    assert fit_trend(np.zeros(9), np.ones(9), np.ones(9)) is None


def test_wrong_calls_are_refused():
    with pytest.raises(ValueError, match="positive"):
        fit_trend(np.arange(6.0), np.zeros(6), np.ones(6))
    with pytest.raises(ValueError, match="as many"):
        fit_trend(np.arange(6.0), np.ones(5), np.ones(6))

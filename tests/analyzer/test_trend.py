"""A course over months against published data and against books whose truth is known."""

import numpy as np
import pytest

from analyzer.trend import fit_trend
from analyzer.trend_fit import SEASON_SD, TrendProblem


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


@pytest.mark.parametrize("prior_sd", [1e-4, 0.02, 0.3, 1e4])
def test_columns_that_a_prior_holds_take_no_rides(prior_sd):
    # Effective degrees of freedom of ridge regression by singular values, sum of d^2 / (d^2 + 1 /
    # prior^2) (Hastie, Tibshirani and Friedman 2009, Elements of Statistical Learning, 3.50).
    rng = np.random.default_rng(5)
    n, sd = 40, 0.02
    t, columns = np.sort(rng.uniform(0, 1.2, n)), rng.normal(0, 1, (n, 25))
    y = rng.normal(0, sd, n)
    held = np.full(25, prior_sd)
    fit = TrendProblem(t, y, np.full(n, sd), columns, np.zeros(25), held).fit([], scatter=0.0)
    angle = 2 * np.pi * t
    season = np.column_stack([np.sin(angle), np.cos(angle)])
    scaled = [columns * prior_sd, (season - season.mean(axis=0)) * SEASON_SD]
    root = np.sqrt(fit.weights)[:, None]
    line = np.linalg.qr(root * np.column_stack([np.ones(n), t]))[0]
    rest = root * np.column_stack(scaled)
    d2 = np.linalg.svd(rest - line @ (line.T @ rest), compute_uv=False) ** 2
    assert fit.free == pytest.approx(n - 2 - np.sum(d2 / (d2 + 1)), rel=1e-4)


def test_idle_columns_make_no_interval_wider():
    # Twenty columns of nothing, held at nothing: the course is that without them.
    rng = np.random.default_rng(6)
    t = np.sort(rng.uniform(0, 1.2, 30))
    y = 0.08 * np.exp(rng.normal(0, 0.02, 30))
    idle = {"regressors": rng.normal(0, 1, (30, 20)), "prior_sd": np.full(20, 1e-7)}
    plain, beside = fit_trend(t, y, 0.02 * y), fit_trend(t, y, 0.02 * y, **idle)
    width = plain.growth_pct_per_year.half_width
    assert beside.growth_pct_per_year.half_width == pytest.approx(width, rel=1e-3)

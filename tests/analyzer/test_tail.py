"""Peaks over threshold against the textbook's example, a closed form and scipy's fit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import genpareto

from analyzer.tail import level_in_scales, tail_level


def test_the_rain_of_the_textbook():
    # Coles 2001, ch. 4, daily rain in south-west England: u 30 mm, sigma 7.44, xi 0.184, 152 of
    # 17 531 days above; the 100-year level from the rounded figures is 106.20 mm.
    rate = 152 / 17531
    level = 30.0 + 7.44 * float(level_in_scales(np.array([0.184]), 36500 * rate)[0])
    assert level == pytest.approx(106.20, abs=0.01)
    assert level == pytest.approx(genpareto.isf(1 / (36500 * rate), 0.184, 30.0, 7.44), rel=1e-9)


def test_an_exponential_tail_is_the_limit_of_shape_nought():
    # Closed form: (level - u) / sigma = ln(m zeta).
    nought, nearly = level_in_scales(np.array([0.0, 1e-7]), 20.0)
    assert nought == pytest.approx(np.log(20), rel=1e-12)
    assert nearly == pytest.approx(np.log(20), rel=1e-5)


@pytest.mark.parametrize(("shape", "within"), [(-0.3, 0.02), (0.0, 0.02), (0.2, 0.05)])
def test_with_many_values_it_is_scipys_maximum(shape, within):
    # The penalty still pulls a heavy tail a little toward none.
    values = genpareto.rvs(shape, 0.0, 5.0, size=1600, random_state=3)
    said = tail_level(values, 1000, threshold=2.0)
    assert said is not None
    excess = values[values > 2.0] - 2.0
    xi, _, sigma = genpareto.fit(excess, floc=0.0)
    level = 2.0 + genpareto.isf(1 / (1000 * excess.size / values.size), xi, 0.0, sigma)
    assert said.value == pytest.approx(level, rel=within)
    assert said.low <= genpareto.isf(1 / 1000, shape, 0.0, 5.0) <= said.high


def test_the_interval_is_that_of_the_likelihood():
    # At its ends scipy's log-likelihood, maximised over the shape, lies 1.92 below its top.
    values = genpareto.rvs(0.1, 0.0, 5.0, size=1500, random_state=5)
    said = tail_level(values, 500, threshold=0.0)
    assert said is not None

    def highest(level):
        xi = np.linspace(-0.2, 0.5, 280)
        sigma = level * xi / np.expm1(xi * np.log(500))
        return max(
            genpareto.logpdf(values, x, 0.0, s).sum() for x, s in zip(xi, sigma, strict=True)
        )

    top = highest(said.value)
    # at the threshold 0 all values are excesses: nothing is added for how often it is passed
    assert top - highest(said.low) == pytest.approx(1.92, abs=0.25)
    assert top - highest(said.high) == pytest.approx(1.92, abs=0.25)


def test_the_truth_lies_inside_of_most_intervals():
    # 60 climbs with an exponential tail: once in 100 the level is 30 + 5 ln(100), closed form.
    true = 30 + 5 * np.log(100)
    held = []
    for seed in range(30):
        rng = np.random.default_rng([11, seed])
        said = tail_level(30 + 5 * rng.exponential(size=60), 100)
        held.append(said is not None and said.low <= true <= said.high)
    assert np.mean(held) >= 0.87


def test_few_or_equal_values_say_nothing():
    assert tail_level(np.full(80, 30.0), 100) is None
    assert tail_level(np.arange(20.0), 100) is None

"""The least squares behind the pack's fit, against certified values and an independent solver."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls

from analyzer.nonneg import nonneg_normal


@given(st.integers(0, 10_000), st.integers(1, 14), st.integers(15, 60))
@settings(max_examples=150, deadline=None)
def test_as_scipys_nonnegative_least_squares(seed, size, rows):
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(rows, size)) * 10 ** rng.uniform(-3, 3, size)
    b = rng.normal(size=rows) + a @ (rng.normal(size=size) / np.abs(a).max(axis=0))
    expected, _ = nnls(a, b)
    found, open_ = nonneg_normal(a.T @ a, a.T @ b)
    assert (found >= 0).all()
    assert np.linalg.norm(a @ found - b) <= np.linalg.norm(a @ expected - b) * (1 + 1e-7)
    assert not found[~open_].any()


@given(st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_a_warm_start_ends_at_the_same_place(seed):
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(40, 9)), rng.normal(size=40)
    cold, _ = nonneg_normal(a.T @ a, a.T @ b, 2)
    warm, _ = nonneg_normal(a.T @ a, a.T @ b, 2, rng.random(9) < 0.5)
    np.testing.assert_allclose(warm, cold, atol=1e-7)


def test_free_entries_may_be_negative():
    # y = 3 - 2 x, hand-worked: the slope is free, the level held at or above zero.
    x = np.arange(5.0)
    a = np.column_stack([np.ones(5), x])
    found, _ = nonneg_normal(a.T @ a, a.T @ (3 - 2 * x), 1)
    np.testing.assert_allclose(found, [3, -2], rtol=1e-9)


def certified_norris():
    # NIST StRD, Norris (lower difficulty); the data ship inside SciPy's tests.
    from pathlib import Path

    import scipy

    file = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"
    if not file.exists():
        pytest.skip("this SciPy comes without its test data")
    y, x = np.loadtxt(file, skiprows=60).T
    return np.column_stack([x, np.ones_like(x)]), y, [1.00211681802045, -0.262323073774029]


def certified_no_intercept():
    # NIST StRD, NoInt1: y = 130...140 over x = 60...70 through zero.
    return np.arange(60.0, 71.0)[:, None], np.arange(130.0, 141.0), [2.07438016528926]


def certified_no_intercept_short():
    # NIST StRD, NoInt2.
    return np.array([[4.0], [5.0], [6.0]]), np.array([3.0, 4.0, 4.0]), [0.727272727272727]


@pytest.mark.parametrize(
    "certified", [certified_norris, certified_no_intercept, certified_no_intercept_short]
)
def test_certified_values(certified):
    a, y, expected = certified()
    found, _ = nonneg_normal(a.T @ a, a.T @ y, a.shape[1])
    np.testing.assert_allclose(found, expected, rtol=1e-6)

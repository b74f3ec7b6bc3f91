"""Thinning: fewer points, the same extremes. A spike is put where it is known to be."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.thin import POINTS_A_CLOUD, POINTS_A_TRACE, cloud, thinned


@pytest.mark.parametrize("at", [0, 1, 123_457, 539_998, 539_999])
def test_one_sample_of_twenty_milliseconds_in_three_hours_stays(at):
    time_s = np.arange(540_000) * 0.02
    values = np.sin(time_s)
    values[at] = -80.0
    x, y = thinned(time_s, values, hole_s=0.5)
    assert x.size <= POINTS_A_TRACE
    assert y.min() == -80.0
    assert x[np.argmin(y)] == pytest.approx(at * 0.02)


@given(st.integers(0, 2000), st.integers(8, 300), st.integers(0, 2**32 - 1))
def test_highest_lowest_first_and_last_stay_and_the_count_is_kept(n, most, seed):
    values = np.random.default_rng(seed).normal(size=n)
    time_s = np.arange(n, dtype=float)
    x, y = thinned(time_s, values, most=most)
    assert x.size <= max(most, 8)
    assert np.all(np.diff(x) > 0)
    if n:
        assert (y.min(), y.max()) == (values.min(), values.max())
        assert (x[0], x[-1]) == (0, n - 1)


def test_a_hole_breaks_the_line_and_missing_values_do_not_hide_extremes():
    time_s = np.concatenate([np.arange(0, 50, 0.1), np.arange(60, 100, 0.1)])
    values = np.ones(time_s.size)
    values[3] = np.nan
    values[4] = 7.0
    x, y = thinned(time_s, values, most=40, hole_s=0.5)
    assert np.isnan(y).sum() == 1
    assert x[np.flatnonzero(np.isnan(y))[0]] == 60.0
    assert np.nanmax(y) == 7.0


def test_places_of_findings_are_drawn_finer():
    time_s = np.arange(0, 10_800, 0.02)
    values = np.sin(time_s * 40)
    plain, _ = thinned(time_s, values)
    closer, _ = thinned(time_s, values, closer=((5000.0, 5020.0),))
    within = [((one >= 5000) & (one <= 5020)).sum() for one in (plain, closer)]
    assert closer.size <= POINTS_A_TRACE
    assert within[1] > 500 > within[0]


def test_nothing_to_draw():
    x, y = thinned(np.arange(5.0), np.full(5, np.nan))
    assert x.size == y.size == 0
    assert cloud(np.full(3, np.nan), np.zeros(3)).size == 0


def test_a_cloud_keeps_its_outlier():
    rng = np.random.default_rng(0)
    x, y = rng.normal(size=200_000), rng.normal(size=200_000)
    x[777] = 50.0
    keep = cloud(x, y)
    assert keep.size <= POINTS_A_CLOUD
    assert 777 in keep

import numpy as np
import pytest

from analyzer.spells import SHORT_HOLE_S, even_stretches


def test_charge_of_a_steady_current():
    # 36 A for 100 s is 1 Ah, by definition.
    t = np.arange(0, 100.05, 0.05)
    step, (one,) = even_stretches(t, np.full(t.size, 50.0), np.full(t.size, 36.0), gap_s=0.5)
    assert step == pytest.approx(0.1)
    assert one.charge_ah[-1] - one.charge_ah[0] == pytest.approx(0.999, abs=0.002)
    assert np.allclose(np.diff(one.time_s), step)


def test_means_on_the_grid_keep_the_mean():
    rng = np.random.default_rng(1)
    t = np.arange(2000) * 0.01
    amps = rng.normal(size=t.size)
    _, (one,) = even_stretches(t, 50 + amps, amps, gap_s=0.5)
    assert one.current_a.mean() == pytest.approx(amps.mean(), abs=0.01)


def test_a_hole_splits_and_the_current_runs_on_through_a_short_one():
    t = np.concatenate([np.arange(0, 50, 0.1), np.arange(60, 110, 0.1)])
    amps = np.full(t.size, 36.0)
    _, (a, b) = even_stretches(t, np.full(t.size, 50.0), amps, gap_s=0.5)
    assert b.hole_s == pytest.approx(10.1, abs=0.15)
    # 10.1 s at 36 A are 0.101 Ah; the half steps at both ends belong to the stretches.
    assert b.charge_ah[0] - a.charge_ah[-1] == pytest.approx(0.1015, abs=0.002)


def test_a_long_hole_is_a_rest():
    late = 60 + SHORT_HOLE_S * 3
    t = np.concatenate([np.arange(0, 50, 0.1), np.arange(late, late + 50, 0.1)])
    _, (a, b) = even_stretches(t, np.full(t.size, 50.0), np.full(t.size, 36.0), gap_s=0.5)
    assert b.charge_ah[0] - a.charge_ah[-1] == pytest.approx(0.001, abs=0.0015)


def test_missing_samples_are_holes_and_slow_logs_keep_their_step():
    t = np.arange(0, 300.0)
    volts = np.full(t.size, 50.0)
    volts[100:150] = np.nan
    step, stretches = even_stretches(t, volts, np.ones(t.size), gap_s=5.0)
    assert step == 1.0
    assert len(stretches) == 2


@pytest.mark.parametrize("n", [0, 1, 2])
def test_hardly_any_samples(n):
    t = np.arange(n, dtype=float)
    assert even_stretches(t, t, t, gap_s=1.0)[1] == []

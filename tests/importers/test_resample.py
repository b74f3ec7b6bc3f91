"""Samples at other times: exact where exact is possible, missing where nothing was logged."""

import numpy as np

from importers.resample import join_groups, onto, with_uncovered

LOG_S = np.arange(0.0, 100.0, 0.1)


def test_straight_lines_are_read_off_exactly() -> None:
    at_s = np.arange(1.0, 90.0, 0.0371)
    out = onto(LOG_S, at_s, {"a": 3.0 * LOG_S - 7.0})
    assert np.allclose(out["a"], 3.0 * at_s - 7.0, atol=1e-9)


def test_own_times_give_own_values_to_the_bit() -> None:
    values = np.random.default_rng(0).normal(size=LOG_S.size)
    moved = (LOG_S + 1234.567) * (1 + 5e-5)
    out = onto(LOG_S, moved / (1 + 5e-5) - 1234.567, {"a": values})
    assert np.array_equal(out["a"], values)


def test_held_channels_stay_steps() -> None:
    steps = np.floor(LOG_S)
    at_s = np.arange(1.0, 90.0, 0.037)
    out = onto(LOG_S, at_s, {"a": steps}, held=lambda _: True)
    assert set(np.unique(out["a"])) <= set(np.unique(steps))


def test_nothing_is_carried_across_a_gap_or_past_the_ends() -> None:
    gone = LOG_S[(LOG_S < 40) | (LOG_S > 50)]
    at_s = np.array([-1.0, 20.02, 41.0, 45.0, 49.0, 60.02, 101.0])
    status = np.where(gone < 45, "ok", "hot").astype(object)
    out = onto(gone, at_s, {"a": gone.copy(), "status": status, "b": gone.copy()}, held="b".__eq__)
    known = np.array([False, True, False, False, False, True, False])
    assert np.array_equal(np.isfinite(out["a"]), known)
    assert np.array_equal(np.isfinite(out["b"]), known)
    assert [one is not None for one in out["status"]] == known.tolist()


def test_a_channel_with_holes_of_its_own_uses_its_own_rows() -> None:
    sparse = np.where(np.arange(LOG_S.size) % 5 == 0, LOG_S, np.nan)
    at_s = np.arange(1.0, 90.0, 0.037)
    assert np.allclose(onto(LOG_S, at_s, {"a": sparse})["a"], at_s)


def test_another_log_continues_where_the_first_has_nothing() -> None:
    first = LOG_S[(LOG_S < 40) | (LOG_S > 50)]
    both = with_uncovered(first, np.arange(-5.0, 110.0, 0.1) + 0.03)
    assert np.all(np.diff(both) > 0)
    assert np.isin(first, both).all()
    assert np.diff(both).max() < 0.2
    assert both[0] < -4.9
    assert both[-1] > 109.0


def test_a_long_files_ids_side_by_side() -> None:
    time_s = np.sort(np.concatenate([LOG_S, LOG_S]))
    groups = np.tile([0, 1], LOG_S.size)
    columns = {0: {"left.a": time_s * 2}, 1: {"right.a": time_s * 3}}
    base, out = join_groups(time_s, groups, columns)
    assert np.allclose(base, LOG_S)
    assert np.allclose(out["left.a"], LOG_S * 2)
    assert np.allclose(out["right.a"], LOG_S * 3)

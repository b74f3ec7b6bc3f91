"""Times of every row: each case is a known even clock, spoilt in one known way."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from importers.errors import LogError
from importers.timebase import TimeColumn, TimeReading, read_time, true_rate_hz

N = 4000
TRUE_S = np.arange(N) * 0.05
"""What the clock would read unspoilt: 20 rows a second."""


def read(*columns: TimeColumn, **more) -> TimeReading:
    return read_time(columns, file="a.csv", **more)


def number(values: np.ndarray, unit: str = "", named: float = 1.0) -> TimeColumn:
    return TimeColumn("time", np.asarray(values, np.float64), unit, named)


def stamps(seconds: np.ndarray, start: str = "2031-05-04T23:58:00") -> np.ndarray:
    micro = np.round(seconds * 1e6).astype("timedelta64[us]")
    return np.datetime_as_string(np.datetime64(start, "us") + micro)


def text(cells) -> TimeColumn:
    return TimeColumn("clock", pa.array([str(one) for one in cells]), "", 1.0)


@pytest.mark.parametrize(
    ("values", "unit"),
    [
        (TRUE_S, "s"),
        (TRUE_S, ""),
        (TRUE_S * 1e3, "ms"),
        (TRUE_S * 1e3, ""),
        (TRUE_S * 1e6, ""),
        (TRUE_S / 60, "min"),
        (TRUE_S + 1.9356e9, ""),
        (np.round((TRUE_S + 1.9356e9) * 1e3), ""),
        (np.round((TRUE_S + 1.9356e9) * 1e6), ""),
        (44_000.5 + TRUE_S / 86_400, ""),  # spreadsheet days
        (np.round(TRUE_S * 1e3) % 2**16, "ms"),
        ((np.round(TRUE_S * 1e6) + 4.2e9) % 2**32, ""),
        ((np.round(TRUE_S * 1e3) + 2**32 - 5000) % 2**32, "ms"),
    ],
)
def test_counts_of_every_unit_and_width(values: np.ndarray, unit: str) -> None:
    reading = read(number(values, unit))
    assert np.allclose(reading.time_s, TRUE_S, atol=2e-4)
    assert reading.sure >= 0.95


def test_epoch_is_utc() -> None:
    reading = read(number(TRUE_S + 1_935_652_320.0))
    assert reading.start == datetime(2031, 5, 4, 9, 12, tzinfo=UTC)


@pytest.mark.parametrize("cut", [8, 12, 15])
def test_time_of_day_past_midnight(cut: int) -> None:
    reading = read(text(one[11 : 11 + cut] for one in stamps(TRUE_S)))
    assert np.abs(reading.time_s - TRUE_S).max() < 0.026
    assert reading.start is None
    assert reading.of_day


def test_date_and_time_in_two_columns() -> None:
    cells = stamps(TRUE_S)
    reading = read(text(one[:10] for one in cells), text(one[11:] for one in cells))
    assert np.allclose(reading.time_s, TRUE_S, atol=1e-6)
    assert reading.start == datetime(2031, 5, 4, 23, 58)
    assert reading.used == (0, 1)


def test_seconds_and_milliseconds_in_two_columns() -> None:
    clock = text(one[11:19] for one in stamps(TRUE_S))
    reading = read(clock, number(np.round(TRUE_S * 1000) % 1000, "ms"))
    assert np.allclose(reading.time_s, TRUE_S, atol=1e-6)


def test_the_finer_clock_paces_and_the_dated_one_dates() -> None:
    dated = text(one[:19] for one in stamps(TRUE_S))
    reading = read(dated, number(TRUE_S * 1e3, "ms"))
    assert np.allclose(reading.time_s, TRUE_S)
    assert reading.start is not None
    assert abs(reading.start - datetime(2031, 5, 4, 23, 58)) < timedelta(seconds=1)


@pytest.mark.parametrize(("cut", "worst_s"), [(19, 0.026), (16, 0.026)])
def test_stamps_cut_to_seconds_or_minutes_are_spread_evenly(cut: int, worst_s: float) -> None:
    reading = read(text(one[:cut] for one in stamps(TRUE_S)))
    assert np.abs(reading.time_s - TRUE_S).max() < worst_s
    assert any("cut to whole" in one for one in reading.problems)


def test_a_clock_that_starts_in_1970_until_it_is_set() -> None:
    reading = read(number(np.where(np.arange(N) < 300, TRUE_S, TRUE_S + 1.9356e9)))
    assert np.allclose(reading.time_s, TRUE_S, atol=1e-5)
    assert reading.start is not None
    assert reading.start.year == 2031


@pytest.mark.parametrize("start", ["1970-01-01T00:00:05", "1980-01-06T00:00:00",
                                   "2000-01-01T00:00:03", "2001-01-01T00:00:00"])  # fmt: skip
def test_a_clock_that_was_never_set_knows_no_date(start: str) -> None:
    # Where small clocks begin: a ride kept under such a date would be decades from the others.
    reading = read(text(stamps(TRUE_S, start)))
    assert np.allclose(reading.time_s, TRUE_S, atol=1e-6)
    assert reading.start is None


@pytest.mark.parametrize(
    ("start", "jump_s"), [("2031-10-26T02:58:00", -3600.0), ("2031-03-30T01:58:00", 3600.0)]
)
def test_summer_time_begins_or_ends(start: str, jump_s: float) -> None:
    wall = np.where(TRUE_S >= 120.0, TRUE_S + jump_s, TRUE_S)
    reading = read(text(stamps(wall, start)))
    assert np.allclose(reading.time_s, TRUE_S, atol=1e-6)


def test_a_clock_set_back_by_seconds() -> None:
    reading = read(text(stamps(np.where(TRUE_S > 100, TRUE_S - 37, TRUE_S))))
    assert np.allclose(reading.time_s, TRUE_S, atol=1e-6)
    assert any("set back" in one for one in reading.problems)


def test_a_pause_is_kept() -> None:
    gone = np.where(TRUE_S > 100, TRUE_S + 77, TRUE_S)
    assert np.allclose(read(number(gone, "s")).time_s, gone)


@pytest.mark.parametrize("rows", [20, 500, 2000])
def test_a_logger_that_begins_anew(rows: int) -> None:
    reading = read(number(np.concatenate([TRUE_S[:rows], TRUE_S[: N - rows]]), "s"))
    assert reading.restarts == (rows,)
    assert reading.time_s.size == N
    assert reading.time_s[rows] - reading.time_s[rows - 1] == pytest.approx(5.0)


def test_rows_out_of_order_are_put_back() -> None:
    order = np.arange(N)
    order[500:510], order[510:520] = np.arange(510, 520), np.arange(500, 510)
    order[[800, 801]] = order[[801, 800]]
    reading = read(number(TRUE_S[order], "s"))
    assert np.allclose(reading.time_s, TRUE_S)
    assert np.array_equal(order[reading.keep], np.arange(N))
    assert not reading.restarts


def test_bad_cells_cost_their_rows_only() -> None:
    spoilt = TRUE_S.copy()
    spoilt[100], spoilt[200], spoilt[300] = 9e9, np.nan, spoilt[299]
    reading = read(number(spoilt, "s"))
    assert reading.dropped == 3
    assert len(reading.problems) == 3
    assert np.array_equal(reading.keep, np.delete(np.arange(N), [100, 200, 300]))


def test_bursts_over_a_radio_link_keep_their_even_spacing() -> None:
    rng = np.random.default_rng(4)
    late = np.repeat(rng.uniform(0.0, 0.06, N // 10 + 1), 10)[:N]
    arrived = np.ceil(TRUE_S / 0.5) * 0.5 + 0.05 + late + (np.arange(N) % 10) * 0.001
    reading = read(number(np.maximum.accumulate(arrived), "s"))
    steps = np.diff(reading.time_s)
    assert np.abs(steps - 0.05).max() < 0.002
    assert np.abs(reading.time_s - TRUE_S).max() < 0.02


def test_bursts_of_which_several_rows_share_a_stamp_are_no_coarse_clock() -> None:
    """Stamps in whole milliseconds on arrival, twelve rows within ten of them."""
    rng = np.random.default_rng(17)
    arrived = np.floor((TRUE_S + 0.3) / 0.6) * 0.6 + 0.01 * rng.random(N)
    late = np.round(np.maximum.accumulate(arrived), 3)
    reading = read(text(stamps(late)))
    assert np.mean(np.diff(late) == 0) > 0.3
    assert np.abs(np.diff(reading.time_s) - 0.05).max() < 0.002


def test_a_block_written_twice_is_left_out_once() -> None:
    twice = np.concatenate([TRUE_S[:500], TRUE_S[490:500], TRUE_S[500:]])
    reading = read(number(twice, "s"))
    assert np.allclose(reading.time_s, TRUE_S)
    assert reading.restarts == ()
    assert any("10 rows repeat an earlier time" in one for one in reading.problems)


def test_a_logger_that_began_anew_at_once_is_no_block_written_twice() -> None:
    reading = read(number(np.concatenate([TRUE_S[:20], TRUE_S[:400]]), "s"))
    assert reading.restarts == (20,)


def test_irregular_sampling_is_left_alone() -> None:
    uneven = TRUE_S + np.random.default_rng(1).uniform(0, 0.02, N)
    assert np.allclose(read(number(uneven, "s")).time_s, uneven - uneven[0])


@pytest.mark.parametrize("stacked", [False, True])
def test_a_long_file_shares_times_between_ids(stacked: bool) -> None:
    values = np.tile(TRUE_S, 2) if stacked else np.repeat(TRUE_S, 2)
    groups = np.repeat([0, 1], N) if stacked else np.tile([0, 1], N)
    reading = read(number(values, "s"), groups=groups)
    assert reading.time_s.size == 2 * N
    for one in (0, 1):
        assert np.allclose(reading.time_s[groups[reading.keep] == one], TRUE_S)


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ([], "no column with a time"),
        ([number(np.zeros(N), "s")], "cannot be read as a time"),
        ([number(np.full(N, np.nan), "s")], "cannot be read as a time"),
        ([number(TRUE_S[::-1], "s")], "cannot be read as a time"),
        ([number(TRUE_S[:9], "s")], "9 rows"),
        ([text(["left"] * 100)], "cannot be read as a time"),
    ],
)
def test_no_usable_time_is_one_plain_message(columns: list[TimeColumn], says: str) -> None:
    with pytest.raises(LogError, match=says) as caught:
        read(*columns)
    assert caught.value.where == "a.csv"
    assert caught.value.remedy


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.floats(width=32), min_size=0, max_size=60), st.sampled_from(["", "s", "ms", "us"])
)
def test_whatever_the_numbers_time_rises_or_is_refused(values: list[float], unit: str) -> None:
    try:
        reading = read(number(np.asarray(values), unit))
    except LogError:
        return
    assert np.all(np.diff(reading.time_s) > 0)
    assert reading.time_s.size == reading.keep.size
    assert np.unique(reading.keep).size == reading.keep.size


@settings(max_examples=50, deadline=None)
@given(st.lists(st.text("0123456789:-./ TZ,amp", max_size=24), min_size=0, max_size=40))
def test_whatever_the_text_time_rises_or_is_refused(cells: list[str]) -> None:
    try:
        reading = read(TimeColumn("t", pa.array(cells, pa.string()), "", 1.0))
    except LogError:
        return
    assert np.all(np.diff(reading.time_s) > 0)


@pytest.mark.parametrize(("rows", "rate_hz"), [(1, 50.0), (4, 12.5), (10, 5.0), (50, 1.0)])
def test_held_channels_have_their_own_rate(rows: int, rate_hz: float) -> None:
    rng = np.random.default_rng(0)
    time_s = np.arange(20_000) / 50.0
    values = np.repeat(rng.normal(size=20_000 // rows), rows)
    assert true_rate_hz(time_s, values) == pytest.approx(rate_hz, rel=0.02)


def test_a_constant_channel_has_no_rate() -> None:
    assert true_rate_hz(TRUE_S, np.ones(N)) is None
    assert true_rate_hz(TRUE_S, np.full(N, np.nan)) is None


@pytest.mark.parametrize(
    "cells",
    [
        text(stamps(TRUE_S, "2031-05-04T09:12:00")[::-1]),
        text([one[11:] for one in stamps(TRUE_S, "2031-05-04T09:12:00")[::-1]]),
    ],
)
def test_the_newest_row_first_is_turned_round(cells: TimeColumn) -> None:
    """By dates; a bare count that falls may be one that runs down and is refused, see above."""
    reading = read(cells)
    assert np.allclose(reading.time_s, TRUE_S)
    assert np.array_equal(reading.keep, np.arange(N)[::-1])
    assert any("newest row stands first" in one for one in reading.problems)

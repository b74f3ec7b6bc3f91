"""Less usual spellings of times. Truth: the same instants, made with Python's `datetime`."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from importers.cells import is_when
from importers.errors import LogError
from importers.log_file import read_log
from importers.log_table import LogTable
from importers.time_text import NS, Shape, read_text_times
from importers.timebase import TimeColumn, read_time

BEGAN = datetime(2031, 5, 4, 11, 59, 50)
TIMES = [BEGAN + timedelta(milliseconds=500 * k) for k in range(400)]


def tenth(one: datetime) -> int:
    return one.microsecond // 100_000


def half_es(one: datetime) -> str:
    return "a.\u00a0m." if one.hour < 12 else "p.\u00a0m."


CLOCKS: dict[str, Callable[[datetime], str]] = {
    "points, comma": lambda t: f"{t:%H.%M.%S},{tenth(t)}",
    "points, point": lambda t: f"{t:%H.%M.%S}.{tenth(t)}",
    "hours' letter": lambda t: f"{t:%H}h{t:%M}m{t:%S}.{tenth(t)}s",
    "hours' letter, blanks": lambda t: f"{t:%H} h {t:%M} min {t:%S},{tenth(t)} s",
    "a word behind": lambda t: f"{t:%H:%M:%S},{tenth(t)} Uhr",
    "no year": lambda t: f"{t:%d.%m.} {t:%H:%M:%S}.{tenth(t)}",
    "no year, slash": lambda t: f"{t:%d/%m} {t:%H:%M:%S}.{tenth(t)}",
    "a mark before": lambda t: f"'{t:%H:%M:%S}.{tenth(t)}",
}
INSTANTS: dict[str, Callable[[datetime], str]] = {
    "points after the date": lambda t: f"{t:%d/%m/2031 %H.%M.%S}.{tenth(t)}",
    "Spanish halves": lambda t: (
        f"2031-05-04 {(t.hour - 1) % 12 + 1}:{t:%M:%S}.{tenth(t)} {half_es(t)}"
    ),
    "asctime": lambda t: f"{t:%a} May  {t.day} {t:%H:%M:%S} 2031",
    "weekday, German": lambda t: f"So., {t.day}. Mai 2031 {t:%H:%M:%S},{tenth(t)}",
    "de, Spanish": lambda t: f"domingo, {t.day} de mayo de 2031 {t:%H:%M:%S}",
    "de, Portuguese": lambda t: f"{t.day} de maio de 2031 {t:%H:%M:%S}",
    "in brackets": lambda t: f"[{t:%Y-%m-%d %H:%M:%S}.{tenth(t)}]",
}


def cells(spelled: Callable[[datetime], str]) -> pa.Array:
    return pa.array([spelled(one) for one in TIMES])


@pytest.mark.parametrize("kind", CLOCKS)
def test_times_of_day(kind: str) -> None:
    times = read_text_times(cells(CLOCKS[kind]))
    assert times is not None
    assert times.shape is Shape.CLOCK
    midnight = datetime(2031, 5, 4)
    expected = [(one - midnight).total_seconds() for one in TIMES]
    np.testing.assert_allclose(times.ns / NS, expected, atol=1e-6)
    assert is_when(CLOCKS[kind](BEGAN))


@pytest.mark.parametrize("kind", INSTANTS)
def test_dates_with_times(kind: str) -> None:
    times = read_text_times(cells(INSTANTS[kind]))
    assert times is not None
    assert times.shape is Shape.INSTANT
    expected = [(one - datetime(1970, 1, 1)).total_seconds() for one in TIMES]
    whole = kind in ("asctime", "de, Spanish", "de, Portuguese")
    np.testing.assert_allclose(times.ns / NS, np.floor(expected) if whole else expected, atol=1e-6)
    assert is_when(INSTANTS[kind](BEGAN))


@pytest.mark.parametrize(
    ("zone", "ahead_h"),
    # RFC 5322 section 4.3 (EST, PDT); Europe's of the IANA time zone database
    [("EST", -5), ("PDT", -7), ("CET", 1), ("CEST", 2), ("MESZ", 2), ("EEST", 3), ("UTC", 0)],
)
def test_zones_by_their_letters(zone: str, ahead_h: int) -> None:
    times = read_text_times(pa.array([f"{one:%Y-%m-%d %H:%M:%S} {zone}" for one in TIMES]))
    assert times is not None
    assert times.zoned
    first = (BEGAN - datetime(1970, 1, 1)).total_seconds() - 3600 * ahead_h
    assert times.ns[0] / NS == first
    assert times.offset_s == 3600 * ahead_h


def test_letters_of_several_zones_are_no_zone_and_said() -> None:
    times = read_text_times(pa.array([f"{one:%Y-%m-%d %H:%M:%S} IST" for one in TIMES]))
    assert times is not None
    assert not times.zoned
    assert any("'IST'" in one for one in times.remarks)


def test_a_zone_by_name_in_brackets() -> None:
    """RFC 9557 section 1: the offset before the brackets stays what it is."""
    text = "1996-12-19T16:39:57-08:00[America/Los_Angeles]"
    times = read_text_times(pa.array([text] * 12))
    assert times is not None
    assert times.ns[0] / NS == 851_042_397.0  # RFC 3339 section 5.8, the same instant


@pytest.mark.parametrize(
    "form", ["{d} days {h:02d}:{m:02d}:{s:09.6f}", "{d} day, {h}:{m:02d}:{s:04.1f}"]
)
def test_days_counted_before_the_hours(form: str) -> None:
    elapsed = [86_400 - 20 + 0.5 * k for k in range(100)]
    texts = [
        form.format(d=int(t // 86_400), h=int(t % 86_400 // 3600), m=int(t % 3600 // 60), s=t % 60)
        for t in elapsed
    ]
    times = read_text_times(pa.array(texts))
    assert times is not None
    np.testing.assert_allclose(times.ns / NS, elapsed)


def test_a_day_with_points_stays_a_day() -> None:
    times = read_text_times(pa.array(["09.12.00"] * 300))
    assert times is not None
    assert times.shape is Shape.DATE


def test_as_many_days_are_a_time_of_day() -> None:
    times = read_text_times(pa.array([f"{one:%H.%M.%S}" for one in TIMES]))
    assert times is not None
    assert times.shape is Shape.CLOCK
    assert times.ns[0] / NS == 11 * 3600 + 59 * 60 + 50


def log_of(folder: Path, header: str, cells: list[str]) -> LogTable:
    rows = "".join(f"{one};{k % 20},5;{55 - k % 3},2\n" for k, one in enumerate(cells))
    path = folder / "log.csv"
    path.write_text(f"{header};Batteriestrom [A];Batteriespannung [V]\n{rows}", encoding="utf-8")
    return read_log(str(path))


def test_minutes_and_seconds_with_a_comma_run_on_past_the_hour(tmp_path: Path) -> None:
    began = datetime(2031, 5, 4, 9, 59, 0)
    times = [began + timedelta(milliseconds=100 * k) for k in range(1200)]
    read = log_of(tmp_path, "Zeit", [f"{one:%M:%S},{tenth(one)}" for one in times])
    np.testing.assert_allclose(read.time_s, np.arange(1200) / 10, atol=1e-6)


def test_points_between_minutes_and_seconds_are_refused_with_what_to_write(tmp_path: Path) -> None:
    """`59.40,5` may be minutes and seconds, hours and minutes, or a number."""
    cells = [f"59.{40 + k // 10 % 20:02d},{k % 10}" for k in range(200)]
    with pytest.raises(LogError, match=r"'Zeit' holds '59\.40,0'.*mm:ss\.f"):
        log_of(tmp_path, "Zeit", cells)


def test_a_day_in_digits_goes_with_the_time_of_day_beside_it() -> None:
    day = np.full(400, 20_310_504.0)
    clock = np.array([float(f"{one:%H%M%S}") + tenth(one) / 10 for one in TIMES])
    found = read_time(
        [TimeColumn("date", day, named=1.0), TimeColumn("time", clock, named=1.0)], file="a.csv"
    )
    assert found.start == BEGAN


def test_seconds_at_the_end_of_an_unknown_word_are_the_time(tmp_path: Path) -> None:
    """Rows that come in lumps do not step evenly; they only rise."""
    stamps = np.ceil((np.arange(400) / 10 + 0.05) / 0.8) * 0.8
    read = log_of(tmp_path, "received_s", [f"{one:.3f}".replace(".", ",") for one in stamps])
    assert read.time_s[-1] == pytest.approx(39.9, abs=0.8)

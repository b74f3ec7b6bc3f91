"""Dates and times as text, against the examples of the standards and hand-worked cases."""

from datetime import date, timedelta

import numpy as np
import pyarrow as pa
import pytest

from importers.time_text import NS, Shape, read_text_times


def seconds(text: str) -> float:
    times = read_text_times(pa.array([text] * 12))
    assert times is not None
    return float(times.ns[0] / NS)


@pytest.mark.parametrize(
    ("text", "since_1970_s"),
    [
        # RFC 3339 (2002) section 5.8, seconds worked out with the POSIX calendar
        ("1996-12-19T16:39:57-08:00", 851_042_397.0),
        ("1985-04-12T23:20:50.52Z", 482_196_050.52),
        ("1990-12-31T23:59:60Z", 662_688_000.0),  # a leap second is the next minute's first
        ("1990-12-31T15:59:60-08:00", 662_688_000.0),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172.13),
        # ISO 8601-1:2019: decimal comma, basic format, hours alone in the offset
        ("1985-04-12T23:20:50,52Z", 482_196_050.52),
        ("19850412T232050Z", 482_196_050.0),
        ("1985-04-12T15:20:50.52-08", 482_196_050.52),
        # ISO 8601-1:2019, 5.2.2 and 5.2.3: 12 April 1985 is day 102, and Friday of week 15
        ("1985-W15-5T23:20:50Z", 482_196_050.0),
        ("1985W155T232050Z", 482_196_050.0),
        ("1985-W15-5 23:20:50.5", 482_196_050.5),
        ("1985-102T23:20:50Z", 482_196_050.0),
        # the same instant as people write it
        ("12.04.1985 23:20:50", 482_196_050.0),
        ("12 April 1985 23:20:50", 482_196_050.0),
        ("April 12, 1985 11:20:50 PM", 482_196_050.0),
        ("Fr, 12. Apr. 1985 23:20:50", 482_196_050.0),
        ("4/13/1985 12:00:05 am", 482_198_405.0),
        ("13/04/85 00:00:05", 482_198_405.0),
    ],
)
def test_instants(text: str, since_1970_s: float) -> None:
    assert seconds(text) == pytest.approx(since_1970_s, abs=1e-6)


@pytest.mark.parametrize("text", ["1985-04-12T23:20:50Z", "1985-04-12 23:20:50.5+01:00"])
def test_a_zone_is_noticed(text: str) -> None:
    times = read_text_times(pa.array([text] * 12))
    assert times is not None
    assert times.zoned


def test_a_time_without_offset_is_local() -> None:
    times = read_text_times(pa.array(["1985-04-12T23:20:50"] * 12))
    assert times is not None
    assert not times.zoned


@pytest.mark.parametrize(
    ("cells", "first_day", "sure"),
    [
        (["04/05/2031 10:00:00", "13/05/2031 10:00:00"], "2031-05-04", 0.95),  # 13 is no month
        (["05/04/2031 10:00:00", "05/13/2031 10:00:00"], "2031-05-04", 0.95),
        (["2031/05/04 10:00:00", "2031/05/04 10:00:01"], "2031-05-04", 0.95),
        # past midnight only one order moves on by a single day
        (["30/11/2031 23:59:59", "01/12/2031 00:00:00"], "2031-11-30", 0.95),
        (["04/05/2031 23:59:59", "05/05/2031 00:00:00"], "2031-05-04", 0.95),
        (["05/04/2031 23:59:59", "05/05/2031 00:00:00"], "2031-05-04", 0.95),
    ],
)
def test_day_and_month_are_told_apart_over_the_whole_column(
    cells: list[str], first_day: str, sure: float
) -> None:
    times = read_text_times(pa.array(cells * 6))
    assert times is not None
    assert np.datetime64(int(times.ns[0]), "ns").astype("datetime64[D]") == np.datetime64(first_day)
    assert times.sure >= sure


def test_an_order_that_cannot_be_told_is_not_called_sure() -> None:
    times = read_text_times(pa.array(["04/05/2031 10:00:00"] * 12))
    assert times is not None
    assert times.sure < 0.95
    assert times.remarks


def test_milliseconds_without_leading_zeros() -> None:
    cells = [f"10:00:00.{ms}" for ms in range(0, 1000, 20)] + ["10:00:01.0"]
    times = read_text_times(pa.array(cells))
    assert times is not None
    assert np.allclose(np.diff(times.ns) / NS, 0.02)


def test_minutes_and_seconds_as_a_spreadsheet_shows_them() -> None:
    times = read_text_times(pa.array(["12:34.5"] * 12))
    assert times is not None
    assert times.shape is Shape.CLOCK
    assert times.ns[0] / NS == 12 * 60 + 34.5
    assert times.wrap_s == 3600.0


@pytest.mark.parametrize(
    "cells", [["left"] * 20, ["1.5"] * 20, [""] * 20, [None] * 20, ["1:2:3:4:5"] * 9]
)
def test_what_is_no_time(cells: list[str | None]) -> None:
    assert read_text_times(pa.array(cells, pa.string())) is None


@pytest.mark.parametrize("year", [1998, 2004, 2015, 2020, 2026, 2031, 2032])
def test_week_dates_against_the_calendar(year: int) -> None:
    """Every third day of a year and the turns of it, by the standard library's calendar."""
    days = [date(year, 1, 1) + timedelta(days=n) for n in range(-4, 370, 3)]
    cells = [f"{d.isocalendar()[0]}-W{d.isocalendar()[1]:02}-{d.isocalendar()[2]}" for d in days]
    times = read_text_times(pa.array([f"{one}T10:00:00" for one in cells]))
    assert times is not None
    assert times.valid.all()
    want = [(d - date(1970, 1, 1)).days * 86_400 + 36_000 for d in days]
    assert np.array_equal(times.ns // NS, want)

"""Rounding that tells the truth: expectations are worked by hand from each rule's sentence."""

from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.estimate import Estimate
from reports import numbers


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0.0 %"),
        (100.0, "100.0 %"),
        (99.96, "99.96 %"),
        (99.9996, "99.9996 %"),
        (99.999999, "just under 100 %"),
        (0.04, "0.04 %"),
        (0.0000001, "under 0.0001 %"),
        (49.96, "50.0 %"),
    ],
)
def test_nearly_is_never_printed_as_exactly(value, text):
    assert numbers.percent(value) == text


@given(st.floats(0, 100))
def test_only_exactly_nothing_and_all_are_printed_so(value):
    text = numbers.percent(value)
    shown = text.removesuffix(" %")
    if shown.replace(".", "").isdigit() and float(shown) in (0.0, 100.0):
        assert value == float(shown)


@pytest.mark.parametrize(
    ("chance", "text"),
    [(0.93, "93 %"), (0.999, "over 99 %"), (0.001, "under 1 %"), (1.0, "certain"), (0.0, "0 %")],
)
def test_chances(chance, text):
    assert numbers.chance(chance) == text


@given(st.floats(0.001, 500), st.floats(0.001, 500))
def test_a_value_off_its_limit_reads_off_its_limit(value, limit):
    seen, given_text = numbers.beside(value, limit, "a")
    if abs(value - limit) > 1e-3:
        assert seen != given_text


def test_the_limit_and_a_value_just_below_it_are_told_apart():
    assert numbers.beside(39.98, 40.0, "a") == ("39.98 A", "40 A")
    assert numbers.beside(52.6, 50.0, "a") == ("52.6 A", "50 A")
    assert numbers.beside(3.51, 2.65, "v") == ("3.51 V", "2.65 V")
    assert numbers.beside(51.94, 52.75, "v") == ("51.9 V", "52.75 V")
    assert numbers.beside(9.99, 10.5, "a") == ("10.0 A", "10.5 A")


@pytest.mark.parametrize(
    ("estimate", "suffix", "text"),
    [
        # Two figures of the half width below 3, else one (JCGM 100:2008, 7.2.6).
        (Estimate(0.0791, 0.0772, 0.0813), "ohm", "79.1 mΩ (77.2 to 81.3)"),
        (Estimate(0.0791, 0.072, 0.0863), "ohm", "79 mΩ (72 to 86)"),
        (Estimate(50.3, 49.6, 51.0), "pct", "50.3 % (49.6 to 51.0)"),
        (Estimate(19.4, None, 20.0), "ah", "19.40 Ah (at most 20.00)"),
        (Estimate(19.4, 18.0, None), "ah", "19.40 Ah (at least 18.00)"),
        (Estimate(0.0, 0.0, 0.0), "a", "0.0 A"),
        (None, "v", "not known"),
    ],
)
def test_an_estimate_is_rounded_by_its_interval(estimate, suffix, text):
    assert numbers.estimate(estimate, suffix) == text


def test_a_limit_is_printed_as_given():
    assert numbers.as_given(4.2 * 14) == "58.8"
    assert numbers.as_given(40.0) == "40"
    assert numbers.as_given(52.75) == "52.75"
    assert numbers.as_given(-0.5) == "−0.5"


def test_signs_and_thousands():
    assert numbers.fixed(-12.34, 1) == "−12.3"
    assert numbers.fixed(-0.04, 1) == "0.0"
    assert numbers.fixed(23921, 0) == "23\u202f921"
    assert numbers.quantity(float("nan"), "v") == "not known"
    assert numbers.quantity(2345.0, "m") == "2.35 km"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.06, "0.06 s"), (9, "9.0 s"), (59.97, "59.9 s"), (252, "4 min 12 s"), (3780, "1 h 03 min")],
)
def test_durations(seconds, text):
    assert numbers.duration(seconds) == text


def test_a_moment_is_told_by_the_clock_where_there_is_one():
    start = datetime(2031, 5, 4, 9, 31, tzinfo=timezone(timedelta(hours=2)))
    assert numbers.moment(607.2, start) == "09:41:07"
    assert numbers.moment(607.2, None) == "10:07 into the ride"
    assert numbers.day(start) == "2031-05-04 09:31 (UTC+02:00)"


def test_a_guess_just_short_of_sure_is_not_called_so():
    from importers.ride import ChannelReading, Source
    from reports.sources_view import source_view

    readings = tuple(
        ChannelReading("x", "speed_mps", "m/s", 1, 1.0, sure) for sure in (0.949, 0.95, 0.93)
    )
    view = source_view(Source("a.csv", "all", 1, 0, 1.0, None, None, readings))
    assert [one.sure for one in view.channels] == ["under 95 %", "95 %", "93 %"]
    assert [one.state for one in view.channels] == ["doubt", "sure", "doubt"]

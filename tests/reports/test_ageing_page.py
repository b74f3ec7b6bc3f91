"""The ageing page: its texts are the result's, its points lead to their rides."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from page_figures import figures_of as figures
from setup_maker import setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_hills import HillAhead
from analyzer.ageing_parts import Kept
from analyzer.ageing_result import DayNote
from analyzer.estimate import Estimate
from analyzer.forecast import DatedAhead
from reports.ageing_view import headline, paragraphs
from reports.page import MOST_BYTES, ageing_page
from simulator.books import make_book


@pytest.fixture(scope="module")
def book():
    kept, truth = make_book(
        3, rides=118, months=12, growth_pct_per_year=7.0, fade_pct_per_year=6.0, jump_pct=8.0
    )
    note = DayNote(kept[truth.jump_at].start - timedelta(days=2), "battery out for <cleaning>")
    return judge_ageing(kept, setup_of(), notes=[note])


def test_every_point_leads_to_a_row_of_its_own_ride(book):
    page = ageing_page(book)
    for name in ("resistance-plot", "temperature-plot", "capacity-plot"):
        points = next(one for one in figures(page)[name]["data"] if "customdata" in one)
        for ride, anchor in zip(points["text"], points["customdata"], strict=True):
            at = page.index(f'id="{anchor}"')
            assert f"<span>{ride}" in page[at : at + 300]


def test_course_and_band_are_the_results(book):
    drawn = figures(ageing_page(book))["resistance-plot"]["data"]
    course = next(one for one in drawn if one["name"] == "course")["y"]
    assert course[0] == pytest.approx(book.resistance.new_25c_ohm.value * 1e3, rel=0.02)
    assert course[-1] == pytest.approx(book.resistance.now_25c_ohm.value * 1e3, rel=0.02)
    low, high = (one["y"] for one in drawn if one["name"] == "95 % band")
    ends = book.resistance.now_25c_ohm
    assert low[-1] / course[-1] == pytest.approx(ends.low / ends.value, rel=1e-3)
    assert high[-1] / course[-1] == pytest.approx(ends.high / ends.value, rel=1e-3)


def test_a_jump_is_marked_on_its_day_and_notes_are_text(book):
    page = ageing_page(book)
    (shape,) = figures(page)["resistance-plot"]["layout"]["shapes"]
    assert shape["x0"] == f"{book.jumps[0].date:%Y-%m-%d}"
    assert "battery out for &lt;cleaning&gt;" in page
    assert "<cleaning>" not in page


def test_a_handful_of_rides_makes_a_page_without_courses():
    kept, _ = make_book(1, rides=2, months=1)
    page = ageing_page(judge_ageing(kept, setup_of()))
    assert "resistance-plot" not in page
    assert "capacity-plot" not in page
    assert "Fewer than" in page


def test_a_fleets_years_stay_within_the_budget():
    kept, _ = make_book(2, rides=3000, months=36)
    assert len(ageing_page(judge_ageing(kept, setup_of())).encode()) < MOST_BYTES + 1_000_000


def test_few_rides_say_what_each_tells_alone():
    kept, _ = make_book(5, rides=3, months=2)
    newest = kept[-1].summary
    text = " ".join(one.text for one in paragraphs(judge_ageing(kept, setup_of())))
    ohm = [round(1000 * one) for one in newest.resistance_10s_25c_ohm]
    assert f"alone: {ohm[0]} ({ohm[1]} to {ohm[2]}) mΩ at 25 °C" in text
    assert headline(judge_ageing(kept[:1], setup_of())).startswith("1 ride is too few")


def test_charges_are_not_called_rides():
    kept, _ = make_book(5, rides=6)
    mixed = [
        Kept(one.name, replace(one.summary, kind="charge")) if at % 2 else one
        for at, one in enumerate(kept)
    ]
    numbers = paragraphs(judge_ageing(mixed, setup_of()))[0].text
    assert numbers.startswith("3 rides and 3 charges over")


def test_the_first_sentence_says_how_much():
    kept, _ = make_book(4, growth_pct_per_year=15.0)
    result = judge_ageing(kept, setup_of())
    grown = result.resistance.growth_pct_per_year.value
    assert f"resistance grows by {grown:.1f} % a year" in headline(result)


def test_the_course_steps_on_the_day_of_the_jump(book):
    drawn = figures(ageing_page(book))["resistance-plot"]["data"]
    course = next(one for one in drawn if one["name"] == "course")
    at = next(k for k, (a, b) in enumerate(zip(course["x"], course["x"][1:], strict=False))
              if a == b)  # fmt: skip
    assert course["x"][at].startswith(f"{book.jumps[0].date:%Y-%m-%d}")
    step = 100 * (course["y"][at + 1] / course["y"][at] - 1)
    assert step == pytest.approx(book.jumps[0].step_pct.value, abs=0.5)


def test_each_climb_has_its_own_line(book):
    reached = [Estimate(value, value - 3, value + 4) for value in (30.0, 36.0, 60.0)]
    hills = tuple(HillAhead(name, 35.0, 9, None, *reached) for name in ("mill lane", "the ramp"))
    page = ageing_page(replace(book, hills=hills))
    assert re.search(r"<p>Mill lane \(ridden 9 times\) reaches[^<]*</p>", page)
    short = "The ramp (ridden 9 times): 36 (33 to 40) % today, 30 % at first"
    assert f"<p>{short}" in page.replace("\N{NO-BREAK SPACE}", " ")


def test_a_fade_that_is_not_told_has_one_word_for_it():
    # Twelve weeks of rides with a built-in curve: nothing to tell a fade by.
    kept, _ = make_book(6, rides=14, months=2.8)
    result = judge_ageing(kept, setup_of())
    assert result.capacity.fade_pct_per_year.half_width > 30
    text = " ".join(one.text for one in paragraphs(result))
    assert "fade not told yet" in text
    assert "do not tell the fade yet" in text
    assert "the fade of" not in text


def test_each_capacity_stands_with_what_its_ride_leaves_open(book):
    # A short ride's capacity may lie far from the course: its bar says why.
    points = figures(ageing_page(book))["capacity-plot"]["data"][-1]
    half = points["error_y"]["array"]
    assert half == pytest.approx(book.capacity.each_half_ah.tolist(), abs=1e-3)
    used = dict(zip(book.capacity.used, half, strict=True))
    moved = {one.kept.name: one.kept.summary.charge_out_ah for one in book.per_ride}
    deep = sorted(used, key=lambda name: moved[name])
    assert max(used[name] for name in deep[-10:]) < min(used[name] for name in deep[:10])


def test_a_column_that_no_ride_fills_is_left_out(book):
    assert all(one.kept.summary.capacity_ah is None for one in book.per_ride)
    heads = re.findall(r"<th[^>]*>([^<]*)", ageing_page(book))
    assert "Resistance at 25 °C" in heads
    assert "Capacity" not in heads
    own = [replace(one, kept=_with_capacity(one.kept)) for one in book.per_ride]
    heads = re.findall(r"<th[^>]*>([^<]*)", ageing_page(replace(book, per_ride=tuple(own))))
    assert "Capacity" in heads


def _with_capacity(kept):
    return Kept(kept.name, replace(kept.summary, capacity_ah=(17.0, 16.0, 18.0)))


def test_quantities_with_commas_in_their_names_are_told_apart(book):
    text = next(one.text for one in paragraphs(book) if one.text.startswith("These rides do not"))
    assert "speed, first drive over second; wheel circumference; " in text


def test_a_date_without_a_latest_day_is_not_between_two(book):
    value, low = datetime(2035, 12, 5, tzinfo=UTC), datetime(2033, 9, 5, tzinfo=UTC)
    ahead = replace(book, capacity_80=None, resistance_150=DatedAhead(value, low, None))
    text = " ".join(one.text for one in paragraphs(ahead))
    assert "about December 2035 (not before September 2033)." in text
    ahead = replace(ahead, resistance_150=DatedAhead(value, low, datetime(2039, 1, 5, tzinfo=UTC)))
    text = " ".join(one.text for one in paragraphs(ahead))
    assert "about December 2035 (September 2033 to January 2039)." in text

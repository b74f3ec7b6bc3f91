"""The ageing page: its texts are the result's, its points lead to their rides."""

from datetime import timedelta

import pytest
from page_figures import figures_of as figures
from setup_maker import setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_result import DayNote
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

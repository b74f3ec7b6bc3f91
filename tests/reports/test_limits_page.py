"""The limits page: hardest first, climbs numbered as in the plot, the next ride told."""

from dataclasses import replace

import pytest
from made.ride_results import made_result
from page_figures import figures_of

from analyzer.limits_merge import merge_limits
from analyzer.words import GradeSource, Verdict
from reports.climb_figures import profiles
from reports.limits_view import answer
from reports.page import MOST_BYTES, limits_page


@pytest.fixture(scope="module")
def rides():
    full = made_result()
    mild = replace(full, limits=tuple(replace(one, seen=1.0) for one in full.limits), events=())
    return [("first <ride>", mild), ("second ride", full)]


def test_exceeded_limits_stand_first_with_the_ride_they_were_seen_on(rides):
    page = limits_page(merge_limits(rides), rides)
    body = page[page.index('id="limits"') :]
    assert body.index("Exceeded") < body.index("Not reached") < body.index("Not tried")
    assert "second ride; exercised on" in body
    assert "first &lt;ride&gt;" in page
    assert "<ride>" not in page


def test_the_first_sentence_answers_with_numbers(rides):
    result = merge_limits(rides)
    exceeded = [one for one in result.limits if one.check.verdict is Verdict.EXCEEDED]
    assert answer(result).startswith(f"{len(exceeded)} limit")
    assert f"against {exceeded[0].check.set:g} A" in answer(result)
    untried = [one for one in result.limits if one.check.verdict is Verdict.NOT_EXERCISED]
    assert "not the same as safe" in answer(replace(result, limits=tuple(untried)))
    worst = exceeded[0].check
    seen = replace(worst, verdict=Verdict.HOLDS, seen=30.0, set=40.0, exercised_pct=75.0)
    held = answer(replace(result, limits=(replace(exceeded[0], check=seen),)))
    assert "(30.0 A against 40 A): 25 % left" in held


def test_the_next_ride_is_told(rides):
    result = merge_limits(rides)
    page = limits_page(result)
    assert result.next_ride
    for text in result.next_ride:
        assert text.split(":")[0].split("=")[0].split("'")[0][:40] in page.replace("\u00a0", " ")


def test_climbs_are_drawn_as_numbered_and_profiles_need_the_rides(rides):
    page = limits_page(merge_limits(rides), rides)
    figures = figures_of(page)
    bars = {one["hovertemplate"].split()[-1]: one["y"] for one in figures["climbs-plot"]["data"]}
    assert bars["A<extra></extra>"] == [53.6, 53.6]
    assert bars["V<extra></extra>"] == [7.6, 7.6]
    assert {"ride-1-climb-1", "ride-2-climb-1"} < set(figures)
    assert "ride-1-climb-1" not in limits_page(merge_limits(rides))
    assert len(page.encode()) < MOST_BYTES


def test_few_climbs_carry_no_statement_on_the_worst(rides):
    page = limits_page(merge_limits(rides))
    assert "2 climbs are too few to say what the worst to come may be." in page


def test_without_climbs_the_page_stands():
    full = replace(made_result(("motor",)), climbs=())
    assert "No climb of 10 m or more" in limits_page(merge_limits([("one", full)]))


@pytest.mark.parametrize(("source", "drawn"), [("altitude", True), ("estimated", False)])
def test_a_height_that_was_no_use_for_the_grade_is_not_drawn(source, drawn):
    full = made_result()
    climbs = tuple(replace(one, grade_source=GradeSource(source)) for one in full.climbs)
    shown = profiles(replace(full, climbs=climbs))
    assert shown
    assert all(("Height" in str(one.figure["layout"])) is drawn for one in shown)

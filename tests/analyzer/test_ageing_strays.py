"""A ride whose logger's clock was wrong by years does not decide how the pack ages."""

from dataclasses import replace
from datetime import datetime, timedelta

from setup_maker import setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_parts import Kept
from analyzer.ageing_strays import without_strays
from simulator.books import make_book


def dated(one, days):
    start = datetime.fromisoformat(one.summary.start) + timedelta(days=days)
    return Kept(one.name, replace(one.summary, start=start.isoformat()))


def test_one_ride_eleven_years_off_changes_no_trend():
    kept, _ = make_book(7, growth_pct_per_year=10.0)
    plain = judge_ageing(kept, setup_of())
    odd = judge_ageing([dated(kept[40], -4000), *kept[:40], *kept[41:]], setup_of())
    growth = odd.resistance.growth_pct_per_year
    assert abs(growth.value - plain.resistance.growth_pct_per_year.value) < 1.0
    assert odd.jumps == ()
    assert odd.span_days < 450
    first = odd.per_ride[0]
    assert (first.used, first.why_not) == (False, "dated years from all others")
    assert any("10 years" in one.text and "--start" in one.text for one in odd.notes)
    assert odd.rides == len(kept)


def test_years_of_riding_with_a_pause_are_one_course():
    kept, _ = make_book(8)
    late = [dated(one, 1100) if at >= 40 else one for at, one in enumerate(kept)]
    assert without_strays(late) == (late, [])


def test_few_rides_are_all_kept():
    kept, _ = make_book(9, rides=4)
    late = [dated(one, 2000 * at) for at, one in enumerate(kept)]
    assert without_strays(late) == (late, [])

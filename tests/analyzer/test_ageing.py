"""Ageing over simulated books with known truth; the full table is benchmarks/tables."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_capacity import capacity_course
from analyzer.ageing_parts import Kept
from analyzer.ageing_resistance import resistance_course
from analyzer.ageing_result import DayNote
from analyzer.estimate import Estimate
from analyzer.forecast import years_to
from analyzer.summary import from_row, to_row
from analyzer.use import charge_levels, count_depths, sum_use
from simulator.books import BEGIN, make_book

SEEDS = range(12)


def test_depths_follow_the_standards_worked_example():
    # ASTM E1049-85 (2017), figure 6: ranges 3:0.5 4:1.5 6:0.5 8:1.0 9:0.5, here times ten, so
    # that each range is the upper edge of its bin.
    levels = [10 * one for one in (-2, 1, -3, 5, -1, 3, -4, 4, -2)]
    counts = {one.depth_pct[1]: one.cycles for one in count_depths(levels) if one.cycles}
    assert counts == {30: 0.5, 40: 1.5, 60: 0.5, 80: 1.0, 90: 0.5}


def test_equivalent_full_cycles_are_charge_out_over_rated():
    # 1234.5 Ah / 17.5 Ah = 70.54 (definition).
    kept, _ = make_book(1, rides=5)
    one = replace(kept[0].summary, charge_out_ah=1234.5, rated_ah=17.5)
    assert sum_use([one]).equivalent_full_cycles == pytest.approx(70.543, abs=1e-3)
    assert len(charge_levels([one, one])) == 4


def test_two_laws_bracket_the_forecast():
    # 100 -> 92 % in 2 years: straight reaches 80 % at 5.0 years, the square root of age at 12.5.
    ahead = years_to(Estimate(8.0, 8.0, 8.0), Estimate(4.0, 4.0, 4.0), 20.0, 2.0)
    assert ahead.straight_years == pytest.approx(3.0)
    assert ahead.slowing_years == pytest.approx(10.5)
    assert ahead.low_years == pytest.approx(3.0)
    assert ahead.high_years == pytest.approx(10.5)
    assert 3.0 < ahead.value_years < 10.5


def test_no_established_drift_is_no_date():
    open_ended = years_to(Estimate(2.0, -1.0, 5.0), Estimate(1.0, -1.0, 3.0), 20.0, 2.0)
    assert open_ended.high_years is None
    assert years_to(Estimate(2.0, 1.0, 3.0), Estimate(-1.0, -2.0, 0.0), 20.0, 2.0) is None


def test_a_summary_comes_back_from_the_book_as_it_was():
    kept, _ = make_book(2, rides=5)
    assert from_row(to_row(kept[0].summary)) == kept[0].summary


@pytest.mark.parametrize(("growth", "fade"), [(0.0, 0.0), (20.0, 6.0)])
def test_growth_and_fade_are_met_and_covered(growth, fade):
    # Floors: growth within 15 % or 2 points, fade within 2 points, intervals hold the truth.
    hits = []
    for seed in SEEDS:
        kept, _ = make_book(seed, growth_pct_per_year=growth, fade_pct_per_year=fade)
        g = resistance_course(kept).growth_pct_per_year
        f = capacity_course(kept, own_curve=True).fade_pct_per_year
        hits.append(
            [
                abs(g.value - growth) <= max(0.15 * growth, 2.0),
                abs(f.value - fade) <= 2.0,
                g.low <= growth <= g.high,
                f.low <= fade <= f.high,
            ]
        )
    assert np.array(hits).mean(axis=0).min() >= 10 / 12


def test_a_pack_that_does_not_age_is_not_said_to():
    # At least 95 % of books without ageing, of either kind.
    growth = fade = 0
    seeds = range(40050, 40200)
    for seed in seeds:
        kept, _ = make_book(seed)
        g = resistance_course(kept).growth_pct_per_year
        f = capacity_course(kept, own_curve=True).fade_pct_per_year
        growth += not g.low <= 0 <= g.high
        fade += not f.low <= 0 <= f.high
    assert growth <= 0.05 * len(seeds)
    assert fade <= 0.05 * len(seeds)


def test_rides_that_agree_better_than_each_knows_tell_a_fade():
    # Each level says +-8 points and scatters by 0.7 (the book's own truth): 6 % a year is seen in
    # most books, and the interval still holds it.
    seen = held = 0
    seeds = range(300, 330)
    for seed in seeds:
        kept, _ = make_book(seed, growth_pct_per_year=20.0, fade_pct_per_year=6.0)
        fade = capacity_course(kept, own_curve=True).fade_pct_per_year
        seen += fade.low > 0
        held += fade.low <= 6.0 <= fade.high
    assert seen >= 0.7 * len(seeds)
    assert held >= 0.9 * len(seeds)


@pytest.mark.parametrize(("rides", "widest"), [(8, 70.0), (20, 20.0), (40, 9.0)])
def test_few_rides_and_many_bends_are_no_sure_fade_and_no_endless_one(rides, widest):
    # Bends that a prior holds take no rides; that few rides agree is no sign of how well they know.
    courses = [capacity_course(make_book(seed, rides=rides)[0], own_curve=True) for seed in SEEDS]
    fades = [one.fade_pct_per_year for one in courses if one is not None]
    assert len(fades) >= 10
    assert all(one.low <= 0.0 <= one.high for one in fades)
    assert np.median([one.half_width for one in fades]) < widest


@pytest.mark.parametrize("part", ["instant", "slow"])
def test_a_jump_is_dated_and_laid_to_its_part(part):
    dated = 0
    for seed in SEEDS:
        kept, truth = make_book(seed, jump_pct=15.0, jump_part=part)
        jumps = resistance_course(kept).jumps
        near = [one for one in jumps if abs(one.first - truth.jump_at) <= 3]
        dated += bool(near)
        assert all(one.part == part for one in near)
    assert dated >= 11


def test_at_most_one_false_jump_in_twenty_books():
    assert sum(len(resistance_course(make_book(seed)[0]).jumps) for seed in range(20)) <= 1


def test_a_note_of_those_days_stands_beside_the_jump():
    kept, truth = make_book(4, jump_pct=20.0)
    day = kept[truth.jump_at].start - timedelta(days=2)
    notes = [DayNote(day, "pack out for cleaning"), DayNote(BEGIN - timedelta(days=90), "old")]
    result = judge_ageing(kept, setup_of(TRIKE), notes=notes)
    assert "pack out for cleaning" in [one.note for one in result.jumps]


def test_two_rides_say_why_they_say_nothing():
    kept, _ = make_book(5, rides=8)
    result = judge_ageing(kept[:2], setup_of(TRIKE))
    assert result.resistance is None
    assert result.capacity is None
    assert result.capacity_80 is None
    assert {one.about for one in result.notes} >= {"resistance", "capacity"}
    assert [one.used for one in result.per_ride] == [False, False]


def test_a_new_logger_is_no_jump_of_the_pack():
    found, level = 0, 0
    for seed in SEEDS:
        kept, _ = make_book(seed)
        changed = []
        for at, one in enumerate(kept):
            own = one.summary
            if at >= 40:
                r = tuple(1.06 * v for v in own.resistance_10s_ohm)
                i = tuple(1.06 * v for v in own.resistance_instant_ohm)
                own = replace(
                    own, origin="new logger", resistance_10s_ohm=r, resistance_instant_ohm=i
                )
            changed.append(Kept(one.name, own))
        course = resistance_course(changed)
        found += len(course.jumps)
        level += course.growth_pct_per_year.low < 0 < course.growth_pct_per_year.high
    assert found <= 1
    assert level >= 10


def test_a_temperature_that_no_ride_knows_is_in_the_level_too():
    """All rides are brought to 25 °C from one assumed value: they are wrong together."""
    held = []
    for seed in SEEDS:
        kept, truth = make_book(seed)
        blind = [
            replace(one, summary=replace(one.summary, temperature_c=20.0, temperature_logged=False))
            for one in kept
        ]
        now = resistance_course(blind).now_25c_ohm
        held.append(now.low <= truth.resistance_now_25c_ohm <= now.high)
    assert sum(held) >= len(held) - 1

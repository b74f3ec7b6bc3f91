"""A scale that changes on a day: made books whose current is multiplied from one ride on."""

from dataclasses import replace

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_parts import Kept
from analyzer.ageing_scale import maybe_scale, on_one_scale, scale_changes
from simulator.books import make_book

SEEDS = range(8)
AT = 38


def read_as(one, times):
    """The summary that the same ride gives when its current reads `times` what it was: R = U / I,
    charge and energy are sums of I (definitions)."""
    own = one.summary
    return Kept(
        one.name,
        replace(
            own,
            charge_out_ah=own.charge_out_ah * times,
            energy_out_wh=own.energy_out_wh * times,
            resistance_10s_ohm=tuple(v / times for v in own.resistance_10s_ohm),
            resistance_10s_25c_ohm=tuple(v / times for v in own.resistance_10s_25c_ohm),
            resistance_instant_ohm=tuple(v / times for v in own.resistance_instant_ohm),
        ),
    )


def changed(seed, times, **plan):
    kept, truth = make_book(seed, **plan)
    return [read_as(one, times) if at >= AT else one for at, one in enumerate(kept)], truth


@pytest.mark.parametrize("times", [0.8, 1.2, 10.0])
def test_a_change_of_scale_is_dated_and_measured(times):
    dated = 0
    for seed in SEEDS:
        kept, _ = changed(seed, times, growth_pct_per_year=8.0, fade_pct_per_year=3.0)
        near = [one for one in scale_changes(kept) if abs(one.first - AT) <= 3]
        dated += len(near) == 1 and abs(np.log(near[0].ratio / times)) < 0.05
    assert dated >= 7


@pytest.mark.parametrize("times", [1.2, 10.0])
def test_a_change_of_scale_is_a_mark_and_no_jump_nor_ageing(times):
    stray, marked, held = 0, 0, []
    for seed in SEEDS:
        kept, truth = changed(seed, times, growth_pct_per_year=8.0)
        result = judge_ageing(kept, setup_of(TRIKE))
        stray += len(result.jumps)
        growth = result.resistance.growth_pct_per_year
        held.append(growth.low <= truth.growth_pct_per_year <= growth.high)
        marked += any("change of scale" in one.text for one in result.notes)
    assert stray <= 1
    assert marked >= 7
    assert sum(held) >= 6


def test_neither_ageing_nor_a_jump_of_the_pack_is_a_change_of_scale():
    plans = ({}, {"growth_pct_per_year": 20.0, "fade_pct_per_year": 7.0},
             {"jump_pct": 15.0}, {"jump_pct": 30.0, "jump_part": "slow"})  # fmt: skip
    assert not [
        f for plan in plans for seed in SEEDS for f in scale_changes(make_book(seed, **plan)[0])
    ]


def test_rides_come_to_the_scale_of_the_longest_stretch():
    kept, _ = make_book(3)
    later = [read_as(one, 10.0) if at >= 60 else one for at, one in enumerate(kept)]
    scaled, factors = on_one_scale(later, scale_changes(later))
    assert factors[0] == 1.0
    assert factors[1] == pytest.approx(10.0)  # a change of unit is taken as exactly ten
    first, last = kept[70].summary, scaled[70].summary
    assert last.charge_out_ah == pytest.approx(first.charge_out_ah)
    assert last.resistance_10s_ohm == pytest.approx(first.resistance_10s_ohm)


def test_what_another_log_reads_keeps_its_scale():
    kept, _ = make_book(5)
    charger = replace(kept[70].summary, kind="charge", origin="charger")
    later = [read_as(one, 1.25) if at >= 50 else one for at, one in enumerate(kept)]
    later[70] = Kept(kept[70].name, charger)
    scaled, _ = on_one_scale(later, scale_changes(later))
    assert scaled[70].summary == charger


def test_too_few_rides_are_no_change_of_scale():
    kept, _ = make_book(1)
    assert scale_changes(kept[:7]) == []
    assert scale_changes([]) == []


def test_rides_each_with_its_own_counting_give_a_level_and_no_fade():
    # Nothing moved between rest voltages (3 points a ride); the logger counts 17.5 Ah for 100 %.
    kept = [
        Kept(
            one.name,
            replace(one.summary, charge_start_pct=(80.0, 70.0, 90.0),
                    charge_end_pct=(77.0, 67.0, 87.0), capacity_ah=(17.5, 13.3, 21.7)),
        )
        for one in make_book(2)[0]
    ]  # fmt: skip
    result = judge_ageing(kept, setup_of(TRIKE))
    assert result.capacity.now_ah.value == pytest.approx(17.5)
    assert result.capacity.now_ah.low == pytest.approx(13.3)
    assert result.capacity.fade_pct_per_year is None
    assert result.capacity_80 is None
    assert "capacity.fade_pct_per_year" in [one.about for one in result.notes]


def at_a_jump(ohm, ah, wh=0.0):
    """Is a step of so much (natural logarithm) in three straight courses maybe one of scale?"""
    rng = np.random.default_rng(11)
    rides = []
    for at, one in enumerate(make_book(2)[0]):
        late = float(at >= AT)
        noise = np.exp(0.004 * rng.standard_normal(3))
        r10 = 0.08 * np.exp(ohm * late) * noise[0]
        own = replace(
            one.summary, temperature_c=25.0, resistance_10s_ohm=(r10, 0.98 * r10, 1.02 * r10),
            charge_start_pct=(80.0, 79.0, 81.0), charge_end_pct=(40.0, 39.0, 41.0),
            charge_out_ah=8.0 * np.exp(ah * late) * noise[1], charge_back_ah=0.0,
            distance_m=10_000.0, energy_back_wh=0.0,
            energy_out_wh=400.0 * np.exp(wh * late) * noise[2],
        )  # fmt: skip
        rides.append(Kept(one.name, own))
    return maybe_scale(rides, None, {AT: (ohm, 0.012)})[0]


# R = U / I, charge and energy are sums of I: a scale moves all three by the same factor.
@pytest.mark.parametrize(
    ("steps", "maybe"),
    [
        ((0.05, -0.05, -0.05), True),
        ((-0.05, 0.05, 0.05), True),
        ((0.05, 0.0, 0.0), False),
        ((0.15, 0.0, 0.0), False),
        ((0.05, 0.05, 0.05), False),
    ],
)
def test_a_small_jump_may_be_the_scales_where_charge_and_energy_step_with_it(steps, maybe):
    assert at_a_jump(*steps) == maybe


def test_a_jump_of_15_pct_is_not_doubted():
    for seed in range(40, 52):
        kept, truth = make_book(seed, growth_pct_per_year=6.0, jump_pct=15.0)
        result = judge_ageing(kept, setup_of(TRIKE))
        places = [[one.start for one in kept].index(jump.date) for jump in result.jumps]
        assert any(abs(at - truth.jump_at) <= 3 for at in places)
        assert not [one for one in result.notes if "may be the logger's" in one.text]


@pytest.mark.parametrize("seed", [8, 26, 50])
def test_a_doubted_jump_stays_told_and_its_scale_is_no_fade(seed):
    # The current reads 7 % less from a day on; truth is no fade.
    kept, _ = changed(seed, 0.93, growth_pct_per_year=8.0)
    result = judge_ageing(kept, setup_of(TRIKE))
    assert len(result.jumps) == 1
    assert any("may be the logger's" in one.text for one in result.notes)
    fade = result.capacity.fade_pct_per_year
    assert fade.low <= 0 <= fade.high

"""When ageing matters on a rider's own climb: books with a climb whose sag is written here."""

from dataclasses import replace
from math import exp

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_parts import Kept, years
from analyzer.rest_voltage import cell_volts, charge_pct
from analyzer.summary import ClimbSummary
from simulator.books import make_book

SETUP = setup_of(TRIKE)
SERIES = SETUP.pack.series
LINE_V = max(d.derate_from_v for d in SETUP.drives)
LOAD_A = 40.0


def climbed(seed, growth, r_new=0.09, name="School hill"):
    """A book in which one climb draws 40 A; R grows straight, warmth by 20 kJ/mol. The lowest
    voltage is rest less 40 A times that day's resistance."""
    rng = np.random.default_rng(seed)
    kept, _ = make_book(seed, rides=60)
    t = years(kept)
    rides = []
    for at, one in enumerate(kept):
        warm = exp(20e3 / 8.314462618 * (1 / (273.15 + one.summary.temperature_c) - 1 / 298.15))
        ohm = r_new * (1 + growth / 100 * t[at]) * warm
        seen = ohm * rng.lognormal(0, 0.015)
        rest = SERIES * 3.75
        climb = ClimbSummary(name, 600.0, 30.0, 5.0, LOAD_A, rest - LOAD_A * ohm, None, rest)
        own = replace(
            one.summary,
            climbs=(climb,) if at % 2 else (),
            resistance_10s_ohm=(seen, 0.97 * seen, 1.03 * seen),
            resistance_10s_25c_ohm=(seen / warm, 0.9 * seen / warm, 1.1 * seen / warm),
            resistance_instant_ohm=None,
        )
        rides.append(Kept(one.name, own))
    return rides, r_new, r_new * (1 + growth / 100 * t[-1]), float(t[-1])


def reached(ohm):
    """Charge at which rest less 40 A times the resistance is the line, off the setup's curve."""
    return float(charge_pct(SETUP.curve, (LINE_V + LOAD_A * ohm) / SERIES, SETUP))


def test_the_charge_a_climb_takes_new_and_today():
    held = []
    for seed in range(6):
        rides, new, now, _ = climbed(seed, 12.0)
        hill = judge_ageing(rides, SETUP).hills[0]
        assert hill.hill == "School hill"
        assert hill.times == 30
        assert hill.reached_now_pct.value == pytest.approx(reached(now), abs=2.5)
        assert hill.reached_new_pct.value == pytest.approx(reached(new), abs=2.5)
        assert hill.reached_cold_pct.value > hill.reached_now_pct.value
        held.append(hill.reached_now_pct.low <= reached(now) <= hill.reached_now_pct.high)
    assert all(held)


def test_the_day_from_which_35_pct_is_too_little_lies_in_the_interval():
    # The straight law reaches it when R(t) * 40 A has eaten the room above the line at 35 %.
    room = SERIES * float(cell_volts(SETUP.curve, 35.0, SETUP)) - LINE_V
    ahead_years, growth = 1.5, 15.0
    r_new = 0.0
    for _ in range(50):  # r_new so that the straight law gets there 1.5 years after the last ride
        r_new = room / LOAD_A / (1 + growth / 100 * (1.15 + ahead_years))
    for seed in range(4):
        rides, new, _, span = climbed(seed, growth, r_new)
        hill = judge_ageing(rides, SETUP).hills[0]
        told = hill.ahead
        truth = (room / LOAD_A / new - 1) / (growth / 100) - span
        low, high = ((one - rides[-1].start).total_seconds() / 86400 / 365.25
                     for one in (told.low, told.high))  # fmt: skip
        assert low <= truth <= high
        assert told.straight is not None
        straight = (told.straight - rides[-1].start).total_seconds() / 86400 / 365.25
        assert straight == pytest.approx(truth, abs=0.5)


def test_charge_usable_from_full_to_there():
    rides, new, now, _ = climbed(2, 12.0)
    result = judge_ageing(rides, SETUP)
    part_now, part_new = 1 - reached(now) / 100, 1 - reached(new) / 100
    assert result.usable_ah.value == pytest.approx(
        result.capacity.now_ah.value * part_now, rel=0.05
    )
    assert result.usable_new_ah.value == pytest.approx(
        result.capacity.new_ah.value * part_new, rel=0.05
    )
    assert result.usable_ah.value < result.usable_new_ah.value


def test_a_climb_ridden_twice_says_nothing():
    rides, *_ = climbed(1, 10.0)
    few = [replace_climbs(one, ()) if at > 3 else one for at, one in enumerate(rides)]
    result = judge_ageing(few, SETUP)
    assert result.hills == ()
    assert any(one.about == "forecast.hills" for one in result.notes)


def replace_climbs(one, climbs):
    return Kept(one.name, replace(one.summary, climbs=climbs))


def test_no_growth_is_no_date():
    rides, *_ = climbed(3, 0.0)
    ahead = judge_ageing(rides, SETUP).hills[0].ahead
    assert ahead is None or ahead.value is None

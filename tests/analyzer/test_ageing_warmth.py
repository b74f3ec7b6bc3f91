"""What a pack's resistance owes to warmth, against sums of Arrhenius laws written out here."""

from dataclasses import replace
from math import exp

import numpy as np
import pytest

from analyzer.ageing_parts import Kept
from analyzer.ageing_resistance import resistance_course
from simulator.books import make_book

# Leads, electrolyte, charge transfer [ohm, kJ/mol]: orders from Ecker et al. 2015 and O'Kane et al.
# 2022 as in analyzer/ageing_jumps.py; the shares are our choice.
PARTS = ((0.005, 0.0), (0.045, 14.0), (0.050, 30.0))


def ohm_at(temp_c, parts=PARTS):
    heat = 1000 / 8.314462618 * (1 / (temp_c + 273.15) - 1 / 298.15)
    return sum(ohm * exp(kj * heat) for ohm, kj in parts)


def rides_of(seed, months, contact_ohm=0.0):
    """Rides of a pack that does not age, its parts as above, the first two at once; a contact comes
    loose half way. Scatter as single rides have it."""
    rng = np.random.default_rng(seed)
    kept, _ = make_book(seed, months=months)
    out = []
    for place, one in enumerate(kept):
        loose = contact_ohm if place >= len(kept) // 2 else 0.0
        temp_c = one.summary.temperature_c
        whole = (ohm_at(temp_c) + loose) * rng.lognormal(0, 0.02)
        instant = (ohm_at(temp_c, PARTS[:2]) + loose) * rng.lognormal(0, 0.03)
        own = replace(
            one.summary,
            resistance_10s_ohm=(whole, 0.95 * whole, 1.05 * whole),
            resistance_instant_ohm=(instant, 0.9 * instant, 1.1 * instant),
        )
        out.append(Kept(one.name, own))
    return out


def test_a_sum_of_laws_is_met_in_the_cold():
    for seed in range(4):
        cold = resistance_course(rides_of(seed, 14)).over_25c(0.0)
        truth = ohm_at(0.0) / ohm_at(25.0)
        assert cold.value == pytest.approx(truth, rel=0.03)
        assert cold.low <= truth <= cold.high


@pytest.mark.parametrize("months", [9, 14])
def test_seasons_are_no_growth_and_no_jump(months):
    courses = [resistance_course(rides_of(seed, months)) for seed in range(40)]
    growths = [one.growth_pct_per_year for one in courses]
    assert sum(one.low <= 0.0 <= one.high for one in growths) >= 38  # 95 %
    assert sum(len(one.jumps) for one in courses) <= 2  # one in twenty books


def test_a_loose_contact_grows_no_more_in_the_cold():
    for seed in range(4):
        course = resistance_course(rides_of(seed, 14, contact_ohm=0.02))
        assert [one.part for one in course.jumps] == ["instant"]
        truth = (ohm_at(0.0) + 0.02) / (ohm_at(25.0) + 0.02)
        assert course.over_25c(0.0).value == pytest.approx(truth, rel=0.05)
        alone = ohm_at(0.0) / ohm_at(25.0)
        assert course.over_25c(0.0, today=False).value == pytest.approx(alone, rel=0.05)

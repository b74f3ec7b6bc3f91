"""A weak group of cells, with cells logged and without, in books whose weakness is written here."""

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup
from setup_maker import TRIKE, setup_of

from analyzer.ageing_parts import Kept
from analyzer.summary_cells import Apart, CellFacts, cell_facts
from analyzer.weak_group import weak_group_notes
from simulator.books import BEGIN, make_book

SETUP = setup_of(TRIKE)
SERIES = SETUP.pack.series


def book(count=60, days=360.0, **facts):
    """Rides a few days apart; `facts` are functions of the ride's number and age in years."""
    kept, _ = make_book(1, rides=count)
    out = []
    for at, one in enumerate(kept):
        age = days * at / count / 365.25
        start = (BEGIN + timedelta(days=days * at / count)).isoformat()
        told = {name: of(at, age) for name, of in facts.items()}
        out.append(Kept(one.name, replace(one.summary, start=start, **told)))
    return out


def about(value, half):
    return (value, value - half, value + half)


def texts(rides):
    return " ".join(one.text for one in weak_group_notes(rides, SETUP))


# --- with cells logged


def spreads(full_v, low_v, group):
    def of(at, age):
        full = Apart(full_v(age), group(at))
        return CellFacts(SERIES, full, Apart(low_v(age), group(at)), Apart(0.030, group(at)))

    return of


def test_one_group_that_falls_behind_is_named():
    rides = book(cells=spreads(lambda age: 0.012, lambda age: 0.02 + 0.20 * age, lambda at: 7))
    said = texts(rides)
    assert "at rest nearly full 12 mV in 60 logs, group 7 lowest in 60 of 60" in said
    # 20 mV growing by 200 mV a year: medians of the first and last third of a year, 53 and 184 mV.
    found = re.search(r"at rest nearly empty (\d+) → (\d+) mV", said)
    assert [int(one) for one in found.groups()] == pytest.approx([53, 184], abs=3)
    assert "far too much" in said
    assert "someone qualified" in said


def test_a_healthy_pack_is_not_alarming():
    rng = np.random.default_rng(1)
    rides = book(
        cells=spreads(lambda _: 0.012, lambda _: 0.018, lambda _: int(rng.integers(1, 14)))
    )
    said = texts(rides)
    assert "not alarming" in said
    assert "always the same group" not in said
    assert "too much" not in said


def test_cells_are_compared_where_they_rest():
    # Group 3 rests 40 mV under the others and sags 90 mV further: closed form.
    t = clock(600, 2.0)
    amps = np.where((t > 120) & (t < 360), 30.0, 0.0)
    cells = {
        f"cell_{g:02d}_v": 4.05 - (0.040 if g == 3 else 0.0) - amps * (0.006 if g == 3 else 0.003)
        for g in range(1, 5)
    }
    ride = make_ride(t, {"pack_current_a": amps, "pack_voltage_v": 16.0 - amps * 0.01, **cells})
    found = cell_facts(ride, make_setup(), np.full(t.size, 95.0))
    assert found.groups == 4
    assert found.full.spread_v == pytest.approx(0.040, abs=1e-3)
    assert found.full.lowest == 3
    assert found.load.spread_v == pytest.approx(0.130, abs=1e-3)
    assert found.low is None


# --- without cells


def test_a_full_pack_that_rests_lower_each_month_is_told():
    # A group that ends the charge early: 15 mV a cell and year at the top.
    rng = np.random.default_rng(2)
    fall = book(
        rest_start_v=lambda at, age: about(
            SERIES * (4.17 - 0.015 * age + rng.normal(0, 0.0015)), 0.05
        ),
        charge_start_pct=lambda at, age: about(97.0, 3.0),
    )
    found = re.search(r"rests (\S+) V lower", texts(fall))
    assert float(found[1]) == pytest.approx(0.015 * SERIES * 59 / 60, rel=0.1)
    steady = book(
        rest_start_v=lambda at, age: about(SERIES * (4.17 + rng.normal(0, 0.0015)), 0.05),
        charge_start_pct=lambda at, age: about(97.0, 3.0),
    )
    assert "After a full charge" not in texts(steady)


def test_a_rider_who_charges_to_80_pct_says_nothing_of_the_top():
    rng = np.random.default_rng(3)
    rides = book(
        rest_start_v=lambda at, age: about(SERIES * (3.95 - 0.02 * age), 0.05),
        charge_start_pct=lambda at, age: about(80.0 - 3 * age + rng.normal(0, 1), 3.0),
    )
    assert "After a full charge" not in texts(rides)


def test_a_low_cell_cutout_at_a_charge_that_used_to_be_fine():
    rides = book(
        charge_end_pct=lambda at, age: about(12.0 if at < 40 else 30.0, 4.0),
        low_cell_cutouts_pct=lambda at, age: (31.0,) if at == 55 else (),
    )
    said = texts(rides)
    assert "a low cell group cut power at 31 % charge" in said
    assert "went lower without, to 12 %" in said
    # A cutout no higher than rides always ended is what an empty pack does.
    empty = book(
        charge_end_pct=lambda at, age: about(12.0, 4.0),
        low_cell_cutouts_pct=lambda at, age: (8.0,) if at == 55 else (),
    )
    assert "cut power" not in texts(empty)


@pytest.mark.parametrize(("month_pct", "told"), [(25.0, True), (2.0, False)])
def test_charge_lost_standing(month_pct, told):
    # Every ride begins where the last one ended, less what standing took: days / 30.4 * month_pct.
    rng = np.random.default_rng(4)
    kept, _ = make_book(1, rides=30)
    level, when, rides = 90.0, BEGIN, []
    for one in kept:
        start = level + rng.normal(0, 0.4)
        end = start - 3.0 if start > 30.0 else 87.0
        own = replace(one.summary, start=when.isoformat(), charge_start_pct=about(start, 2.0),
                      charge_end_pct=about(end, 2.0))  # fmt: skip
        rides.append(Kept(one.name, own))
        days = float(rng.uniform(1, 12))
        level, when = end - days / 30.4 * month_pct, when + timedelta(days=days)
    said = texts(rides)
    assert ("Standing, the pack loses" in said) is told
    if told:
        found = float(said.split("Standing, the pack loses ")[1].split(" ")[0])
        assert found == pytest.approx(month_pct, abs=3.0)


def test_nothing_logged_is_said():
    assert "No cell was logged" in texts(book())

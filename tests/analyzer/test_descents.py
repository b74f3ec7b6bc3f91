"""Descents of simulated rides against the road's own truth, and of a ride down one slope."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.descents import BrakeGovernor
from analyzer.ride_analysis import analyse_ride
from simulator.build import example_trike
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import simulate
from simulator.terrain import from_pieces


@pytest.fixture(scope="module")
def down():
    """400 m of 6 % down between level stretches, exact sensors."""
    road = from_pieces([(200.0, 0.0), (400.0, -6.0), (200.0, 0.0)])
    sim = simulate(
        example_trike(), road, Rider(cruise_mps=6.0, stops_every_m=1e6), seed=4, rate_hz=20.0,
        soc=0.8, temp_c=20.0, sensors=Sensors.perfect(),
    )  # fmt: skip
    return sim, analyse_ride(sim.ride, sim.setup)


def test_the_slope_is_found_and_none_is_invented(down):
    sim, result = down
    assert result.climbs == ()
    (one,) = result.descents
    assert one.drop_m == pytest.approx(24.0, rel=0.05)  # 6 % of 400 m
    assert one.grade_pct.low <= -6.0 <= one.grade_pct.high
    at_m = np.interp([one.start_s, one.end_s], sim.t, sim.col["s_m"])
    assert at_m == pytest.approx([200.0, 600.0], abs=30)


def test_the_braking_is_what_the_simulation_pushed_back(down):
    sim, result = down
    (one,) = result.descents
    on = (sim.t >= one.start_s) & (sim.t <= one.end_s)
    size = round(1.0 / float(sim.t[1] - sim.t[0]))
    mean = np.ones(size) / size
    back = {d: np.convolve(-sim.col[f"{d}.i_batt"], mean, "same")[on] for d in sim.drives}
    for drive, amps in one.braking_a:
        assert amps == pytest.approx(back[drive].max(), rel=0.05, abs=0.1)
    assert one.braking_together_a == pytest.approx(sum(back.values()).max(), rel=0.05, abs=0.1)
    volts = np.convolve(sim.col["v_bus"], mean, "same")[on]
    assert one.max_voltage_v == pytest.approx(volts.max(), abs=0.1)
    assert one.margin_to_full_v == pytest.approx(sim.setup.full_v - one.max_voltage_v)
    assert one.charge_pct is not None
    assert one.charge_pct[1] > one.charge_pct[0] - 0.2  # braking gives back


def test_what_governed_the_braking_adds_up(down):
    _, result = down
    (one,) = result.descents
    for drive in one.governed:
        assert sum(pct for _, pct in drive.parts) == pytest.approx(100.0)
        assert {word for word, _ in drive.parts} <= set(BrakeGovernor)


def test_level_ground_has_none():
    road = from_pieces([(900.0, 0.0)])
    sim = simulate(example_trike(), road, Rider(), seed=5, rate_hz=10.0, soc=0.8)
    assert analyse_ride(sim.ride, sim.setup).descents == ()

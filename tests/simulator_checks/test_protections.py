"""Protections act when they say they do, and the bus afterwards is physics."""

import numpy as np
import pytest

from simulator.build import example_trike
from simulator.rider import Rider
from simulator.simulate import Planted, simulate
from simulator.terrain import from_pieces

HILL = from_pieces([(120, 0.0), (420, 9.0), (100, 0.0)])
RIDER = Rider(cruise_mps=8.0, stops_every_m=1e6)


def tripping():
    build = example_trike().with_bms(
        discharge_trip_a=38.0, discharge_trip_delay_s=1.5, current_tau_s=0.01
    )
    return simulate(build, HILL, RIDER, seed=2)


def test_bms_opens_after_its_delay_above_its_level():
    sim = tripping()
    opened = int(np.flatnonzero(sim.col["bms_dis"] > 0)[0])
    above = sim.col["i_pack"][:opened] > 38.0
    held = (np.flatnonzero(~above)[-1] + 1, opened)
    assert sim.t[held[1]] - sim.t[held[0]] == pytest.approx(1.5, abs=0.06)
    loss = sim.truth.losses[0]
    assert (loss.kind, loss.cause) == ("cutout", "bms_overcurrent_discharge")
    # The controller's own undervoltage stop, 50 ms later, is what ends its torque.
    assert loss.start_s == pytest.approx(sim.t[opened], abs=0.12)


def test_open_bus_sinks_in_proportion_to_wheel_speed():
    # Back-emf K_e w through two junctions: volts per speed is constant (K_t = K_e in SI).
    sim = tripping()
    start = sim.truth.losses[0].start_s
    after = (sim.t > start + 0.3) & (sim.t < sim.truth.losses[0].end_s) & (sim.col["v_mps"] > 1.5)
    kt, gear, radius = 0.125, 8.6, 0.254
    emf = kt * sim.col["v_mps"][after] / radius * gear
    assert np.allclose(sim.col["v_bus"][after] + 1.2, emf, rtol=0.02)
    # The pack itself rebounds to rest.
    shut = int(np.flatnonzero(sim.col["path_open"] > 0)[0])
    assert sim.col["v_cells"][after].min() > sim.col["v_cells"][shut - 2] + 1.0


def test_braking_into_an_open_path_jumps_by_more_than_current_times_resistance():
    down = from_pieces([(80, 0.0), (400, -8.0), (100, 0.0)])
    build = example_trike().with_bms(
        charge_trip_a=9.0, charge_trip_delay_s=0.5, opens_both=False
    ).with_controllers(phase_brake_a=40.0)  # fmt: skip
    sim = simulate(build, down, RIDER, seed=5)
    loss = sim.truth.losses[0]
    assert (loss.kind, loss.cause) == ("brake_loss", "bms_overcurrent_charge")
    before = sim.col["v_bus"][(sim.t > loss.start_s - 0.3) & (sim.t < loss.start_s)].mean()
    amps = -sim.col["i_pack"][(sim.t > loss.start_s - 0.3) & (sim.t < loss.start_s - 0.05)].min()
    jump = (
        sim.col["v_bus"][(sim.t >= loss.start_s - 0.05) & (sim.t < loss.start_s + 0.3)].max()
        - before
    )
    assert jump > 2 * amps * sim.truth.resistance_instant_ohm
    assert "overvoltage_trip" in loss.consequences


def test_a_planted_fault_changes_nothing_before_its_time():
    clean = simulate(example_trike(), HILL, RIDER, seed=8)
    spoilt = simulate(
        example_trike(), HILL, RIDER, seed=8, planted=(Planted("supply_interrupted", 30.0, 31.0),)
    )
    rows = int(np.searchsorted(clean.t, 29.9))
    for key in ("i_pack", "v_mps", "left.i_phase", "hand"):
        assert np.array_equal(clean.col[key][:rows], spoilt.col[key][:rows])
    assert spoilt.truth.losses[0].cause == "supply_interrupted"
    assert clean.truth.losses == ()


def test_limits_in_force_are_what_drives_saturate_at():
    sim = simulate(example_trike(), HILL, RIDER, seed=9)
    at_limit = sim.col["left.governor"] == 1
    assert at_limit.sum() > 100
    assert np.median(sim.col["left.i_batt"][at_limit]) == pytest.approx(24.0, rel=0.02)


def test_derating_meets_its_own_balance():
    # I = I_limit (V - stop)/(from - stop) must meet V = rest - I R: practice of the trade.
    build = example_trike().with_controllers(derate_from_v=50.0, stop_at_v=44.0, v_tau_s=0.02)
    sim = simulate(build, HILL, RIDER, seed=9, soc=0.42)
    c = sim.col
    on = (c["left.governor"] == 3) & (c["left.derate"] < 0.9)
    assert on.sum() > 200
    told = 24.0 * (c["left.v_bus"][on] - 44.0) / 6.0
    assert np.median(np.abs(c["left.i_batt"][on] - told)) < 0.6

"""The second truth keeps its own books: charge, energy, closed forms of its parts."""

import numpy as np
import pytest
from probe import fresh, truth
from probe.controller import Side
from probe.rider import Rider
from probe.road import Leg, Road
from probe.run import DT_S, ride


@pytest.fixture(scope="module")
def run():
    """A short way up and down with a three-motor barrow."""
    road = Road([Leg(60, 0.0, 4.0), Leg(60, 6.0, 3.5), Leg(60, -6.0, 4.0)], start_rest_s=2.0)
    return ride(fresh.barrow(), Rider(road), soc=0.7, seed=5, longest_s=90.0)


def test_charge_drawn_is_charge_missing(run):
    drawn_ah = run.col["pack_a"].sum() * DT_S / 3600
    soc = run.col["soc"]
    assert (0.7 - soc[-1]) * run.machine.cells.capacity_ah == pytest.approx(drawn_ah, rel=1e-9)


def test_the_packs_current_is_all_drives_and_the_lights(run):
    # Common practice, no source: battery currents of controllers on one pack add.
    together = truth.drive_sum(run) + run.machine.aux_a
    np.testing.assert_allclose(run.col["pack_a"], together, atol=1e-6)


def test_the_pack_sags_as_its_circuit_says(run):
    """V = rest − Σ u_k − I·R0, du_k/dt = (I·R_k − u_k)/τ_k (Plett 2015, ch. 2), worked out anew
    from the pack's current. Voltage is found before the slow parts take their step."""
    cells, col = run.machine.cells, run.col
    warm = np.array([cells.warm(float(one)) for one in col["temp_c"]])
    slow = np.zeros_like(warm)
    for ohm, tau in cells.slow:
        keep = np.exp(-DT_S / tau)
        u = 0.0
        for k, amps in enumerate(col["pack_a"]):
            slow[k] += u
            u = keep * u + (1.0 - keep) * amps * ohm * warm[k]
    want = col["rest_v"] - slow - col["pack_a"] * cells.r0_ohm * warm
    np.testing.assert_allclose(col["pack_v"], want, atol=0.02)


def test_battery_power_is_shaft_and_copper():
    """kω·i + R·i² + idle (Hughes, Electric Motors and Drives, ch. 3), once the current stands."""
    side = Side(fresh.one_kart().drives["axle"])
    for _ in range(200):
        side.step(100.0, 52.0, 150.0, DT_S)
    assert side.battery_w == pytest.approx(0.1 * 150 * 100 + 0.012 * 100**2 + 8.0, rel=1e-3)


def test_a_band_fades_braking_and_only_there():
    machine = fresh.one_kart()
    d = machine.drives["axle"]
    d.overvoltage_v, d.brake_fade_v = 60.0, 2.0
    got = {}
    for volts in (57.0, 59.0, 59.9):
        side = Side(d, seen_v=volts)
        got[volts] = side.wanted_phase(-1.0, volts, 300.0, 10.0, (20.0, 20.0))
    assert [by for _, by in got.values()] == ["battery_limit", "brake_fade", "brake_fade"]
    # half the band is half the battery current: 59 V · 15 A + 8 W = kω·i − R·i²
    half = -got[59.0][0]
    assert 30.0 * half - 0.012 * half**2 == pytest.approx(59.0 * 15.0 + 8.0, rel=1e-6)

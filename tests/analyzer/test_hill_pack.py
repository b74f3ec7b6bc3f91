"""The pack on a hill against closed forms: its warming, its resistance near empty and when cold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import make_ride
from made.builds import exact_build
from made.ride_results import made_result, made_setup

from analyzer.balance import InForce
from analyzer.build_drives import LIMIT_SD, SENSOR_SD, heat_draws, limit_scale, overshoot
from analyzer.build_pack import SLOWEST_MOST, low_charge_factor, pack_draws, warm_factor
from analyzer.estimate import Estimate
from analyzer.hill_ahead import PerDraw, even_hill
from analyzer.hill_model import simulate_hill
from analyzer.hill_pack import HillPack
from analyzer.lags import TAUS_S, pulse_ohm
from analyzer.predict import predict_hill

DRAWS = 4
ENERGY = 20_000.0


def cold_pack(j_per_k: float) -> HillPack:
    """0.1 ohm at 25 °C and nothing else, at 0 °C; as much charge as is asked for."""
    ohm = np.zeros((len(TAUS_S), DRAWS))
    ohm[0] = 0.1
    same = np.ones(DRAWS)
    build = replace(
        exact_build(), pack_ohm=ohm, activation_j_per_mol=ENERGY * same, capacity_ah=1e6 * same,
        pack_j_per_k=j_per_k * same,
    )  # fmt: skip
    return HillPack(build, PerDraw(50.0 * same, 0.0 * same, same), 0.5)


def test_a_pack_warms_by_what_it_loses_and_resists_less() -> None:
    # Joule's law: dT/dt = R(T) I^2 / C, R by Arrhenius (references section 5: 2.093 times at 0 °C
    # for 20 kJ/mol), stepped here by Euler; 6000 J/K are 21 Ah, 14 in series
    pack, heat_j_per_k = cold_pack(6000.0), 6000.0
    live = np.ones(DRAWS, bool)
    warmed = 0.0
    first = last = 0.0
    for k in range(400):
        rest = float(pack.rest_v()[0])
        amps = float(pack.draw(np.full(DRAWS, 1500.0), live)[0])
        last = (rest - float(pack.volts[0])) / amps
        first = last if k == 0 else first
        ohm = 0.1 * float(warm_factor(warmed, np.array([ENERGY]))[0])
        warmed += ohm * amps**2 * 0.5 / heat_j_per_k
    assert first == pytest.approx(0.2093, abs=2e-4)
    assert warmed > 4.0
    assert pack.warmed_k == pytest.approx(warmed, rel=0.04)  # it loses a little to the air
    assert last == pytest.approx(0.1 * float(warm_factor(warmed, np.array([ENERGY]))[0]), rel=0.01)
    assert last < 0.9 * first


def test_charging_warms_it_too_and_what_has_ended_stays_as_it_was() -> None:
    pack = cold_pack(6000.0)
    live = np.array([True, True, False, False])
    for _ in range(20):
        pack.draw(np.full(DRAWS, -800.0), live)
    assert (pack.warmed_k[:2] > 0.05).all()
    assert (pack.warmed_k[2:] == 0.0).all()
    assert (pack.drawn_ah[2:] == 0.0).all()


def test_resistance_rises_steepest_in_the_last_per_cent() -> None:
    # 35 % more at 5 %, by the square of the way from 25 % (our choice): a quarter of it at 15 %
    charge = np.array([80.0, 25.0, 15.0, 5.0, -30.0])
    said = low_charge_factor(charge)
    assert said[:4] == pytest.approx([1.0, 1.0, 1.0875, 1.35])
    assert said[4] == pytest.approx(1.0 + 0.35 * 1.5**2)  # no further than 5 % below empty


def fitted_ride(*ohm: float):
    """A ride whose fit has every lag; by default an ordinary pack's."""
    told = made_result()
    ohm = ohm or (0.055, 0.008, 0.008, 0.015, 0.012, 0.01, 0.0)
    return replace(told, pack_fit=replace(told.pack_fit, taus_s=TAUS_S, resistances_ohm=ohm))


def test_a_pack_temperature_only_assumed_widens_the_resistance() -> None:
    # 8 K at 20 °C and 20.5 kJ/mol: d ln R = E / (R T^2) dT = 0.23, one sd
    setup, told = made_setup(), fitted_ride()
    t = told.ride.time_s
    warm = make_ride(t, {"pack_temp_c": np.full(t.size, 20.0)})
    bare = make_ride(t, {})
    logged, assumed = (
        np.log(pulse_ohm(pack_draws(setup, [replace(told, ride=one)],
                                    np.random.default_rng(3), 4000)[0].T, 10.0))
        for one in (warm, bare)
    )  # fmt: skip
    assert np.sqrt(assumed.var() - logged.var()) == pytest.approx(0.23, abs=0.03)


def test_lags_far_slower_than_a_pack_are_not_carried_to_a_hill() -> None:
    setup, odd = made_setup(), fitted_ride(0.055, 0.008, 0.008, 0.015, 0.012, 0.01, 0.11)
    drawn, _ = pack_draws(setup, [odd], np.random.default_rng(3), 400)
    slowest = drawn[np.array(TAUS_S) >= 50.0].sum(axis=0)
    ten = np.median(pulse_ohm(drawn.T, 10.0))
    assert np.median(slowest) <= 1.02 * SLOWEST_MOST * ten


def seen_at(amps: float, half_a: float) -> np.ndarray:
    setup, result = made_setup(), made_result()
    held = Estimate(amps, amps - half_a, amps + half_a)
    one = replace(result, in_force=(InForce("left", held, None, None, None),))
    return limit_scale(setup, [one], np.random.default_rng(1), 4000)[0]


def test_a_plateau_near_the_setting_is_the_setting_seen_by_a_sensor() -> None:
    # normal with known variances (Gelman et al. 2013, section 2.5): 28 A set, seen at 27.4 +- 0.4
    part, sd = 27.4 / 28.0, np.hypot(0.4 / 1.96, SENSOR_SD * 27.4) / 28.0
    weight = np.array([sd**-2, LIMIT_SD**-2])
    drawn = seen_at(27.4, 0.4)
    assert drawn.mean() == pytest.approx(float(weight @ [part, 1.0] / weight.sum()), abs=1e-3)
    assert drawn.std() == pytest.approx(float(weight.sum() ** -0.5), rel=0.05)


def test_the_way_from_a_plateau_seen_low_to_the_limit_is_no_overshoot() -> None:
    # set 28 A, seen held at 27.0 +- 1.5 A and at 27.6 A in the largest second: believed 27.8 A in
    # force (as above), which that second does not pass
    setup, result = made_setup(), made_result()
    held = Estimate(27.0, 25.5, 28.5)
    seen = tuple(
        replace(row, seen=27.6) if row.limit == "drives.left.battery_drive_a" else row
        for row in result.limits
    )
    one = replace(
        result, limits=seen, in_force=(InForce("left", held, None, None, None),)
    )  # fmt: skip
    assert (overshoot(setup, [one], np.random.default_rng(1), 400)[0] == 1.0).all()


def test_a_plateau_far_from_the_setting_is_another_limit() -> None:
    drawn = seen_at(21.0, 0.4)
    assert drawn.mean() == pytest.approx(0.75, abs=1e-3)


def test_drives_of_one_build_are_mistaken_alike_about_their_warming() -> None:
    # by no ride: the stated default, log sd 0.5 for all, 0.05 for each
    scale = [one[3] for one in heat_draws(made_setup(), [], np.random.default_rng(1), 2000, [])]
    left, right = (np.log(one) for one in scale[:2])
    assert left.std() == pytest.approx(0.5, rel=0.1)
    assert np.std(left - right) == pytest.approx(0.05 * np.sqrt(2.0), rel=0.1)


def test_the_motor_at_the_top_is_not_its_later_peak() -> None:
    """The peak counts the whole hill and the minutes after it; where a hill ends in a stop, the
    motor is read there."""
    build = exact_build()
    run = simulate_hill(build, even_hill(8.0, 300.0, 50.0, 15.0, 5.0))
    assert (run.motor_at_top_c <= run.motor_top_c + 1e-9).all()
    assert (run.motor_at_top_c > 16.0).all()
    stuck = simulate_hill(build, even_hill(80.0, 300.0, 50.0, 15.0, 5.0))
    assert not stuck.reached.any()
    assert (stuck.motor_at_top_c > 15.0).all()


def test_a_speed_is_held_as_a_display_of_whole_kmh_lets_it() -> None:
    # rounding to 1 km/h: sd 1 / sqrt(12) km/h = 0.080 m/s
    said = predict_hill(made_setup(), [], even_hill(2.0, 300.0, 80.0, 20.0, 5.0), seed=1, draws=100)
    assert said.speed_mps is not None
    assert said.speed_mps.half_width >= 1.96 * 0.08 * 0.8

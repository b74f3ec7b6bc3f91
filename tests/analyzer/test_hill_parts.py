"""Drive, heat and the forward run of a hill against closed forms and hand-made logs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup
from made.builds import exact_build
from made.ride_results import made_result, made_setup
from scipy.stats import norm

from analyzer.balance import InForce
from analyzer.build_drives import overshoot
from analyzer.build_pack import slope_part, warm_factor
from analyzer.build_road import PooledRoad, pool_road_loads, road_draws
from analyzer.drive_fit import fit_drive
from analyzer.estimate import Estimate
from analyzer.heat import TAUS_S, fit_heat
from analyzer.hill_ahead import even_hill
from analyzer.hill_model import simulate_hill
from analyzer.lags import TAUS_S as PACK_TAUS_S
from analyzer.road_load import Fitted, RoadLoad
from importers.setup_types import Drive

ONE = ("left",)


def test_a_drive_logged_without_error_gives_its_constants_back() -> None:
    # watts = (k v + R i + c) i with k 4.2 N/A, R 0.06 ohm, c 0.35 V
    time = clock(600, 10.0)
    rng = np.random.default_rng(0)
    phase = np.repeat(rng.uniform(5, 50, 120), 50)
    speed = 4.0 + 3.0 * np.sin(time / 40.0)
    watts = (4.2 * speed + 0.06 * phase + 0.35) * phase
    ride = make_ride(
        time,
        {"left.phase_current_a": phase, "left.battery_current_a": watts / 50.0,
         "left.battery_voltage_v": 50.0, "speed_mps": speed},
        drives=ONE,
    )  # fmt: skip
    fit = fit_drive(ride, make_setup(drives=(Drive("left"),)), "left")
    assert fit is not None
    assert fit.k_n_per_a == pytest.approx(4.2, rel=0.01)
    assert fit.ohm == pytest.approx(0.06, rel=0.03)
    assert fit.drop_v == pytest.approx(0.35, abs=0.05)


def test_first_order_warm_up_is_found_again() -> None:
    # dT(t) = P R_th (1 - exp(-t / tau)): 60 W, 2 K/W, 600 J/K: tau 1200 s, 47.2 K after 600 s
    time = clock(3000, 1.0)
    on = (time // 400) % 2 == 0
    phase = np.where(on, 30.0, 0.0)
    temp = np.empty(time.size)
    temp[0] = 20.0
    for k in range(1, time.size):
        heat = 60.0 * (phase[k - 1] / 30.0) ** 2
        temp[k] = temp[k - 1] + (heat - (temp[k - 1] - 20.0) / 2.0) / 600.0
    ride = make_ride(time, {"left.phase_current_a": phase, "left.motor_temp_c": temp}, drives=ONE)
    fit = fit_heat(ride, make_setup(drives=(Drive("left"),)), "left")
    assert fit is not None
    lags = np.array(TAUS_S)
    after_600 = float(np.sum(fit.gain * (1 - np.exp(-600.0 / lags)))) * 900.0
    assert after_600 == pytest.approx(47.2, abs=1.5)


@pytest.mark.parametrize(("per_a2", "per_a", "idle_w"), [(0.02, 0.0, 0.0), (0.01, 0.2, 0.6)])
def test_a_controller_warms_by_switching_too(per_a2: float, per_a: float, idle_w: float) -> None:
    """One mass, 60 J/K behind 2.5 K/W (the first-order warm-up). Ridden at 5 to 25 A, then twice
    the highest current is asked for: by the square alone a controller that mostly switches would
    be expected a third hotter."""
    time = clock(2400, 1.0)
    phase = 5.0 + 20.0 * (0.5 + 0.5 * np.sin(time / 37.0)) * ((time // 300) % 2 == 0)

    def warmed(amps: np.ndarray) -> np.ndarray:
        temp = np.full(amps.size, 20.0)
        for k in range(1, amps.size):
            watts = per_a2 * amps[k - 1] ** 2 + per_a * amps[k - 1] + idle_w
            temp[k] = temp[k - 1] + (watts - (temp[k - 1] - 20.0) / 2.5) / 60.0
        return temp

    ride = make_ride(
        time, {"left.phase_current_a": phase, "left.controller_temp_c": warmed(phase)}, drives=ONE
    )
    setup = make_setup(drives=(Drive("left"),))
    fit = fit_heat(ride, setup, "left", "controller", parted=True)
    assert fit is not None
    hard = np.full(120, 50.0)
    load = fit.load(hard, np.zeros(hard.size))
    said = load[0] * float(np.sum(fit.gain * (1 - np.exp(-119.0 / np.array(TAUS_S)))))
    true = warmed(hard)[-1] - 20.0
    assert said == pytest.approx(true, rel=0.2)
    if per_a > 0:
        alone = fit_heat(ride, setup, "left", "controller")
        assert alone is not None
        assert alone.resistance * hard[0] ** 2 > 1.3 * fit.resistance * load[0]


def test_arrhenius_scaling() -> None:
    # references section 5: E 20 kJ/mol makes 0 degrees C 2.093 times 25 degrees C, 40 0.679 times
    assert warm_factor(0.0, np.array([20_000.0]))[0] == pytest.approx(2.093, abs=2e-3)
    assert warm_factor(40.0, np.array([20_000.0]))[0] == pytest.approx(0.679, abs=1e-3)


def worked_hill(temp_c):
    # STRAIGHT curve: 14 cells, 3.0 + 1.2 z volts: 48 V is 35.714 %
    charge = 100 * (48 / 14 - 3.0) / 1.2
    return replace(even_hill(10.0, 300.0, charge, temp_c, 5.0), start_altitude_m=0)


def test_the_worked_climb() -> None:
    # references section 7: 165 kg, 10 %, 5 m/s, rho 1.225: 947.6 W at the wheel, at 0.80 1184.5 W
    # = 24.68 A at 48 V
    hill = replace(
        even_hill(10.0, 300.0, 100 * (48 / 14 - 3.0) / 1.2, 15.0, 5.0), start_altitude_m=0
    )
    build = replace(exact_build(), capacity_ah=np.full(4, 1e6))
    run = simulate_hill(build, hill)
    assert run.reached.all()
    assert run.pack_peak_a == pytest.approx(24.68, abs=0.05)
    assert run.lowest_v == pytest.approx(48.0, abs=0.01)
    assert run.speed_top_mps == pytest.approx(5.0, abs=0.01)
    # 60 s at 24.68 A
    assert run.charge_used_ah == pytest.approx(24.68 / 60.0, rel=0.02)


def test_a_pack_comes_to_the_foot_as_the_level_left_it() -> None:
    """0.1 ohm behind a lag of 10 s, a flat "hill": after 30 s on the level all but e^-3 of the drop
    is there, and the highest voltage of the hill is no rested pack's."""
    ohm = np.zeros((7, 4))
    ohm[PACK_TAUS_S.index(10.0)] = 0.1
    build = replace(exact_build(), pack_ohm=ohm, capacity_ah=np.full(4, 1e6))
    flat = replace(
        even_hill(0.0, 300.0, 100 * (48 / 14 - 3.0) / 1.2, 25.0, 5.0), start_altitude_m=0
    )
    run = simulate_hill(build, flat)
    drop = 48.0 - run.highest_v
    assert drop == pytest.approx(0.1 * run.pack_peak_a * (1 - np.exp(-3.0)), rel=0.05)
    assert (drop > 0.1).all()
    assert run.charge_used_ah == pytest.approx(run.pack_peak_a * 60.0 / 3600.0, rel=0.05)


def test_sag_is_current_times_resistance() -> None:
    # a bare 0.1 ohm: U(R - U) = P R, by the quadratic formula
    ohm = np.zeros((7, 4))
    ohm[0] = 0.1
    build = replace(exact_build(), pack_ohm=ohm, capacity_ah=np.full(4, 1e6))
    hill = replace(
        even_hill(10.0, 300.0, 100 * (48 / 14 - 3.0) / 1.2, 25.0, 5.0), start_altitude_m=0
    )
    run = simulate_hill(build, hill)
    power = run.pack_peak_a * run.lowest_v
    volts = 0.5 * (48.0 + np.sqrt(48.0**2 - 4 * 0.1 * power))
    assert run.lowest_v == pytest.approx(volts, abs=0.01)


def test_battery_limit_holds_and_speed_gives_way() -> None:
    build = exact_build()
    drives = tuple(replace(one, battery_drive_a=8.0) for one in build.drives)
    build = replace(build, setup=replace(build.setup, drives=drives))
    run = simulate_hill(build, even_hill(10.0, 400.0, 50.0, 15.0, 5.0))
    assert run.battery_peak_a.max() <= 8.0 * 1.02
    assert (run.speed_top_mps < 4.5).all()


def test_downhill_the_motors_brake_to_their_limit_and_the_mechanical_brake_takes_the_rest() -> None:
    build = exact_build()
    drives = tuple(replace(one, battery_brake_a=2.0) for one in build.drives)
    build = replace(
        build, setup=replace(build.setup, drives=drives), return_factor=np.ones(4),
        capacity_ah=np.full(4, 1e6),
    )  # fmt: skip
    hill = replace(even_hill(-10.0, 300.0, 50.0, 15.0, 5.0), start_altitude_m=0)
    run = simulate_hill(build, hill)
    assert run.battery_brake_peak_a.max() == pytest.approx(2.0, abs=0.05)
    # the weight's 161.007 N less rolling 19.321 and air 9.188 over 300 m, less what went back
    potential = (161.007 - 19.321 - 9.188) * 300.0
    back = 4.0 * float(run.highest_v[0]) * 60.0
    assert run.mechanical_j == pytest.approx(potential - back, rel=0.03)


def test_same_seed_same_answer_and_steeper_is_never_easier() -> None:
    build = exact_build()
    low = simulate_hill(build, even_hill(6.0, 300.0, 50.0, 15.0, 5.0))
    high = simulate_hill(build, even_hill(9.0, 300.0, 50.0, 15.0, 5.0))
    again = simulate_hill(build, even_hill(6.0, 300.0, 50.0, 15.0, 5.0))
    assert np.array_equal(low.pack_peak_a, again.pack_peak_a)
    assert (high.pack_peak_a > low.pack_peak_a).all()
    assert (high.lowest_v <= low.lowest_v).all()


def load_of(rolling: float, sd: float) -> RoadLoad:
    """A ride's fit that tells rolling alone; all else stays as known before."""
    expected = np.array([0.95, 0.1, 1.05, 0.016, 0.6, 1.05])
    before = np.array([0.03, 0.05, 0.03, 0.008, 0.2, 0.03])
    own = 1.0 / sd**2
    theta, spread = expected.copy(), before.copy()
    precision = own + 1.0 / before[3] ** 2
    theta[3] = (own * rolling + expected[3] / before[3] ** 2) / precision
    spread[3] = precision**-0.5
    fitted = Fitted(Estimate(theta[3], 0.0, 0.1), True, "ride")
    return RoadLoad(
        fitted, fitted, fitted, fitted, None, fitted, fitted, None, theta, np.diag(spread**2),
        (expected, before), 165.0, (),
    )  # fmt: skip


def test_rides_are_pooled_as_independent_words_on_one_prior() -> None:
    # normal with known variances: precision adds, the prior once (Gelman et al. 2013, section 2.5)
    told = [("a", load_of(0.020, 0.002)), ("b", load_of(0.022, 0.001))]
    pooled = pool_road_loads(told)
    assert pooled is not None
    weight = np.array([1 / 0.008**2, 1 / 0.002**2, 1 / 0.001**2])
    expected = float(weight @ [0.016, 0.020, 0.022] / weight.sum())
    assert pooled.theta[3] == pytest.approx(expected, rel=1e-6)
    assert np.sqrt(pooled.covariance[3, 3]) == pytest.approx(weight.sum() ** -0.5, rel=1e-6)
    assert pooled.theta[4] == pytest.approx(0.6)
    assert pooled.notes == ()


def test_a_ride_that_contradicts_the_others_is_said_and_widens() -> None:
    alike = [("a", load_of(0.020, 0.001)), ("b", load_of(0.021, 0.001))]
    apart = [*alike, ("the ride of 2031-05-04", load_of(0.035, 0.001))]
    one, two = pool_road_loads(alike), pool_road_loads(apart)
    assert one is not None
    assert two is not None
    assert any("2031-05-04" in note.text and "0.03" in note.text for note in two.notes)
    assert two.covariance[3, 3] > one.covariance[3, 3]


def test_a_slow_lag_follows_the_slope_of_the_rest_curve() -> None:
    # volts = charge squared: the slope at 80 % is 1.6 times that at 50 %
    charge = np.linspace(0.0, 100.0, 201)
    part = slope_part(charge, charge**2, 50.0)
    assert np.interp(80.0, charge, part) == pytest.approx(1.6, rel=1e-6)
    assert np.interp(50.0, charge, part) == pytest.approx(1.0)


def fit_of(efficiency: float, sd: float, rolling_goes_along: float) -> PooledRoad:
    """A fit of six parameters in which efficiency and rolling (0.020 +- 0.004) go together."""
    theta = np.array([efficiency, 0.1, 1.04, 0.020, 0.6, 1.05])
    covariance = np.diag(np.array([sd, 0.01, 0.035, 0.004, 0.05, 0.01]) ** 2)
    covariance[0, 3] = covariance[3, 0] = rolling_goes_along * sd * 0.004
    return PooledRoad(theta, covariance, ())


def test_an_efficiency_cut_at_one_takes_the_rolling_along_that_it_explained() -> None:
    # Normal pair, the first cut from above at c = (1 - mean) / sd: the other's mean moves by
    # -correlation * sd * phi(c) / Phi(c) (Greene, Econometric Analysis, theorem 22.2). The way
    # back ties in first: theta_0 + theta_2 is 2 within 0.02
    told = fit_of(1.02, 0.02, 0.8)
    tied = np.array([1.0, 0, 1.0, 0, 0, 0])
    gain = told.covariance @ tied / (tied @ told.covariance @ tied + 0.02**2)
    theta = told.theta + gain * (2.0 - tied @ told.theta)
    after = told.covariance - np.outer(gain, tied @ told.covariance)
    sd = np.sqrt(after[0, 0])
    c = (1.0 - theta[0]) / sd
    cut = float(norm.pdf(c) / norm.cdf(c))
    expected = theta[3] - after[0, 3] / sd * cut
    drawn = road_draws(told, make_setup(), np.random.default_rng(2), 4000, True)
    assert drawn[0].max() <= 1.0
    assert drawn[3].mean() == pytest.approx(expected, abs=1.5e-4)
    assert drawn[0].mean() == pytest.approx(theta[0] - sd * cut, abs=1e-3)


def test_what_a_gear_loses_on_the_way_out_it_loses_on_the_way_back() -> None:
    # 6 % lost on the way out and 0.5 % known of it: as much on the way back, within 2 % (normal
    # with known variances: precisions 1 / 0.035^2 and 1 / (0.02^2 + 0.005^2) weigh 1.04 and 1.06)
    weight = np.array([0.035**-2, 1.0 / (0.02**2 + 0.005**2)])
    expected = float(weight @ [1.04, 1.06] / weight.sum())
    drawn = road_draws(fit_of(0.94, 0.005, 0.0), make_setup(), np.random.default_rng(2), 4000, True)
    assert drawn[2].mean() == pytest.approx(expected, abs=2e-3)
    assert drawn[2].std() == pytest.approx(weight.sum() ** -0.5, rel=0.1)


def test_a_limiter_overshoots_by_up_to_what_the_rides_showed() -> None:
    # in force at 25.0 A, the largest second 26.0 A: anything from 1 to 1.04, 1.02 in the mean
    setup, result = made_setup(), made_result()
    held = Estimate(25.0, 24.9, 25.1)
    seen = [
        replace(row, seen=26.0) if row.limit == "drives.left.battery_drive_a" else row
        for row in result.limits
    ]
    in_force = (InForce("left", held, None, None, None), *result.in_force[1:])
    result = replace(result, limits=tuple(seen), in_force=in_force)
    over = overshoot(setup, [result], np.random.default_rng(1), 4000)
    assert over.shape == (2, 4000)
    assert over[0].min() >= 1.0
    assert over[0].max() <= 1.04
    assert over[0].mean() == pytest.approx(1.02, abs=1e-3)
    assert (over[1] == 1.0).all()

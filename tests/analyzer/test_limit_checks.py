"""Verdicts on limits: the contract's percentages to the letter, on quantities known exactly."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.conditions import Conditions
from analyzer.limit_checks import check_limits
from analyzer.limit_keys import limit_keys
from analyzer.limits import judge
from analyzer.words import LimitRole, Verdict
from importers.setup_types import Drive, Ports

T = clock(300)


def state(rest_v=52.0, ambient_c=20.0):
    full = np.ones(T.size)
    rest = None if rest_v is None else rest_v * full
    return Conditions(np.linspace(80, 60, T.size), 18 * full, rest, 0.08, ambient_c, 165.0)


def check(channels, setup, conditions=None, drives=("left",), **kwargs):
    rows, missing = check_limits(
        make_ride(T, channels, drives=drives, **kwargs), setup, conditions or state(), climbs=2
    )
    return {row.limit: row for row in rows}, missing


@pytest.mark.parametrize(
    ("used_pct", "limiter", "rating"),
    [
        (59.9, Verdict.NOT_REACHED, Verdict.NOT_EXERCISED),
        (60.0, Verdict.NOT_REACHED, Verdict.HOLDS),
        (94.9, Verdict.NOT_REACHED, Verdict.HOLDS),
        (95.0, Verdict.WORKS, Verdict.TOUCHED),
        (102.0, Verdict.WORKS, Verdict.TOUCHED),
        (102.1, Verdict.WORKS, Verdict.EXCEEDED),
        (105.0, Verdict.WORKS, Verdict.EXCEEDED),
        (105.1, Verdict.OVERSHOOTS, Verdict.EXCEEDED),
    ],
)
def test_the_contracts_percentages(used_pct, limiter, rating):
    assert judge(LimitRole.LIMITER, used_pct) is limiter
    for role in (LimitRole.RATING, LimitRole.TRIP, LimitRole.HEAT):
        assert judge(role, used_pct) is rating


def test_a_coarse_reading_widens_exceeded():
    assert judge(LimitRole.RATING, 104.0, accuracy_pct=5.0) is Verdict.TOUCHED


def test_seen_is_the_highest_mean_over_1_10_and_60_s():
    amps = pulse(T, 100, 105, 40.0, low=10.0)
    rows, _ = check(
        {"left.battery_current_a": amps},
        make_setup(drives=(Drive("left", battery_drive_a=40.0),), bms={"discharge_rating_a": 60.0}),
    )
    row = rows["drives.left.battery_drive_a"]
    assert (row.seen, row.seen_10s, row.seen_60s) == (
        pytest.approx(40.0),
        pytest.approx(25.0),
        pytest.approx(12.5),
    )
    assert row.verdict is Verdict.WORKS
    assert row.at_s == pytest.approx(101.0, abs=4.0)
    assert rows["bms.discharge_rating_a"].verdict is Verdict.HOLDS
    assert row.tried.charge_pct == (pytest.approx(60.0), pytest.approx(80.0))
    assert row.tried.climbs == 2


def test_the_packs_limits_see_the_lights():
    setup = make_setup(
        drives=(Drive("left"),), bms={"discharge_rating_a": 40.0}, pack={"aux_a": 2.0}
    )
    rows, _ = check({"left.battery_current_a": np.full(T.size, 37.0)}, setup)
    assert rows["bms.discharge_rating_a"].seen == pytest.approx(39.0)
    assert rows["bms.discharge_rating_a"].verdict is Verdict.TOUCHED


def test_directions():
    amps = pulse(T, 100, 110, -18.0, low=5.0)
    setup = make_setup(
        drives=(Drive("left", battery_brake_a=18.0, battery_drive_a=25.0),),
        bms={"charge_rating_a": 20.0},
        wiring={"fuse_a": 20.0},
    )
    rows, _ = check({"left.battery_current_a": amps}, setup)
    assert rows["drives.left.battery_brake_a"].seen == pytest.approx(18.0)
    assert rows["drives.left.battery_drive_a"].seen == pytest.approx(5.0)
    assert rows["bms.charge_rating_a"].exercised_pct == pytest.approx(90.0)
    assert rows["wiring.fuse_a"].seen == pytest.approx(18.0)  # a fuse heats either way


def test_never_braked_is_not_exercised_not_safe():
    setup = make_setup(drives=(Drive("left"),), bms={"charge_rating_a": 20.0})
    rows, _ = check({"left.battery_current_a": np.full(T.size, 5.0)}, setup)
    assert rows["bms.charge_rating_a"].seen == 0.0
    assert rows["bms.charge_rating_a"].verdict is Verdict.NOT_EXERCISED


def volts(low, rest_v=52.0, **keys):
    setup = make_setup(drives=(Drive("left", **keys),))
    rows, _ = check(
        {"left.battery_voltage_v": pulse(T, 100, 110, low, low=51.0)}, setup, state(rest_v)
    )
    return {name.rsplit(".")[-1]: row for name, row in rows.items()}


def test_voltages_as_the_way_used_from_rest():
    # Rest 52 V; to 42 V are 10 V, to 46 V are 6 V.
    rows = volts(45.0, stop_at_v=42.0, derate_from_v=46.0)
    assert rows["stop_at_v"].exercised_pct == pytest.approx(70.0)
    assert rows["stop_at_v"].verdict is Verdict.HOLDS
    assert rows["stop_at_v"].seen == pytest.approx(45.0)
    assert rows["derate_from_v"].exercised_pct == pytest.approx(700 / 6)
    assert rows["derate_from_v"].verdict is Verdict.OVERSHOOTS
    assert volts(46.1, derate_from_v=46.0)["derate_from_v"].verdict is Verdict.WORKS
    assert volts(48.0, derate_from_v=46.0)["derate_from_v"].verdict is Verdict.NOT_REACHED


def test_within_a_tenth_of_a_volt_per_cell_of_rest_volts_are_given():
    row = volts(46.5, rest_v=47.0, derate_from_v=46.0)["derate_from_v"]
    assert row.exercised_pct is None
    assert row.seen == pytest.approx(46.5)
    assert "0.50 V" in row.text


def test_without_rest_voltage_no_per_cent():
    row = volts(45.0, rest_v=None, stop_at_v=42.0)["stop_at_v"]
    assert row.exercised_pct is None
    assert row.verdict is Verdict.NOT_EXERCISED


def test_overvoltage_upward_from_rest():
    setup = make_setup(drives=(Drive("left", overvoltage_v=60.0),))
    rows, _ = check(
        {"left.battery_voltage_v": pulse(T, 100, 110, 58.8, low=56.0)}, setup, state(54.0)
    )
    assert rows["drives.left.overvoltage_v"].exercised_pct == pytest.approx(80.0)


def test_temperatures_as_the_way_from_the_air():
    setup = make_setup(drives=(Drive("left", motor_derate_c=100.0, motor_stop_c=120.0),))
    rows, _ = check({"left.motor_temp_c": np.interp(T, [0, 200, 300], [20, 88, 88])}, setup)
    assert rows["drives.left.motor_derate_c"].exercised_pct == pytest.approx(85.0)
    assert rows["drives.left.motor_stop_c"].exercised_pct == pytest.approx(68.0)


def test_a_constant_sensor_is_not_checked():
    setup = make_setup(drives=(Drive("left", motor_derate_c=100.0),))
    rows, missing = check({"left.motor_temp_c": 25.0}, setup)
    assert "drives.left.motor_derate_c" not in rows
    assert any(one.missing == ("left.motor_temp_c",) and "constant" in one.what for one in missing)


def test_every_limit_is_either_judged_or_listed():
    setup = make_setup(
        drives=(Drive("left", battery_drive_a=25.0, motor_stop_c=120.0), Drive("right")),
        bms={"discharge_rating_a": 50.0},
    )
    rows, missing = check(
        {"left.battery_current_a": 10.0, "right.battery_current_a": 10.0},
        setup,
        drives=("left", "right"),
    )
    absent = {one.missing[0] for one in missing}
    for key in limit_keys(setup):
        told = key.key in rows or key.key in absent or key.channel in absent
        assert told, key.key
    assert "drives.right.battery_drive_a" in absent
    assert "left.motor_temp_c" in absent
    assert "bms.charge_rating_a" in absent


def test_braking_past_separate_ports_is_not_checked_against_the_bms():
    setup = make_setup(
        drives=(Drive("left"),), bms={"charge_rating_a": 10.0, "ports": Ports.SEPARATE}
    )
    rows, missing = check({"left.battery_current_a": pulse(T, 10, 20, -9.0)}, setup)
    assert rows == {}
    assert any("separate ports" in one.what for one in missing)


def test_a_slow_channel_says_at_least():
    setup = make_setup(drives=(Drive("left", battery_drive_a=40.0),))
    rows, _ = check({"left.battery_current_a": 20.0}, setup, rate_hz=2.0)
    assert rows["drives.left.battery_drive_a"].at_least


def test_braking_into_a_cold_pack():
    setup = make_setup(drives=(Drive("left"),), pack={"min_charge_temp_c": 0.0})
    temps = np.linspace(-4.0, 3.0, T.size)
    amps = pulse(T, 200, 210, -6.0, low=5.0)  # at about +0.7 °C
    rows, _ = check({"left.battery_current_a": amps, "pack_temp_c": temps}, setup)
    row = rows["pack.min_charge_temp_c"]
    assert (row.verdict, row.exercised_pct) == (Verdict.TOUCHED, None)
    assert row.seen == pytest.approx(-4 + 7 * 200 / 300, abs=0.01)

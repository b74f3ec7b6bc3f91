"""Sums over a ride against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.left_out import left_out
from analyzer.totals import ride_totals
from importers.ride import Unjudged


def test_half_an_hour_of_a_sine():
    # 10 A · sin over whole periods: each half wave carries 10 · T/π ampere-seconds.
    t = clock(1800.05)
    current = 10 * np.sin(2 * np.pi * t / 60)
    ride = make_ride(t, {"pack_current_a": current, "pack_voltage_v": 50.0, "speed_mps": 6.0})
    totals = ride_totals(ride, make_setup())
    each_ah = 30 * 10 * 60 / np.pi / 3600
    assert totals.charge_out_ah == pytest.approx(each_ah, rel=1e-4)
    assert totals.charge_back_ah == pytest.approx(each_ah, rel=1e-4)
    assert totals.energy_out_wh == pytest.approx(50 * each_ah, rel=1e-4)
    assert totals.distance_m == pytest.approx(10_800)
    assert totals.duration_s == pytest.approx(1800.0)


def test_a_hole_in_the_log_adds_nothing():
    t = np.concatenate([clock(100), 500 + clock(100)])
    ride = make_ride(t, {"pack_current_a": 36.0, "speed_mps": 5.0})
    totals = ride_totals(ride, make_setup())
    assert totals.charge_out_ah == pytest.approx(36 * 2 * 99.95 / 3600)
    assert totals.distance_m == pytest.approx(5 * 2 * 99.95)


def test_distance_from_positions_alone():
    # One thousandth of a degree north is 111.195 m on the mean sphere (6 371 008.8 m).
    t = clock(600, 1.0)
    ride = make_ride(
        t,
        {"latitude_deg": 47.0 + t * 5e-5, "longitude_deg": 8.0, "pack_voltage_v": 50.0},
    )
    totals = ride_totals(ride, make_setup())
    assert totals.distance_m == pytest.approx(595 * 5e-5 * 111_194.93, rel=0.01)


def test_standing_still_with_gps_noise_covers_no_distance():
    rng = np.random.default_rng(4)
    t = clock(1200, 1.0)
    noise = rng.normal(0, 6e-6, (2, t.size))  # 0.7 m
    ride = make_ride(
        t, {"latitude_deg": 47 + noise[0], "longitude_deg": 8 + noise[1], "pack_voltage_v": 50.0}
    )
    assert ride_totals(ride, make_setup()).distance_m < 20.0


@pytest.mark.parametrize("unsigned", [False, True])
def test_braking_that_the_log_did_not_keep_is_none_and_not_zero(unsigned: bool):
    """10 A · sin, its lower half cut off or turned up: what was given is known only where the
    upper half is what was given."""
    t = clock(1800.05)
    wave = 10 * np.sin(2 * np.pi * t / 60)
    amps = np.abs(wave) if unsigned else np.clip(wave, 0, None)
    why = "it is counted without sign" if unsigned else "cut off"
    ride = replace(
        make_ride(t, {"pack_current_a": amps, "pack_voltage_v": 50.0}),
        unjudged=(Unjudged("pack_current_a", -1, why),),
    )
    totals = ride_totals(ride, make_setup())
    each_ah = 30 * 10 * 60 / np.pi / 3600
    assert totals.charge_back_ah is None
    assert totals.energy_back_wh is None
    assert totals.charge_out_ah == (None if unsigned else pytest.approx(each_ah, rel=1e-4))
    told = {one.about for one in left_out(ride, make_setup(), totals, None)}
    assert {"ride.charge_back_ah", "ride.energy_back_wh"} <= told
    assert ("ride.charge_out_ah" in told) == unsigned


def test_what_is_not_logged_is_none():
    totals = ride_totals(make_ride(clock(10), {"pack_voltage_v": 50.0}), make_setup())
    assert totals.distance_m is None
    assert totals.charge_out_ah is None
    assert totals.energy_back_wh is None


def test_a_current_known_for_part_of_the_ride_is_said():
    """One drive's log ends after 60 of 100 s: 10 A for a minute, 0.167 Ah, and no more is known."""
    t = clock(100)
    right = np.where(t < 60, 4.0, np.nan)
    values = {"left.battery_current_a": 6.0, "right.battery_current_a": right}
    ride = make_ride(t, values | {"pack_voltage_v": 50.0}, drives=("left", "right"))
    totals = ride_totals(ride, make_setup())
    (note,) = [
        one.text for one in left_out(ride, make_setup(), totals, None)
        if one.about == "ride.charge_out_ah"
    ]  # fmt: skip
    assert "60 of 100 s" in note

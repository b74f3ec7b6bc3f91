"""Restated verdicts on hand-made rides whose pack is a straight line and a resistance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.restated import FULL_LOAD, restate
from analyzer.ride_analysis import analyse_ride
from analyzer.words import Verdict
from importers.ride import RideFacts
from importers.setup_types import Drive

OHM, SERIES = 0.10, 14
MASS_KG = 160.0


def rest_v(pct):
    """The curve of `make_setup`: 3.0 to 4.2 V per cell, straight."""
    return SERIES * (3.0 + 1.2 * pct / 100)


def hill_ride(amps=40.0, start_pct=90.0, *, derate_v=40.0, limit_a=30.0, rating_a=60.0):
    """Ten pulls of 20 s at `amps` together, on a pack of 0.1 ohm that rests by the straight
    curve; 25 degrees."""
    time = clock(600, 10)
    each = 0.5 * sum(pulse(time, 30 + 55 * k, 50 + 55 * k, amps) for k in range(10))
    drawn_ah = np.cumsum(2 * each) / 10 / 3600
    rest = rest_v(start_pct - 100 * drawn_ah / 20.0)
    drives = tuple(
        Drive(name, battery_drive_a=limit_a, derate_from_v=derate_v, stop_at_v=derate_v - 3,
              motor_stop_c=120.0)
        for name in ("left", "right")
    )  # fmt: skip
    setup = make_setup(
        drives=drives,
        bms={"discharge_rating_a": rating_a},
        vehicle={"mass_kg": MASS_KG, "drag_area_m2": 0.6},
    )
    ride = make_ride(
        time,
        {
            "left.battery_current_a": each, "right.battery_current_a": each,
            "pack_voltage_v": rest - OHM * 2 * each, "pack_temp_c": 25.0, "ambient_temp_c": 20.0,
            "speed_mps": np.where(each > 0, 6.0, 1.0),
            "left.motor_temp_c": np.interp(time, [0, 600], [20.0, 60.0]),
        },
        facts=RideFacts(pack_temp_c=25.0),
    )  # fmt: skip
    return analyse_ride(ride, setup)


def told(result, limit):
    found = restate(result.limits, [result], result.setup)
    return {one.condition.name.split(",")[0]: one for one in found.of(limit)}


def test_the_same_power_from_a_lower_rest_voltage_is_more_current():
    result = hill_ride(rating_a=45.0)
    one = told(result, "bms.discharge_rating_a")["30 % charge"]
    # Closed form: I (E - R I) = P with E = 14 x 3.36 V and P = 40 A x (rest at 90 % - 4 V); the
    # first pull is the hardest.
    power = 40 * (rest_v(90) - OHM * 40)
    rest = rest_v(30)
    amps = (rest - np.sqrt(rest**2 - 4 * OHM * power)) / (2 * OHM)
    assert one.value.value == pytest.approx(amps, rel=0.03)
    assert one.value.low < amps < one.value.high
    assert one.verdict is Verdict.EXCEEDED  # 48.6 of 45 A


def test_the_lowest_voltage_sinks_with_the_curve():
    one = told(hill_ride(), "drives.left.stop_at_v")["30 % charge"]
    power = 40 * (rest_v(90) - OHM * 40)
    rest = rest_v(30)
    amps = (rest - np.sqrt(rest**2 - 4 * OHM * power)) / (2 * OHM)
    assert one.value.value == pytest.approx(rest - OHM * amps, abs=0.4)
    assert one.verdict is Verdict.NOT_EXERCISED or one.verdict is Verdict.HOLDS


def test_cold_asks_more_of_the_pack_and_warmth_less():
    said = told(hill_ride(), "drives.left.stop_at_v")
    seen = next(x.seen for x in hill_ride().limits if x.limit == "drives.left.stop_at_v")
    assert said["0 °C"].value.high < seen < said["35 °C"].value.value + 0.1
    # Arrhenius with 20 to 40 kJ/mol (references, cold): 1.9 to 4.4 times the resistance at 0.
    sag = rest_v(90) - seen
    cold = rest_v(90) - said["0 °C"].value.value
    assert 1.6 * sag < cold < 5.0 * sag


def test_full_load_is_said_and_asks_for_more_but_never_beyond_the_limits():
    free = hill_ride(amps=30.0, limit_a=30.0)
    found = restate(free.limits, [free], free.setup)
    assert any(f"{FULL_LOAD:g} times vehicle.mass_kg" in one.text for one in found.notes)
    assert found.conditions[-1].mass_kg == FULL_LOAD * MASS_KG
    loaded = told(free, "bms.discharge_rating_a")["full load"].value
    assert 1.15 * 30 < loaded.value < 1.30 * 30
    held = hill_ride(amps=58.0, limit_a=29.0)
    capped = told(held, "drives.left.battery_drive_a")["full load"].value
    assert capped.value == pytest.approx(29.0, rel=0.01)


def test_a_derate_lets_less_through_the_deeper_the_voltage():
    # At 30 % the pack rests at 47 V: fading from 47 V on must leave less than was drawn.
    held = hill_ride(amps=58.0, limit_a=29.0, derate_v=46.9)
    one = told(held, "bms.discharge_rating_a")["30 % charge"]
    # Closed form: V = rest - R I and I = 58 (V - stop) / 3 V meet at one point.
    rest, stop = rest_v(30), 43.9
    amps = (rest - stop) / (3.0 / 58.0 + OHM)
    assert one.value.value == pytest.approx(amps, rel=0.12)


def test_heat_goes_with_the_air_and_with_force():
    said = told(hill_ride(), "drives.left.motor_stop_c")
    # 40 K above 20 degrees: at 0 about 40 less the copper's share, at 35 about 75 and a little.
    assert said["0 °C"].value.value == pytest.approx(38, abs=3)
    assert said["35 °C"].value.value == pytest.approx(77, abs=3)
    assert said["30 % charge"].value.value == pytest.approx(60, abs=0.5)
    # 1.22 to 1.25 times the force: 1.35 to 1.56 times the rise.
    assert 20 + 40 * 1.25 < said["full load"].value.value < 20 + 40 * 1.6


def test_nothing_is_restated_without_a_fit_of_the_pack():
    result = replace(hill_ride(), pack_fit=None)
    found = restate(result.limits, [result], result.setup)
    assert all(one.verdict is None for one in found.rows)
    assert "not known" in found.notes[0].text


def test_same_rides_same_answer():
    result = hill_ride()
    one, two = (restate(result.limits, [result], result.setup) for _ in range(2))
    assert one.rows == two.rows


def test_what_a_coarse_reading_forgave_as_ridden_it_forgives_elsewhere():
    # 21.4 A at a limit of 20 A, read in steps of 3 A: it works, within the reading's accuracy.
    result = hill_ride(amps=41.0, limit_a=20.0)
    key = "drives.left.battery_drive_a"
    checks = [
        replace(one, verdict=Verdict.WORKS, exercised_pct=107.0, seen=21.4)
        if one.limit == key
        else one
        for one in result.limits
    ]
    result = replace(result, limits=tuple(checks))
    assert told(result, key)["full load"].verdict is Verdict.WORKS

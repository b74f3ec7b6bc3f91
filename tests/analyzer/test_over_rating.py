"""Spans over a continuous rating: every severity rule of the contract, on pulses made by hand."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.conditions import Conditions
from analyzer.over_rating import find_over_rating
from analyzer.words import EventKind, Severity
from importers.setup_types import Ports

T = clock(600)
BMS = {"discharge_rating_a": 50.0, "charge_rating_a": 20.0}
PACK = {"discharge_rating_a": 60.0, "charge_rating_a": 12.0}


def state(charge_pct=70.0, temp_c=20.0):
    full = np.ones(T.size)
    return Conditions(charge_pct * full, temp_c * full, 52.0 * full, 0.08, 20.0, 165.0)


def found(total_a, *, pack=PACK, bms=BMS, **conditions):
    """Half on each side, the vehicle driving at 20 A whenever nothing else is asked."""
    ride = make_ride(
        T,
        {
            "left.battery_current_a": total_a / 2,
            "right.battery_current_a": total_a / 2,
            "left.battery_voltage_v": 52.0,
        },
    )
    return find_over_rating(ride, make_setup(pack=pack, bms=bms), state(**conditions))


def drawn(start_s, end_s, amps):
    return pulse(T, start_s, end_s, amps, low=20.0)


def braked(start_s, end_s, amps):
    """Ten minutes of braking softly at 3 A, and one stretch at `amps`."""
    return pulse(T, start_s, end_s, -amps, low=-3.0)


def test_the_lower_of_two_ratings_counts_and_lights_do_not():
    (one,) = found(drawn(100, 101, 55.0), pack=PACK | {"aux_a": 5.0})
    assert one.kind is EventKind.DISCHARGE_OVER_RATING
    assert (one.limit.name, one.limit.value) == ("bms.discharge_rating_a", 50.0)
    assert (one.start_s, one.end_s) == (100.0, pytest.approx(101.0))
    assert one.peak.value == pytest.approx(55.0)
    assert found(drawn(100, 101, 49.0), pack=PACK | {"aux_a": 5.0}) == []


@pytest.mark.parametrize(
    ("seconds", "amps", "severity"),
    [
        (0.4, 60.0, Severity.NOTE),  # 0.3 s over a continuous rating is no alarm
        (1.9, 64.0, Severity.NOTE),
        (2.1, 55.0, Severity.WATCH),  # longer than 2 s
        (1.0, 66.0, Severity.WATCH),  # above 130 %
        (29.0, 70.0, Severity.WATCH),  # 30 s mean still under the rating? see below
        (31.0, 55.0, Severity.ACT),  # 30 s mean above
    ],
)
def test_length_height_and_mean(seconds, amps, severity):
    if seconds == 29.0:
        amps = 50.9  # (29 · 50.9 + 1 · 20) / 30 = 49.9 A
    (one,) = found(drawn(100, 100 + seconds, amps))
    assert one.severity is severity


def test_the_30_s_mean_is_measured():
    (one,) = found(drawn(100, 131, 55.0))
    assert one.measure("mean_30s_a") == pytest.approx(55.0)
    assert one.measure("charge_ah") == pytest.approx(55 * 31 / 3600)


def test_more_than_a_tenth_of_the_driving_time_is_watch():
    often = np.where((T % 10) < 1.2, 55.0, 20.0)
    events = found(often)
    assert len(events) == 60
    assert {one.severity for one in events} == {Severity.WATCH}
    seldom = np.where((T % 20) < 1.2, 55.0, 20.0)
    assert {one.severity for one in found(seldom)} == {Severity.NOTE}


def test_a_peak_rating_exceeded_calls_for_action():
    pack = {"discharge_peak_a": 70.0, "discharge_peak_s": 10.0}
    (one,) = found(drawn(100, 101, 60.0), pack=PACK | pack)
    assert one.severity is Severity.NOTE
    (one,) = found(drawn(100, 101, 75.0), pack=PACK | pack)
    assert one.severity is Severity.ACT


def test_more_than_half_of_a_trips_delay_calls_for_action():
    trip = {"discharge_trip_a": 52.0, "discharge_trip_delay_s": 2.0}
    (one,) = found(drawn(100, 100.95, 58.0), bms=BMS | trip)
    assert one.severity is Severity.NOTE
    (one,) = found(drawn(100, 101.1, 58.0), bms=BMS | trip)
    assert one.severity is Severity.ACT
    assert one.measure("trip_held_s") == pytest.approx(1.1)


def test_the_trip_sees_the_lights_the_rating_does_not():
    trip = {"discharge_trip_a": 52.0, "discharge_trip_delay_s": 1.0}
    (one,) = found(drawn(100, 100.8, 51.0), bms=BMS | trip, pack=PACK | {"aux_a": 2.0})
    assert one.peak.value == pytest.approx(51.0)
    assert one.measure("trip_held_s") == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("conditions", "severity"),
    [
        ({}, Severity.NOTE),
        ({"charge_pct": 94.0}, Severity.NOTE),
        ({"charge_pct": 96.0}, Severity.ACT),
        ({"temp_c": 1.0}, Severity.NOTE),
        ({"temp_c": -1.0}, Severity.ACT),
    ],
)
def test_braking_into_a_full_or_cold_pack(conditions, severity):
    (one,) = found(braked(100, 101, 14.0), pack=PACK | {"min_charge_temp_c": 0.0}, **conditions)
    assert one.kind is EventKind.REGEN_OVER_RATING
    assert one.limit.name == "pack.charge_rating_a"
    assert one.peak.value == pytest.approx(-14.0)
    assert one.severity is severity


def test_an_excess_within_the_readings_accuracy_is_never_act():
    (one,) = found(drawn(100, 200, 51.0))  # 2 % over for 100 s; controllers read within 3 %
    assert one.severity is Severity.WATCH
    assert "at the rating" in one.facts[0]
    (one,) = found(drawn(100, 200, 52.0))
    assert one.severity is Severity.ACT


def test_with_separate_ports_only_the_cells_rating_bounds_braking():
    bms = {"charge_rating_a": 5.0, "ports": Ports.SEPARATE}
    assert found(braked(100, 103, 10.0), bms=bms) == []
    (one,) = found(braked(100, 103, 14.0), bms=bms)
    assert one.limit.name == "pack.charge_rating_a"
    assert found(braked(100, 103, 14.0), bms=bms, pack={}) == []


def test_nothing_is_judged_without_a_rating_or_without_a_current():
    assert found(drawn(100, 200, 90.0), pack={}, bms={}) == []
    ride = make_ride(T, {"left.battery_current_a": 90.0})
    assert find_over_rating(ride, make_setup(bms=BMS), state()) == []

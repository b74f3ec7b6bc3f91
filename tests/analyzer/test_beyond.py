"""Sag, overvoltage, heat and stall on courses made by hand, and rides that must stay silent."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.beyond import (
    current_left_a,
    find_overheat,
    find_overvoltage,
    find_sags,
    find_stalls,
)
from analyzer.conditions import Conditions
from analyzer.words import Severity
from importers.setup_types import Drive

T = clock(120)
OHM = 0.08


def state(rest_v=52.0, charge_pct=60.0, ohm=OHM):
    full = np.ones(T.size)
    rest = None if rest_v is None else rest_v * full
    return Conditions(charge_pct * full, 20 * full, rest, ohm, 20.0, 165.0)


def sagging(rest_v, amps):
    """Rest voltage less the current times 80 mΩ, shared by two drives."""
    return make_ride(
        T,
        {
            "left.battery_current_a": amps / 2,
            "right.battery_current_a": amps / 2,
            "pack_voltage_v": rest_v - OHM * amps,
        },
    )


DERATES = make_setup(drives=(Drive("left", derate_from_v=46.0), Drive("right", derate_from_v=48.0)))


def test_too_much_current_with_how_much_the_pack_carries():
    # 52 − 60 · 0.08 = 47.2 V; down to 48 V it carries (52 − 48) / 0.08 = 50 A.
    ride = sagging(52.0, pulse(T, 10, 20, 60.0, low=5.0))
    (one,) = find_sags(ride, DERATES, state(52.0))
    assert one.flavour == "too_much_current"
    assert one.severity is Severity.WATCH
    assert one.limit.name == "drives.right.derate_from_v"
    assert one.peak.value == pytest.approx(47.2)
    assert (one.start_s, one.end_s) == (10.0, pytest.approx(20.0))
    left = current_left_a(ride, DERATES, state(52.0))
    assert left == pytest.approx(50.0 - pulse(T, 10, 20, 60.0, low=5.0))


@pytest.mark.parametrize(("rest_v", "charge_pct"), [(48.9, 30.0), (51.0, 12.0)])
def test_near_empty_is_a_note(rest_v, charge_pct):
    ride = sagging(rest_v, pulse(T, 10, 20, 45.0, low=1.0))
    (one,) = find_sags(ride, DERATES, state(rest_v, charge_pct))
    assert (one.flavour, one.severity) == ("empty", Severity.NOTE)


def test_without_a_rest_voltage_neither_is_claimed():
    (one,) = find_sags(sagging(52.0, pulse(T, 10, 20, 60.0)), DERATES, state(None))
    assert (one.flavour, one.severity) == ("", Severity.NOTE)


def test_a_low_pack_at_rest_is_no_sag():
    ride = sagging(47.0, np.full(T.size, 1.9))
    assert find_sags(ride, DERATES, state(47.0)) == []
    assert find_sags(sagging(52.0, pulse(T, 10, 10.2, 60.0)), DERATES, state(52.0)) == []


def rising(volts):
    return make_ride(T, {"pack_voltage_v": volts, "left.battery_current_a": -5.0})


@pytest.mark.parametrize(
    ("over_v", "severity"),
    # Two readings of one voltage differ by 0.5 %: 0.29 V of 58.8; 0.05 V per cell: 0.7 V.
    [(0.2, Severity.NOTE), (0.5, Severity.WATCH), (0.8, Severity.ACT)],
)
def test_overvoltage_from_a_tenth_of_a_second(over_v, severity):
    (one,) = find_overvoltage(
        rising(pulse(T, 10, 10.1, 58.8 + over_v, low=55)), make_setup(), state()
    )
    assert one.severity is severity
    assert one.measure("over_v") == pytest.approx(over_v)
    assert find_overvoltage(rising(pulse(T, 10, 10.05, 60, low=55)), make_setup(), state()) == []
    assert find_overvoltage(rising(np.full(T.size, 58.8)), make_setup(), state()) == []


HEAT = make_setup(drives=(Drive("left", motor_derate_c=100.0, motor_stop_c=120.0),))


def hot(temps):
    return make_ride(T, {"left.motor_temp_c": temps, "pack_voltage_v": 52.0}, drives=("left",))


def test_overheat_above_the_derate_temperature():
    (one,) = find_overheat(hot(np.linspace(90, 110, T.size)), HEAT)
    assert one.severity is Severity.WATCH
    assert one.start_s == pytest.approx(60.0, abs=0.1)
    (one,) = find_overheat(hot(np.linspace(90, 122, T.size)), HEAT)
    assert one.severity is Severity.ACT


def test_a_sensor_is_not_read_as_heat():
    # causes.md: heat cannot step by more than about 5 K/s, go beyond 150 °C, or stand still.
    assert find_overheat(hot(np.full(T.size, 130.0)), HEAT) == []
    assert find_overheat(hot(pulse(T, 40, 60, 140.0, low=60.0) + T / 100), HEAT) == []
    assert find_overheat(hot(np.where(T > 50, 200.0, 60.0 + T / 100)), HEAT) == []


PUSH = make_setup(drives=(Drive("left", phase_drive_a=50.0),))


def pushing(phase, speed):
    return make_ride(
        T, {"left.phase_current_a": phase, "left.wheel_speed_mps": speed}, drives=("left",)
    )


def test_a_stall_and_a_start():
    (one,) = find_stalls(pushing(pulse(T, 10, 14, 40.0), 0.0), PUSH)
    assert one.severity is Severity.WATCH
    assert (one.start_s, one.end_s) == (10.0, pytest.approx(14.0))
    # A firm start passes walking pace within a second; half a limit is no push.
    start = np.clip(1.2 * (T - 10), 0, 6)
    assert find_stalls(pushing(pulse(T, 10, 14, 40.0), start), PUSH) == []
    assert find_stalls(pushing(pulse(T, 10, 14, 34.0), 0.0), PUSH) == []
    (slow,) = find_stalls(pushing(pulse(T, 10, 14, 40.0), np.clip(0.5 * (T - 10), 0, 6)), PUSH)
    assert slow.severity is Severity.NOTE

"""What governed each moment, on courses whose governor is known by construction."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.governed import GOVERNORS, govern, governed_over
from analyzer.power_reduced import find_power_reduced
from analyzer.words import Governor, Severity
from importers.setup_types import Drive

DRIVE = Drive(
    "left", phase_drive_a=60.0, battery_drive_a=25.0, derate_from_v=46.0, stop_at_v=42.0,
    motor_derate_c=100.0,
)  # fmt: skip


def course(**channels):
    """60 s at 10 Hz: full demand throughout unless told otherwise."""
    n = 600
    base = {
        "throttle_pct": 100.0, "battery_current_a": 12.0, "phase_current_a": 30.0,
        "battery_voltage_v": 52.0, "duty_pct": 40.0, "wheel_speed_mps": 4.0,
        "motor_temp_c": np.linspace(40, 60, n),
    }  # fmt: skip
    made = {f"left.{key}": value for key, value in (base | channels).items()}
    return make_ride(clock(60, 10), made, drives=("left",))


def only(ride):
    setup = make_setup(drives=(DRIVE,))
    states = govern(ride, setup, ())
    codes = states["left"].codes
    return setup, states, [GOVERNORS[c] if c >= 0 else None for c in np.unique(codes)]


@pytest.mark.parametrize(
    ("channels", "expected"),
    [
        ({"battery_current_a": 24.8}, Governor.BATTERY_LIMIT),
        ({"phase_current_a": 59.0}, Governor.PHASE_LIMIT),
        ({"battery_voltage_v": 44.0}, Governor.VOLTAGE_DERATE),
        ({"motor_temp_c": np.linspace(101, 110, 600)}, Governor.MOTOR_HEAT_DERATE),
        ({"duty_pct": 97.0}, Governor.NO_VOLTAGE_HEADROOM),
        ({}, Governor.UNKNOWN),
    ],
)
def test_each_governor_where_only_it_can_be(channels, expected):
    assert only(course(**channels))[2] == [expected]


def test_less_than_full_demand_is_the_rider():
    throttle = np.where(np.arange(600) < 100, 100.0, 50.0)
    ride = course(throttle_pct=throttle, phase_current_a=np.where(throttle > 60, 60.0, 30.0))
    _setup, states, _ = only(ride)
    codes = states["left"].codes
    assert set(codes[:100]) == {GOVERNORS.index(Governor.PHASE_LIMIT)}
    assert set(codes[100:]) == {GOVERNORS.index(Governor.RIDER)}
    told = dict(governed_over(states, ride, 0.0, 60.0)[0].parts)
    assert told[Governor.RIDER] == pytest.approx(100 * 500 / 600, abs=0.3)
    assert sum(told.values()) == pytest.approx(100.0)


def test_no_current_is_nobody():
    assert only(course(battery_current_a=0.0, phase_current_a=0.0))[2] == [None]


def test_derating_takes_power_away_and_says_how_much():
    volts = np.where((np.arange(600) >= 200) & (np.arange(600) < 300), 44.0, 52.0)
    amps = np.where(volts < 46, 12.5, 25.0)  # (44 - 42) / (46 - 42) of 25 A
    ride = course(battery_voltage_v=volts, battery_current_a=amps, phase_current_a=amps * 2)
    setup, states, _ = only(ride)
    (event,) = find_power_reduced(ride, setup, states)
    assert (event.start_s, event.end_s) == pytest.approx((20.0, 30.0), abs=0.11)
    assert event.causes[0].cause == "voltage_derate"
    assert event.measure("given_pct") == pytest.approx(50.0, abs=1)
    assert event.severity is Severity.WATCH
    assert "44.0 V against 46 V" in event.causes[0].evidence[0]


def test_a_limiter_at_work_and_a_rider_at_half_are_no_events():
    for ride in (course(battery_current_a=25.0), course(throttle_pct=50.0)):
        setup, states, _ = only(ride)
        assert find_power_reduced(ride, setup, states) == []


def test_without_demand_nothing_is_called_reduced():
    ride = course(battery_voltage_v=44.0)
    bare = make_ride(
        clock(60, 10),
        {name: ride.get(name) for name in ride.table.columns if "throttle" not in name},
        drives=("left",),
    )
    setup = make_setup(drives=(DRIVE,))
    assert find_power_reduced(bare, setup, govern(bare, setup, ())) == []


def test_less_than_the_same_half_demand_gave_is_reduced_too():
    seconds = np.arange(600) / 10
    low = (seconds >= 40) & (seconds < 50)
    throttle = np.where(seconds < 5, 100.0, 60.0)
    phase = np.where(seconds < 5, 60.0, 36.0) * np.where(low, 0.6, 1.0)
    ride = course(
        throttle_pct=throttle,
        phase_current_a=phase,
        battery_current_a=phase / 3,
        battery_voltage_v=np.where(low, 44.0, 52.0),
    )
    setup, states, _ = only(ride)
    (event,) = find_power_reduced(ride, setup, states)
    assert (event.start_s, event.end_s) == pytest.approx((40.0, 50.0), abs=0.5)
    assert event.causes[0].cause == "voltage_derate"
    assert event.measure("given_pct") == pytest.approx(60.0, abs=2)
    assert "60 % of what it gave at this speed before" in event.facts[0]

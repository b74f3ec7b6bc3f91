"""Braking held back, on courses whose braking is known by construction."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.brake_reduced import find_brake_reduced
from analyzer.words import EventKind, Severity
from importers.setup_types import Drive

DRIVE = Drive("left", phase_brake_a=40.0, battery_brake_a=10.0, overvoltage_v=59.5)
RATE_HZ = 10
SECONDS = np.arange(600) / RATE_HZ


def braking(part, **channels):
    """60 s of steady braking at half demand; `part` of 20 A of phase current flows."""
    base = {
        "throttle_pct": np.where(SECONDS < 2, 0.0, -100.0 * np.where(SECONDS < 4, 1.0, 0.5)),
        "phase_current_a": np.where(SECONDS < 2, 0, -40.0 * np.where(SECONDS < 4, 1, 0.5) * part),
        "battery_current_a": np.where(SECONDS < 2, 0, -4.0 * part),
        "battery_voltage_v": 54.0,
        "wheel_speed_mps": 6.0,
    }
    made = {f"left.{key}": value for key, value in (base | channels).items()}
    return make_ride(clock(60, RATE_HZ), made, drives=("left",))


def find(ride, drive=DRIVE):
    return find_brake_reduced(ride, make_setup(drives=(drive,)), ())


def test_a_nearly_full_pack_holds_braking_back():
    high = (SECONDS >= 30) & (SECONDS < 40)
    part = np.where(high, 0.5, 1.0)
    ride = braking(part, battery_voltage_v=np.where(high, 58.6, 54.0))
    (event,) = find(ride)
    assert event.kind is EventKind.BRAKE_REDUCED
    assert event.severity is Severity.WATCH
    assert (event.start_s, event.end_s) == pytest.approx((30.0, 40.0), abs=0.11)
    assert event.measure("given_pct") == pytest.approx(50.0, abs=2)
    assert event.causes[0].cause == "voltage_derate"
    assert sum(one.probability for one in event.causes) == pytest.approx(1.0)
    assert "58.6 V" in event.causes[0].evidence[0]
    assert any("mechanical brake" in line for line in event.causes[0].remedy)


def test_nothing_in_sight_needs_more_and_is_called_unknown():
    slight, much = np.where(SECONDS > 50, 0.8, 1.0), np.where(SECONDS > 50, 0.4, 1.0)
    assert find(braking(slight)) == []
    (event,) = find(braking(much))
    assert [one.cause for one in event.causes] == ["unknown"]


@pytest.mark.parametrize(
    "channels",
    [
        {},  # steady
        # slower than a jog, motor braking ends by itself
        {"wheel_speed_mps": np.where(SECONDS > 30, 1.5, 6.0)},
        # at its own battery limit a drive is not held back
        {"battery_current_a": np.full(600, -9.9), "battery_voltage_v": np.full(600, 58.6)},
    ],
)
def test_what_is_no_reduction(channels):
    part = np.where(SECONDS > 30, 0.5, 1.0) if channels else 1.0
    assert find(braking(part, **channels)) == []


def test_without_a_braking_demand_nothing_is_said():
    high = np.where(SECONDS > 30, 58.6, 54.0)
    ride = braking(np.where(SECONDS > 30, 0.5, 1.0), battery_voltage_v=high, throttle_pct=0.0)
    assert find(ride) == []


def test_a_drive_that_never_brakes_is_not_held_back():
    """A current sensor's noise is no braking that could grow less."""
    rng = np.random.default_rng(3)
    ride = braking(
        1.0,
        phase_current_a=np.where(SECONDS < 20, 30.0, 0.0) + 0.2 * rng.standard_normal(600),
        battery_current_a=np.where(SECONDS < 20, 10.0, 0.1),
    )
    assert find(ride, Drive("left", overvoltage_v=59.5)) == []

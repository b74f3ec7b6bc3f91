"""How close a protection came, in its own terms."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.conditions import Conditions
from analyzer.events import Cause, Event, LimitRef
from analyzer.near_trip import before_acting, find_near_trips, way_used
from analyzer.words import EventKind, Severity
from importers.setup_types import Drive, Ports

T = clock(60)


def state(rest_v=52.0, ambient_c=20.0):
    full = np.ones(T.size)
    return Conditions(60 * full, 20 * full, rest_v * full, 0.08, ambient_c, 165.0)


def amps(total, **bms):
    ride = make_ride(T, {"left.battery_current_a": total / 2, "right.battery_current_a": total / 2})
    return find_near_trips(ride, make_setup(bms=bms), state())


TRIP = {"discharge_trip_a": 75.0, "discharge_trip_delay_s": 1.0}


@pytest.mark.parametrize(("held_s", "near"), [(0.45, 0), (0.5, 0), (0.7, 1)])
def test_more_than_half_of_the_delay(held_s, near):
    events = amps(pulse(T, 10, 10 + held_s, 80.0, low=20.0), **TRIP)
    assert len(events) == near
    if near:
        assert events[0].facts == ("0.7 s of the 1 s that the BMS tolerates above 75 A.",)
        assert events[0].severity is Severity.ACT


def test_the_time_above_is_not_added_up_over_dips():
    twice = pulse(T, 10, 10.4, 80.0, low=20.0) + pulse(T, 10.5, 10.9, 60.0)
    assert amps(twice, **TRIP) == []


def test_braking_through_separate_ports_passes_no_charge_trip():
    charge = {"charge_trip_a": 20.0, "charge_trip_delay_s": 1.0}
    braking = pulse(T, 10, 10.8, -30.0, low=10.0)
    assert len(amps(braking, **charge)) == 1
    assert amps(braking, **charge, ports=Ports.SEPARATE) == []


def volts(values, rest_v=52.0, **keys):
    ride = make_ride(T, {"left.battery_voltage_v": values}, drives=("left",))
    return find_near_trips(ride, make_setup(drives=(Drive("left", **keys),)), state(rest_v))


def test_within_five_per_cent_of_the_way_to_the_stop_voltage():
    # Rest 52, stop 42: 95 % of the way is 42.5 V.
    assert volts(pulse(T, 10, 12, 42.6, low=50.0), stop_at_v=42.0) == []
    (one,) = volts(pulse(T, 10, 12, 42.4, low=50.0), stop_at_v=42.0)
    assert one.measure("way_used_pct") == pytest.approx(96.0)
    assert one.limit.name == "drives.left.stop_at_v"


def test_within_five_per_cent_of_the_way_to_overvoltage():
    # Rest 54, overvoltage 60: 95 % of the way is 59.7 V.
    (one,) = volts(pulse(T, 10, 12, 59.76, low=56.0), rest_v=54.0, overvoltage_v=60.0)
    assert one.measure("way_used_pct") == pytest.approx(96.0)
    assert volts(pulse(T, 10, 12, 59.64, low=56.0), rest_v=54.0, overvoltage_v=60.0) == []


def test_the_way_is_not_told_within_a_tenth_of_a_volt_per_cell_of_rest():
    used = way_used(np.array([43.0]), np.array([43.3]), 42.0, 0.1 * 14)
    assert np.isnan(used).all()


def test_heat_within_five_per_cent_of_the_way_from_the_air():
    # Air 20, stop 120: 95 % of the way is 115 °C.
    temps = np.interp(T, [0, 60], [80, 116])
    ride = make_ride(T, {"left.motor_temp_c": temps}, drives=("left",))
    setup = make_setup(drives=(Drive("left", motor_stop_c=120.0),))
    (one,) = find_near_trips(ride, setup, state())
    assert one.start_s == pytest.approx(60 * 35 / 36, abs=0.1)


def test_a_trip_that_acted_belongs_to_the_loss():
    near = amps(pulse(T, 10, 10.9, 80.0, low=20.0), **TRIP)
    causes = (Cause("bms_overcurrent_discharge", 0.9), Cause("unknown", 0.1))
    loss = Event(
        EventKind.CUTOUT, 10.9, 20.0, ("left", "right"), Severity.ACT,
        limit=LimitRef("bms.discharge_trip_a", 75.0), causes=causes,
    )  # fmt: skip
    assert before_acting(near, [loss]) == []
    later = Event(EventKind.CUTOUT, 40.0, 45.0, ("left",), Severity.ACT, causes=causes)
    assert before_acting(near, [later]) == near

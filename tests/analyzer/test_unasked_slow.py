"""Losses in logs without a demand, at 5 Hz, where a fall of 0.1 s touches two rows.

Truth: rides made by hand. One hand moves both drives, so one that stops alone was stopped; a pack
let go of its load rises (Ohm's law), so a bus that falls has lost its pack.
"""

import numpy as np
import pytest
from handmade import clock, drive_channels, make_ride, make_setup

from analyzer.loss_search import search_losses
from importers.setup_types import Drive

GONE_S = 80.0
SIDES = ("left", "right")


def _ride(rate_hz, *, sides, bus_falls, lasts_s):
    """Steady climbing with pauses; from 80 s on `sides` give nothing, after a row with a seventh of
    the current."""
    time_s = clock(130, rate_hz)
    rng = np.random.default_rng(3)
    pulls = (time_s > 10) & ((time_s % 25 < 20) | (time_s > 75)) & (time_s < 120)
    amps = 20.0 * pulls
    lost = (time_s >= GONE_S) & (time_s < GONE_S + lasts_s)
    part = np.where(lost, 0.0, 1.0)
    part[int(np.searchsorted(time_s, GONE_S - 1e-6))] = 1 / 7
    made = {"gps_speed_mps": 6.0 + 0.0 * time_s}
    for name in ("left", "right"):
        own = amps * (part if name in sides else 1.0) + rng.normal(0, 0.05, time_s.size)
        made |= drive_channels(name, own, made["gps_speed_mps"])
        made[f"{name}.battery_voltage_v"] -= 18.0 * lost if bus_falls else 0.0
    return search_losses(make_ride(time_s, made), make_setup())[0]


def test_a_side_that_stops_alone_is_lost():
    losses = _ride(5.0, sides=("right",), bus_falls=False, lasts_s=8.0)
    assert [one.drives for one in losses] == [("right",)]


@pytest.mark.parametrize(("rate_hz", "lasts_s"), [(5.0, 8.0), (50.0, 0.24)])
def test_a_bus_that_falls_with_its_current_is_lost(rate_hz, lasts_s):
    """For long, or for the moment in which a contact opens and closes."""
    losses = _ride(rate_hz, sides=("left", "right"), bus_falls=True, lasts_s=lasts_s)
    assert len(losses) == 1
    assert set(losses[0].drives) == {"left", "right"}


def test_both_sides_that_stop_with_the_pack_connected_are_a_hand_letting_go():
    assert _ride(5.0, sides=("left", "right"), bus_falls=False, lasts_s=8.0) == ()


def _let_go(*, row_of_zeros=False, opens_again=False, heat_c=None, goes_s=0.1):
    """Braking at 20 A until 80 s, let go by one hand in `goes_s`. With heat: driving, and the left
    side alone goes within `goes_s`."""
    time_s = clock(130, 10.0)
    rng = np.random.default_rng(3)
    heat = heat_c is not None
    works = (time_s > 10) & ((time_s % 25 < 20) | (time_s > 70))
    sign = np.where((time_s > 60) & (not heat), -1.0, 1.0)
    amps = 20.0 * works * sign
    fades = np.clip(1.0 - (time_s - GONE_S + goes_s) / goes_s, 0.0, 1.0)
    gone = np.where(time_s < 100.0, fades, 1.0 if heat else 0.0)
    if opens_again:
        gone = np.where(time_s > GONE_S + 0.2, -1.0, gone)
    made = {"gps_speed_mps": 6.0 + 0.0 * time_s}
    for name in ("left", "right"):
        own = amps * np.where((not heat) | (name == "left"), gone, 1.0)
        made |= drive_channels(name, own + rng.normal(0, 0.05, time_s.size), made["gps_speed_mps"])
        # 5 V of sag where the hand has opened again.
        made[f"{name}.battery_voltage_v"] += np.where(own > 5.0, -5.0, 0.0)
        if heat:
            hot = (time_s > 72.0) & (time_s < 100.0)
            made[f"{name}.motor_temp_c"] = np.where(hot, heat_c, 60.0)
    if row_of_zeros:
        row = int(np.searchsorted(time_s, GONE_S + 1.5))
        for name, values in made.items():
            if name != "gps_speed_mps":
                values[row] = 0.0
    drives = tuple(Drive(name, motor_derate_c=100.0, motor_stop_c=120.0) for name in SIDES)
    return search_losses(make_ride(time_s, made), make_setup(drives=drives))[0]


@pytest.mark.parametrize("course", [{"row_of_zeros": True}, {"opens_again": True}])
def test_braking_let_go_of_is_no_loss_for_what_comes_after(course):
    """A logger's row of zeros in the next seconds, or the load of a hand that opens again, is no
    pack that fell away; and who drives on does not brake on."""
    assert _let_go(**course) == ()


@pytest.mark.parametrize(("heat_c", "lost"), [(119.0, True), (90.0, False)])
def test_a_current_that_dwindles_at_its_stop_temperature_was_taken(heat_c, lost):
    """Over 6 s on one side, while the other pulls on; a cool side may be anything."""
    losses = _let_go(heat_c=heat_c, goes_s=6.0)
    assert [one.drives for one in losses] == [("left",)] * lost

"""Rows in which the bus is not the pack's are left out; ordinary sag never is."""

from dataclasses import replace

import numpy as np
from handmade import clock, make_ride, make_setup

from analyzer.events import Cause, Event
from analyzer.open_path import open_in_losses, path_open, without_open_path
from analyzer.pack_state import PackFit
from analyzer.words import EventKind, Severity


def parts(amps, volts, rest=52.0):
    time_s = clock(len(amps) / 10, 10)
    ride = make_ride(
        time_s,
        {
            "left.battery_current_a": np.asarray(amps) / 2,
            "right.battery_current_a": np.asarray(amps) / 2,
            "left.battery_voltage_v": volts,
            "right.battery_voltage_v": volts,
        },
    )
    n = time_s.size
    # 0.10 ohm in all: 40 A sag by 4 V.
    fit = PackFit(np.full(n, rest), np.full(n, rest), (0.0, 10.0), (0.06, 0.04), 0.05, 0.0)
    return ride, make_setup(), fit


def test_a_bus_far_below_rest_at_no_current_is_cut_off():
    amps = np.where(np.arange(300) < 100, 40.0, 0.0)
    volts = np.where(np.arange(300) < 100, 48.0, 30.0)
    volts[200:] = 52.0
    ride, setup, fit = parts(amps, volts)
    flags = path_open(ride, setup, fit)
    assert flags[101:199].all()
    assert not flags[:99].any()
    assert not flags[201:].any()
    shown = without_open_path(ride, flags)
    assert np.isnan(shown.get("left.battery_voltage_v")[101:199]).all()
    assert not np.isnan(ride.get("left.battery_voltage_v")).any()


def test_sag_under_load_is_the_packs_own():
    amps = np.full(300, 60.0)
    ride, setup, fit = parts(amps, np.full(300, 52.0 - 6.0))
    assert not path_open(ride, setup, fit).any()
    assert without_open_path(ride, path_open(ride, setup, fit)) is ride


def test_without_a_fit_only_what_no_pack_reads_is_flagged():
    """14 cells empty at 2.8 V and more read 39 V or more; a bus whose pack is off sinks to 15 V."""
    ride, setup, _ = parts(np.zeros(50), np.full(50, 38.0))
    assert not path_open(ride, setup, None).any()
    volts = np.full(50, 50.0)
    volts[20:30] = 15.0
    ride, setup, _ = parts(np.zeros(50), volts)
    flags = path_open(ride, setup, None)
    assert flags[20:30].all()
    assert flags.sum() == 12


def test_an_idle_bus_below_empty_is_no_pack_even_without_a_fit():
    """14 cells empty at 3.0 V read 42 V; at rest none reads 33 V, under load one may."""
    volts = np.full(100, 50.0)
    volts[40:60] = 33.0
    ride, setup, _ = parts(np.zeros(100), volts)
    assert path_open(ride, setup, None)[40:60].all()
    loaded = np.where((np.arange(100) >= 40) & (np.arange(100) < 60), 60.0, 0.0)
    ride, setup, _ = parts(loaded, volts)
    assert not path_open(ride, setup, None).any()


def test_one_controller_cut_off_alone_loses_only_its_own_reading():
    ride, _, _ = parts(np.zeros(100), np.full(100, 52.0))
    low = np.full(100, 52.0)
    low[40:60] = 15.0
    ride = replace(ride, table=ride.table.assign(**{"left.battery_voltage_v": low}))
    shown = without_open_path(ride, np.zeros(100, np.bool_))
    assert np.isnan(shown.get("left.battery_voltage_v")[40:60]).all()
    assert np.isfinite(shown.get("right.battery_voltage_v")).all()


def test_a_loss_that_opened_the_path_hides_its_bus_until_power_is_back():
    volts = np.full(300, 52.0)
    volts[100:200] = 40.0
    ride, _, _ = parts(np.zeros(300), volts)
    cause = (Cause("bms_overheat", 0.9), Cause("unknown", 0.1))
    loss = Event(EventKind.CUTOUT, 10.0, 20.0, ("left", "right"), Severity.ACT, causes=cause)
    flags = open_in_losses(ride, [loss])
    assert flags[100:200].all()
    assert not flags[:98].any()
    assert not flags[202:].any()
    other = replace(loss, causes=(Cause("drive_link_lost", 0.9), Cause("unknown", 0.1)))
    assert not open_in_losses(ride, [other]).any()

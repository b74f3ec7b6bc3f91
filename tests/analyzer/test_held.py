"""Sparse columns are held by their own habit, and no longer."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.held import with_slow_channels_held
from analyzer.ride_analysis import analyse_ride
from importers.setup_types import Drive

T = clock(60)


def sparse(values, every):
    return np.where(np.arange(values.size) % every == 0, values, np.nan)


def test_every_tenth_row_is_held_until_the_next():
    ride = make_ride(T, {"pack_voltage_v": sparse(50 + T, 10), "speed_mps": 5.0})
    held = with_slow_channels_held(ride).get("pack_voltage_v")
    assert held == pytest.approx(np.repeat((50 + T)[::10], 10))
    assert np.isnan(ride.table["pack_voltage_v"]).sum() == 1080  # the ride itself stays


def test_what_is_missing_for_longer_stays_missing():
    values = sparse(50 + T, 10)
    values[(T >= 20) & (T < 30)] = np.nan
    held = with_slow_channels_held(make_ride(T, {"pack_voltage_v": values})).get("pack_voltage_v")
    assert np.isnan(held[(T >= 20.5) & (T < 30)]).all()
    assert np.isfinite(held[(T < 20) | (T >= 30)]).all()


def test_a_full_column_with_a_dead_half_is_left_alone():
    values = np.where(T < 30, 50.0, np.nan)
    ride = make_ride(T, {"pack_voltage_v": values})
    assert with_slow_channels_held(ride) is ride


def test_a_sparse_voltage_is_judged_like_a_full_one():
    volts = 52 - 3.0 * ((T > 20) & (T < 30))
    setup = make_setup(drives=(Drive("left", derate_from_v=50.0),))
    full, thin = (
        analyse_ride(
            make_ride(T, {"pack_voltage_v": v, "left.battery_current_a": 10.0}, drives=("left",)),
            setup,
        )
        for v in (volts, sparse(volts, 10))
    )
    assert [e.kind for e in full.events] == [e.kind for e in thin.events] == ["sag"]
    assert thin.events[0].start_s == pytest.approx(full.events[0].start_s, abs=0.5)
    assert thin.limits[0].seen == full.limits[0].seen

"""Losses planted by hand into plain rides: what is found, when, on which drives; what is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup, pulse

from analyzer.conditions import Conditions
from analyzer.cutouts import find_losses
from analyzer.pack_state import PackState
from analyzer.words import EventKind, Severity
from importers.setup_types import Drive

NOBODY = Conditions(None, None, None, None, None, None)
NO_PACK = PackState(None, None, None, None, None, None, None, None, None)
LOST = slice(63.0, 66.0)
OHM = 0.1
REST_V = 54.0


def _setup(**bms):
    sides = [
        Drive(name, phase_drive_a=60.0, battery_drive_a=25.0, derate_from_v=46.0, stop_at_v=42.0)
        for name in ("left", "right")
    ]
    return make_setup(
        drives=tuple(sides), bms={"discharge_rating_a": 40.0} | bms, pack={"aux_a": 0.0}
    )


def _demand(t):
    """Pulling away and letting go, each over 0.3 s, six times a minute."""
    cycle = t % 10.0
    return 60.0 * np.clip(np.minimum(cycle / 0.3, (8.0 - cycle) / 0.3), 0.0, 1.0)


def _ride(gone=("left", "right"), *, demand=True, collapse=False, last_s=120.0, rate_hz=20.0):
    """Two drives that give 20 A each at 60 % of demand; `gone` give nothing while LOST."""
    t = clock(last_s, rate_hz)
    asked = _demand(t)
    away = pulse(t, LOST.start, LOST.stop, 1.0)
    amps = {side: asked / 3.0 * (1.0 - away * (side in gone)) for side in ("left", "right")}
    bus = REST_V - OHM * (amps["left"] + amps["right"])
    if collapse:
        bus = np.where(away > 0, 30.0 - 2.0 * (t - LOST.start), bus)
    channels = {"gps_speed_mps": 6.0}
    for side in ("left", "right"):
        channels[f"{side}.battery_current_a"] = amps[side]
        channels[f"{side}.phase_current_a"] = 2.0 * amps[side]
        channels[f"{side}.battery_voltage_v"] = bus
        channels[f"{side}.motor_rpm"] = 2000.0
        if demand:
            channels[f"{side}.throttle_pct"] = asked
    return make_ride(t, channels)


def _losses(ride, setup):
    return find_losses(ride, setup, pack=NO_PACK, fit=None, state=NOBODY)[0]


@pytest.mark.parametrize("rate_hz", [10.0, 20.0, 50.0])
def test_a_stop_of_both_sides_is_one_loss_at_its_second(rate_hz):
    (found,) = _losses(_ride(rate_hz=rate_hz), _setup())
    assert found.kind is EventKind.CUTOUT
    assert found.severity is Severity.ACT
    assert sorted(found.drives) == ["left", "right"]
    assert found.start_s == pytest.approx(LOST.start, abs=0.35)
    assert found.end_s == pytest.approx(LOST.stop, abs=0.35)


def test_one_side_is_named():
    (found,) = _losses(_ride(gone=("right",)), _setup())
    assert found.drives == ("right",)
    assert all(not one.cause.startswith("bms_") for one in found.causes[:1])


def test_letting_go_is_no_loss():
    assert _losses(_ride(gone=()), _setup()) == []


def test_without_a_demand_letting_go_is_no_loss_and_the_demand_is_asked_for():
    ride = _ride(gone=(), demand=False)
    events, notes = find_losses(ride, _setup(), pack=NO_PACK, fit=None, state=NOBODY)
    assert events == []
    assert any("throttle" in note.text for note in notes)


def test_without_a_demand_a_bus_that_collapses_is_a_loss():
    (found,) = _losses(_ride(demand=False, collapse=True), _setup())
    assert found.start_s == pytest.approx(LOST.start, abs=0.35)


def test_probabilities_sum_to_one_with_unknown_and_evidence_comes_with_the_first():
    (found,) = _losses(_ride(collapse=True), _setup())
    assert sum(one.probability for one in found.causes) == pytest.approx(1.0)
    assert "unknown" in {one.cause for one in found.causes}
    assert list(found.causes) == sorted(found.causes, key=lambda one: -one.probability)
    first = found.causes[0]
    assert first.evidence
    assert first.would_confirm
    assert first.remedy


def test_level_held_for_its_delay_and_a_collapse_is_the_management_system():
    """40 A together above 38 A for 3 s, then the bus is gone (causes.md: level times delay)."""
    setup = _setup(discharge_trip_a=38.0, discharge_trip_delay_s=2.5)
    (found,) = _losses(_ride(collapse=True), setup)
    assert found.causes[0].cause == "bms_overcurrent_discharge"
    assert found.causes[0].probability > 0.8
    assert found.limit.name == "bms.discharge_trip_a"
    text = " ".join(found.causes[0].evidence)
    assert "opens above 38 A after 2.5 s" in text


def test_a_collapse_far_below_the_trip_is_not_blamed_on_it():
    (found,) = _losses(
        _ride(collapse=True), _setup(discharge_trip_a=80.0, discharge_trip_delay_s=1.0)
    )
    chances = {one.cause: one.probability for one in found.causes}
    assert found.causes[0].cause == "supply_interrupted"
    assert chances.get("bms_overcurrent_discharge", 0.0) < 0.1


def test_one_row_of_zeros_and_a_repeated_row_are_no_losses():
    ride = _ride(gone=())
    table = ride.table.copy()
    columns = [c for c in table if c != "time_s"]
    table.loc[800, columns] = 0.0
    table.loc[1200, columns] = table.loc[1199, columns].to_numpy()
    assert _losses(replace(ride, table=table), _setup()) == []


def test_a_hole_while_the_ride_went_on_is_no_loss():
    ride = _ride(gone=())
    table = ride.table
    kept = table[(table["time_s"] < 42.0) | (table["time_s"] >= 47.0)].reset_index(drop=True)
    assert _losses(replace(ride, table=kept), _setup()) == []


def test_braking_that_was_asked_for_and_gone_calls_for_action():
    ride = _ride(gone=())
    t = ride.time_s
    away = pulse(t, 63.0, 66.0, 1.0)
    table = ride.table.copy()
    for side in ("left", "right"):
        for name in ("battery_current_a", "phase_current_a"):
            table[f"{side}.{name}"] = -0.5 * table[f"{side}.{name}"] * (1.0 - away)
        table[f"{side}.throttle_pct"] = -table[f"{side}.throttle_pct"]
    (found,) = _losses(replace(ride, table=table), _setup())
    assert found.kind is EventKind.BRAKE_LOSS
    assert found.severity is Severity.ACT


@pytest.mark.parametrize("rows", [0, 1, 2, 10, 30])
def test_short_rides_never_crash(rows):
    ride = _ride()
    assert isinstance(_losses(replace(ride, table=ride.table.iloc[:rows]), _setup()), list)


@pytest.mark.parametrize("name", ["battery_current_a", "phase_current_a", "battery_voltage_v"])
def test_missing_and_blank_channels_never_crash(name):
    ride = _ride(collapse=True)
    gone = [c for c in ride.table if c.endswith(name)]
    assert isinstance(_losses(replace(ride, table=ride.table.drop(columns=gone)), _setup()), list)
    blank = ride.table.copy()
    blank[gone] = np.nan
    assert isinstance(_losses(replace(ride, table=blank), _setup()), list)


def test_the_ride_is_not_changed():
    ride = _ride(collapse=True)
    before = ride.table.copy(deep=True)
    _losses(ride, _setup())
    assert ride.table.equals(before)

"""Losses that are found, or told from what only looks like one: constructed courses, true by their
making. Two drives, 60 % of demand gives 20 A each, a pack of 54 V and 0.1 ohm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.conditions import Conditions
from analyzer.cutouts import examine_losses
from analyzer.loss_fade import faded_away
from analyzer.loss_rows import asked_rows
from analyzer.loss_signals import drive_signals
from analyzer.loss_usual import usual_work
from importers.setup_types import Drive

NOBODY = Conditions(None, None, None, None, None, None)
REST_V, OHM = 54.0, 0.1
SIDES = ("left", "right")


def _found(ride, **more):
    drives = tuple(Drive(name, phase_drive_a=60.0, battery_drive_a=25.0) for name in ride.drives)
    setup = replace(make_setup(drives=drives, pack={"aux_a": 0.0}), **more)
    return examine_losses(ride, setup, replace(NOBODY, resistance_ohm=OHM))


def _starts(ride, **more):
    return [float(ride.time_s[loss.begin]) for loss, _, _ in _found(ride, **more)]


def _ramped(t, marks):
    """A hand that goes straight from mark to mark (s, %)."""
    at, value = np.asarray(marks, float).T
    return np.interp(t, at, value)


def _again(marks, period_s, last_s):
    """The same marks every `period_s`."""
    return [
        (k * period_s + at, value) for k in range(int(last_s / period_s)) for at, value in marks
    ]


def _channels(t, asked, amps, speed=6.0, *, noise_a=0.05, volts=None):
    rng = np.random.default_rng(7)
    out = {"gps_speed_mps": speed}
    for side in SIDES:
        own = amps[side] if isinstance(amps, dict) else amps
        noisy = own + rng.normal(0.0, noise_a, t.size)
        out[f"{side}.battery_current_a"] = noisy
        out[f"{side}.phase_current_a"] = 2.0 * noisy
        out[f"{side}.battery_voltage_v"] = REST_V - 2 * OHM * own if volts is None else volts
        out[f"{side}.motor_rpm"] = 330.0 * speed + rng.normal(0.0, 1.0, t.size)
        out[f"{side}.wheel_speed_mps"] = speed + rng.normal(0.0, 0.01, t.size)
        out[f"{side}.throttle_pct"] = asked[side] if isinstance(asked, dict) else asked
    return out


PULLS = ((0.0, 0.0), (2.0, 0.0), (2.6, 60.0), (14.0, 60.0), (14.4, 0.0), (20.0, 0.0))


def test_both_sides_whose_readings_freeze_again_and_again():
    """Four stands of 6 s in a log that never stands still otherwise, but for one row twice."""
    t = clock(200.0, 20.0)
    asked = _ramped(t, _again(PULLS, 20.0, 200.0))
    ride = make_ride(t, _channels(t, asked, asked / 3.0))
    moments = (48.0, 88.0, 128.0, 168.0)
    own = [name for name in ride.table if name.split(".")[0] in SIDES]
    table = ride.table.copy()
    table.loc[100, own] = table.loc[99, own]
    for at in moments:
        first, last = (int(np.searchsorted(t, x)) for x in (at, at + 6.0))
        table.loc[first : last - 1, own] = table.loc[first - 1, own].to_numpy()
        for side in SIDES:
            gone = slice(last, last + 40)
            table.loc[gone, f"{side}.battery_current_a"] = 0.0
            table.loc[gone, f"{side}.phase_current_a"] = 0.0
    found = _found(replace(ride, table=table))
    assert [sorted(loss.drives) for loss, _, _ in found] == [["left", "right"]] * 4
    assert [ride.time_s[loss.begin] for loss, _, _ in found] == pytest.approx(moments, abs=0.1)


def test_an_idle_supply_that_goes_freezes_a_standing_log():
    t = clock(260.0, 20.0)
    rides = (t < 40.0) | (t > 200.0)
    asked = np.where(rides, _ramped(t, _again(PULLS, 20.0, 260.0)), 0.0)
    speed = np.where(rides, 6.0, 0.0)
    ride = make_ride(t, _channels(t, asked, asked / 3.0, speed))
    rng = np.random.default_rng(1)
    table = ride.table.copy()
    off = slice(int(np.searchsorted(t, 140.0)), int(np.searchsorted(t, 190.0)) - 1)
    for side in SIDES:
        table[f"{side}.battery_voltage_v"] += rng.normal(0.0, 0.02, t.size)
        for name in [x for x in table if x.startswith(f"{side}.")]:
            table.loc[off, name] = table.loc[off.start - 1, name]
    (found,) = _found(replace(ride, table=table))
    assert found[0].parts[0].how == "off"
    assert ride.time_s[found[0].begin] == pytest.approx(140.0, abs=0.2)


def _speeds(t, left, right):
    asked = _ramped(t, _again(PULLS, 20.0, 60.0))
    channels = _channels(t, asked, asked / 3.0)
    gone = (t > 45.0) & (t < 47.0)
    for side, speed in (("left", left), ("right", right)):
        channels[f"{side}.wheel_speed_mps"] = speed
        channels[f"{side}.motor_rpm"] = 330.0 * speed
    for name in ("battery_current_a", "phase_current_a"):
        channels[f"right.{name}"] = np.where(gone, 0.0, channels[f"right.{name}"])
    del channels["gps_speed_mps"]
    return make_ride(t, channels)


def test_the_side_whose_freewheel_lets_go_stopped_not_the_one_that_goes_on():
    """The right motor has no current from 45 s on and runs down; the left one keeps its 6 m/s, so
    that it looks fast beside the other. Only the right one stopped."""
    t = clock(60.0, 20.0)
    right = np.where((t > 45.0) & (t < 47.0), np.clip(6.0 - 8.0 * (t - 45.0), 0.0, None), 6.0)
    ride = _speeds(t, np.full(t.size, 6.0), right)
    table = ride.table.copy()
    for name in ("left.battery_current_a", "left.phase_current_a"):
        table[name] *= np.where((t > 45.0) & (t < 47.0), 0.4, 1.0)
    (found,) = _found(replace(ride, table=table))
    assert found[0].drives == ("right",)


def test_a_speed_that_jumps_to_and_fro_is_no_motor_that_left_the_road():
    t = clock(60.0, 20.0)
    wild = 6.0 * np.where((t > 24.0) & (t < 27.0), 1.35 + 0.3 * (-1.0) ** np.arange(t.size), 1.0)
    ride = _speeds(t, wild, np.full(t.size, 6.0))
    table = ride.table.copy()
    weak = np.where((t > 24.0) & (t < 27.0), 0.4, 1.0)
    for name in ("battery_current_a", "phase_current_a"):
        table[f"left.{name}"] *= weak
        table[f"right.{name}"] = table[f"left.{name}"] / weak
    assert _found(replace(ride, table=table)) == []


def _braking(t, flows):
    """The hand brakes for 4 s each 20 s; `flows` is what comes of it [part]."""
    marks = ((0, 0), (2, 0), (2.6, 60), (10, 60), (10.1, -60), (14, -60), (14.3, 0), (20, 0))
    asked = _ramped(t, _again(marks, 20.0, t[-1]))
    return asked, np.where(asked < 0, asked / 3.0 * flows, asked / 3.0)


def test_braking_into_an_open_path_teaches_nothing_of_what_braking_gives():
    """Braking flows for half a second once; later a twentieth of it flows for a
    moment, four times a second."""
    t = clock(160.0, 20.0)
    tries = np.where(np.arange(t.size) % 5 == 0, 0.05, 0.0)
    flows = np.where((t > 10.0) & (t < 10.8), 1.0, np.where(t < 10.0, 0.0, tries))
    asked, amps = _braking(t, flows)
    found = _starts(make_ride(t, _channels(t, asked, amps)))
    for at in (30.0, 50.0, 70.0):
        assert min(abs(np.array(found) - at)) < 0.4


@pytest.mark.parametrize("open_path_v", [0.0, 8.0])
def test_the_sag_that_comes_back_is_no_jump_of_the_bus(open_path_v):
    """The hand goes from 40 A to −40 A in 0.1 s, and 0.2 s later braking is gone: 8 A and ohm are
    the pack's, what is beyond them an open path's."""
    t = clock(160.0, 20.0)
    lost = (t > 90.3) & (t < 96.0)
    asked, amps = _braking(t, np.where(lost, 0.0, 1.0))
    volts = REST_V - 2 * OHM * amps + np.where((t > 90.2) & (t <= 90.3), open_path_v, 0.0)
    ((loss, here, facts),) = _found(make_ride(t, _channels(t, asked, amps, volts=volts)))
    assert loss.sign < 0
    assert facts.signs["jump"] == ("yes" if open_path_v else "no")
    assert amps[here.full] < 0.0
    assert facts.numbers["pack_current_a"] < 0.0


def _slow_hand(t, events, down_s):
    """A hand that takes `down_s` to let go and a second to open; `events` overwrite it."""
    marks = ((0.0, 0.0), (2.0, 0.0), (3.0, 60.0), (14.0, 60.0), (14.0 + down_s, 0.0), (20.0, 0.0))
    asked = _ramped(t, _again(marks, 20.0, t[-1]))
    for begin, end, value in events:
        asked = np.where((t >= begin) & (t < end), value, asked)
    return asked


@pytest.mark.parametrize(
    ("event", "rate_hz", "down_s"),
    [
        # Below rest, where this hand never is.
        ((68.0, 70.0, -4.0), 20.0, 0.04),
        # A hand lets go within a row of 0.1 s, but opens in a second.
        ((68.0, 68.5, 0.0), 10.0, 0.2),
        # Once at 10 Hz a fall that is 2.4 times faster than all others.
        ((68.0, 76.0, 0.0), 10.0, 0.24),
    ],
)
def test_a_demand_that_no_hand_moved(event, rate_hz, down_s):
    t = clock(200.0, rate_hz)
    asked = _slow_hand(t, [event], down_s)
    ride = make_ride(t, _channels(t, asked, np.clip(asked, 0.0, None) / 3.0))
    assert _starts(ride) == pytest.approx([event[0]], abs=0.11)


def test_a_log_that_renews_every_third_row_makes_no_hand_fast():
    """At 50 Hz a hand of 0.13 s moves by 46 % between renewals: it goes on letting go; what falls
    from 100 % to nothing in one is the signal's."""
    t = clock(300.0, 50.0)
    marks = ((0.0, 0.0), (2.0, 0.0), (3.0, 90.0), (14.0, 90.0), (14.14, 0.0), (20.0, 0.0))
    asked = _ramped(t, _again(marks, 20.0, 300.0))
    asked = np.where(t >= 268.0, 0.0, asked)
    asked = asked[np.arange(t.size) // 3 * 3]
    ride = make_ride(t, _channels(t, asked, asked / 3.0))
    assert _starts(ride) == pytest.approx([268.0], abs=0.1)


def test_a_start_that_gives_nothing_where_another_demand_gave():
    """At rest only 100 % was ever tried; 55 % must give something there, too."""
    t = clock(120.0, 20.0)
    speed = np.clip((t % 40.0 - 2.0) * 1.5, 0.0, 6.0) * (t % 40.0 < 30.0)
    full = np.where(speed < 2.0, 100.0, 55.0)
    asked = full * np.clip(np.minimum((t % 40.0 - 2.0) / 0.1, (25.0 - t % 40.0) / 0.3), 0.0, 1.0)
    refused = (t > 80.0) & (t < 90.0)
    asked = np.where(refused, np.where((t > 84.0) & (t < 87.0), 55.0, 0.0), asked)
    speed = np.where(refused, 0.0, speed)
    amps = np.where(refused, 0.0, asked / 3.0)
    found = _starts(make_ride(t, _channels(t, asked, amps, speed)))
    assert found == pytest.approx([84.0], abs=0.2)


def _signs(ride, **more):
    ((_, _, facts),) = _found(ride, **more)
    return facts.signs


def _stood(t, asked, first, last):
    """The same hand, seen standing still from `first` to `last`."""
    at = np.interp(first, t, asked)
    return np.where((t >= first) & (t < last), at, asked)


@pytest.mark.parametrize("parted", [True, False])
def test_one_hand_moves_both_sides_until_the_way_to_one_is_lost(parted):
    """The right side gives nothing from 48 s on; its demand stands still, or goes on with the
    left's."""
    t = clock(120.0, 20.0)
    asked = _ramped(
        t, [*_again(PULLS, 20.0, 40.0), *((40 + 4 * k, 30 + 30 * (k % 2)) for k in range(20))]
    )
    lost = (t >= 48.0) & (t < 90.0)
    right = _stood(t, asked, 47.8, 90.0) if parted else asked
    amps = {"left": asked / 3.0, "right": np.where(lost, 0.0, asked / 3.0)}
    signs = _signs(make_ride(t, _channels(t, {"left": asked, "right": right}, amps)))
    assert signs["sides"] == ("parted" if parted else "together")
    assert signs["alive"] == ("no" if parted else "yes")


@pytest.mark.parametrize(("held_s", "level"), [(4.0, "top"), (20.0, "stuck")])
def test_no_hand_holds_on_at_full_for_twenty_seconds_without_drive(held_s, level):
    t = clock(120.0, 20.0)
    marks = [
        *_again(PULLS, 20.0, 40.0),
        (42, 0),
        (43, 60),
        (48 + held_s, 60),
        (49 + held_s, 0),
        (118, 0),
    ]
    asked = _ramped(t, marks)
    amps = np.where(t >= 48.0, 0.0, asked / 3.0)
    assert _signs(make_ride(t, _channels(t, asked, amps)))["demand_still"] == level


@pytest.mark.parametrize("works", [True, False])
def test_driving_that_goes_on_while_braking_is_away_is_seen(works):
    t = clock(160.0, 20.0)
    asked, amps = _braking(t, np.where((t > 91.5) & (t < 94.5), 0.0, 1.0))
    asked = np.where((t >= 93.0) & (t < 96.0), 60.0, asked)
    amps = np.where((t >= 93.0) & (t < 96.0), 20.0 * works, amps)
    ((loss, _, facts), *_) = _found(make_ride(t, _channels(t, asked, amps)))
    assert loss.sign < 0
    assert facts.signs["other_way"] == ("works" if works else "fails")


def test_a_motor_without_current_that_runs_down_behind_its_freewheel_has_its_belt():
    """Ten seconds of coasting show no freewheel; it is the one way a side without current can be
    slower than the road."""
    t = clock(60.0, 20.0)
    gone = (t > 45.0) & (t < 47.0)
    right = np.where(gone, 6.0 - 2.0 * (t - 45.0), 6.0)
    assert _signs(_speeds(t, np.full(t.size, 6.0), right)).get("road") != "leaves"


@pytest.mark.parametrize(("part", "level"), [(0.5, "half"), (0.8, None), (1.0, "full")])
def test_half_the_motor_current_is_no_trip_however_slow_the_log(part, level):
    """At 20 Hz a spike falls between readings: 80 % tells nothing, half of the limit does."""
    t = clock(120.0, 20.0)
    asked = _ramped(t, _again(PULLS, 20.0, 120.0))
    amps = {"left": part * asked / 2.0, "right": part * asked / 2.0}
    amps["right"] = np.where((t > 67.0) & (t < 69.0), 0.0, amps["right"])
    assert _signs(make_ride(t, _channels(t, asked, amps))).get("phase") == level


def test_without_a_demand_a_bus_that_collapses_under_braking_is_a_loss_each_time():
    """Braking is a tenth of what driving takes; the pack's path opens twice under it."""
    t = clock(160.0, 20.0)
    lost = ((t > 71.5) & (t < 76.0)) | ((t > 111.5) & (t < 116.0))
    asked, amps = _braking(t, np.where(lost, 0.0, 0.25))
    volts = np.where(lost, 40.0, REST_V - 2 * OHM * amps)
    channels = _channels(t, asked, amps, volts=volts)
    ride = make_ride(t, {k: v for k, v in channels.items() if not k.endswith("throttle_pct")})
    assert [(x.sign, float(t[x.begin])) for x, _, _ in _found(ride)] == [
        (-1, pytest.approx(71.5, abs=0.1)),
        (-1, pytest.approx(111.5, abs=0.1)),
    ]


def test_braking_refused_as_soon_as_it_begins_says_nothing_of_the_current_that_opened_the_path():
    """Braking is lost at 71.5 s and is refused from its first moment on at 90 s."""
    t = clock(121.0, 20.0)
    lost = ((t > 71.5) & (t < 76.0)) | ((t > 88.0) & (t < 96.0))
    asked, amps = _braking(t, np.where(lost, 0.0, 1.0))
    ride = make_ride(t, _channels(t, asked, amps))
    bms = replace(make_setup().bms, charge_rating_a=30.0, charge_trip_a=60.0)
    first, second = (facts.signs for _, _, facts in _found(ride, bms=bms))
    assert (first["charge_load"], first["charge_trip"]) == ("above", "clear")
    assert "charge_load" not in second
    assert "charge_trip" not in second


@pytest.mark.parametrize(("volts", "gone"), [(48.5, False), (46.4, True)])
def test_a_motor_that_stands_draws_little_whatever_the_voltage_leaves_it(volts, gone):
    """Derate 49 to 46 V: at 48.5 V five sixths of the limit are left, and 0.5 A at a standstill
    is a stall; at 46.4 V two fifteenths are left, and it is the voltage."""
    t = clock(60.0, 20.0)
    noise = np.random.default_rng(3).normal(0.0, 0.02, t.size)
    asked = np.where(t > 20.0, 100.0, 0.0)
    limits = {"battery_drive_a": 20.0, "derate_from_v": 49.0, "stop_at_v": 46.0}
    ride = make_ride(
        t,
        {
            "left.throttle_pct": asked,
            "left.battery_current_a": np.where(asked > 0, 0.5, 0.0) + noise,
            "left.phase_current_a": np.where(asked > 0, 12.0, 0.0) + noise,
            "left.wheel_speed_mps": 0.0 * t,
            "left.battery_voltage_v": volts + noise,
        },
        drives=("left",),
    )
    drive = Drive("left", **limits)
    setup = make_setup(drives=(drive,))
    one = drive_signals(ride, setup, "left")
    rows = asked_rows(one, None, None, usual_work([one], {"left": None}, {"left": one.dead}, 0.05))
    assert bool(faded_away(one, rows, drive, ride).any()) is gone


def test_a_slow_log_may_catch_one_reading_on_the_way_down_near_the_top_of_speed():
    """At 5 Hz the current is full, an eighth, nothing: 0.4 s, yet no motor dwindles so at the top
    of its speed."""
    t = clock(200.0, 5.0)
    pulls = (t % 40.0 >= 5.0) & (t % 40.0 < 30.0)
    speed = np.where(pulls, 8.0 + 0.02 * (t % 40.0), 4.0)
    amps = np.where(pulls, 30.0, 0.0)
    at = int(np.searchsorted(t, 140.0))
    amps[at], amps[at + 1 : at + 50] = 4.0, 1.0
    duty = np.where(pulls, 94.0, 30.0)
    duty[at + 1 : at + 50] = 88.0
    noise = np.random.default_rng(2).normal(0.0, 0.05, t.size)
    ride = make_ride(
        t,
        {
            "left.throttle_pct": np.where(pulls, 60.0, 0.0),
            "left.battery_current_a": amps + noise,
            "left.phase_current_a": amps + noise,
            "left.duty_pct": duty,
            "left.wheel_speed_mps": speed,
            "left.battery_voltage_v": 50.0 - 0.1 * amps,
        },
        drives=("left",),
    )
    assert _starts(ride) == pytest.approx([140.2], abs=0.21)

"""What single signs of a loss may say: constructed courses, true by their making. Two drives, 60 %
of demand gives 20 A each, a pack of 54 V and 0.1 ohm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.conditions import Conditions
from analyzer.cutouts import examine_losses
from importers.setup_types import Drive

NOBODY = Conditions(None, None, None, None, None, None)
SIDES = ("left", "right")
CYCLE_S = 20.0


def _marks(t, marks):
    """A hand that goes straight from mark to mark (s, %), again every `CYCLE_S`."""
    at, value = np.asarray(marks, float).T
    return np.interp(t % CYCLE_S, at, value)


def _hand(t, top=60.0):
    """One second to open, eleven held with the tremor of a hand, half a second to let go."""
    held = _marks(t, ((0, 0), (2, 0), (3, top), (14, top), (14.5, 0), (20, 0)))
    return held * (1.0 + 0.04 * np.sin(2.0 * np.pi * 0.7 * t))


def _ride(t, asked, amps, *, speed=6.0, names=SIDES, **more):
    rng = np.random.default_rng(7)
    channels = {"gps_speed_mps": speed}
    for side in names:
        own = amps + rng.normal(0.0, 0.05, t.size)
        channels |= {
            f"{side}.battery_current_a": own,
            f"{side}.phase_current_a": 2.0 * own,
            f"{side}.battery_voltage_v": 54.0 - 0.2 * amps + rng.normal(0.0, 0.02, t.size),
            f"{side}.wheel_speed_mps": speed + rng.normal(0.0, 0.01, t.size),
            f"{side}.throttle_pct": asked,
        }
    return make_ride(t, channels | more, drives=names)


def _found(ride, drive=None, **more):
    limits = {"phase_drive_a": 60.0, "battery_drive_a": 25.0} | (drive or {})
    drives = tuple(Drive(name, **limits) for name in ride.drives)
    setup = replace(make_setup(drives=drives, pack={"aux_a": 0.0}), **more)
    return examine_losses(ride, setup, replace(NOBODY, resistance_ohm=0.1))


def _signs(ride, **more):
    ((_, _, facts),) = _found(ride, **more)
    return facts.signs


@pytest.mark.parametrize(
    ("back", "alive"),
    [
        (lambda t: np.where(t < 51.0, 60.0, 0.0), None),
        (lambda t: 60.0 - 40.0 * np.clip(t - 49.0, 0.0, 1.0), "yes"),
    ],
)
def test_a_signal_that_comes_back_in_a_jump_is_no_hand(back, alive):
    """Drive goes at 48 s; the demand stands, then jumps to rest, or moves as hands do."""
    t = clock(120.0, 20.0)
    away = (t >= 48.0) & (t < 54.0)
    asked = np.where(away, back(t), _hand(t))
    ride = _ride(t, asked, np.where(away, 0.0, asked / 3.0))
    # Nothing drives at 10 % either, or the loss would end with the jump.
    signs = _signs(ride)
    assert signs.get("alive") == alive


def test_a_hand_that_always_holds_still_says_nothing_by_holding_still():
    """Twelve seconds without drive at an even 30 %: held so ten seconds at a time before, it is
    this hand; where the hand trembled all the ride, nobody holds on so."""
    t = clock(140.0, 20.0)
    away = (t >= 86.0) & (t < 98.0)
    for steady, level in ((True, "usual"), (False, "stuck")):
        hand = _marks(t, ((0, 0), (2, 0), (3, 30), (16, 30), (17, 0), (20, 0)))
        asked = hand if steady else hand * (1.0 + 0.04 * np.sin(2.0 * np.pi * 0.7 * t))
        asked = np.where(away, 30.0, asked)
        # Full demand once: 30 % is off the stop.
        asked = np.where((t >= 4.0) & (t < 6.0), 100.0, asked)
        ride = _ride(t, asked, np.where(away, 0.0, asked / 3.0))
        assert _signs(ride)["demand_still"] == level


def test_at_its_stop_a_thumb_rests_while_another_drive_pulls():
    t = clock(120.0, 20.0)
    held = np.interp(t, [0, 42, 43, 70, 71, 120], [0, 0, 65, 65, 0, 0])
    asked = np.where(t < 40.0, _hand(t), held)
    ride = _ride(t, asked, asked / 3.0)
    table = ride.table.copy()
    for name in ("battery_current_a", "phase_current_a"):
        table.loc[t >= 48.0, f"right.{name}"] = 0.0
    assert _signs(replace(ride, table=table))["demand_still"] == "top"


@pytest.mark.parametrize(("took_s", "how"), [(0.0, "jump"), (0.1, None), (0.5, "ramp")])
def test_a_hand_takes_its_time_and_a_filter_hardly_any(took_s, how):
    """From 60 % to rest in one row, in two (a filter), in half a second (a hand: a ramp of 0.1 to
    0.5 s, common practice, no source)."""
    t = clock(120.0, 20.0)
    stays = np.clip(1.0 - (t - 51.0) / max(took_s, 1e-9), 0.0, 1.0)
    away = (t >= 48.0) & (t < 54.0)
    asked = np.where(away, 60.0 * stays, _hand(t))
    assert _signs(_ride(t, asked, np.where(away, 0.0, asked / 3.0))).get("demand_leaves") == how


@pytest.mark.parametrize(("tail_a", "fall"), [((2.4, 2.2), "instant"), ((13.0, 7.0), "ramp")])
def test_a_tail_of_small_readings_is_no_ramp(tail_a, fall):
    """At 10 Hz: 20 A, two readings, nothing."""
    t = clock(120.0, 10.0)
    asked = _hand(t)
    amps = asked / 3.0
    at = int(np.searchsorted(t, 48.0))
    amps[at : at + 2] = tail_a
    amps[at + 2 : at + 40] = 0.0
    asked[at : at + 40] = 60.0
    assert _signs(_ride(t, asked, amps))["fall"] == fall


@pytest.mark.parametrize(("asked_for_s", "level"), [(0.0, None), (3.0, "clear")])
def test_a_cell_that_has_rested_says_nothing_of_what_opened_the_path_before(asked_for_s, level):
    """Braking is refused as soon as it is asked for, or after three seconds of it; the highest cell
    reads 4.05 V, its line is 4.25 V."""
    t = clock(160.0, 20.0)
    brakes = (t % CYCLE_S > 15.0) & (t % CYCLE_S < 19.5)
    asked = np.where(brakes, -60.0, _hand(t))
    lost = (t > 95.0 + asked_for_s) & (t < 100.0)
    amps = np.where(lost, 0.0, asked / 3.0)
    ride = _ride(t, asked, amps, cell_max_v=np.full(t.size, 4.05))
    setup = make_setup(bms={"cell_high_v": 4.25})
    found = _found(ride, bms=setup.bms)
    ((_, _, facts),) = [x for x in found if x[0].sign < 0]
    assert facts.signs.get("cell_high") == level


def _idle(t, *, off=(140.0, 190.0), coasts_mps=0.0, again_s=200.0):
    """Rides for 40 s and again from `again_s` on; stands or coasts between, supply away once."""
    rides = (t < 40.0) | (t > again_s)
    asked = np.where(rides, _hand(t), 0.0)
    speed = np.where(rides, 6.0, coasts_mps)
    ride = _ride(t, asked, asked / 3.0, speed=speed)
    table = ride.table.copy()
    gone = (t >= off[0]) & (t < off[1])
    for side in SIDES:
        table.loc[gone, f"{side}.battery_voltage_v"] = 20.0
        # The motors stand behind their freewheels.
        table.loc[~rides, f"{side}.wheel_speed_mps"] = 0.0
    return replace(ride, table=table)


@pytest.mark.parametrize(
    ("last_s", "course", "seen"),
    [
        # Away for most of the log.
        (900.0, {"off": (140.0, 860.0), "again_s": 880.0}, 1),
        # Supply comes back and nobody rides on.
        (230.0, {"again_s": 999.0}, 1),
        # It stays away to the end: that is the switch.
        (230.0, {"off": (140.0, 231.0), "again_s": 999.0}, 0),
        # The vehicle coasts, the motors stand: nothing was idle.
        (260.0, {"coasts_mps": 7.0}, 0),
    ],
)
def test_power_that_goes_while_idle_and_comes_back(last_s, course, seen):
    ride = _idle(clock(last_s, 10.0), **course)
    off = [x for x in _found(ride) if x[0].parts[0].how == "off"]
    assert [round(float(ride.time_s[x[0].begin])) for x in off] == [140] * seen


def test_fading_began_where_the_current_began_to_fall():
    """The setup says 90 to 110 °C; the controller's own reading takes the current away from 100 °C
    on, at 100 s, over 12 s. 20 A fit into the band's half until then."""
    t = clock(160.0, 20.0)
    asked = np.where((t > 60.0) & (t < 150.0), 60.0, np.where(t < 60.0, _hand(t), 0.0))
    part = np.clip(1.0 - np.clip(t - 100.0, 0.0, None) / 12.0, 0.0, 1.0)
    heat = np.interp(t, [0.0, 60.0, 100.0, 112.0, 160.0], [30.0, 80.0, 100.0, 110.5, 110.5])
    ride = _ride(t, asked, asked / 3.0 * part, **{f"{s}.motor_temp_c": heat for s in SIDES})
    limits = {"phase_drive_a": 60.0, "motor_derate_c": 90.0, "motor_stop_c": 110.0}
    ((loss, _, _), *_) = _found(ride, drive=limits)
    assert loss.faded
    assert ride.time_s[loss.begin] == pytest.approx(100.0, abs=0.7)


def test_two_holes_as_long_as_each_other_are_alike_only_where_both_began_at_work():
    """11 s each; the first while standing idle. One slip that falls into work is a slip."""
    t = clock(240.0, 20.0)
    for second, seen in ((31.0, 0), (45.0, 1)):
        keep = np.ones(t.size, bool)
        asked, speed = _hand(t), np.full(t.size, 6.0)
        for begin in (second, 105.0):
            keep &= ~((t > begin) & (t < begin + 11.0))
            after = (t >= begin + 5.0) & (t < begin + 18.0)
            asked, speed = np.where(after, 0.0, asked), np.where(after, 0.0, speed)
        if second == 31.0:
            idle = (t > 25.0) & (t <= 31.0)
            asked, speed = np.where(idle, 0.0, asked), np.where(idle, 2.0, speed)
        ride = _ride(t[keep], asked[keep], asked[keep] / 3.0, speed=speed[keep])
        starts = [float(ride.time_s[loss.begin]) for loss, _, _ in _found(ride)]
        assert any(abs(x - 105.0) < 0.2 for x in starts) is bool(seen)


def test_a_hand_that_eases_at_the_top_of_speed_takes_nothing_away():
    """A motor's current is what its own voltage leaves: 12 A for each m/s under 8.2 m/s. Full
    demand nears that speed, then the hand eases to 40 %, which gives 4 A where it is slow."""
    t = clock(400.0, 20.0)
    cycle = t % 40.0
    asked = np.interp(cycle, [0, 2, 3, 24, 26, 30, 30.2, 40], [0, 0, 100, 100, 40, 40, 0, 0])
    speed = np.where(cycle < 30.0, 8.2 - 5.2 * np.exp(-np.clip(cycle - 2.0, 0, None) / 5.0), 3.0)
    slow = (t > 240.0) & (cycle > 3.0) & (cycle < 30.0)
    asked, speed = np.where(slow, 40.0, asked), np.where(slow, 5.0, speed)
    amps = np.minimum(asked / 10.0, 12.0 * (8.2 - speed))
    duty = np.where(asked > 0, 97.0 * speed / 8.2, 0.0)
    amps = amps + np.random.default_rng(5).normal(0.0, 0.25, t.size)
    more = {f"{side}.duty_pct": duty for side in SIDES}
    assert _found(_ride(t, asked, amps, speed=speed, **more)) == []


@pytest.mark.parametrize(("ohm", "dip"), [(0.1, "no"), (0.9, "yes")])
def test_a_bus_that_dips_by_more_than_its_load_explains_has_a_bad_contact(ohm, dip):
    """40 A through the pack's own 0.1 ohm, then 60 A through it, or through 0.8 ohm more for the
    0.2 s before the controllers stop at 45 V: 2 V are the load's own, the rest is a contact's."""
    t = clock(120.0, 20.0)
    asked = _hand(t)
    lost = (t >= 48.0) & (t < 60.0)
    rises = (t >= 47.8) & (t < 48.0)
    amps = np.where(lost, 0.0, np.where(rises, 30.0, asked / 3.0))
    asked = np.where((t >= 47.8) & (t < 54.0), 90.0, asked)
    ride = _ride(t, asked, amps)
    table = ride.table.copy()
    for side in SIDES:
        table[f"{side}.battery_voltage_v"] -= np.where(rises, (ohm - 0.1) * 60.0 * 0.5, 0.0)
    signs = _signs(replace(ride, table=table), drive={"stop_at_v": 45.0})
    assert signs["bus"] == "rebound"
    assert signs["dip"] == dip


def test_a_try_that_draws_the_bus_down_opens_no_path():
    """After the loss two tries of 0.3 s draw the bus 8 V down, and it rises after each."""
    t = clock(120.0, 20.0)
    asked, lost = _hand(t), (t >= 48.0) & (t < 60.0)
    tries = ((t >= 49.0) & (t < 49.3)) | ((t >= 50.0) & (t < 50.3))
    asked = np.where((t >= 46.0) & (t < 53.0), 60.0, asked)
    ride = _ride(t, asked, np.where(tries, 20.0, np.where(lost, 0.0, asked / 3.0)))
    table = ride.table.copy()
    for side in SIDES:
        table[f"{side}.battery_voltage_v"] -= np.where(tries, 8.0, 0.0)
    assert _signs(replace(ride, table=table))["bus"] == "rebound"


def test_a_hand_that_sweeps_is_ahead_of_the_current():
    """From full braking to nothing to full drive in 0.4 s, four times; the current follows 0.2 s
    later and is near nothing for 0.15 s while a little braking is still asked."""
    t = clock(160.0, 20.0)
    cycle = t % 40.0
    asked = np.interp(
        cycle, [0, 2, 3, 14, 14.4, 20, 20.15, 20.4, 20.6, 32, 32.4, 40],
        [0, 0, 60, 60, -60, -60, -9, -9, 60, 60, 0, 0],
    )  # fmt: skip
    late = np.interp(t - 0.1, t, asked)
    amps = np.where((cycle > 20.2) & (cycle < 20.4), -0.1, late / 3.0)
    assert _found(_ride(t, asked, amps)) == []


def test_what_dwindled_while_the_hand_eased_is_not_lost_at_its_end():
    """No speed is logged. The current dwindles to a sixth over two seconds in which the hand eases;
    then 60 % in the last quarter of a second brings as little."""
    t = clock(200.0, 10.0)
    cycle = t % 40.0
    asked = np.interp(cycle, [0, 2, 3, 20, 24, 24.2, 40], [0, 0, 100, 100, 50, 0, 0])
    amps = np.interp(cycle, [0, 2, 3, 20, 23.95, 24.2, 40], [0, 0, 12, 11, 0.5, 0.1, 0])
    short = np.interp(cycle, [0, 2, 3, 18, 18.5, 40], [0, 0, 50, 50, 0, 0])
    asked, amps = np.where(t > 120.0, short, asked), np.where(t > 120.0, short / 5.0, amps)
    ride = _ride(t, asked, amps)
    names = [x for x in ride.table if x.endswith("_mps")]
    assert _found(replace(ride, table=ride.table.drop(columns=names))) == []

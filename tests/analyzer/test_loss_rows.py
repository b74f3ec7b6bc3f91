"""A loss at speeds the ride never visited before: made by hand, so when it begins is known."""

import numpy as np
from handmade import clock, make_ride, make_setup

from analyzer.loss_search import search_losses
from importers.setup_types import Drive

GONE_S, LET_GO_S = 70.0, 70.8


def test_a_vehicle_that_slows_into_new_speeds_with_the_demand_held_has_lost_its_drive():
    time_s = clock(90.0, 5.0)
    asked = (time_s >= 5.0) & (time_s < LET_GO_S)
    demand = np.where(asked, 45.0 + 3.0 * np.sin(time_s), 0.0)
    demand = np.where((time_s >= GONE_S) & asked, 50.0, demand)
    current = np.where(asked & (time_s < GONE_S), 0.4 * demand, 0.0)
    speed = np.clip(np.where(time_s < 5.0, 0.0, 8.6), 0.0, 8.6 - 6.0 * (time_s - GONE_S)).clip(0)
    channels = {"pack_voltage_v": 52.0 - 0.1 * current}
    for name in ("left", "right"):
        channels |= {
            f"{name}.battery_current_a": current,
            f"{name}.phase_current_a": 1.7 * current,
            f"{name}.throttle_pct": demand,
            f"{name}.wheel_speed_mps": speed,
        }
    losses, _ = search_losses(make_ride(time_s, channels), make_setup())
    assert len(losses) == 1
    assert abs(time_s[losses[0].first] - GONE_S) <= 0.25
    assert set(losses[0].drives) == {"left", "right"}


def test_an_axle_that_never_brakes_has_not_lost_its_braking():
    """The rear brakes with 12 A at every demand, the front never does; the setup gives the front no
    brake limit. Where it gives one, braking was asked for and did not come."""
    time_s = clock(120, 20)
    stops = (time_s % 20 > 14) & (time_s % 20 < 19)
    demand = np.where(stops, -60.0, np.where(time_s % 20 < 10, 60.0, 0.0))
    drive = np.where(demand > 0, 15.0, 0.1)
    made = {"gps_speed_mps": 6.0}
    for name, back in (("left", 0.1), ("right", -12.0)):
        made |= {
            f"{name}.throttle_pct": demand,
            f"{name}.battery_current_a": np.where(demand < 0, back, drive),
            f"{name}.wheel_speed_mps": 6.0,
        }
    ride = make_ride(time_s, made)
    free = make_setup(drives=(Drive("left"), Drive("right", battery_brake_a=15.0)))
    assert search_losses(ride, free)[0] == ()
    bound = make_setup(drives=(Drive("left", battery_brake_a=15.0), Drive("right")))
    losses, _ = search_losses(ride, bound)
    assert losses
    assert {one.sign for one in losses} == {-1}


def test_a_motor_pushed_beyond_its_top_speed_has_not_lost_its_drive():
    """Full demand over the crest: the speed passes what 28 V can turn (textbook back-EMF), current
    goes, and braking further down happens at speeds that no pull was seen at."""
    time_s = clock(90, 10)
    lap = time_s % 30
    speed = np.interp(lap, [0, 6, 12, 14, 17, 20, 26, 30], [0, 4, 4.3, 4.4, 4.6, 6.6, 6.6, 0])
    demand = np.interp(lap, [0, 0.2, 17, 19, 20, 26, 29, 30], [0, 99, 99, 50, -40, -40, -30, 0])
    amps = np.clip((0.95 * 28.5 - 0.62 * speed / 0.105) / 0.11, 0.0, 30.0)
    phase = np.where(demand > 0, np.minimum(amps, 0.3 * demand), 0.1 * demand)
    made = {
        "left.throttle_pct": demand, "left.phase_current_a": phase,
        "left.battery_current_a": phase * np.clip(speed / 4.6, 0.05, 1.0),
        "left.wheel_speed_mps": speed, "left.battery_voltage_v": 28.5 - 0.05 * phase,
    }  # fmt: skip
    setup = make_setup(drives=(Drive("left", battery_brake_a=4.0),))
    losses, _ = search_losses(make_ride(time_s, made, drives=("left",)), setup)
    assert losses == ()


def test_a_slope_that_outruns_a_motor_takes_no_drive_away():
    """Most of the ride at the motor's top speed, where little is known of less: over the crest the
    current dwindles with the voltage left (textbook back-EMF) while the speed still gains."""
    time_s = clock(60, 10)
    speed = np.interp(time_s, [0, 2, 6, 40, 43, 46, 60], [0, 0, 4.3, 4.35, 4.6, 6.0, 6.0])
    demand = np.interp(time_s, [0, 2, 2.2, 42.5, 44, 45, 60], [0, 0, 99, 99, 30, -40, -40])
    amps = np.clip((27.0 - 0.62 * speed / 0.105) / 0.25, 0.0, 18.0)
    phase = np.where(demand > 0, np.where(time_s < 2, 0.0, amps), 0.1 * demand)
    phase = phase + 0.1 * np.random.default_rng(1).standard_normal(600)
    made = {
        "left.throttle_pct": demand, "left.phase_current_a": phase,
        "left.battery_current_a": phase * np.clip(speed / 4.6, 0.05, 1.0),
        "left.wheel_speed_mps": speed,
    }  # fmt: skip
    setup = make_setup(drives=(Drive("left", battery_brake_a=4.0),))
    losses, _ = search_losses(make_ride(time_s, made, drives=("left",)), setup)
    assert losses == ()


def test_braking_that_is_cut_as_soon_as_it_began_is_lost():
    """Half a second of braking current in all the ride, then none at full demand for 20 s."""
    time_s = clock(90, 10)
    demand = np.interp(
        time_s, [0, 5, 5.5, 39, 39.5, 41, 60, 60.5], [0, 0, 60, 60, -15, -90, -90, 0]
    )
    rng = np.random.default_rng(1)
    phase = np.where(demand > 0, 15.0, 0.0)
    phase = np.where((demand < 0) & (time_s < 40.0), -4.0, phase)
    made = {
        "left.throttle_pct": demand,
        "left.phase_current_a": phase + 0.4 * rng.standard_normal(900),
        "left.battery_current_a": 0.9 * phase + 0.05 * rng.standard_normal(900),
        "left.wheel_speed_mps": np.interp(time_s, [0, 5, 9, 60, 66, 90], [0, 0, 5, 5, 0, 0]),
    }  # fmt: skip
    setup = make_setup(drives=(Drive("left", battery_brake_a=6.0),))
    (loss,), _ = search_losses(make_ride(time_s, made, drives=("left",)), setup)
    assert loss.parts[0].sign == -1
    assert abs(time_s[loss.first] - 40.0) <= 0.25


def _near_the_top(held_s: float, slows: float, ramp_s: float = 0.0):
    """Full demand at 92 % duty, then no current while the demand is held for `held_s`, and the
    vehicle slows by `slows` m/s in each of these seconds."""
    time_s = clock(120, 20)
    gone = time_s >= 80.0
    rests = (time_s < 10) | ((time_s % 25 > 20) & (time_s < 75)) | (time_s >= 80.0 + held_s)
    demand = np.convolve(np.where(rests, 0.0, 60.0), np.ones(7) / 7, "same")  # a hand's 0.3 s
    pull = np.clip((80.0 + ramp_s - time_s) / ramp_s, 0, 1) if ramp_s else ~gone
    noise_a = np.random.default_rng(2).normal(0.0, 0.05, time_s.size)
    current = demand / 3.0 * pull + noise_a
    speed = 8.5 - slows * np.clip(time_s - 80.0, 0, None).clip(max=3)
    speed = np.where(time_s < 10, 0.0, speed)
    made = {"pack_voltage_v": 52.0 - 0.2 * current, "gps_speed_mps": speed}
    for name in ("left", "right"):
        made |= {
            f"{name}.battery_current_a": current,
            f"{name}.phase_current_a": 1.2 * current,
            f"{name}.throttle_pct": demand,
            f"{name}.duty_pct": np.where(demand > 0, 92.0 * speed / 8.5, 0.0),
            f"{name}.wheel_speed_mps": speed,
        }
    return search_losses(make_ride(time_s, made), make_setup())[0]


def test_a_drive_lost_near_its_top_speed_is_lost():
    """At 92 % duty the motor's own voltage is near the supply's; 8 % slower there is room again
    (back voltage goes with speed), so the current that stays away was taken."""
    losses = _near_the_top(1.5, 0.6, ramp_s=0.7)
    assert len(losses) == 1
    assert set(losses[0].drives) == {"left", "right"}


def test_a_slope_that_carries_a_motor_past_its_top_takes_nothing_away():
    assert _near_the_top(3.0, -0.3, ramp_s=0.8) == ()

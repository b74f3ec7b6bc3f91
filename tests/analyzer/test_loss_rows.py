"""A loss at speeds the ride never visited before: made by hand, so when it begins is known."""

import numpy as np
from handmade import clock, make_ride, make_setup

from analyzer.loss_search import search_losses

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

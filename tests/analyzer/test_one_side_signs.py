"""Signs of a fault in one motor that the rider's hand or the loss itself can counterfeit.

Truth: rides made by hand, both drives switched off together by an interlock.
"""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.conditions import Conditions
from analyzer.loss_facts import Facts, around
from analyzer.loss_facts_drive import drive_signs
from analyzer.loss_search import search_losses

NOBODY = Conditions(None, None, None, None, None, None)
GONE_S = 80.0


def signs(wavers: float, held_s: float) -> dict[str, str]:
    """Both motors stop at 80 s; the demand wavers by so much (per cent, twice a second) in the
    seconds before, and is held for `held_s` after."""
    time_s = clock(130, 20)
    rng = np.random.default_rng(3)
    rests = (time_s < 10) | ((time_s % 25 > 20) & (time_s < 75)) | (time_s >= GONE_S + held_s)
    demand = np.convolve(np.where(rests, 0.0, 60.0), np.ones(7) / 7, "same")
    late = (time_s > GONE_S - 3.0) & (time_s < GONE_S)
    demand += wavers * late * np.sin(2 * np.pi * 2.5 * time_s)
    amps = np.convolve(demand / 3.0, np.ones(3) / 3, "same") * (time_s < GONE_S)
    speed = 6.0 - 0.05 * np.clip(time_s - GONE_S, 0.0, 9.0)
    made = {"pack_voltage_v": 52.0 - 0.2 * amps, "gps_speed_mps": speed}
    for name in ("left", "right"):
        made |= {
            f"{name}.battery_current_a": amps + rng.normal(0, 0.05, time_s.size),
            f"{name}.phase_current_a": 1.7 * amps + rng.normal(0, 0.05, time_s.size),
            f"{name}.throttle_pct": demand,
            f"{name}.wheel_speed_mps": speed,
        }
    losses, search = search_losses(make_ride(time_s, made), make_setup())
    assert len(losses) == 1
    facts = Facts()
    drive_signs(around(losses[0], search, NOBODY), facts)
    return facts.signs


def test_current_that_follows_a_wavering_hand_does_not_beat():
    assert signs(20.0, 1.5).get("beats") in ("no", None)


@pytest.mark.parametrize(("held_s", "told"), [(1.5, None), (9.0, "fails")])
def test_the_moments_of_the_loss_do_not_say_that_a_motor_fails_to_run(held_s, told):
    """Only one that is asked for drive again, rolling, three seconds and more later, does."""
    assert signs(0.0, held_s).get("rolling") == told

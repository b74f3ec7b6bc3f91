"""What a lower limit costs, against a balance of power worked by hand."""

import numpy as np
import pytest
from handmade import make_setup

from analyzer.conditions import Conditions
from analyzer.cost_of_limit import Hill, climb_cost, climbing_speed_mps, hill_at
from analyzer.less_current import less_current
from importers.setup_types import Drive

TRIKE = {"mass_kg": 310.0, "rolling_coefficient": 0.012, "drag_area_m2": 0.9}
REST_V, OHM = 61.2, 0.079
MILL_LANE = Hill(9.6, 400.0, "Mill Lane", 100.0, 200.0, 78.0, 0.2)


def trike(limit_a=28.0):
    drives = tuple(Drive(one, battery_drive_a=limit_a) for one in ("left", "right"))
    return make_setup(
        drives=drives, vehicle=TRIKE, bms={"discharge_rating_a": 40.0}, pack={"aux_a": 1.0}
    )


@pytest.mark.parametrize(("amps", "kmh"), [(52.6, 24.5), (35.0, 17.3)])
def test_speed_on_a_climb_by_hand(amps, kmh):
    # 0.8 x 52.6 A x (61.2 V - 52.6 A x 79 mohm = 57.0 V) = 2400 W. Against it 310 kg x 9.81 x
    # (0.0956 + 0.012 x 0.9954) = 327 N and, at 6.8 m/s, 1/2 x 1.2 x 0.9 x 6.8^2 = 25 N of air:
    # 352 N x 6.8 m/s = 2400 W, and 6.8 m/s is 24.5 km/h. Likewise 1636 W and 17.3 km/h for 35 A.
    speed = climbing_speed_mps(trike(), amps, 9.6, OHM, pack_rest_v=REST_V)
    assert 3.6 * speed == pytest.approx(kmh, abs=0.1)


def test_the_cost_in_words_is_that_balance():
    # 400 m at 24.52 and 17.3 km/h take 58.8 and 83.2 s: 24.5 s longer; at 0.2 K/s 5 K warmer.
    said = climb_cost(trike(), 52.6, 35.0, OHM, MILL_LANE, pack_rest_v=REST_V)
    assert said == (
        "Mill Lane (10 % on average) at about 17 km/h instead of 25, where the motors give that; "
        "some 25 s longer, and at the same motor current motors near 83 °C at the top instead of "
        "78."
    )


def test_no_mass_no_speed_but_the_part_of_the_power():
    setup = make_setup(drives=trike().drives, bms={"discharge_rating_a": 40.0})
    assert climb_cost(setup, 50.0, 35.0, OHM) == (
        "about 30 % less power where the battery limit governs."
    )
    assert climb_cost(setup, 35.0, 35.0, OHM) == ""


def test_a_place_between_climbs_is_told_on_the_usual_one():
    assert hill_at((MILL_LANE,), 150.0, 151.0) is MILL_LANE
    assert hill_at((MILL_LANE,), 250.0, 251.0).length_m is None


def test_a_loss_and_the_current_that_led_to_it_cost_the_same():
    state = Conditions(None, None, None, OHM, None, 310.0, (MILL_LANE,))
    at = {"start_s": 120.0, "end_s": 121.0, "rest_v": REST_V}
    do, cost = less_current(trike(), "drive", state, seen_a=52.6, **at)
    # (40 A less a tenth, less 1 A of lights) / 2 = 17.5 A
    assert "(battery_drive_a, now 28 A) to 17.5 A or less" in do
    assert "2 × 17.5 A and 1 A for lights make 36 A, 10 % under the BMS's rating of 40 A" in do
    assert "17 km/h instead of 25" in cost


def test_limits_that_would_do_are_not_lowered_further():
    state = Conditions(None, None, None, OHM, None, 310.0)
    low = trike(17.5)
    assert less_current(low, "drive", state, seen_a=35.5) == []
    assert less_current(low, "drive", state, seen_a=None) == []
    (told, _) = less_current(low, "drive", state, seen_a=52.6)
    assert "yet 52.6 A was seen: read the limits back" in told


def test_what_limits_overshoot_is_taken_off():
    state = Conditions(None, None, None, OHM, None, 310.0, (), 1.1)
    do, _ = less_current(trike(), "drive", state, seen_a=52.6)
    # 35 A / 1.1 / 2 = 15.9 A, as one sets it 15.5 A
    assert "to 15.5 A or less" in do
    assert "overshot by up to 10 % here" in do
    assert np.isfinite(state.drive_overshoot)

"""Drives' drag that rises with speed is not the air's: against the closed form."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from handmade import make_setup

from analyzer.estimate import Estimate
from analyzer.road_load import (
    DRAG_BAND_M2,
    RISING_DRAG,
    RISING_DRAG_SD,
    Fitted,
    _less,
    _rising_drag,
)
from importers.ride import Ride


def two_speeds(slow_mps: float, fast_mps: float) -> Ride:
    """As much way at one speed as at the other."""
    slow = np.full(300, slow_mps)
    fast = np.full(round(300 * slow_mps / fast_mps), fast_mps)
    speed = np.concatenate([slow, fast])
    table = pd.DataFrame({"time_s": np.arange(speed.size) * 1.0, "gps_speed_mps": speed})
    return Ride(table, ("left", "right"), ())


def test_a_straight_line_between_two_speeds_passes_for_air() -> None:
    # b v1 = c v1^2 + d and b v2 = c v2^2 + d give c = b / (v1 + v2): here 2 drives of 0.3 N per
    # m/s between 4 and 10 m/s, 0.6 / 14 = 0.0429 N s2/m2, a drag area of 2 c / 1.2 = 0.0714 m2;
    # at the median speed of 4 m/s the drives hold back c v^2 = 0.686 N more than the rolling says
    setup = make_setup()
    drives = len(setup.drives)
    rising = _rising_drag(two_speeds(4.0, 10.0), setup, 200.0, told_part=1.0)
    area = 2 * drives * RISING_DRAG / 14.0 / 1.2
    assert rising.area_m2[0] == pytest.approx(area, rel=0.01)
    assert rising.area_m2[1] == pytest.approx(area * RISING_DRAG_SD / RISING_DRAG, rel=0.01)
    more = drives * RISING_DRAG / 14.0 * 16.0 / (200.0 * 9.80665)
    assert rising.rolling[0] == pytest.approx(-more, rel=0.01)
    half = _rising_drag(two_speeds(4.0, 10.0), setup, 200.0, told_part=0.5)
    assert half.area_m2[0] == pytest.approx(0.5 * area, rel=0.01)


def test_the_interval_grows_by_what_is_not_known_of_it() -> None:
    # 0.70 +- 0.10 (95 %) less 0.07 +- 0.05 (sd): 0.63 +- sqrt(0.1^2 + (1.96 * 0.05)^2) = 0.140
    told = Fitted(Estimate(0.70, 0.60, 0.80), True, "ride")
    left = _less(told, (0.07, 0.05), DRAG_BAND_M2).estimate
    assert left.value == pytest.approx(0.63)
    assert left.half_width == pytest.approx(0.140, abs=1e-3)


def test_one_speed_alone_says_nothing_of_it() -> None:
    assert _rising_drag(two_speeds(5.0, 5.0), make_setup(), 200.0, 1.0).area_m2 == (0.0, 0.0)

"""How steep it may get is the same question whichever grade was asked about first."""

import numpy as np
import pytest
from handmade import make_setup

from analyzer.predict import HillAhead, even_hill, predict_hill
from importers.setup_types import Drive


def weak():
    drives = tuple(
        Drive(one, phase_drive_a=25.0, battery_drive_a=8.0, derate_from_v=45.0, stop_at_v=42.0)
        for one in ("left", "right")
    )
    return make_setup(drives=drives, vehicle={"mass_kg": 200.0})


def steepest(hill):
    return predict_hill(weak(), [], hill, seed=3, draws=40).works_up_to.grade_pct


@pytest.mark.parametrize("asked_pct", [0.0, 0.2])
def test_a_flat_road_is_no_steep_one_that_works(asked_pct):
    flat, hilly = (steepest(even_hill(one, 300.0, 80.0, 20.0)) for one in (asked_pct, 4.0))
    assert flat is not None
    assert hilly is not None
    assert flat.value == pytest.approx(hilly.value, abs=0.5)


def test_a_round_trip_has_no_grade_to_make_steeper():
    way = np.linspace(0.0, 800.0, 41)
    there_and_back = HillAhead(way, np.minimum(way, 800.0 - way) * 0.06, 80.0, 20.0, None)
    assert steepest(there_and_back) is None

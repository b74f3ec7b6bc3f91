"""Holes in the log while the ride went on, and holes that may be a cutout."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.gaps import find_log_gaps
from analyzer.words import Severity


def with_hole(before_mps, after_mps, seconds=4.0):
    t = np.concatenate([clock(30), 30 + seconds + clock(30)])
    speed = np.where(t < 30, before_mps, after_mps)
    return make_ride(t, {"speed_mps": speed, "pack_voltage_v": 50.0})


@pytest.mark.parametrize(
    ("before", "after", "gap"),
    [
        (6.0, 6.5, True),  # rode on
        (0.0, 0.0, True),  # stood
        (0.0, 6.0, True),  # set off meanwhile
        (6.0, 0.0, False),  # stands afterwards: power may have gone
        (20.0, 2.0, False),  # no brake does that in four seconds
    ],
)
def test_what_speed_says_on_both_sides(before, after, gap):
    events = find_log_gaps(with_hole(before, after), make_setup())
    assert len(events) == gap
    if gap:
        assert events[0].severity is Severity.NOTE
        assert events[0].measure("length_s") == pytest.approx(4.05)


def test_a_skipped_sample_is_no_gap():
    t = np.delete(clock(60), [200, 201, 700])
    ride = make_ride(t, {"speed_mps": 6.0})
    assert find_log_gaps(ride, make_setup()) == []

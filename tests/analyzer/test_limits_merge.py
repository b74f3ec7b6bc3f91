"""Limits over many rides: the hardest test counts, at the same setting, all conditions told."""

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.limits_merge import RideClimb, merge_limits, worst_ahead
from analyzer.ride_analysis import analyse_ride
from analyzer.words import Verdict
from importers.setup_types import Drive


def result_of(top_a, *, limit_a=28.0, rating_a=40.0):
    drives = tuple(Drive(name, battery_drive_a=limit_a) for name in ("left", "right"))
    setup = make_setup(drives=drives, bms={"discharge_rating_a": rating_a})
    amps = np.where(np.arange(1200) % 200 < 100, top_a / 2, 0.5)
    volts = 54.0 - 0.08 * 2 * amps
    ride = make_ride(
        clock(60, 20),
        {"left.battery_current_a": amps, "right.battery_current_a": amps, "pack_voltage_v": volts},
    )
    return analyse_ride(ride, setup)


def row(merged, key):
    return next(one for one in merged.limits if one.check.limit == key)


def test_the_hardest_ride_decides_and_is_named():
    merged = merge_limits([("a", result_of(20)), ("b", result_of(39)), ("c", result_of(30))])
    rating = row(merged, "bms.discharge_rating_a")
    assert rating.ride == "b"
    assert rating.check.verdict is Verdict.TOUCHED  # 39 of 40 A is 97.5 %
    assert rating.check.seen == pytest.approx(39, abs=0.2)
    # 20 A is 50 %, under the 60 % from which a rating counts as exercised.
    assert (rating.rides, rating.rides_exercised) == (3, 2)


def test_rides_with_another_setting_do_not_speak_for_this_one():
    merged = merge_limits([("old", result_of(50, limit_a=25.0)), ("new", result_of(20))])
    limit = row(merged, "drives.left.battery_drive_a")
    assert (limit.rides, limit.ride) == (1, "new")
    assert limit.check.verdict is Verdict.NOT_REACHED
    # The rating did not change: there the old ride counts.
    assert row(merged, "bms.discharge_rating_a").ride == "old"


def test_what_was_not_tried_becomes_the_next_ride():
    told = " ".join(merge_limits([("a", result_of(10, limit_a=19.0))]).next_ride)
    assert "bms.discharge_rating_a = 40 A" in told
    assert "stop if" in told
    assert "room to turn" in told
    high = " ".join(merge_limits([("a", result_of(10))]).next_ride)
    assert "First lower the battery limits" in high  # 2 x 28 A under a rating of 40 A
    assert "stop if" not in high


def test_no_ride_is_a_wrong_call():
    with pytest.raises(ValueError, match="at least one"):
        merge_limits([])


def test_fewer_than_fifty_climbs_say_nothing_of_the_worst_to_come():
    climb = result_of(20).climbs
    assert worst_ahead([RideClimb("a", one) for one in climb]) is None


def test_fifty_climbs_do():
    rng = np.random.default_rng(2)
    peaks = 30 + 5 * rng.exponential(size=60)
    from made.ride_results import made_result

    base = made_result().climbs[0]
    climbs = [RideClimb("a", replace(base, peak_pack_current_a=float(p))) for p in peaks]
    worst = worst_ahead(climbs)
    assert worst.climbs == 60
    assert worst.current_a.low <= worst.current_a.value <= worst.current_a.high
    assert worst.current_a.value >= peaks.max()

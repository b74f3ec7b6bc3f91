"""Limits over many rides: the hardest test counts, at the same setting, all conditions told."""

from dataclasses import replace

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.limits import LimitCheck, Tried
from analyzer.limits_merge import RideClimb, _over_all, governed_most_a, merge_limits, worst_ahead
from analyzer.ride_analysis import analyse_ride
from analyzer.words import LimitRole, Verdict
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


def check_of(**changes):
    base = dict(
        limit="drives.left.motor_stop_c", role=LimitRole.HEAT, set=100.0, unit="°C", seen=40.0,
        window_s=1.0, seen_10s=40.0, seen_60s=39.0, verdict=Verdict.NOT_EXERCISED,
        exercised_pct=40.0, tried=Tried(None, None, None, 1), text="40 °C.",
    )  # fmt: skip
    return LimitCheck(**(base | changes))


def test_each_window_has_the_most_of_any_ride():
    # the highest second on one ride, the highest minute on another: the contract's "most seen" is
    # each window's own
    amps = dict(limit="bms.discharge_rating_a", role=LimitRole.RATING, set=40.0, unit="A")
    start = check_of(**amps, seen=38.0, seen_10s=20.0, seen_60s=9.0, exercised_pct=95.0)
    climb = check_of(**amps, seen=30.0, seen_10s=29.0, seen_60s=28.0, exercised_pct=75.0)
    short = check_of(**amps, seen=10.0, seen_10s=None, seen_60s=None, exercised_pct=25.0)
    both = _over_all(start, [short, start, climb])
    assert (both.seen, both.seen_10s, both.seen_60s) == (38.0, 29.0, 28.0)
    assert both.tried.climbs == 3


def test_a_hotter_ride_in_warmer_air_is_told_beside_the_hardest_way():
    # of 100 degrees: 28 from 5 is 24 % of the way, 38 from 30 is 11 %; a rider asks for both
    cold = check_of(seen=28.0, exercised_pct=24.2, text="28 °C: 24 % of the way from 5 °C.")
    warm = check_of(seen=38.0, exercised_pct=11.4, text="38 °C: 11 % of the way from 30 °C.")
    told = _over_all(cold, [cold, warm])
    assert told.seen == 28.0
    assert "38 °C" in told.text
    assert _over_all(warm, [cold, warm]).text == warm.text


def many_climbs(count, ride="a", top=30.0):
    from made.ride_results import made_result

    base = made_result().climbs[0]
    peaks = top + 5 * np.random.default_rng(2).exponential(size=count)
    return [RideClimb(ride, replace(base, peak_pack_current_a=float(p))) for p in peaks]


def test_a_tail_does_not_reach_beyond_what_limiters_in_force_let_through():
    climbs = many_climbs(60)
    top = max(one.climb.peak_pack_current_a for one in climbs)
    free, held = worst_ahead(climbs), worst_ahead(climbs, top + 1.0)
    assert free.current_a.high > top + 1.0
    assert held.current_a.high == pytest.approx(top + 1.0)
    assert top <= held.current_a.value <= top + 1.0
    # a level that was passed all the same is no bound
    assert worst_ahead(climbs, top - 5.0).current_a.value == pytest.approx(top)


def test_what_limiters_let_through_is_known_only_when_each_was_at_work():
    # 2 x 24 A as far as 105 % and 1.0 A of lights: 51.4 A
    drives = tuple(Drive(name, battery_drive_a=24.0) for name in ("left", "right"))
    setup = make_setup(drives=drives, pack={"aux_a": 1.0})

    def at(drive, verdict):
        return check_of(limit=f"drives.{drive}.battery_drive_a", set=24.0, verdict=verdict)

    works = [at("left", Verdict.WORKS), at("right", Verdict.WORKS)]
    assert governed_most_a(works, setup) == pytest.approx(51.4)
    assert governed_most_a([works[0], at("right", Verdict.NOT_REACHED)], setup) is None
    assert governed_most_a([works[0], at("right", Verdict.OVERSHOOTS)], setup) is None


def test_climbs_under_other_limits_say_nothing_of_those_to_come():
    old, new = result_of(20, limit_a=28.0), result_of(20, limit_a=17.0)
    before = [one.climb for one in many_climbs(60, top=50.0)]
    after = [one.climb for one in many_climbs(60, top=30.0)]
    rides = [
        ("old", replace(old, climbs=tuple(before))), ("new", replace(new, climbs=tuple(after))),
    ]  # fmt: skip
    worst = merge_limits(rides).worst_ahead
    assert worst.climbs == 60
    assert worst.current_a.value < 60.0
    assert merge_limits([rides[0], ("new", replace(new, climbs=()))]).worst_ahead is None

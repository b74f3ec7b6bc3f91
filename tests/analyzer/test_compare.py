"""Two rides against each other: closed-form differences, and the sample's change of limits."""

from pathlib import Path

import pytest
from made.ride_results import made_result

from analyzer.compare import compare_rides, difference, match_climbs
from analyzer.estimate import Estimate

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def test_variances_add_and_zero_decides():
    # Half-widths 3 and 4 make 5 (Pythagoras): 6 is beyond chance, 4 is not.
    a = Estimate(10.0, 7.0, 13.0)
    far = difference("x_a", "A", a, Estimate(16.0, 12.0, 20.0))
    assert (far.change.low, far.change.high) == pytest.approx((1.0, 11.0))
    assert far.beyond_chance
    assert not difference("x_a", "A", a, Estimate(14.0, 10.0, 18.0)).beyond_chance
    assert difference("x_a", "A", a, None).change is None


def test_a_ride_against_itself_changed_in_nothing():
    one = made_result()
    result = compare_rides(one, one)
    assert result.setup_changes == ()
    assert len(result.climbs) == len(one.climbs)
    assert not any(change.beyond_chance for change in result.differences)
    assert all(c.change.value == 0 for c in result.differences if c.change is not None)


def test_climbs_of_another_shape_are_not_matched():
    from dataclasses import replace

    one = replace(made_result().climbs[0], hill=None)
    assert match_climbs([one], [replace(one, gain_m=2 * one.gain_m)]) == ()
    assert len(match_climbs([one], [replace(one, gain_m=1.05 * one.gain_m)])) == 1
    named = replace(one, hill="Mill Lane")
    assert match_climbs([named], [replace(named, hill="Other Lane")]) == ()


@pytest.fixture(scope="module")
def sample():
    from hillproof.jobs import analyse_ride

    logs = [str(one) for one in sorted((SAMPLES / "hill").glob("*.csv"))]
    before = analyse_ride(logs, str(SAMPLES / "setup.toml"))
    return compare_rides(before, analyse_ride([str(SAMPLES / "after" / "ride.csv")]))


def test_the_samples_change_of_limits_is_told(sample):
    # sample_logs/README.md: battery limits 29 -> 17 A driving, 7.5 -> 4 A braking.
    changes = {one.key: (one.before, one.after) for one in sample.setup_changes}
    assert changes["drives.left.battery_drive_a"] == (29.0, 17.0)
    assert changes["drives.right.battery_brake_a"] == (7.5, 4.0)


def test_and_what_came_of_it(sample):
    # At most 52 A before and 35.6 A after; braking 13.9 A before and at most 7 A after; left
    # carries 54 % before and 50 % after.
    found = {one.quantity: one for one in sample.differences}
    drawn = found["peak_pack_current_a"]
    assert drawn.beyond_chance
    assert drawn.change.value == pytest.approx(35.6 - 52.2, abs=1.5)
    assert found["peak_braking_current_a"].change.value < -5
    share = found["left.share_pct"]
    assert share.beyond_chance
    assert share.after.value == pytest.approx(50, abs=1.0)


def test_what_a_change_cost_is_told_from_the_differences():
    from analyzer.compare import SettingChange, cost_of

    change = SettingChange("drives.left.battery_drive_a", 29.0, 17.0)
    slower = difference(
        "Mill Lane: mean_speed_mps", "m/s", Estimate(6.0, 5.8, 6.2), Estimate(4.8, 4.6, 5.0)
    )
    same = difference(
        "energy_wh_per_km", "Wh/km", Estimate(20.0, 18.0, 22.0), Estimate(20.5, 18.5, 22.5)
    )
    text = cost_of([slower, same], [change])
    assert text == (
        "What it cost: speed on a climb -20 % (Mill Lane). Within what rides differ by chance: "
        "energy for a kilometre."
    )
    assert "do not tell" in cost_of([], [change])


def test_an_unchanged_build_ridden_twice_differs_in_nothing_beyond_chance():
    # The truth is the simulation's: same build, road and sensors, other traffic, wind and charge.
    import sys

    sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks" / "tables"))
    from compare_truth import pair_of

    from analyzer.ride_analysis import analyse_ride

    before, after = pair_of(3, "nothing")
    said = compare_rides(
        analyse_ride(before.ride, before.setup), analyse_ride(after.ride, after.setup)
    )
    assert said.climbs
    known = [one for one in said.differences if one.change is not None]
    assert len(known) > 10
    assert [one.quantity for one in known if one.beyond_chance] == []


def test_thirty_kilograms_more_show_in_the_energy_for_a_metre_climbed():
    import sys

    sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks" / "tables"))
    from compare_truth import pair_of

    from analyzer.ride_analysis import analyse_ride

    before, after = pair_of(3, "mass +30 kg")
    said = compare_rides(
        analyse_ride(before.ride, before.setup), analyse_ride(after.ride, after.setup)
    )
    (one,) = [x for x in said.differences if x.quantity == "climbs.energy_wh_per_m"]
    # Physics: lift and rolling go with mass, 275 / 245 = 1.12; air drag does not.
    assert one.after.value / one.before.value == pytest.approx(1.12, abs=0.06)
    assert one.change.low < 0.11 * one.before.value < one.change.high


def test_resistance_is_compared_at_the_temperature_both_rides_had():
    # The simulation's pack is a fifth more resistive after; at 25 degrees the interval of the way
    # there would hide it.
    import sys

    sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks" / "tables"))
    from compare_truth import pair_of

    from analyzer.ride_analysis import analyse_ride

    before, after = pair_of(5, "resistance +20 %")
    said = compare_rides(
        analyse_ride(before.ride, before.setup), analyse_ride(after.ride, after.setup)
    )
    (one,) = [x for x in said.differences if x.quantity == "resistance_10s_ohm"]
    assert one.beyond_chance
    assert one.after.value / one.before.value == pytest.approx(1.2, abs=0.08)


def test_resistance_at_far_temperatures_is_left_open():
    from dataclasses import replace

    one = made_result()
    warm = replace(one, ride=replace(one.ride, facts=replace(one.ride.facts, pack_temp_c=45.0)))
    table = one.ride.table.drop(columns=["pack_temp_c"], errors="ignore")
    cold = replace(
        one, ride=replace(one.ride, table=table, facts=replace(one.ride.facts, pack_temp_c=5.0))
    )
    warm = replace(warm, ride=replace(warm.ride, table=table))
    found = {x.quantity: x for x in compare_rides(cold, warm).differences}
    assert found["resistance_10s_ohm"].change is None

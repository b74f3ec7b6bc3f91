"""A power mode is no fault; one side lower than set is told as such. Plateaus made by hand."""

from __future__ import annotations

from dataclasses import replace

from made.ride_results import made_result

from analyzer.balance import InForce
from analyzer.estimate import Estimate
from analyzer.in_force_told import in_force_notes


def ridden(left_a: float | None, right_a: float | None):
    """The made ride, whose drives are set to 28 A each, with these plateaus."""

    def held(name: str, amps: float | None) -> InForce:
        seen = None if amps is None else Estimate(amps, 0.985 * amps, 1.015 * amps)
        return InForce(name, seen, None, None, None)

    return replace(made_result(), in_force=(held("left", left_a), held("right", right_a)))


def test_the_same_part_on_all_drives_is_a_power_mode():
    (note,) = in_force_notes([("one", ridden(19.6, 19.9))])
    assert "All drives saturate at about 71 %" in note.text
    assert "no fault by itself" in note.text


def test_one_side_lower_is_a_setting_that_is_not_in_force():
    (note,) = in_force_notes([("one", ridden(22.0, 28.1))])
    assert note.text.startswith("left saturates at 22.0 A, the setup says 28 A")
    assert "not in force" in note.text
    assert note.about == "in_force.left.battery_drive_a"


def test_what_overshoots_is_told():
    (note,) = in_force_notes([("one", ridden(31.5, 28.0))])
    assert "more than is set" in note.text


def test_as_set_or_never_seen_says_nothing():
    assert in_force_notes([("one", ridden(28.2, 27.7)), ("two", ridden(None, None))]) == ()


def test_the_same_on_many_rides_is_told_once():
    (note,) = in_force_notes([("one", ridden(19.6, 19.6)), ("two", ridden(19.6, 19.6))])
    assert note.text.endswith("(on 2 rides).")

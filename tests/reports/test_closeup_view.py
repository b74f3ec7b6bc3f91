"""A loss close up: what is in view, what is marked, how causes stand; the roadside card."""

import base64
from dataclasses import replace

import numpy as np
import pytest
from made.ride_results import CUTOUT_S, RESISTANCE_OHM, made_result, with_events

from analyzer.words import EventKind, Severity
from reports.card_view import roadside_card
from reports.closeup_view import AFTER_S, BEFORE_S, MOST_CLOSEUPS
from reports.closeup_view import closeups as closeups_of
from reports.panels import ride_panels


def closeups(result):
    return closeups_of(result, ride_panels(result))


def lines(figure, name):
    for one in figure["data"]:
        if one["name"] == name:
            return [np.frombuffer(base64.b64decode(one[axis]["bdata"]), "<f4") for axis in "xy"]
    raise AssertionError(name)


def test_the_seconds_around_the_loss_with_their_moments_in_order():
    (one,) = closeups(made_result())
    assert one.headline.startswith("Power went at 09:41:07 on Mill Lane")
    assert one.moments == (
        "a: 1.6 s before, current above the rating",
        "b: at 0 s, drive gone",
        "c: 9.0 s after, back",
    )
    assert one.figure["ends"] == [-BEFORE_S, CUTOUT_S[1] - CUTOUT_S[0] + AFTER_S]
    x, y = lines(one.figure, "pack")
    assert x[0] == pytest.approx(-BEFORE_S, abs=0.06)
    assert y[(x > -1.5) & (x < -0.1)].mean() == pytest.approx(53.6, abs=0.2)


def test_use_of_limits_is_per_cent_of_each():
    # 53.6 A of a 50 A trip and of a 40 A rating; the way from rest to 48 V is used by current
    # times resistance: worked from the made ride's own numbers.
    (one,) = closeups(made_result())
    x, used = lines(one.figure, "BMS trip")
    surge = (x > -1.5) & (x < -0.1)
    assert used[surge].mean() == pytest.approx(100 * 53.6 / 50, abs=0.5)
    x, used = lines(one.figure, "BMS rating")
    assert used[(x > -1.5) & (x < -0.1)].mean() == pytest.approx(100 * 53.6 / 40, abs=0.6)
    x, way = lines(one.figure, "way from rest to the stop voltage")
    rest = 65.4 - 1.5 * 606.3 / 1199.95
    wanted = 100 * RESISTANCE_OHM * 53.6 / (rest - 48.0)
    assert way[(x > -1.5) & (x < -0.1)].mean() == pytest.approx(wanted, abs=0.6)


def test_causes_keep_their_order_and_their_bars_their_length():
    causes = closeups(made_result())[0].causes
    assert [one.chance for one in causes] == ["93 %", "5 %", "2 %"]
    assert [one.bar_pct for one in causes] == [93, 5, 2]
    assert causes[0].advice.caution[0].startswith("The BMS did its job")


def test_loss_of_braking_comes_first_and_only_so_many_are_drawn():
    full = made_result()
    cutout = full.events[2]
    brake = replace(cutout, kind=EventKind.BRAKE_LOSS, start_s=700.0, end_s=701.0)
    many = tuple(replace(cutout, start_s=20.0 * i, end_s=20.0 * i + 1) for i in range(10))
    found = closeups(with_events(full, (*many, brake)))
    assert len(found) == MOST_CLOSEUPS
    assert found[0].headline.startswith("Motor braking went")


def test_a_loss_at_the_end_of_the_log_says_so():
    full = made_result()
    last = full.ride.time_s[-1]
    end = replace(full.events[2], start_s=last - 2.0, end_s=last)
    (one,) = closeups(with_events(full, (end,)))
    assert one.moments[-1].endswith("the log ends")


def test_one_drive_without_currents_still_gets_its_close_up():
    full = made_result(("motor",))
    table = full.table.drop(columns=["motor.battery_current_a", "motor.phase_current_a"])
    full = replace(full, ride=replace(full.ride, table=table))
    (one,) = closeups(full)
    names = {line["name"] for line in one.figure["data"]}
    assert "pack" not in names
    assert "measured" in names


def test_the_card_has_at_most_six_checks_and_this_builds_volts():
    card = roadside_card(made_result())
    assert len(card.checks) == 6
    text = " ".join(how for _, how in card.checks)
    assert "about 63.9 V" in text
    assert "Near 48.0 V" in text
    words = ("Smell, heat, browned", "Rest voltage", "Fuse", "Belt or chain", "Mechanical", "First")
    assert all(what.startswith(word) for (what, _), word in zip(card.checks, words, strict=True))


def test_no_loss_no_close_up():
    full = made_result()
    note = replace(full.events[3], severity=Severity.NOTE)
    assert closeups(with_events(full, (note,))) == ()

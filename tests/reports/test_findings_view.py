"""Findings as sentences: order of the paragraphs, numbers against limits, honest doubt."""

from dataclasses import replace

import pytest
from made.ride_results import made_result

from analyzer.events import Cause, Event, LimitRef, Peak
from analyzer.findings import Finding
from analyzer.words import EventKind, Severity, Verdict
from reports.advice import advice_of
from reports.findings_view import finding_view, findings_views, limit_sentence
from reports.headlines import event_headline

ORDER = ["Numbers", "Evidence", "Otherwise", "Do", "Cost", "Caution", "Not known"]
"""The order in which a first screen tells."""


def test_paragraphs_stand_in_the_order_of_the_first_screen():
    for view in findings_views(made_result()):
        labels = [part.label for part in view.parts]
        assert labels == [one for one in ORDER if one in labels]
    first = findings_views(made_result())[0]
    assert [part.label for part in first.parts] == ORDER


def test_at_most_five():
    full = made_result()
    many = replace(full, findings=full.findings * 3)
    assert len(findings_views(many)) == 5


@pytest.mark.parametrize("kind", EventKind)
@pytest.mark.parametrize("dressed", [True, False])
def test_every_kind_has_a_sentence(kind, dressed):
    full = made_result()
    event = Event(kind, 10.0, 12.0, ("left",), Severity.WATCH)
    if dressed:
        event = replace(
            event,
            peak=Peak("pack_current_a", -13.6, at_least=True),
            limit=LimitRef("pack.charge_rating_a", 10.5),
            causes=(Cause("unknown", 1.0),),
        )
    text = event_headline([event, event], replace(full, events=(event, event)))
    assert text.endswith(".")
    assert text[0].isupper() or text[0].isdigit()
    assert "None" not in text
    assert "nan" not in text
    assert "09:31:10" in text
    view = finding_view(Finding(kind.value, Severity.WATCH, (0,)), replace(full, events=(event,)))
    assert view.headline


@pytest.mark.parametrize("subject", ["limit", "balance", "setting", "pack", "not_tried", "good"])
def test_every_subject_has_a_sentence(subject):
    full = made_result()
    keys = ("drives.left.battery_drive_a",)
    view = finding_view(Finding(subject, Severity.NOTE, (), keys, ("left",)), full)
    assert view.headline.endswith(".")
    alone = made_result(("motor",))
    keys = ("drives.motor.battery_drive_a",)
    assert finding_view(Finding(subject, Severity.NOTE, (), keys, ("motor",)), alone).headline


def loss(probability, cause="bms_overcurrent_discharge", **changes):
    causes = (Cause(cause, probability), Cause("unknown", 1 - probability))
    return Event(
        EventKind.CUTOUT, 607.0, 616.0, ("left", "right"), Severity.ACT, causes=causes, **changes
    )


def test_doubt_is_said_in_the_headline():
    full = made_result()
    assert "because" in event_headline([loss(0.93)], full)
    assert "but only 45 % sure" in event_headline([loss(0.45)], full)
    assert "this ride does not tell" in event_headline([loss(0.9, "unknown")], full)
    one_side = replace(loss(0.93), drives=("left",))
    assert event_headline([one_side], full).startswith("Power went on left at")


def test_slow_channels_give_at_least():
    full = made_result()
    slow = replace(full.events[0], peak=Peak("pack_current_a", -13.6, at_least=True))
    assert "pushed at least 13.6 A" in event_headline([slow], full)


def test_an_empty_pack_and_too_much_current_are_different_sentences():
    full = made_result()
    sag = Event(
        EventKind.SAG,
        10.0,
        12.0,
        (),
        Severity.WATCH,
        Peak("pack_voltage_v", 51.9),
        LimitRef("drives.left.derate_from_v", 52.8),
        flavour="empty",
    )
    assert "near empty" in event_headline([sag], full)
    much = event_headline([replace(sag, flavour="too_much_current")], full)
    assert "too much current for this pack, not an empty one" in much
    assert "51.9 V, below the 52.8 V" in much


def test_remedies_split_by_mark_or_by_place():
    plain = advice_of(("set it", "slower", "try it first", "on the flat"))
    assert plain.do == ("Set it.",)
    assert plain.cost == ("Slower.",)
    assert plain.caution == ("Try it first.", "On the flat.")
    marked = advice_of(("Set it.", "Caution: look first.", "Cost: slower.", "Do: this too"))
    assert marked.do == ("Set it.", "This too.")
    assert marked.cost == ("Slower.",)
    assert marked.caution == ("Look first.",)
    assert advice_of(()).do == ()


def test_a_limit_beside_its_value_is_not_said_to_be_on_it():
    check = replace(made_result().limits[0], seen=39.98, verdict=Verdict.TOUCHED)
    assert limit_sentence(check) == "The BMS's discharge rating was touched: 39.98 A against 40 A."
    low = replace(check, limit="drives.left.stop_at_v", seen=47.5, set=48.0, unit="V")
    low = replace(low, verdict=Verdict.EXCEEDED)
    assert limit_sentence(low) == (
        "The left drive's stop voltage was passed: down to 47.5 V, 48 V is the line."
    )

"""The starter file has every key, parses, and stays in step with the contract's keys."""

import re
import tomllib

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from setup_maker import setup_of

from analyzer.setup_check import check_setup
from analyzer.words import Severity
from importers.errors import SetupError
from importers.setup_keys import TABLES
from importers.setup_new import QUESTIONS, answers_fault, new_setup_text

ASKED = {question.key: question for question in QUESTIONS}


def uncommented(text: str) -> str:
    """The starter with every example made live, but for the curve file it does not bring."""
    lines = []
    for line in text.split("\n"):
        live = re.sub(r"^# (?=(\[|[a-z_0-9]+ = ))", "", line)
        lines.append(line if "rest_voltage_curve" in line else live)
    return "\n".join(lines)


def test_starter_parses_and_says_every_key():
    text = new_setup_text()
    setup = setup_of(text)
    assert setup.drive_names == ("left", "right")
    for keys in TABLES.values():
        for key in keys:
            line = re.search(rf"^#? ?{key.name} = .*# .{{8,}}$", text, re.MULTILINE)
            assert line, key.path


def test_starter_holds_no_limit_that_nobody_gave():
    # An example that is live would be checked, and reported, as if it were this build's.
    live = tomllib.loads(new_setup_text())
    assert live["pack"] == {"chemistry": "nmc", "series": 14, "capacity_ah": 17.5}
    assert live["drives"] == {"left": {}, "right": {"same_as": "left"}}
    assert not any(live[table] for table in ("vehicle", "bms", "wiring", "logger"))


def test_examples_fit_together():
    setup = setup_of(uncommented(new_setup_text()))
    assert setup.hills[0].latitude_deg == 47.0
    assert setup.fault_words == (("7", "controller_overheat"),)
    worst = [f.message for f in check_setup(setup).findings if f.severity is not Severity.NOTE]
    assert worst == []


def test_answers_are_filled_in():
    text = new_setup_text(
        {
            "vehicle.name": 'the "big" one \\ 2',
            "pack.chemistry": "LFP",
            "pack.series": "16",
            "pack.capacity_ah": "17,5 Ah",
            "pack.in_service_since": "2031-03-01",
            "drives": "front, rear",
            "drives.battery_drive_a": "20",
        }
    )
    setup = setup_of(text)
    assert setup.vehicle.name == 'the "big" one \\ 2'
    assert (setup.pack.chemistry, setup.pack.series, setup.pack.capacity_ah) == ("lfp", 16, 17.5)
    assert setup.drive_names == ("front", "rear")
    assert [drive.battery_drive_a for drive in setup.drives] == [20.0, 20.0]


@pytest.mark.parametrize(
    ("key", "answer", "fine"),
    [
        ("pack.series", "14", True),
        ("pack.series", "14.5", False),
        ("pack.series", "", False),
        ("pack.capacity_ah", "17,5", True),
        ("pack.capacity_ah", "-3", False),
        ("pack.aux_a", "", True),
        ("pack.chemistry", "lifepo4", False),
        ("pack.in_service_since", "1.3.2031", False),
        ("drives", "left right", True),
        ("drives", "gps left", False),
        ("drives", "left left", False),
        ("drives.stop_at_v", "42 V", True),
    ],
)
def test_answers_are_checked(key, answer, fine):
    assert (ASKED[key].check(answer) is None) is fine


def test_answers_that_contradict_each_other():
    bad = {"pack.cell_full_v": "3.0", "pack.cell_empty_v": "4.0"}
    assert "swapped" in str(answers_fault(bad))
    with pytest.raises(SetupError):
        new_setup_text(bad)
    assert answers_fault({"pack.cell_full_v": "4.2", "pack.cell_empty_v": "3.0"}) is None


def test_every_key_is_asked_but_the_rare_ones():
    every = {key.path for keys in TABLES.values() for key in keys}
    assert {k for k in every if k not in ASKED} == {
        "pack.rest_voltage_curve",
        "drives.same_as",
        "drives.follows",
        "hills.name",
        "hills.latitude_deg",
        "hills.longitude_deg",
    }
    assert all(question.check(question.default) is None for question in QUESTIONS)


@settings(deadline=None)
@given(st.sampled_from(QUESTIONS), st.text(max_size=30))
@example(next(q for q in QUESTIONS if q.key == "pack.cell_empty_v"), "5")
def test_an_answer_that_passes_gives_a_setup(question, answer):
    """Or contradicts what the chemistry says of full and empty cells, which is told when asked."""
    if question.check(answer) is None and question.key != "pack.chemistry":
        partner = {"vehicle.driving_teeth": "driven_teeth", "vehicle.driven_teeth": "driving_teeth"}
        answers = {question.key: answer}
        if question.key in partner and answer.strip():  # teeth come in pairs
            answers[f"vehicle.{partner[question.key]}"] = "40"
        if question.key in ("pack.cell_full_v", "pack.cell_empty_v") and answers_fault(answers):
            assert "between empty" in str(answers_fault(answers))
            return
        setup_of(new_setup_text(answers))

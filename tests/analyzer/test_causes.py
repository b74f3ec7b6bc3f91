"""From signs to probabilities: what physics says comes first, what is missing widens."""

from __future__ import annotations

from dataclasses import replace

import pytest
from handmade import make_setup

from analyzer.causes.combine import MODELS, Seen, probabilities, together
from analyzer.words import CutoutCause
from importers.setup_types import Bms, Ports

BMS = {
    "kind": "drive",
    "who": "all",
    "order": "together",
    "bus": "collapse",
    "fall": "instant",
    "demand": "held",
    "discharge_trip": "used",
    "discharge_load": "above",
    "stop_at_v": "clear",
    "cell_low": "clear",
    "return": "after_rest",
    "log": "goes_on",
    "idle": "no",
}
PLAIN = {
    CutoutCause.BMS_OVERCURRENT_DISCHARGE: BMS,
    CutoutCause.SUPPLY_INTERRUPTED: BMS
    | {"discharge_trip": "clear", "discharge_load": "below", "flicker": "yes", "return": "blink"},
    CutoutCause.CELL_LOW_VOLTAGE: BMS
    | {"discharge_trip": "clear", "discharge_load": "below", "cell_low": "at", "charge": "low"},
    CutoutCause.UNDERVOLTAGE_STOP: BMS
    | {
        "discharge_trip": "clear",
        "discharge_load": "below",
        "bus": "rebound",
        "stop_at_v": "at",
        "band": "in",
        "fall": "faded",
        "charge": "low",
    },
    CutoutCause.INPUT_SIGNAL_LOST: BMS
    | {"discharge_trip": "clear", "discharge_load": "below", "bus": "rebound", "demand": "jump"},
    CutoutCause.MECHANICAL_DRIVE_LOST: {"kind": "drive", "who": "one", "road": "leaves"},
    CutoutCause.TEMPERATURE_SENSOR_FAULT: {
        "kind": "drive",
        "who": "one",
        "temp_wire": "broken",
        "motor_heat": "at",
        "bus": "rebound",
    },
    CutoutCause.MOTOR_OVERHEAT: {
        "kind": "drive",
        "who": "one",
        "temp_wire": "fine",
        "motor_heat": "at",
        "fall": "faded",
        "bus": "rebound",
    },
}
"""The plain case of a cause, as causes.md tells it."""


@pytest.mark.parametrize("cause", list(PLAIN))
def test_the_plain_case_puts_its_cause_first(cause):
    found = probabilities(PLAIN[cause], make_setup())
    assert next(iter(found)) is cause
    assert sum(found.values()) == pytest.approx(1.0)


def test_nothing_seen_names_nothing_surely():
    found = probabilities({}, make_setup())
    assert max(found.values()) < 0.3


def test_taking_the_deciding_signs_away_widens():
    less = {k: v for k, v in BMS.items() if k not in ("discharge_trip", "discharge_load")}
    full, bare = (probabilities(signs, make_setup()) for signs in (BMS, less))
    assert bare[CutoutCause.BMS_OVERCURRENT_DISCHARGE] < full[CutoutCause.BMS_OVERCURRENT_DISCHARGE]


def test_separate_ports_pass_no_charge_protection():
    setup = make_setup()
    apart = replace(setup, bms=Bms(ports=Ports.SEPARATE))
    found = probabilities({"kind": "brake", "jump": "yes", "charge_trip": "used"}, apart)
    assert CutoutCause.BMS_OVERCURRENT_CHARGE not in found
    assert CutoutCause.CELL_HIGH_VOLTAGE not in found


def test_a_code_of_the_riders_own_table_counts():
    setup = make_setup()
    signs = {"kind": "drive", "who": "one", "bus": "rebound"}
    told = probabilities(signs, setup, codes={CutoutCause.CONTROLLER_OVERHEAT: 3.5})
    assert (
        told[CutoutCause.CONTROLLER_OVERHEAT]
        > 3 * probabilities(signs, setup)[CutoutCause.CONTROLLER_OVERHEAT]
    )


def test_every_cause_of_the_contract_has_its_model_once():
    assert sorted(one.cause for one in MODELS) == sorted(CutoutCause)


def test_where_the_log_ends_with_the_loss_nothing_is_sure():
    """causes.md: log ends there, current high: the first at most 0.6."""
    found = probabilities(BMS | {"how": "log_end"}, make_setup())
    assert max(found.values()) == pytest.approx(0.6)
    assert sum(found.values()) == pytest.approx(1.0)


SLOW_STOP = {
    "kind": "drive", "who": "one", "how": "gone", "fall": "instant", "bus": "rebound",
    "speed": "still", "demand": "held", "alive": "yes", "return": "soon", "rolling": "runs",
    "jitter": "no", "beats": "no", "frozen": "no", "road": "keeps", "temp_wire": "fine",
}  # fmt: skip


def test_what_decides_in_one_loss_decides_in_the_others_of_the_same_drive() -> None:
    """A spike of motor current ties to an overcurrent (causes.md). A full current before the loss
    leans to it, too, but alone stays a split with the rotor sensor."""
    cause, rival = CutoutCause.PHASE_OVERCURRENT, CutoutCause.ROTOR_SENSOR_FAULT
    spiked = Seen(SLOW_STOP | {"phase": "spike"})
    full = Seen({k: v for k, v in SLOW_STOP.items() if k != "jitter"} | {"phase": "full"})
    setup = make_setup()
    (alone,) = together([full], setup)
    first, second = together([spiked, full], setup)
    assert alone == probabilities(full.signs, setup)
    assert alone[cause] < 0.6
    assert alone[rival] > 0.05
    assert second[cause] > 0.6
    for one in (first, second):
        assert sum(one.values()) == pytest.approx(1.0)


def test_a_later_loss_speaks_for_an_earlier_one_too() -> None:
    spiked, plain = Seen(SLOW_STOP | {"phase": "spike"}), Seen(SLOW_STOP | {"phase": "light"})
    setup = make_setup()
    before, _ = together([plain, spiked], setup)
    _, after = together([spiked, plain], setup)
    assert before == pytest.approx(after)

"""Every remedy against the list of advice that is never given, and its numbers by hand."""

import re

import numpy as np
from handmade import clock, make_ride, make_setup
from never_advised import forbidden

from analyzer.balance import Balance
from analyzer.conditions import Conditions
from analyzer.events import Cause, Event, LimitRef, Peak
from analyzer.remedies import balance_with_remedies, remedy_of
from analyzer.words import BalanceVerdict, EventKind, ImbalanceCause, Severity
from importers.setup_types import Drive

STATE = Conditions(None, None, None, 0.08, None, 310.0)


def ride_and_setup():
    drives = tuple(
        Drive(name, battery_drive_a=28.0, battery_brake_a=9.0, derate_from_v=46.0, stop_at_v=42.0)
        for name in ("left", "right")
    )
    setup = make_setup(
        drives=drives,
        pack={"aux_a": 1.0, "discharge_rating_a": 60.0, "charge_rating_a": 10.0},
        bms={"discharge_rating_a": 40.0, "charge_rating_a": 15.0},
    )
    n = 600
    amps = np.where(np.arange(n) < 300, 26.0, -8.0)
    ride = make_ride(
        clock(60, 10),
        {"left.battery_current_a": amps, "right.battery_current_a": amps, "speed_mps": 6.0},
    )
    return ride, setup


def event_of(kind, *, limit="bms.discharge_rating_a", flavour="", measures=()):
    return Event(
        kind, 5.0, 25.0, ("left", "right"), Severity.ACT, Peak("pack_current_a", 52.0),
        LimitRef(limit, 40.0), flavour=flavour, measures=measures,
    )  # fmt: skip


def every_remedy():
    ride, setup = ride_and_setup()
    measures = (("current_to_line_a", 30.0), ("highest_current_a", 45.0))
    for kind in EventKind:
        for flavour in ("", "empty", "too_much_current", "delay", "way"):
            for limit in (
                "bms.discharge_trip_a", "bms.charge_trip_a", "drives.left.stop_at_v",
                "drives.left.motor_stop_c",
            ):  # fmt: skip
                event = event_of(kind, limit=limit, flavour=flavour, measures=measures)
                yield from remedy_of(event, ride, setup, STATE)
    causes = tuple(Cause(one.value, 0.1) for one in ImbalanceCause)
    balance = Balance((), None, BalanceVerdict.UNEVEN, None, causes, 30.0)
    for cause in balance_with_remedies(balance).causes:
        yield from cause.remedy


def test_no_remedy_is_on_the_list_of_what_is_never_advised():
    texts = set(every_remedy())
    assert len(texts) > 12
    assert forbidden(texts) == []


def test_less_braking_always_comes_with_the_mechanical_brake():
    ride, setup = ride_and_setup()
    for kind in (EventKind.REGEN_OVER_RATING, EventKind.OVERVOLTAGE):
        texts = remedy_of(event_of(kind, limit="pack.charge_rating_a"), ride, setup, STATE)
        assert any("mechanical brake must hold the loaded vehicle" in one for one in texts)
        assert any("walking pace" in one for one in texts)


def test_the_limit_keeps_a_tenth_in_hand_after_the_lights():
    # 40 A less 10 % is 36 A, less 1 A for lights is 35 A, halved 17.5 A.
    ride, setup = ride_and_setup()
    texts = remedy_of(event_of(EventKind.DISCHARGE_OVER_RATING), ride, setup, STATE)
    told = float(re.search(r"to ([\d.]+) A or less", texts[0])[1])
    assert told <= 17.5
    assert 2 * told + 1.0 <= 0.9 * 40.0


def test_braking_is_held_to_the_lower_charge_rating():
    # 10 A less 10 % for two drives: 4.5 A each.
    ride, setup = ride_and_setup()
    texts = remedy_of(event_of(EventKind.REGEN_OVER_RATING), ride, setup, STATE)
    assert float(re.search(r"to ([\d.]+) A or less", texts[0])[1]) <= 4.5

"""What took power from several drives at once is one event where they share its cause."""

from handmade import make_setup

from analyzer.events import Cause, Event
from analyzer.power_reduced import _together
from analyzer.words import EventKind, Governor, Severity


def reduced(drive, start_s, end_s, cause, given_pct):
    return Event(
        EventKind.POWER_REDUCED, start_s, end_s, (drive,), Severity.WATCH,
        causes=(Cause(cause.value, 0.95), Cause("unknown", 0.05)),
        facts=(f"{drive} gave {given_pct} %.",), measures=(("given_pct", given_pct),),
    )  # fmt: skip


def test_low_voltage_on_both_drives_is_one_event_told_by_the_weaker():
    both = [
        reduced("left", 10.0, 20.0, Governor.VOLTAGE_DERATE, 60.0),
        reduced("right", 10.4, 21.0, Governor.VOLTAGE_DERATE, 40.0),
        reduced("left", 90.0, 95.0, Governor.VOLTAGE_DERATE, 70.0),
    ]
    first, second = _together(both, make_setup())
    assert (first.start_s, first.end_s, first.drives) == (10.0, 21.0, ("left", "right"))
    assert first.facts == ("right gave 40.0 %.",)
    assert second.drives == ("left",)


def test_heat_stays_with_the_drive_it_is_in():
    both = [
        reduced(drive, 10.0, 20.0, Governor.MOTOR_HEAT_DERATE, 60.0) for drive in ("left", "right")
    ]
    assert _together(both, make_setup()) == both

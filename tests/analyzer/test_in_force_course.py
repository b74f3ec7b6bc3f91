"""What was in force over months, on rides whose plateaus and settings are written down here."""

from datetime import UTC, datetime, timedelta

from analyzer.in_force_course import InForceKind, RideInForce, in_force_course
from analyzer.summary import SeenInForce
from reports.book_text import in_force_text

LEFT, RIGHT = "drives.left.battery_drive_a", "drives.right.battery_drive_a"


def ride(day, settings, **seen):
    """A ride on a day; what is seen is within 2 %, as a controller's own reading."""
    keys = {"left": LEFT, "right": RIGHT}
    told = tuple(SeenInForce(keys[k], (v, 0.98 * v, 1.02 * v)) for k, v in seen.items())
    when = datetime(2031, 5, 1, 9, tzinfo=UTC) + timedelta(days=day)
    return RideInForce(f"ride-{day}", when, settings, told)


OLD, NEW = {LEFT: 20.0, RIGHT: 20.0}, {LEFT: 28.0, RIGHT: 28.0}


def test_a_change_that_both_sides_took_is_dated():
    rides = [ride(0, OLD, left=20.1, right=19.8), ride(3, OLD, left=19.9, right=20.2),
             ride(7, NEW, left=28.2, right=27.8)]  # fmt: skip
    found = in_force_course(rides)
    assert [(one.ride, one.key, one.kind) for one in found] == [
        ("ride-7", LEFT, InForceKind.CAME),
        ("ride-7", RIGHT, InForceKind.CAME),
    ]
    assert found[0].last_before == "ride-3"


def test_a_change_saved_on_one_side_only():
    rides = [ride(0, OLD, left=20.1, right=19.8), ride(3, NEW, left=28.1, right=20.1),
             ride(5, NEW, left=27.9, right=19.9)]  # fmt: skip
    found = {one.key: one for one in in_force_course(rides)}
    assert found[LEFT].kind is InForceKind.CAME
    assert found[RIGHT].kind is InForceKind.NOT_CHANGED
    assert found[RIGHT].ride == "ride-3"
    assert found[RIGHT].others_follow == (LEFT,)
    assert "saved on one side only" in in_force_text(found[RIGHT])


def test_a_reset_after_an_update():
    rides = [*(ride(day, NEW, left=28.0, right=28.1) for day in (0, 4, 8)),
             *(ride(day, NEW, left=15.1, right=28.0) for day in (12, 15))]  # fmt: skip
    (only,) = in_force_course(rides)
    assert (only.ride, only.key, only.kind) == ("ride-12", LEFT, InForceKind.WENT)
    assert only.before_a == 28.0
    assert only.set_a == 28.0
    assert "28.0 → 15.1 A" in in_force_text(only)
    back = in_force_course([*rides, ride(20, NEW, left=28.1, right=28.0)])
    assert [one.kind for one in back] == [InForceKind.WENT, InForceKind.CAME]


def test_one_odd_plateau_is_not_believed():
    rides = [*(ride(day, NEW, left=28.0) for day in (0, 4)), ride(6, NEW, left=17.0),
             ride(9, NEW, left=28.1)]  # fmt: skip
    assert in_force_course(rides) == []


def test_never_in_force():
    found = in_force_course([ride(day, NEW, left=28.0, right=22.0) for day in (0, 4, 9)])
    assert [(one.key, one.kind, one.set_a) for one in found] == [(RIGHT, InForceKind.NEVER, 28.0)]
    assert found[0].others_follow == (LEFT,)


def test_a_power_mode_is_said_once():
    rides = [ride(day, NEW, left=28.0 if day % 4 < 2 else 14.0) for day in range(24)]
    assert [one.kind for one in in_force_course(rides)] == [InForceKind.VARIES]


def test_rides_that_never_reach_a_limit_say_nothing():
    assert in_force_course([ride(day, NEW) for day in range(5)]) == []
    assert in_force_course([]) == []

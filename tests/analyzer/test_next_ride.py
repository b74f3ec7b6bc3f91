"""The next ride, for each limit that was not tried: what it must name, and what it must not ask."""

from __future__ import annotations

import re

from handmade import make_setup
from made.ride_results import made_climb

from analyzer.limits import LimitCheck, Tried
from analyzer.next_ride import next_rides
from analyzer.words import LimitRole, Verdict
from importers.setup_types import Drive

TRIED = Tried((70.0, 95.0), (18.0, 22.0), (160.0, 160.0), 3)
DRIVE = {
    "phase_drive_a": 55.0, "phase_brake_a": 40.0, "battery_drive_a": 20.0, "battery_brake_a": 4.0,
    "derate_from_v": 46.2, "stop_at_v": 42.0, "motor_derate_c": 100.0, "motor_stop_c": 120.0,
}  # fmt: skip


def setup_of(**changes):
    given = DRIVE | changes
    return make_setup(
        drives=(Drive("left", **given), Drive("right", **given)),
        bms={"discharge_rating_a": 50.0, "charge_rating_a": 10.0, "discharge_trip_a": 75.0},
        vehicle={"mass_kg": 160.0},
    )


def untried(key, value, role, seen=1.0):
    unit = {"a": "A", "v": "V", "c": "°C"}[key.rsplit("_", 1)[1]]
    limiter = role is LimitRole.LIMITER
    verdict = Verdict.NOT_REACHED if limiter else Verdict.NOT_EXERCISED
    return LimitCheck(key, role, value, unit, seen, 1.0, seen, seen, verdict, 10.0, TRIED)


def all_untried():
    rows = [
        untried("bms.discharge_rating_a", 50.0, LimitRole.RATING),
        untried("bms.charge_rating_a", 10.0, LimitRole.RATING),
        untried("bms.discharge_trip_a", 75.0, LimitRole.TRIP),
    ]
    for name in ("left", "right"):
        for key, value in DRIVE.items():
            role = (
                LimitRole.HEAT
                if key.endswith("_c")
                else LimitRole.TRIP
                if key == "stop_at_v"
                else LimitRole.LIMITER
            )
            rows.append(untried(f"drives.{name}.{key}", value, role, 30.0))
    return rows


def test_every_untried_limit_is_in_one_ride_or_told_to_stay_untried() -> None:
    rows = all_untried()
    told = next_rides(rows, setup_of(), [made_climb(("left", "right"))])
    for row in rows:
        assert any(row.limit in text for text in told), row.limit


def test_a_ride_that_is_proposed_is_complete() -> None:
    # The issue: which grade, how long, at which charge and load, what to watch, when to stop,
    # with a way out.
    rides = [
        text
        for text in next_rides(all_untried(), setup_of(), [made_climb(("left", "right"))])
        if text.startswith("For ")
    ]
    assert len(rides) >= 4
    for text in rides:
        assert re.search(r"\d+ (to \d+ )?%", text), text
        assert re.search(r"for \d+ (s|minutes)", text), text
        assert "% charge" in text, text
        assert "the usual 160 kg" in text, text
        assert "Watch" in text, text
        assert re.search(r"stop|let go|brake mechanically", text), text
        assert "Way out:" in text, text


def test_the_climb_asks_what_the_rating_needs() -> None:
    # 2 x 20 A is all the limits give. At 0.9 x 58.8 V, 80 % to the road and 4 m/s: 423 N; less
    # 1.2 % rolling of 160 kg that is a slope of 0.258: beyond what is proposed, 20 %.
    (text,) = [one for one in next_rides(all_untried(), setup_of(), []) if "battery_drive_a" in one]
    assert "about 20 % for 60 s" in text
    assert "about 40 A together" in text


def test_limits_that_pass_a_rating_together_are_never_sent_up_a_hill() -> None:
    told = next_rides(all_untried(), setup_of(battery_drive_a=30.0, battery_brake_a=8.0), [])
    assert "First lower the battery limits: driving, they allow 60 A" in told[0]
    assert "First lower the battery limits: braking, they allow 16 A" in told[1]
    assert not any("at full demand, with" in text for text in told)
    assert not any("on the motors, with" in text for text in told)


def test_trips_are_never_sought_out() -> None:
    told = next_rides(all_untried(), setup_of(), [])
    (kept,) = [text for text in told if text.startswith("Not to be sought out")]
    for key in ("bms.discharge_trip_a", "drives.left.stop_at_v", "drives.right.motor_stop_c"):
        assert key in kept
        assert not any(text.startswith("For ") and key in text for text in told)


def test_nothing_is_proposed_once_all_was_tried() -> None:
    tried = Tried((20.0, 95.0), (2.0, 22.0), (160.0, 200.0), 3)
    rows = [
        LimitCheck("bms.discharge_rating_a", LimitRole.RATING, 50.0, "A", 40.0, 1.0, 40.0, 40.0,
                   Verdict.HOLDS, 80.0, tried)
    ]  # fmt: skip
    assert next_rides(rows, setup_of(), [made_climb(("left", "right"))]) == ()

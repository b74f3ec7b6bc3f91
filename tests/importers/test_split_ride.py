"""Logs that hold more than one ride: where they are cut, and what each part is."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from ride_logs import log_of
from setup_maker import TRIKE, setup_of

from importers.errors import LogError
from importers.log_table import LogTable
from importers.read_ride import join_ride
from importers.split_ride import PartKind, parts_of

SETUP = setup_of(TRIKE)
START = datetime(2031, 5, 4, 9, 0, tzinfo=UTC)


def riding(length_s: float) -> dict[str, np.ndarray]:
    time_s = np.arange(0, length_s, 0.1)
    moving = 5 + 3 * np.sin(time_s / 20)
    return {
        "time_s": time_s,
        "left.battery_voltage_v": 58 - 0.05 * moving,
        "left.battery_current_a": 12 * np.sin(time_s / 9) + 6,
        "left.wheel_speed_mps": moving,
        "gps_speed_mps": moving,
    }


def standing(length_s: float, current_a: float = 0.4, ground_mps: float = 0.0) -> dict:
    time_s = np.arange(0, length_s, 0.1)
    still = np.zeros(time_s.size)
    return {
        "time_s": time_s,
        "left.battery_voltage_v": still + 57.0,
        "left.battery_current_a": still + current_a + 0.02 * np.sin(time_s),
        "left.wheel_speed_mps": still,
        "gps_speed_mps": still + ground_mps,
    }


def after_one_another(*pieces: dict, pause_s: float = 0.0) -> pd.DataFrame:
    at = 0.0
    frames = []
    for piece in pieces:
        frame = pd.DataFrame(piece)
        frame["time_s"] += at
        at = float(frame["time_s"].iloc[-1]) + 0.1 + pause_s
        frames.append(frame)
    return pd.concat(frames, ignore_index=True)


def log(frame: pd.DataFrame) -> LogTable:
    columns = {str(one): frame[one].to_numpy() for one in frame if one != "time_s"}
    return log_of(frame["time_s"].to_numpy(), columns, role="all", file="day.csv", start=START)


def kinds(frame: pd.DataFrame) -> list[str]:
    return [str(one.kind) for one in parts_of(frame)]


def test_one_ride_with_stops_is_one_part() -> None:
    frame = after_one_another(standing(200), riding(400), standing(900), riding(300))
    assert kinds(frame) == ["ride"]


def test_a_ride_and_a_charge() -> None:
    frame = after_one_another(riding(600), standing(120), standing(1800, current_a=-4.0))
    assert kinds(frame) == ["ride", "charge"]


def test_long_braking_down_a_hill_is_no_charge() -> None:
    down = riding(900)
    down["left.battery_current_a"] = np.full(down["time_s"].size, -5.0)
    assert kinds(after_one_another(riding(300), down)) == ["ride"]


def test_a_trip_in_a_van() -> None:
    frame = after_one_another(standing(600, 0.1, ground_mps=15.0), riding(600))
    assert kinds(frame) == ["carried", "ride"]


def test_two_rides_a_long_pause_apart() -> None:
    assert kinds(after_one_another(riding(600), riding(300), pause_s=3 * 3600)) == ["ride", "ride"]


def test_the_ride_is_taken_and_the_charge_left_out_and_said() -> None:
    frame = after_one_another(standing(1800, current_a=-4.0), riding(600))
    out = join_ride([log(frame)], SETUP, typed=[None])
    assert out.time_s[0] == 0.0
    assert out.time_s[-1] == pytest.approx(600.0, abs=15.0)
    assert out.start is not None
    assert abs(out.start - START - timedelta(seconds=1800)) < timedelta(seconds=15)
    assert any("charged" in text for _, text in out.notes)


def test_several_rides_are_refused_with_their_number_and_times() -> None:
    frame = after_one_another(riding(600), riding(300), pause_s=3 * 3600)
    with pytest.raises(LogError, match=r"2 rides \(2031-05-04 09:0[01] to 09:10; "):
        join_ride([log(frame)], SETUP, typed=[None])


def test_nothing_but_standing_stays_whole() -> None:
    frame = standing(900)
    out = join_ride([log(pd.DataFrame(frame))], SETUP, typed=[None])
    assert len(out.table) == 9000
    assert PartKind.RIDE not in [one.kind for one in parts_of(out.table)]


def test_rests_beside_a_charge_belong_to_it() -> None:
    # They tell between which levels it went: without them a charge log says nothing.
    frame = after_one_another(standing(120), standing(1800, current_a=-4.0), standing(600))
    (part,) = parts_of(frame)
    assert (part.kind, part.begin, part.end) == (PartKind.CHARGE, 0, len(frame))


def test_a_rest_between_a_ride_and_a_charge_tells_both() -> None:
    frame = after_one_another(riding(600), standing(400), standing(1800, -4.0), standing(300))
    ride, charge = parts_of(frame)
    assert (ride.kind, charge.kind) == (PartKind.RIDE, PartKind.CHARGE)
    assert frame["time_s"].iloc[charge.begin] == pytest.approx(800, abs=15)
    assert (ride.begin, ride.end, charge.end) == (0, charge.begin, len(frame))


def test_charges_with_only_a_rest_between_are_one() -> None:
    one = standing(1800, -4.0)
    assert kinds(after_one_another(standing(60), one, standing(410), one)) == ["charge"]


def test_standing_before_a_ride_is_no_charge() -> None:
    assert kinds(after_one_another(standing(900), riding(300), standing(900))) == ["ride"]


def test_a_short_rest_stays_with_the_ride() -> None:
    frame = after_one_another(riding(600), standing(90), standing(1800, -4.0))
    ride, charge = parts_of(frame)
    assert frame["time_s"].iloc[charge.begin] == pytest.approx(690, abs=15)
    assert (ride.kind, charge.kind) == (PartKind.RIDE, PartKind.CHARGE)

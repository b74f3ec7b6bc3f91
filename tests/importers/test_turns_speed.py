"""Unmarked motor turns against speeds. The truth: the vehicle the ride was made with."""

from pathlib import Path

import numpy as np
import pytest
from ledger.made_ride import GEAR, WHEEL_M, make
from setup_maker import TRIKE, setup_of

from analyzer.quantities import wheel_speed_mps
from importers.log_file import read_log
from importers.look import look
from importers.read_ride import read_ride
from importers.setup_types import Setup

PAIRS = 4
RIDE = make(8, 1, 8.0, 10.0)
RPM = RIDE.drives[0]["motor_rpm"]
MPS = RPM / 60 / GEAR * np.pi * WHEEL_M


def setup(gear: float = GEAR) -> Setup:
    text = TRIKE.replace("series = 16", "series = 14")
    lines = []
    for line in text.splitlines():
        key = line.split("=")[0].strip()
        new = {"wheel_diameter_m": WHEEL_M, "gear_ratio": gear, "pole_pairs": PAIRS}.get(key)
        lines.append(line if new is None else f"{key} = {new}")
    return setup_of("\n".join(lines))


def logs(folder: Path, turns: np.ndarray, speed: np.ndarray | None) -> list[str]:
    """A controller's log with unmarked turns and, apart, a satellite's speed once a second."""
    drive = RIDE.drives[0]
    rows = ["time [s],battery voltage [V],battery current [A],motor rpm"]
    rows += [
        f"{t:.1f},{v:.2f},{i:.2f},{r:.0f}"
        for t, v, i, r in zip(
            RIDE.time_s, drive["battery_voltage_v"], drive["battery_current_a"], turns, strict=True
        )
    ]
    log = folder / "left.csv"
    log.write_text("\n".join(rows) + "\n", encoding="utf-8")
    out = [f"left={log}"]
    if speed is not None:
        rng = np.random.default_rng(1)
        rows = ["time [s],GPS speed [km/h],Latitude [deg],Longitude [deg]"]
        rows += [
            f"{t:.0f},{3.6 * v + rng.normal(0, 0.3):.1f},{47 + 1e-5 * n:.6f},8.000000"
            for n, (t, v) in enumerate(zip(RIDE.time_s[::10], speed[::10], strict=True))
        ]
        track = folder / "track.csv"
        track.write_text("\n".join(rows) + "\n", encoding="utf-8")
        out.append(f"gps={track}")
    return out


def of_turns(ride):
    return next(c for s in ride.sources for c in s.channels if c.channel == "left.motor_rpm")


def test_mechanical_turns_are_sure_once_another_log_has_the_speed(tmp_path: Path) -> None:
    ride = read_ride(logs(tmp_path, RPM, MPS), setup())
    reading = of_turns(ride)
    assert (reading.unit, reading.sure >= 0.95) == ("rpm", True)
    assert not any("motor rpm" in text for s in ride.sources for text in s.problems)


def test_electrical_turns_are_put_right_by_another_logs_speed_and_said(tmp_path: Path) -> None:
    ride = read_ride(logs(tmp_path, RPM * PAIRS, MPS), setup())
    assert of_turns(ride).unit == "electrical rpm"
    assert np.allclose(ride.get("left.motor_rpm"), RPM, atol=0.2, equal_nan=True)
    (told,) = [text for about, text in ride.notes if about == "left.motor_rpm"]
    assert 'channel = "left.motor_rpm", unit = "rpm"' in told
    speed = wheel_speed_mps(ride, setup(), "left")
    assert speed is not None
    assert np.nanmax(np.abs(speed.values - MPS)) < 0.05


def test_without_speed_and_with_one_drive_of_two_it_stays_in_doubt(tmp_path: Path) -> None:
    """What the pack gave is not known, so neither speed nor energy tells."""
    ride = read_ride(logs(tmp_path, RPM, None), setup())
    assert 0.5 < of_turns(ride).sure < 0.95


def test_a_wrong_gear_in_the_setup_is_said_and_nothing_changed(tmp_path: Path) -> None:
    ride = read_ride(logs(tmp_path, RPM, MPS), setup(gear=1.5 * GEAR))
    assert any("0.67 times the vehicle's speed" in text for _, text in ride.notes)
    assert np.allclose(ride.get("left.motor_rpm"), RPM, atol=0.6, equal_nan=True)


@pytest.mark.parametrize(("times", "unit"), [(1, "rpm"), (PAIRS, "electrical rpm")])
@pytest.mark.parametrize(("speed_unit", "factor"), [("km/h", 3.6), ("mph", 2.23694)])
def test_neither_speed_nor_turns_marked_one_pair_of_units_fits(
    tmp_path: Path, times: int, unit: str, speed_unit: str, factor: float
) -> None:
    drive = RIDE.drives[0]
    rows = ["time [s],battery voltage [V],battery current [A],motor rpm,wheel speed"]
    rows += [
        f"{t:.1f},{v:.2f},{i:.2f},{r * times:.0f},{factor * s:.2f}"
        for t, v, i, r, s in zip(
            RIDE.time_s, drive["battery_voltage_v"], drive["battery_current_a"], RPM, MPS,
            strict=True,
        )
    ]  # fmt: skip
    log = tmp_path / "left.csv"
    log.write_text("\n".join(rows) + "\n", encoding="utf-8")
    table = read_log(str(log), setup=setup(), role="left")
    read = {one.channel: one.unit for one in table.readings}
    assert read["motor_rpm"] == unit
    assert read["wheel_speed_mps"] == speed_unit


def test_look_at_several_logs_says_what_a_ride_of_them_would(tmp_path: Path) -> None:
    left, _ = look(logs(tmp_path, RPM * PAIRS, MPS), setup=setup())
    reading = next(one for one in left.channels if one.channel == "left.motor_rpm")
    assert (reading.unit, reading.sure) == ("electrical rpm", 0.985)
    assert any("counts electrical turns" in text for text in left.problems)

"""A clock set forward in mid-ride: planted into a ride whose true times are known."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from ledger.made_ride import make
from setup_maker import TRIKE, setup_of

from importers.clock_set import undo_set_clock
from importers.read_ride import read_ride

RIDE = make(21, 1, 12.0, 10.0)
COLUMNS = {name: np.round(values, 2) for name, values in RIDE.drives[0].items()}
SPEED = COLUMNS["wheel_speed_mps"]
MOVING = np.flatnonzero((SPEED[:-1] > 3) & (SPEED[1:] > 3))
STANDING = np.flatnonzero((SPEED[:-1] == 0) & (SPEED[1:] == 0))


@pytest.mark.parametrize("jump_s", [90.0, 3600.0, 86_400.0 * 3 + 1234.5])
@pytest.mark.parametrize("part", [0.2, 0.5, 0.8])
def test_a_jump_of_the_clock_alone_is_undone(jump_s: float, part: float) -> None:
    at = int(MOVING[int(part * MOVING.size)])
    logged = RIDE.time_s + np.where(np.arange(RIDE.time_s.size) > at, jump_s, 0.0)
    time_s, moved_s, told = undo_set_clock(logged, COLUMNS)
    assert time_s == pytest.approx(RIDE.time_s, abs=0.05)
    assert moved_s == pytest.approx(jump_s, abs=0.05)
    assert f"row {at + 2}" in told[0]


@pytest.mark.parametrize("pause_s", [90.0, 3600.0, 86_400.0])
@pytest.mark.parametrize("part", [0.2, 0.6])
def test_rows_that_are_missing_are_a_gap(pause_s: float, part: float) -> None:
    """The ride went on without being logged: 40 s later it is elsewhere in speed and current."""
    at, on = (int(MOVING[int(p * MOVING.size)]) for p in (part, part + 0.1))
    keep = np.r_[0 : at + 1, on : RIDE.time_s.size]
    logged = RIDE.time_s[keep] + np.where(np.arange(keep.size) > at, pause_s, 0.0)
    columns = {name: values[keep] for name, values in COLUMNS.items()}
    time_s, moved_s, told = undo_set_clock(logged, columns)
    assert time_s is logged
    assert (moved_s, told) == (0.0, [])


def test_a_rest_stays_a_rest() -> None:
    """In a log without heat: with it a motor of this ride had to cool."""
    at = int(STANDING[STANDING.size // 2])
    logged = RIDE.time_s + np.where(np.arange(RIDE.time_s.size) > at, 1800.0, 0.0)
    cold = {name: values for name, values in COLUMNS.items() if "temp" not in name}
    assert undo_set_clock(logged, cold)[0] is logged


@pytest.mark.parametrize("pause_s", [3600.0, 86_400.0 * 3])
def test_a_clock_set_at_a_halt_is_told_by_what_would_have_cooled(pause_s: float) -> None:
    """Newton's law of cooling: 30 K above the air are 11 K above it after one time constant. A
    real rest of that length is planted beside it."""
    at = int(STANDING[3 * STANDING.size // 4])
    assert COLUMNS["motor_temp_c"][at] > COLUMNS["motor_temp_c"].min() + 20
    logged = RIDE.time_s + np.where(np.arange(RIDE.time_s.size) > at, pause_s, 0.0)
    time_s, moved_s, told = undo_set_clock(logged, COLUMNS)
    assert time_s == pytest.approx(RIDE.time_s, abs=0.05)
    assert moved_s == pytest.approx(pause_s, abs=0.05)
    assert "would have cooled" in told[0]
    rested = dict(COLUMNS)
    for name in ("motor_temp_c", "controller_temp_c"):
        warm, air = COLUMNS[name].copy(), COLUMNS[name].min()
        lost = (warm[at] - air) * (1 - np.exp(-pause_s / 1800.0))
        warm[at + 1 :] -= lost * np.exp(-(RIDE.time_s[at + 1 :] - RIDE.time_s[at]) / 600.0)
        rested[name] = np.round(warm, 1)
    assert undo_set_clock(logged, rested)[0] is logged
    cold = {name: values for name, values in COLUMNS.items() if "temp" not in name}
    assert undo_set_clock(logged, cold)[0] is logged


def test_a_cruise_in_which_all_rows_are_alike_tells_nothing() -> None:
    flat = {
        "speed_mps": np.full(5000, 6.0),
        "battery_current_a": np.round(10 + 0.05 * np.sin(np.arange(5000.0)), 2),
        "battery_voltage_v": np.round(50 + 0.05 * np.sin(np.arange(5000.0)), 1),
    }
    logged = np.arange(5000) * 0.1 + np.where(np.arange(5000) > 2500, 900.0, 0.0)
    assert undo_set_clock(logged, flat)[0] is logged


def test_the_ride_begins_by_the_clock_once_it_was_set(tmp_path: Path) -> None:
    at = int(MOVING[MOVING.size // 4])
    true = datetime(2031, 5, 4, 9, 12)
    wrong = timedelta(days=40)
    rows = ["time,battery voltage [V],battery current [A],phase current [A],wheel speed [km/h]"]
    for n, second in enumerate(RIDE.time_s):
        shown = true + timedelta(seconds=float(second)) - (wrong if n <= at else timedelta())
        cells = [f"{COLUMNS[c][n]:.2f}" for c in ("battery_voltage_v", "battery_current_a",
                                                   "phase_current_a")]  # fmt: skip
        rows.append(",".join([shown.isoformat(), *cells, f"{3.6 * SPEED[n]:.2f}"]))
    log = tmp_path / "left.csv"
    log.write_text("\n".join(rows) + "\n", encoding="utf-8")
    ride = read_ride([f"left={log}"], setup_of(TRIKE))
    assert ride.time_s[-1] == pytest.approx(RIDE.time_s[-1], abs=0.2)
    assert ride.start is not None
    assert abs(ride.start.replace(tzinfo=None) - true) < timedelta(seconds=0.2)
    assert any("set forward by 40.0 days" in one for one in ride.sources[0].problems)

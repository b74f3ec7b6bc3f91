"""What looks like data and is not, put into a made ride whose truth is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from ledger.made_ride import make
from setup_maker import TRIKE, setup_of

from analyzer.ride_analysis import analyse_ride
from importers.absent_sensors import drop_absent
from importers.logger_limits import full_scale, undo_overflow
from importers.place_fixes import fixes_only
from importers.read_ride import read_ride
from importers.ride_file import read_ride_file, write_ride_file
from importers.total_current import odd_total

RIDE = make(11, 2, 8.0, 10.0)
ONE, TWO = RIDE.drives
AMPS = np.round(ONE["battery_current_a"], 2)


# --- overflow: the truth is the current before it went through the counter


@pytest.mark.parametrize("step", [0.01, 0.1])
def test_negatives_kept_without_sign_come_back(step: float) -> None:
    truth = np.round(AMPS / step) * step
    logged = np.where(truth < 0, truth + 65536 * step, truth)
    undone = undo_overflow(logged)
    assert np.allclose(undone.numbers, truth)
    assert "without sign" in undone.told


def test_a_signed_counter_that_ran_over_is_run_on() -> None:
    truth = np.round(AMPS / np.abs(AMPS).max() * 45_000)  # mA in 16 bits: over ±32.767 A
    truth = np.round(np.interp(np.arange(0, truth.size, 0.1), np.arange(truth.size), truth))
    logged = (truth + 32768) % 65536 - 32768
    undone = undo_overflow(logged)
    assert "other sign" in undone.told
    good = np.isfinite(undone.numbers)
    assert np.allclose(undone.numbers[good], truth[good])


@pytest.mark.parametrize("factor", [1.0, 1000.0, 2000.0])
def test_no_clean_current_is_touched(factor: float) -> None:
    for seed in range(5):
        clean = np.round(make(seed, 1, 4.0, 10.0).drives[0]["battery_current_a"] * factor, 2)
        assert undo_overflow(clean).numbers is clean


# --- full scale


def test_a_top_at_full_scale_is_the_loggers() -> None:
    truth, top = np.round(2 * AMPS, 1), 25.5
    found = full_scale(np.clip(truth, -top, top))
    assert found is not None
    assert found[0] == top
    assert np.array_equal(found[1], np.abs(truth) >= top)


def test_a_controllers_own_limit_is_no_full_scale() -> None:
    rng = np.random.default_rng(1)
    assert (
        full_scale(np.round(np.clip(AMPS, None, 30.0) + rng.normal(0, 0.1, AMPS.size), 1)) is None
    )
    assert full_scale(np.clip(np.round(AMPS, 1), None, 30.0)) is None


# --- absent sensors


def columns() -> dict[str, np.ndarray]:
    keys = ("battery_current_a", "battery_voltage_v", "motor_rpm", "controller_temp_c",
            "motor_temp_c", "duty_pct")  # fmt: skip
    out = {f"left.{k}": np.round(ONE[k], 1) for k in keys}
    return out | {f"right.{k}": np.round(TWO[k], 1) for k in keys}


def test_fitted_sensors_stay() -> None:
    out, told = drop_absent(RIDE.time_s, columns())
    assert not told
    assert all(np.array_equal(out[k], v) for k, v in columns().items())


@pytest.mark.parametrize("level", [0.0, 100.0])
@pytest.mark.parametrize("name", ["battery_current_a", "motor_rpm", "duty_pct"])
def test_what_never_moves_while_the_ride_does_is_missing(name: str, level: float) -> None:
    table = columns() | {f"left.{name}": np.full(AMPS.size, level)}
    out, told = drop_absent(RIDE.time_s, table)
    assert [one for one, _ in told] == [f"left.{name}"]
    assert np.isnan(out[f"left.{name}"]).all()


def test_copies_to_the_last_digit_are_missing() -> None:
    table = columns()
    table["right.battery_current_a"] = table["left.battery_current_a"].copy()
    table["left.motor_temp_c"] = table["left.controller_temp_c"].copy()
    _, told = drop_absent(RIDE.time_s, table)
    assert {one for one, _ in told} == {"right.battery_current_a", "left.motor_temp_c"}


def test_quiet_readings_that_are_alike_stay() -> None:
    # Two drives without any noise, as a sum halved: alike to the last bit, and no copy.
    t = RIDE.time_s
    half = 12.0 + 9.0 * np.sin(t / 7.0) + 4.0 * np.sin(t / 1.3)
    for shown in (half, np.round(half, 1), np.round(half)):
        table = columns() | {f"{one}.battery_current_a": shown.copy() for one in ("left", "right")}
        assert not drop_absent(t, table)[1]


def test_a_parked_vehicle_says_nothing_of_its_sensors() -> None:
    parked = {name: np.full(600, values[0]) for name, values in columns().items()}
    assert not drop_absent(np.arange(600.0), parked)[1]


# --- totals


def test_totals_are_told_by_arithmetic() -> None:
    left, right = AMPS, np.round(TWO["battery_current_a"], 2)
    sides = {"left.battery_current_a": left, "right.battery_current_a": right}
    assert odd_total(sides | {"pack_current_a": np.round(left + right, 1)}, 2) is None
    assert "times 2" in (odd_total(sides | {"pack_current_a": np.round(2 * left, 1)}, 2) or "")
    assert "itself" in (odd_total(sides | {"pack_current_a": left}, 2) or "")
    alone = {"battery_current_a": left, "pack_current_a": np.round(2 * left, 1)}
    assert "times 2" in (odd_total(alone, 2) or "")
    # The pack's own reading, lights included, from the same made ride.
    assert odd_total(sides | {"pack_current_a": RIDE.whole["pack_current_a"]}, 2) is None


# --- positions


def test_positions_before_the_fix_are_missing() -> None:
    lat, lon = RIDE.whole["latitude_deg"].copy(), RIDE.whole["longitude_deg"].copy()
    lat[:50], lon[:50] = 0.0, 0.0
    lat[50:90] += 0.05
    out, told = fixes_only(RIDE.time_s, {"latitude_deg": lat, "longitude_deg": lon})
    assert np.isnan(out["latitude_deg"][:90]).all()
    assert np.array_equal(out["latitude_deg"][90:], RIDE.whole["latitude_deg"][90:])
    assert len(told) == 2
    clean = {k: RIDE.whole[k] for k in ("latitude_deg", "longitude_deg")}
    assert not fixes_only(RIDE.time_s, clean)[1]


# --- braking that is not in the log reaches the limits, also from a kept ride


def test_lost_braking_is_not_checked_in_limits(tmp_path: Path) -> None:
    for name, drive in (("left", ONE), ("right", TWO)):
        amps = drive["battery_current_a"]
        logged = np.clip(amps, 0, None) if name == "left" else amps
        rows = np.column_stack(
            [RIDE.time_s, drive["battery_voltage_v"], logged, drive["motor_rpm"]]
        )
        head = "time [s],Battery voltage [V],Battery current [A],Motor speed [rpm]"
        np.savetxt(tmp_path / f"{name}.csv", rows, "%.2f", ",", header=head, comments="")
    setup = setup_of(TRIKE)
    logs = [f"{one}={tmp_path / one}.csv" for one in ("left", "right")]
    ride = read_ride(logs, setup)
    write_ride_file(ride, setup, tmp_path / "ride.parquet")
    for one in (ride, read_ride_file(tmp_path / "ride.parquet")[0]):
        result = analyse_ride(one, setup)
        judged = {check.limit for check in result.limits}
        assert "drives.left.battery_brake_a" not in judged
        assert "drives.right.battery_brake_a" in judged
        assert "drives.left.battery_drive_a" in judged
        assert any("left" in row.what and "not checked" in row.what for row in result.not_checked)

"""What the third corpus and the files made against the reader found: each as small as it gets.

Truth: the headers say in plain words what the columns are; values are made here.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from importers.errors import LogError
from importers.guess_name import name_guesses
from importers.guess_side import lettered
from importers.header_words import read_header
from importers.log_file import read_log
from importers.log_table import LogTable
from importers.setup_file import parse_setup
from importers.setup_types import Setup

ROWS = 300


def setup_with(*drives: str) -> Setup:
    tables = "\n".join(f"[drives.{one}]" for one in drives)
    text = f'[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 17.5\n{tables}\n'
    return parse_setup(text, "setup.toml")


def read_columns(folder: Path, columns: dict[str, np.ndarray], setup: Setup) -> LogTable:
    lines = [",".join(columns)]
    lines += [",".join(f"{v:.3f}" for v in row) for row in zip(*columns.values(), strict=True)]
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_log(str(path), setup=setup)


def two_drives(first: str, second: str) -> dict[str, np.ndarray]:
    t = np.arange(ROWS) / 10.0
    pull = 12.0 + 8.0 * np.sin(t)
    noise = np.random.default_rng(1).normal(0, 0.02, (4, ROWS))
    return {
        "time [s]": t,
        f"Batt Amps {first}": pull + noise[0],
        f"Batt Volts {first}": 55.0 - 0.1 * pull + noise[1],
        f"Controller Temp {first}": 30.0 + t / 10,
        f"Batt Amps {second}": 0.98 * pull + noise[2],
        f"Batt Volts {second}": 55.0 - 0.1 * pull + noise[3],
        f"Controller Temp {second}": 31.0 + t / 10,
    }


@pytest.mark.parametrize(("scale", "unit"), [(1, "°"), (1e7, "1e-7 °")])
def test_both_of_a_place_come_in_one_unit(tmp_path: Path, scale: float, unit: str) -> None:
    """7.9° in ten-millionths could be 79° in millionths; its latitude, 46.7°, could not."""
    t = np.arange(ROWS) / 10.0
    columns = {
        "time [s]": t,
        "battery current [A]": 12.0 + 8.0 * np.sin(t),
        "battery voltage [V]": 55.0 - 0.1 * np.sin(t),
        "lat": scale * (46.7 + 1e-5 * t),
        "lon": scale * (7.9 + 1e-5 * t),
    }
    found = {one.header: one for one in read_columns(tmp_path, columns, setup_with("hub")).readings}
    assert {found[one].unit for one in ("lat", "lon")} == {unit}
    assert min(found[one].sure for one in ("lat", "lon")) >= 0.95


def test_degrees_beside_ten_millionths_stay_degrees(tmp_path: Path) -> None:
    """Two sources in one log: 7.9 is a longitude as it stands, whatever the latitude's unit."""
    t = np.arange(ROWS) / 10.0
    columns = {
        "time [s]": t,
        "battery current [A]": 12.0 + 8.0 * np.sin(t),
        "battery voltage [V]": 55.0 - 0.1 * np.sin(t),
        "latitude [1e-7 deg]": 1e7 * (46.7 + 1e-5 * t),
        "longitude": 7.9 + 1e-3 * t,
    }
    found = {one.header: one for one in read_columns(tmp_path, columns, setup_with("hub")).readings}
    assert found["longitude"].unit == "°"


def test_two_voltages_of_unnamed_sides_stay_in_doubt_though_they_sag(tmp_path: Path) -> None:
    """Sides are called A and B: which is left no log can say."""
    table = read_columns(tmp_path, two_drives("A", "B"), setup_with("left", "right"))
    volts = [one for one in table.readings if str(one.channel).endswith("battery_voltage_v")]
    assert [one.sure < 0.95 for one in volts] == [True]


@pytest.mark.parametrize(
    ("header", "tick_s"),
    [("tick [10 ms]", 0.01), ("time (100 ms)", 0.1), ("time [0.01 s]", 0.01), ("t in 1/10 s", 0.1)],
)
def test_ticks_of_a_stated_length(tmp_path: Path, header: str, tick_s: float) -> None:
    """SI: 10 ms are 0.01 s."""
    t = np.arange(ROWS) * 0.2
    columns = {
        header: np.round(t / tick_s),
        "battery current [A]": 12.0 + 8.0 * np.sin(t),
        "battery voltage [V]": 55.0 - 0.1 * np.sin(t),
    }
    table = read_columns(tmp_path, columns, setup_with("hub"))
    assert np.allclose(table.time_s, t)


def test_letters_in_pairs_are_front_and_rear(tmp_path: Path) -> None:
    table = read_columns(tmp_path, two_drives("F", "R"), setup_with("front", "rear"))
    found = [one.channel for one in table.readings[1:]]
    names = ("battery_current_a", "battery_voltage_v", "controller_temp_c")
    assert found == [f"{side}.{name}" for side in ("front", "rear") for name in names]
    assert {one.unit for one in table.readings if "Temp" in one.header} == {"°C"}


def test_letters_stay_what_they_are_beside_left_and_right() -> None:
    headers = ["Temp F", "Temp R", "Amps F", "Amps R"]
    assert lettered(headers, ("left", "right")) == headers
    assert lettered([*headers, "Temp L"], ()) == [*headers, "Temp L"]
    assert lettered(["Motor Temp F", "Amps R"], ()) == ["Motor Temp F", "Amps R"]


def test_two_columns_much_alike_with_no_known_side_are_not_sure(tmp_path: Path) -> None:
    table = read_columns(tmp_path, two_drives("alpha", "omega"), setup_with("left", "right"))
    for one in table.readings[1:]:
        assert one.sure < 0.95, one


@pytest.mark.parametrize(
    ("header", "channel"),
    [
        ("Charge (%)", "state_of_charge_pct"),
        ("Charge %", "state_of_charge_pct"),
        ("charge left %", "state_of_charge_pct"),
        ("% throttle", "throttle_pct"),
        ("pedal (%)", "throttle_pct"),
        ("h [m]", "altitude_m"),
    ],
)
def test_headers_understood(header: str, channel: str) -> None:
    assert name_guesses(read_header(header))[0].channel == channel


def test_charge_with_another_unit_is_no_state_of_charge() -> None:
    for header in ("charge left [Ah]", "charge current (A)", "brake pedal (%)"):
        found = [one.channel for one in name_guesses(read_header(header))]
        assert not set(found) & {"state_of_charge_pct", "throttle_pct"}


def test_a_speed_beside_positions_alone_is_the_receivers(tmp_path: Path) -> None:
    t = np.arange(ROWS) / 2.0
    columns = {
        "time [s]": t,
        "latitude [deg]": 46.0 + t * 4e-5,
        "longitude [deg]": 7.0 + t * 2e-5,
        "ground speed [m/s]": 4.7 + 0.1 * np.sin(t),
    }
    table = read_columns(tmp_path, columns, setup_with("left", "right"))
    assert table.readings[3].channel == "gps_speed_mps"


def test_numbers_nobody_measures_are_missing_and_told(tmp_path: Path) -> None:
    columns = two_drives("left", "right")
    columns["Batt Amps left"][7:9] = 1e300
    table = read_columns(tmp_path, columns, setup_with("left", "right"))
    values = table.columns["left.battery_current_a"]
    assert np.isnan(values[7:9].astype(float)).all()
    assert int(np.isnan(values.astype(float)).sum()) == 2
    assert any("'Batt Amps left': 2 cells are no numbers" in one for one in table.problems)


def test_nanosecond_stamps_of_a_parquet_file_are_read(tmp_path: Path) -> None:
    columns = two_drives("left", "right")
    nanos = (np.arange(ROWS) * 100_000_001).astype("datetime64[ns]")
    cells = {"time": pa.array(nanos), **{k: v for k, v in columns.items() if k != "time [s]"}}
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table(cells), path)
    table = read_log(str(path), setup=setup_with("left", "right"))
    assert table.time_s[-1] - table.time_s[0] == pytest.approx((ROWS - 1) * 0.1, abs=1e-3)


def test_a_parquet_file_that_claims_far_more_than_it_holds_is_refused(tmp_path: Path) -> None:
    zeros = pa.array(np.zeros(12_000_000, np.float32))
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table({"time [s]": zeros}), path, compression="zstd")
    assert path.stat().st_size < 200_000
    with pytest.raises(LogError, match="12000000 rows"):
        read_log(str(path))

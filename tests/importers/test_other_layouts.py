"""Tables of other layouts: one signal a row, named values on a line, names under groups.

Truth: the same values as an ordinary table with a header, made here.
"""

import json
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from importers.errors import LogError
from importers.log_file import read_log
from importers.log_table import LogTable
from importers.look import raw_table_csv
from importers.read_ride import read_ride

SETUP = setup_of(TRIKE)
T = np.arange(400) / 10.0
PULL = 10.0 + 8.0 * np.sin(T)
VALUES = {
    "left battery current [A]": PULL,
    "right battery current [A]": 0.9 * PULL,
    "battery voltage [V]": 58.0 - 0.05 * PULL,
}
CHANNELS = {
    "left.battery_current_a": PULL,
    "right.battery_current_a": 0.9 * PULL,
    "pack_voltage_v": 58.0 - 0.05 * PULL,
}


def read(folder: Path, lines: list[str]) -> LogTable:
    path = folder / "log.txt"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_log(str(path), setup=SETUP)


def check(table: LogTable) -> None:
    np.testing.assert_allclose(table.time_s, T, atol=1e-6)
    for name, values in CHANNELS.items():
        np.testing.assert_allclose(np.asarray(table.columns[name], float), values, atol=0.006)


@pytest.mark.parametrize("apart_s", [0.0, 0.002])
def test_one_signal_a_row(tmp_path: Path, apart_s: float) -> None:
    lines = ["time [s],signal,value"]
    for k, t in enumerate(T):
        for n, (name, values) in enumerate(VALUES.items()):
            lines.append(f"{t + n * apart_s:.3f},{name},{values[k]:.2f}")
    check(read(tmp_path, lines))


def test_one_signal_a_row_dated_with_units_beside_and_a_slow_one(tmp_path: Path) -> None:
    lines = ["Zeit;Signal;Wert;Einheit"]
    began = datetime(2031, 5, 4, 9, 12)
    for k, t in enumerate(T):
        stamp = f"{began + timedelta(seconds=float(t)):%d.%m.%Y %H:%M:%S.%f}"[:-3]
        for name, values in VALUES.items():
            word, _, unit = name.partition(" [")
            lines.append(f"{stamp};{word};{values[k]:.2f};{unit[:-1]}")
        if k % 10 == 0:
            lines.append(f"{stamp};left motor temperature;{30 + k / 40:.2f};°C")
    table = read(tmp_path, lines)
    check(table)
    warm = np.asarray(table.columns["left.motor_temp_c"], float)
    np.testing.assert_allclose(warm[::10], 30 + np.arange(0, 400, 10) / 40, atol=0.006)
    assert np.isfinite(warm).sum() == 40
    assert table.start == began


def test_named_values_on_each_line(tmp_path: Path) -> None:
    names = ["left battery current", "right battery current", "battery voltage"]
    named = dict(zip(names, VALUES.values(), strict=True))
    lines = ["boot 3", "sd card found"] + [
        f"t={t:.1f} " + ", ".join(f"{name}={values[k]:.2f}" for name, values in named.items())
        for k, t in enumerate(T)
    ]
    check(read(tmp_path, lines))


def test_json_objects_on_each_line(tmp_path: Path) -> None:
    """RFC 8259; one within another is a name before the name."""
    lines = [
        json.dumps(
            {
                "elapsed s": round(float(t), 1),
                "left": {"battery current A": round(float(PULL[k]), 2)},
                "right": {"battery current A": round(float(0.9 * PULL[k]), 2)},
                "battery voltage V": round(float(58 - 0.05 * PULL[k]), 2),
            }
        )
        for k, t in enumerate(T)
    ]
    check(read(tmp_path, lines))
    assert raw_table_csv(str(tmp_path / "log.txt")).startswith("elapsed s,left battery current A,")


def test_an_ordinary_table_with_colons_and_equal_signs_stays_one(tmp_path: Path) -> None:
    """Times of day hold colons, notes may hold equal signs."""
    lines = ["time,left battery current [A],battery voltage [V],note"]
    for k in range(400):
        lines.append(f"9:12:{k // 10 % 60:02d}.{k % 10},{PULL[k]:.2f},57.5,gear=2")
    table = read(tmp_path, lines)
    assert [one.header for one in table.readings] == lines[0].split(",")


def test_names_under_groups(tmp_path: Path) -> None:
    lines = [",Left,,Right,,Pack", "time [s]," + "battery current [A],motor [rpm]," * 2 + "V"]
    for k, t in enumerate(T):
        amps = PULL[k]
        lines.append(f"{t:.1f},{amps:.2f},{100 + k},{0.9 * amps:.2f},{99 + k},{58 - amps / 20:.2f}")
    table = read(tmp_path, lines)
    check(table)
    assert table.readings[1].header == "Left battery current [A]"


def test_a_title_above_names_that_stand_twice_is_no_group(tmp_path: Path) -> None:
    lines = ["Sunday,,,", "time [s],battery current [A],battery voltage [V],battery voltage [V]"]
    lines += [f"{t:.1f},{PULL[k]:.2f},57.5,57.5" for k, t in enumerate(T)]
    assert read(tmp_path, lines).readings[1].header == "battery current [A]"


def test_names_that_say_nothing_ask_for_a_map(tmp_path: Path) -> None:
    lines = ["t,xa,xb"] + [f"{t:.1f},{PULL[k]:.2f},{PULL[k]:.1f}" for k, t in enumerate(T)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(LogError, match=r"no header in it says.*look \S+ --write-map map.toml"):
        read_ride([str(path)], SETUP)

"""A `pack current` in each drive's own log. Truth: rides of `tests/probe`, by another hand."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from ledger.third_logs import true_run
from probe.machine import setup_text

from importers.channel_map import read_map
from importers.log_file import read_log
from importers.look import look
from importers.read_ride import read_ride
from importers.setup_file import parse_setup

RUN = true_run("trike", 9)
SETUP = parse_setup(setup_text(RUN.machine), "setup.toml")
HEADER = "pack current (A)"


def logs_of(folder: Path, amps: dict[str, np.ndarray]) -> list[str]:
    paths = []
    for late, (drive, values) in enumerate(amps.items()):
        rows = np.arange(7 * late, RUN.t_s.size, 10)
        table = {
            "time (s)": RUN.t_s[rows] + 11.0 * late,
            HEADER: values[rows],
            "pack voltage (V)": RUN.col["bus_v"][rows],
            "phase current (A)": RUN.side[drive]["phase_a"][rows],
        }
        path = folder / f"{drive}.csv"
        pd.DataFrame(table).to_csv(path, index=False, float_format="%.3f")
        paths.append(str(path))
    return paths


def channels_of(paths: list[str]) -> list[str | None]:
    sources = look(paths, setup=SETUP)
    return [one.channel for file in sources for one in file.channels if one.header == HEADER]


def test_two_that_differ_are_the_drives_own(tmp_path: Path) -> None:
    paths = logs_of(tmp_path, {name: side["battery_a"] for name, side in RUN.side.items()})
    assert channels_of(paths) == ["left.battery_current_a", "right.battery_current_a"]
    table = read_ride(paths, SETUP).table
    assert "pack_current_a" not in table
    both = table["left.battery_current_a"] + table["right.battery_current_a"]
    given_ah = float(np.nansum(np.maximum(both, 0)) * 0.1 / 3600)
    drawn = sum(side["battery_a"] for side in RUN.side.values())
    assert given_ah == pytest.approx(np.maximum(drawn, 0).sum() / 360_000, rel=0.01)


def test_one_told_twice_is_the_packs(tmp_path: Path) -> None:
    paths = logs_of(tmp_path, dict.fromkeys(RUN.side, RUN.col["pack_a"]))
    assert channels_of(paths) == ["pack_current_a", "pack_current_a"]


def test_one_drives_log_alone_leaves_it_open(tmp_path: Path) -> None:
    paths = logs_of(tmp_path, {"left": RUN.side["left"]["battery_a"]})
    read = {one.header: one for one in read_log(paths[0], setup=SETUP).readings}[HEADER]
    assert read.channel == "pack_current_a"
    assert read.sure < 0.95


def test_a_map_wins(tmp_path: Path) -> None:
    paths = logs_of(tmp_path, {name: side["battery_a"] for name, side in RUN.side.items()})
    own = tmp_path / "map.toml"
    own.write_text(
        "".join(
            f'["{name}.csv"]\nrole = "{name}"\ntime = "time (s)"\n'
            f'channels."{HEADER}" = {{ channel = "pack_current_a", unit = "A" }}\n'
            'channels."pack voltage (V)" = { channel = "pack_voltage_v", unit = "V" }\n'
            for name in RUN.side
        ),
        encoding="utf-8",
    )
    assert read_map(str(own)).of(paths[0]) is not None
    ride = read_ride(paths, SETUP, map_file=str(own))
    assert "pack_current_a" in ride.table

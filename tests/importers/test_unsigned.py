"""Pack currents without sign: by words beside them, by the drives' own. Truth: a ride of
`tests/probe`, by another hand."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from ledger.third_logs import true_run
from probe.machine import setup_text

from importers.log_file import read_log
from importers.read_ride import read_ride
from importers.ride import Ride
from importers.setup_file import parse_setup

RUN = true_run("trike", 5)
SETUP = parse_setup(setup_text(RUN.machine), "setup.toml")
OUT_AH = float(np.maximum(RUN.col["pack_a"], 0).sum() / 360_000)
BACK_AH = float(np.maximum(-RUN.col["pack_a"], 0).sum() / 360_000)
WORDS = {
    "en": ("Charging", "Discharging"),
    "de": ("Laden", "Entladen"),
    "fr": ("charge", "décharge"),
    "es": ("carga", "descarga"),
    "it": ("carica", "scarica"),
}


def bms_log(folder: Path, amps: np.ndarray, words: np.ndarray | None = None, hz: int = 5) -> Path:
    rows = np.arange(0, RUN.t_s.size, 100 // hz)
    table = {
        "time [s]": RUN.t_s[rows],
        "pack voltage [V]": np.round(RUN.col["pack_v"][rows], 2),
        "pack current [A]": np.round(amps[rows], 2),
        "state of charge [%]": np.round(100 * RUN.col["soc"][rows], 1),
    }
    if words is not None:
        table["mode"] = words[rows]
    path = folder / "bms.csv"
    pd.DataFrame(table).to_csv(path, index=False)
    return path


def drives_log(folder: Path) -> Path:
    rows = np.arange(0, RUN.t_s.size, 5)
    table = {"time [s]": RUN.t_s[rows]}
    for name, side in RUN.side.items():
        table[f"{name} battery current [A]"] = np.round(side["battery_a"][rows], 2)
        table[f"{name} motor [rpm]"] = np.round(side["omega"][rows] * 30 / np.pi)
    table["controllers' battery voltage [V]"] = np.round(RUN.col["bus_v"][rows], 2)
    path = folder / "drives.csv"
    pd.DataFrame(table).to_csv(path, index=False)
    return path


@pytest.mark.parametrize("language", WORDS)
def test_a_word_beside_it_says_which_way_it_flows(tmp_path: Path, language: str) -> None:
    into, out = WORDS[language]
    words = np.where(RUN.col["pack_a"] < 0, into, out)
    table = read_log(str(bms_log(tmp_path, np.abs(RUN.col["pack_a"]), words)), setup=SETUP)
    amps = np.asarray(table.columns["pack_current_a"], np.float64)
    step_h = np.median(np.diff(table.time_s)) / 3600
    assert np.nansum(np.maximum(amps, 0)) * step_h == pytest.approx(OUT_AH, rel=0.03)
    assert np.nansum(np.maximum(-amps, 0)) * step_h == pytest.approx(BACK_AH, rel=0.05)
    assert any("'mode' says which way it flows" in one for one in table.problems)


def test_words_that_the_voltage_contradicts_change_nothing(tmp_path: Path) -> None:
    words = np.where(RUN.t_s % 40 < 20, "Charging", "Discharging")
    table = read_log(str(bms_log(tmp_path, np.abs(RUN.col["pack_a"]), words)), setup=SETUP)
    assert np.nanmin(np.asarray(table.columns["pack_current_a"], np.float64)) >= 0


def ride_with(folder: Path, amps: np.ndarray) -> Ride:
    logs = [str(drives_log(folder)), f"bms={bms_log(folder, amps)}"]
    return read_ride(logs, SETUP)


def test_beside_drives_that_know_better_it_is_left_out(tmp_path: Path) -> None:
    ride = ride_with(tmp_path, np.abs(RUN.col["pack_a"]))
    assert not ride.has("pack_current_a")
    told = [text for about, text in ride.notes if about == "pack_current_a"]
    assert len(told) == 1
    assert "counts what flows back as drawn" in told[0]


@pytest.mark.parametrize("kind", ["signed", "cut off at zero"])
def test_one_with_its_sign_or_cut_off_is_kept(tmp_path: Path, kind: str) -> None:
    amps = RUN.col["pack_a"]
    ride = ride_with(tmp_path, amps if kind == "signed" else np.maximum(amps, 0))
    assert ride.has("pack_current_a")

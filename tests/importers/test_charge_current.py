"""Battery currents from counters of charge. Truth: rides of `tests/probe`, by another hand, whose
charge is summed up row by row at 100 Hz here; and closed forms."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from ledger.third_logs import true_run
from probe.machine import setup_text

from importers.channel_map import map_text, read_map
from importers.charge_current import current_of_charge
from importers.log_file import read_log
from importers.log_table import LogTable
from importers.look import look
from importers.setup_file import parse_setup

RUN = true_run("trike", 7)
SETUP = parse_setup(setup_text(RUN.machine), "setup.toml")
ROWS = np.arange(0, RUN.t_s.size, 10)
SIDE = RUN.side["right"]
OUT_AH = np.cumsum(np.maximum(SIDE["battery_a"], 0)) / 360_000
BACK_AH = np.cumsum(np.maximum(-SIDE["battery_a"], 0)) / 360_000


def log_of(folder: Path, counters: dict[str, np.ndarray], digits: int = 5) -> Path:
    columns = {
        "time [s]": RUN.t_s[ROWS],
        "battery voltage [V]": RUN.col["bus_v"][ROWS],
        "motor speed [rpm]": SIDE["omega"][ROWS] * 30 / np.pi,
    }
    columns |= {name: np.round(values[ROWS], digits) for name, values in counters.items()}
    path = folder / "right.csv"
    pd.DataFrame(columns).to_csv(path, index=False)
    return path


def charges_ah(table: LogTable) -> tuple[float, float]:
    """What was given and what came back, by the currents read."""
    amps = np.asarray(table.columns["battery_current_a"], np.float64)
    step = np.diff(table.time_s)
    mean = amps[1:] * step / 3600.0
    mean = mean[np.isfinite(mean)]
    return float(mean[mean > 0].sum()), float(-mean[mean < 0].sum())


@pytest.mark.parametrize(
    "counters",
    [
        {"charge drawn [Ah]": OUT_AH, "charge returned [Ah]": BACK_AH},
        {"used charge [mAh]": 1000 * (OUT_AH - BACK_AH)},
        {"remaining charge [Ah]": 12.0 - OUT_AH + BACK_AH},
    ],
    ids=["drawn and returned", "both ways", "what is left"],
)
def test_the_charge_of_a_ride_comes_out(tmp_path: Path, counters: dict[str, np.ndarray]) -> None:
    table = read_log(str(log_of(tmp_path, counters)), setup=SETUP)
    given, back = charges_ah(table)
    assert given == pytest.approx(OUT_AH[-1], rel=0.03)
    assert back == pytest.approx(BACK_AH[-1], rel=0.05)
    told = [one for one in table.readings if one.channel == "battery_current_a"]
    assert len(told) == len(counters)
    assert all(0.5 < one.sure < 0.95 for one in told)


def test_a_counter_of_what_is_drawn_alone_says_nothing_of_braking(tmp_path: Path) -> None:
    table = read_log(str(log_of(tmp_path, {"charge drawn [Ah]": OUT_AH})), setup=SETUP)
    assert charges_ah(table)[0] == pytest.approx(OUT_AH[-1], rel=0.01)
    assert ("battery_current_a", -1) in [(one.channel, one.side) for one in table.unjudged]


def test_too_coarse_a_counter_tells_no_current(tmp_path: Path) -> None:
    """One step of 0.01 Ah is 36 A s: at a current of 0.5 A that takes over a minute."""
    table = read_log(str(log_of(tmp_path, {"charge drawn [Ah]": OUT_AH}, digits=2)), setup=SETUP)
    assert "battery_current_a" not in table.columns


def test_a_logged_current_is_not_replaced(tmp_path: Path) -> None:
    counters = {"battery current [A]": SIDE["battery_a"], "charge drawn [Ah]": OUT_AH}
    table = read_log(str(log_of(tmp_path, counters)), setup=SETUP)
    named = {one.header: one.channel for one in table.readings}
    assert named["battery current [A]"] == "battery_current_a"
    assert named["charge drawn [Ah]"] is None


def test_the_map_that_look_writes_reads_the_same_current(tmp_path: Path) -> None:
    path = log_of(tmp_path, {"charge drawn [Ah]": OUT_AH, "charge returned [Ah]": BACK_AH})
    kept = tmp_path / "map.toml"
    kept.write_text(map_text(look([f"right={path}"])), encoding="utf-8")
    mapped = read_log(str(path), setup=SETUP, mapping=read_map(str(kept)))
    unaided = read_log(str(path), setup=SETUP)
    np.testing.assert_array_equal(
        mapped.columns["battery_current_a"], unaided.columns["battery_current_a"]
    )


def test_a_steady_current_comes_back_and_a_new_beginning_is_missing() -> None:
    """Q = I t: 7.2 A over 100 s are 0.2 Ah; the counter begins anew at 60 s."""
    t = np.arange(0, 100, 0.1)
    ah = 7.2 * t / 3600.0
    ah[600:] -= ah[600]
    amps = current_of_charge(ah, t)
    good = np.isfinite(amps)
    assert good.mean() > 0.98
    np.testing.assert_allclose(amps[good], 7.2, rtol=1e-6)


def test_a_hole_in_the_log_is_not_bridged() -> None:
    t = np.concatenate([np.arange(0, 50, 0.1), np.arange(90, 140, 0.1)])
    ah = np.where(t < 60, 3.6, 36.0) * t / 3600.0
    amps = current_of_charge(ah, t)
    np.testing.assert_allclose(amps[:480], 3.6, rtol=1e-6)
    np.testing.assert_allclose(amps[520:], 36.0, rtol=1e-6)

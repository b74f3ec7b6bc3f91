"""Battery currents against counters of charge. Truth: rides of `tests/probe`, by another hand,
whose charge is summed up row by row at 100 Hz here."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from ledger.third_logs import true_run
from probe.machine import setup_text

from importers.log_file import read_log
from importers.log_table import LogTable
from importers.setup_file import parse_setup

RUN = true_run("kart", 6)
ROWS = np.arange(0, RUN.t_s.size, 10)
GIVEN = {d: np.cumsum(np.maximum(s["battery_a"], 0)) / 360_000 for d, s in RUN.side.items()}
BACK = {d: np.cumsum(np.maximum(-s["battery_a"], 0)) / 360_000 for d, s in RUN.side.items()}


def read(folder: Path, unit: str, scale: float, counters: dict[str, np.ndarray]) -> LogTable:
    columns = {"time [s]": RUN.t_s[ROWS]}
    for drive, side in RUN.side.items():
        columns[f"{drive} battery current{unit}"] = side["battery_a"][ROWS] * scale
        columns[f"{drive} battery voltage [V]"] = RUN.col["bus_v"][ROWS]
    columns |= {name: np.round(values[ROWS], 4) for name, values in counters.items()}
    log = folder / "ride.csv"
    pd.DataFrame(columns).to_csv(log, index=False, float_format="%.4f")
    return read_log(str(log), setup=parse_setup(setup_text(RUN.machine), "setup.toml"))


def currents(table: LogTable) -> list:
    return [one for one in table.readings if str(one.channel).endswith("battery_current_a")]


def anew(counted: np.ndarray) -> np.ndarray:
    """A counter that begins again half way."""
    half = counted.size // 2
    return np.where(np.arange(counted.size) < half, counted, counted - counted[half])


COUNTERS = {
    "each": {f"{d} Ah drawn": GIVEN[d] for d in GIVEN} | {f"{d} Ah charged": BACK[d] for d in BACK},
    "anew": {f"{d} Ah drawn": anew(GIVEN[d]) for d in GIVEN},
    "net": {"used [Ah]": 3.0 + sum(GIVEN.values()) - sum(BACK.values())},
    "left over": {"remaining [mAh]": 1000 * (20 - sum(GIVEN.values()) + sum(BACK.values()))},
}


@pytest.mark.parametrize("kind", COUNTERS)
@pytest.mark.parametrize(("scale", "unit"), [(1.0, "A"), (10.0, "dA"), (100.0, "cA")])
def test_a_unit_nobody_stated_is_told_by_the_charge(
    tmp_path: Path, kind: str, scale: float, unit: str
) -> None:
    found = currents(read(tmp_path, "", scale, COUNTERS[kind]))
    assert [one.unit for one in found] == [unit, unit]
    assert [one.sign for one in found] == [1, 1]


def test_without_a_counter_it_stays_in_doubt(tmp_path: Path) -> None:
    assert all(one.sure < 0.95 for one in currents(read(tmp_path, "", 1.0, {})))
    assert all(one.sure >= 0.95 for one in currents(read(tmp_path, "", 1.0, COUNTERS["each"])))


def test_a_stated_unit_that_the_charge_contradicts_is_not_sure(tmp_path: Path) -> None:
    table = read(tmp_path, " [A]", 10.0, COUNTERS["each"])
    assert all(0.5 < one.sure < 0.95 for one in currents(table))
    (line,) = [
        one for one in table.problems if one.startswith("'l battery current [A]' is read as")
    ]
    assert 'unit = "A"' in line
    assert 'unit = "dA"' in line


def test_a_counter_of_something_else_says_nothing(tmp_path: Path) -> None:
    lone = {"l Ah drawn": 2.3 * GIVEN["l"], "lamp Ah used": 0.0003 * RUN.t_s}
    with_it, without = (currents(read(tmp_path, " [A]", 1.0, one)) for one in (lone, {}))
    assert [one.sure for one in with_it] == [one.sure for one in without]

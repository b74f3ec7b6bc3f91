"""Every doubt prints the line that settles it, and that line, put into a map, does settle it."""

import re
from pathlib import Path

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from importers.channel_map import read_map
from importers.log_file import read_log
from importers.log_table import LogTable

SETUP = setup_of(TRIKE)
T = np.arange(0, 120, 0.2)
AMPS = 12 + 10 * np.sin(T / 5)
VOLTS = 60 - 0.1 * AMPS


def written(folder: Path, columns: dict[str, np.ndarray]) -> str:
    rows = [",".join(f"{one:.3f}" for one in row) for row in zip(*columns.values(), strict=True)]
    log = folder / "left.csv"
    log.write_text("\n".join([",".join(columns), *rows]) + "\n", encoding="utf-8")
    return str(log)


def again(folder: Path, log: str, lines: list[str]) -> LogTable:
    path = folder / "map.toml"
    path.write_text("\n".join(['["left.csv"]', *lines]) + "\n", encoding="utf-8")
    return read_log(log, setup=SETUP, mapping=read_map(str(path)), role="left")


def lines_in(problems: tuple[str, ...]) -> list[str]:
    """What the problems ask to be typed."""
    text = "\n".join(problems)
    return re.findall(r'channels\."[^"]+" = \{[^}]*\}|time = "[^"]+"', text)


@pytest.mark.parametrize(
    ("header", "values"),
    [
        ("speed", 20 + 5 * np.sin(T / 9)),  # no unit
        ("motor rpm", 3000 + 500 * np.sin(T / 9)),  # mechanical or electrical
        ("motor temp", 70 + T / 30),  # perhaps °F
        ("altitude", 300 + T / 3),  # no unit
    ],
)
def test_a_column_in_doubt_is_sure_once_its_own_line_is_in_a_map(
    header: str, values: np.ndarray, tmp_path: Path
) -> None:
    base = {"time [s]": T, "battery voltage [V]": VOLTS, "battery current [A]": AMPS}
    log = written(tmp_path, base | {header: values})
    table = read_log(log, setup=SETUP, role="left")
    mine = [one for one in lines_in(table.problems) if one.startswith(f'channels."{header}"')]
    assert mine, table.problems
    settled = again(tmp_path, log, mine[:1])
    reading = next(one for one in settled.readings if one.header == header)
    assert reading.channel is not None
    assert reading.sure == 1.0


def test_two_columns_that_claim_one_channel_name_each_other(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    base = {"time [s]": T, "battery voltage [V]": VOLTS, "battery current [A]": AMPS,
            "motor temp [°C]": 40 + T / 30,
            "motor temp 2 [°C]": 30 + T / 20 + rng.random(T.size)}  # fmt: skip
    log = written(tmp_path, base)
    lines = lines_in(read_log(log, setup=SETUP, role="left").problems)
    for header in ("motor temp [°C]", "motor temp 2 [°C]"):
        (mine,) = [one for one in lines if one.startswith(f'channels."{header}"')]
        settled = again(tmp_path, log, [mine])
        assert np.allclose(
            np.asarray(settled.columns["motor_temp_c"], float), base[header], atol=1e-3
        )


def test_a_clock_without_a_name_prints_its_line(tmp_path: Path) -> None:
    log = written(tmp_path, {"n": T, "battery voltage [V]": VOLTS, "battery current [A]": AMPS})
    lines = lines_in(read_log(log, setup=SETUP, role="left").problems)
    assert 'time = "n"' in lines
    settled = again(tmp_path, log, ['time = "n"', 'channels."battery voltage [V]" = '
                    '{ channel = "battery_voltage_v", unit = "V", sign = 1 }'])  # fmt: skip
    assert settled.time_s[-1] == pytest.approx(T[-1])


def test_the_scale_of_a_phase_current_is_taken_from_a_map(tmp_path: Path) -> None:
    base = {"time [s]": T, "battery voltage [V]": VOLTS, "phase current [A]": AMPS}
    log = written(tmp_path, base)
    for unit, factor in (("A", 1.0), ("A dc", 1.0), ("A rms", 1.5**0.5), ("A peak", 0.75**0.5)):
        line = f'channels."phase current [A]" = {{ channel = "phase_current_a", unit = "{unit}" }}'
        table = again(tmp_path, log, [line])
        assert np.allclose(
            np.asarray(table.columns["phase_current_a"], float), factor * AMPS, atol=2e-3
        )
        assert next(o for o in table.readings if o.channel == "phase_current_a").unit == unit

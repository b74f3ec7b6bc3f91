"""Logs of another pack, and of a pack on its charger. The truth: cells of known number."""

from pathlib import Path

import numpy as np
import pytest
from ledger.made_ride import SERIES, make
from rich.console import Console
from setup_maker import TRIKE, setup_of

from analyzer.ride_analysis import analyse_ride
from importers.errors import LogError
from importers.log_file import read_log
from importers.pack_cells import odd_pack
from importers.read_ride import read_ride, read_rides
from importers.setup_types import Setup
from importers.split_ride import PartKind
from reports.ride_view import ride_view
from reports.terminal import print_ride

RIDE = make(5, 1, 6.0, 10.0)
VOLTS = RIDE.drives[0]["battery_voltage_v"]


def setup(series: int = SERIES) -> Setup:
    return setup_of(TRIKE.replace("series = 16", f"series = {series}"))


def written(folder: Path, volts: np.ndarray) -> str:
    amps = RIDE.drives[0]["battery_current_a"]
    rows = [f"{t:.1f},{v:.2f},{i:.2f}" for t, v, i in zip(RIDE.time_s, volts, amps, strict=True)]
    log = folder / "left.csv"
    log.write_text("\n".join(["time [s],battery voltage [V],battery current [A]", *rows]) + "\n")
    return str(log)


def test_half_the_cells_are_refused_with_the_number_and_the_map_line(tmp_path: Path) -> None:
    log = written(tmp_path, VOLTS / 2)
    with pytest.raises(LogError) as caught:
        read_ride([f"left={log}"], setup_of(TRIKE.replace("series = 16", f"series = {SERIES}")))
    said = f"{caught.value.what} {caught.value.remedy}"
    assert "is no voltage of this pack" in said
    assert 'channel = "battery_voltage_v", unit = "V"' in said
    assert "pack.series" in said


@pytest.mark.parametrize(("cells", "word"), [(SERIES - 3, "above"), (SERIES + 5, "below")])
def test_a_pack_beyond_what_the_cells_hold_is_said(cells: int, word: str, tmp_path: Path) -> None:
    table = read_log(written(tmp_path, VOLTS - 4.0), setup=setup(cells), role="left")
    (told,) = [text for text in table.problems if "for most of the log" in text]
    assert f"it is {word}" in told
    assert "channels." in told
    assert ("battery_voltage_v", told.partition(": ")[2]) in table.notes


def test_the_setups_own_pack_is_not_doubted(tmp_path: Path) -> None:
    table = read_log(written(tmp_path, VOLTS), setup=setup(), role="left")
    assert not any("pack.series" in text for text in table.problems)


@pytest.mark.parametrize("cells", [SERIES - 1, SERIES, SERIES + 1])
def test_the_cells_own_voltages_count_the_cells(cells: int) -> None:
    columns = {
        "pack_voltage_v": np.round(VOLTS, 1),
        "cell_min_v": np.round(VOLTS / SERIES - 0.01, 3),
        "cell_max_v": np.round(VOLTS / SERIES + 0.01, 3),
    }
    told = odd_pack(columns, (), setup(cells))
    assert bool(told) is (cells != SERIES)
    assert all(f"it tells {SERIES} cells in series, the setup says {cells}" in t for _, t in told)


def charge(folder: Path, sign: int) -> str:
    """Constant current, then constant voltage: two hours on a charger, once a second."""
    rng = np.random.default_rng(3)
    time_s = np.arange(0, 7200.0)
    amps = np.where(time_s < 5400, 5.0, 5 * np.exp(-(time_s - 5400) / 900))
    amps += rng.normal(0, 0.01, time_s.size)
    volts = SERIES * (3.5 + 0.7 * np.minimum(time_s / 5400, 1) ** 0.8)
    rows = [f"{t:.0f},{v:.2f},{sign * i:.2f}" for t, v, i in zip(time_s, volts, amps, strict=True)]
    log = folder / "log.csv"
    log.write_text("\n".join(["Time [s],Battery voltage [V],Battery current [A]", *rows]) + "\n")
    return str(log)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_charge_in_a_build_of_two_drives_is_the_packs(sign: int, tmp_path: Path) -> None:
    ((kind, ride),) = read_rides([charge(tmp_path, sign)], setup())
    assert kind is PartKind.CHARGE
    assert ride.get("pack_current_a") is not None
    assert float(np.nanmax(ride.get("pack_current_a"))) < 0.1


def test_a_controllers_bare_log_is_no_charge(tmp_path: Path) -> None:
    table = read_log(written(tmp_path, VOLTS), setup=setup())
    assert "pack_current_a" not in table.columns


def test_a_ride_on_another_pack_says_so_before_its_findings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = written(tmp_path, VOLTS * 0.7)
    ride = read_ride([f"left={log}"], setup())
    assert [one.partition(":")[0] for one in ride.doubts] == ["left.battery_voltage_v"]
    result = analyse_ride(ride, setup())
    print_ride(result, Console(width=500))
    said = capsys.readouterr().out.splitlines()
    assert said[1].startswith("In doubt: left.battery_voltage_v")
    assert ride_view(result).doubts == ride.doubts


def test_a_ride_on_its_own_pack_has_no_such_doubt(tmp_path: Path) -> None:
    assert read_ride([f"left={written(tmp_path, VOLTS)}"], setup()).doubts == ()

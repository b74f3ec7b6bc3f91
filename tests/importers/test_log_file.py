"""One file as it comes: layouts, ids, maps, and what is said about it."""

from pathlib import Path

import numpy as np
import pytest
from ledger.corpus import MadeLog, made_log
from setup_maker import TRIKE, setup_of

from importers.channel_map import map_text, read_map
from importers.errors import LogError
from importers.log_file import read_log, read_raw
from importers.look import look
from importers.read_ride import read_ride

SETUP = setup_of(TRIKE)


def first_of(layout: str, start: int = 0) -> MadeLog:
    return next(made for seed in range(start, 400) if (made := made_log(seed)).layout == layout)


def written(folder: Path, made: MadeLog, name: str = "log.csv") -> str:
    path = folder / name
    path.write_bytes(made.data)
    return str(path)


@pytest.mark.parametrize("layout", ["wide", "one", "long"])
def test_each_layout_becomes_a_ride(tmp_path: Path, layout: str) -> None:
    made = first_of(layout)
    path = written(tmp_path, made)
    ride = read_ride([f"left={path}" if layout == "one" else path], SETUP)
    want = ("left",) if layout == "one" else ("left", "right")
    assert ride.drives == want
    for drive in want:
        assert ride.has(f"{drive}.battery_voltage_v")
        assert np.nanmedian(ride.get(f"{drive}.battery_voltage_v")) == pytest.approx(58, abs=6)


def long_file(folder: Path, ids: tuple[str, str]) -> str:
    rows = ["time [s],controller id,battery voltage [V],battery current [A]"]
    rng = np.random.default_rng(0)
    amps = np.repeat(rng.uniform(0, 30, 40), 10)
    for k in range(400):
        for at, one in enumerate(ids):
            volts = 58 - 0.08 * amps[k] + 0.01 * rng.normal()
            rows.append(f"{k * 0.1:.1f},{one},{volts:.2f},{amps[k] * (1 + 0.1 * at):.2f}")
    path = folder / "long.csv"
    path.write_text("\n".join(rows))
    return str(path)


def test_ids_that_name_drives(tmp_path: Path) -> None:
    ride = read_ride([long_file(tmp_path, ("right", "left"))], SETUP)
    left, right = ride.get("left.battery_current_a"), ride.get("right.battery_current_a")
    assert np.nanmean(left) == pytest.approx(1.1 * np.nanmean(right), rel=0.01)


def test_ids_without_names_are_taken_in_order_said_and_not_sure(tmp_path: Path) -> None:
    path = long_file(tmp_path, ("7", "9"))
    log = read_log(path, setup=SETUP)
    assert any('"7" = "left", "9" = "right"' in one for one in log.problems)
    (ids,) = [one for one in log.readings if one.header == "controller id"]
    assert ids.sure < 0.95
    ride = read_ride([path], SETUP)
    ratio = np.nanmean(ride.get("right.battery_current_a")) / np.nanmean(
        ride.get("left.battery_current_a")
    )
    assert ratio == pytest.approx(1.1, rel=0.01)


def test_a_written_map_reads_the_same_and_wins_when_edited(tmp_path: Path) -> None:
    path = written(tmp_path, first_of("wide"))
    sources = look([path], setup=SETUP)
    file = tmp_path / "map.toml"
    file.write_text(map_text(sources), "utf-8")
    plain, mapped = read_ride([path], SETUP), read_ride([path], SETUP, map_file=str(file))
    assert set(mapped.table.columns) == set(plain.table.columns)
    for name in plain.table:
        if plain.table[name].dtype != object:
            assert np.allclose(plain.table[name], mapped.table[name], equal_nan=True, rtol=1e-9)
    swapped = file.read_text("utf-8").replace('"left.', '"§').replace('"right.', '"left.')
    file.write_text(swapped.replace('"§', '"right.'), "utf-8")
    other = read_ride([path], SETUP, map_file=str(file))
    assert np.allclose(
        other.get("right.battery_current_a"), plain.get("left.battery_current_a"), equal_nan=True
    )


def test_a_map_with_faults_names_them_all(tmp_path: Path) -> None:
    file = tmp_path / "map.toml"
    file.write_text(
        '["a.csv"]\nrole = 3\ntyme = "t"\n'
        'channels."I" = { channel = "left.battery_currant_a", unit = "A", sign = 1 }\n'
        'channels."U" = { channel = "left.battery_voltage_v", unit = "furlong", sign = 2 }\n'
    )
    with pytest.raises(LogError) as caught:
        read_map(str(file))
    text = str(caught.value)
    for says in ("'role' must be text", "Did you mean 'time'", "battery_current_a", "furlong"):
        assert says in text
    assert "line 3" in text


def test_a_file_without_a_ride_is_shown_not_refused(tmp_path: Path) -> None:
    path = tmp_path / "people.csv"
    path.write_text("name,age\nAda,36\nGrace,45\n")
    (source,) = look([str(path)])
    assert [one.channel for one in source.channels] == [None, None]
    assert source.problems
    with pytest.raises(LogError, match="no column with a time"):
        read_log(str(path), setup=SETUP)


def test_an_empty_channel_beside_good_ones_is_a_problem_not_a_refusal(tmp_path: Path) -> None:
    rows = ["time [s],battery voltage [V],battery current [A],motor temperature [°C]"]
    rows += [f"{k * 0.1:.1f},{58 - 0.1 * (k % 9)},{k % 9}," for k in range(300)]
    path = tmp_path / "left.csv"
    path.write_text("\n".join(rows))
    ride = read_ride([str(path)], SETUP)
    assert not ride.has("left.motor_temp_c")
    assert any("empty" in one for one in ride.sources[0].problems)


def test_a_log_that_went_through_a_spreadsheet_is_told_so(tmp_path: Path) -> None:
    rows = ["time;battery voltage [V];battery current [A]"]
    for k in range(65_535):
        amps = "2. Mai" if k % 50 == 7 else f"{k % 9},5"
        rows.append(f"09:{k // 1200 % 60:02d};{58 - 0.1 * (k % 9):.1f};{amps}".replace(".", ",", 1))
    path = tmp_path / "left.csv"
    path.write_text("\n".join(rows).replace("2, Mai", "2. Mai"), "utf-8")
    text = " ".join(read_log(str(path), setup=SETUP).problems)
    for says in ("where spreadsheets cut", "numbers became dates", "cut to whole minutes"):
        assert says in text


def test_one_endless_line_is_refused_before_it_is_taken_apart(tmp_path):
    path = tmp_path / "one.csv"
    path.write_bytes(b"time [s],voltage [V]\n" + b"1,50," * 2_000_000)
    with pytest.raises(LogError, match="longer than 4 MB"):
        read_raw(str(path))


def test_zeros_that_a_logger_set_aside_are_no_line(tmp_path):
    path = tmp_path / "card.csv"
    rows = b"".join(b"%d,50.%d\n" % (k, k % 10) for k in range(100))
    path.write_bytes(b"time [s],voltage [V]\n" + rows + bytes(6 << 20))
    assert read_raw(str(path)).rows == 100

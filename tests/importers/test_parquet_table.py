"""The same table as Parquet and as CSV reads the same; damage is told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
import pytest
from setup_maker import TRIKE, setup_of

from importers import parquet_table, thin_text
from importers.errors import LogError
from importers.log_file import read_log
from importers.parquet_table import parquet_cells, read_parquet_table

ROWS = 60
TABLE = pa.table(
    {
        "time [s]": np.arange(ROWS) / 10,
        "left battery current [A]": np.linspace(-5, 25, ROWS),
        "left battery voltage [V]": 58 - 0.1 * np.linspace(-5, 25, ROWS),
        "right battery current [A]": np.linspace(-4, 24, ROWS),
        "right battery voltage [V]": 58 - 0.1 * np.linspace(-5, 25, ROWS),
    }
)


def test_parquet_and_csv_give_the_same_channels(tmp_path: Path) -> None:
    pq.write_table(TABLE, tmp_path / "a.parquet")
    pa.csv.write_csv(TABLE, tmp_path / "a.csv")
    setup = setup_of(TRIKE)
    one = read_log(str(tmp_path / "a.parquet"), setup=setup)
    two = read_log(str(tmp_path / "a.csv"), setup=setup)
    assert list(one.columns) == list(two.columns)
    assert len(one.columns) == 4
    for name in one.columns:
        np.testing.assert_allclose(
            np.asarray(one.columns[name], float), np.asarray(two.columns[name], float), rtol=1e-12
        )


def test_timestamps_come_as_iso_8601(tmp_path: Path) -> None:
    start = datetime(2031, 5, 4, 9, 12, tzinfo=UTC)
    stamps = [start + timedelta(seconds=k) for k in range(3)]
    pq.write_table(pa.table({"when": stamps}), tmp_path / "t.parquet")
    texts = read_parquet_table(str(tmp_path / "t.parquet")).columns[0].texts
    assert texts is not None
    assert datetime.fromisoformat(texts[0].as_py()) == start


def test_two_columns_of_one_name_are_both_read(tmp_path: Path) -> None:
    pq.write_table(pa.table([pa.array([1.0]), pa.array([2.0])], names=["a", "a"]), tmp_path / "d")
    columns = read_parquet_table(str(tmp_path / "d")).columns
    assert [float(c.numbers[0]) for c in columns if c.numbers is not None] == [1.0, 2.0]


def test_damage_is_one_message(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"PAR1 and no more")
    with pytest.raises(LogError, match="damaged Parquet"):
        parquet_cells(str(tmp_path / "x"))


def test_a_long_table_is_read_in_parts_and_thinned_as_its_text_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Row groups of an odd size; the truth is the table itself."""
    rows = 60_000
    rng = np.random.default_rng(8)
    demand = np.repeat(rng.choice([0.0, 25.0, 60.0], rows // 750), 750)
    amps = np.round(demand / 2 + rng.normal(0, 0.15, rows), 2)
    amps[41_234] = -40.0
    when = np.datetime64("2031-05-04T09:12:00", "ms") + np.arange(rows) * 10
    words = np.where(np.arange(rows) == 33_333, "fault", "ok")
    whole = pa.table({"time": when, "demand": demand, "battery current [A]": amps, "status": words})
    pq.write_table(whole, tmp_path / "day.parquet", row_group_size=7_001)
    for name, value in (("LONG_CELLS", 1000), ("PART_CELLS", 40_000)):
        monkeypatch.setattr(parquet_table, name, value)
    monkeypatch.setattr(thin_text, "LONG_RIDE_ROWS", 20_000)
    monkeypatch.setattr(thin_text, "HEAD_ROWS", 4_000)
    monkeypatch.setattr(thin_text, "STRETCH_ROWS", 1_000)
    raw = read_parquet_table(str(tmp_path / "day.parquet"))
    assert raw.rows == rows
    assert raw.form == "Parquet, read in parts"
    texts, thin = raw.columns[0].texts, raw.columns[2].numbers
    assert texts is not None
    assert thin is not None
    assert thin.size < 0.45 * rows
    at = (np.array([one.as_py() for one in texts], "datetime64[ms]") - when[0]).astype(int) // 10
    assert np.allclose(thin, amps[at], atol=1e-5)
    assert -40.0 in thin
    assert [one.as_py() for one in raw.columns[3].texts].count("fault") == 1


def test_a_claim_of_more_cells_than_its_bytes_hold_is_refused(tmp_path: Path) -> None:
    table = pa.table({f"c{n}": np.zeros(2_000_000) for n in range(8)})
    pq.write_table(table, tmp_path / "bomb.parquet")
    with pytest.raises(LogError, match="it claims"):
        read_parquet_table(str(tmp_path / "bomb.parquet"))

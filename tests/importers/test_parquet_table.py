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

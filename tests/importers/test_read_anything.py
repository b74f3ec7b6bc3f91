"""Whatever bytes come in: a table with its problems, or one message. Never a traceback."""

from __future__ import annotations

import gzip
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from setup_maker import TRIKE, setup_of

from importers.errors import LogError
from importers.look import look, raw_table_csv

SETUP = setup_of(TRIKE)
FOUND = Path(__file__).parents[1] / "ledger" / "found"
"""What a fuzzer once found, kept."""
LINES = [
    "time [s];left battery current [A];left battery voltage [V];note",
    *(f"{k / 10};{10 + k % 7};{58 - 0.08 * (k % 7)};ok" for k in range(30)),
]
CELL = st.one_of(
    st.floats(allow_nan=True, width=32).map(str),
    st.sampled_from(["", "--", "nan", "1,5", "1.234,5", '"a', "2031-05-04", "12:03", "\x00", "°"]),
    st.text(max_size=6),
)


def read(data: bytes, name: str = "log.csv") -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        for act in (lambda: look([str(path)], setup=SETUP), lambda: raw_table_csv(str(path))):
            told = None
            try:
                act()
            except LogError as error:
                told = error
            assert told is None or (told.remedy and str(told).startswith(str(path)))


OFTEN = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


@OFTEN
@given(st.binary(max_size=400))
def test_any_bytes(data: bytes) -> None:
    read(data)


@OFTEN
@given(
    st.lists(st.lists(CELL, min_size=1, max_size=6), min_size=1, max_size=20),
    st.sampled_from([",", ";", "\t", "|", " "]),
    st.sampled_from(["utf-8", "utf-16", "cp1252"]),
)
def test_any_cells(rows: list[list[str]], mark: str, encoding: str) -> None:
    text = "\r\n".join(mark.join(row) for row in rows)
    read(text.encode(encoding, errors="replace"))


@OFTEN
@given(st.integers(0, 900), st.binary(max_size=8), st.integers(0, 40))
def test_a_spoilt_log(at: int, put: bytes, cut: int) -> None:
    data = "\n".join(LINES).encode()
    spoilt = data[:at] + put + data[at + cut :]
    read(spoilt)
    read(gzip.compress(spoilt)[: len(spoilt) // 2 + cut], "log.csv.gz")


@pytest.mark.parametrize("path", sorted(FOUND.glob("*")), ids=lambda one: one.name)
def test_what_a_fuzzer_found(path: Path) -> None:
    read(path.read_bytes(), path.name)


def test_a_header_claiming_a_million_columns_is_told_off() -> None:
    read(b"," * 1_000_000 + b"\n1\n")
    read(b"time" + b";x" * 30_000 + b"\n" + b"\n".join(b"1;2" for _ in range(20)))


def test_rows_of_any_number_type_keep_their_values() -> None:
    rng = np.random.default_rng(5)
    values = rng.normal(0, 1e3, 50)
    text = "t [s],pack voltage [V]\n" + "".join(
        f"{k},{v!r}\n" for k, v in enumerate(values.tolist())
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        path.write_text(text)
        read_back = raw_table_csv(str(path)).splitlines()[1:]
    assert [float(row.split(",")[1]) for row in read_back] == values.tolist()

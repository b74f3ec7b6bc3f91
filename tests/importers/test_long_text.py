"""A text read in pieces holds what the same text read at once holds."""

from collections.abc import Iterator

import numpy as np
import pytest

from importers import long_text
from importers.long_text import read_long_table
from importers.text_bytes import as_text
from importers.text_table import read_text_table


@pytest.fixture(autouse=True)
def _small_pieces(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(long_text, "PIECE_BYTES", 4096)
    return


def text(rows: int = 3000) -> bytes:
    rng = np.random.default_rng(3)
    lines = ["time [s];Spannung [V];Strom [A];Breite [°];Zustand"]
    for k in range(rows):
        volts = f"{50 + rng.normal():.2f}" if k % 11 else ""
        lines.append(f"{k * 0.01:.2f};{volts};{rng.normal():.3f};{47 + k * 1e-7:.7f};{'ab'[k % 2]}")
    return "\n".join(lines).replace(".", ",").encode("utf-8-sig")


def test_pieces_and_whole_agree() -> None:
    data = text()
    pieces, whole = read_long_table(data), read_text_table(as_text(data))
    assert pieces.rows == whole.rows
    assert [one.header for one in pieces.columns] == [one.header for one in whole.columns]
    for one, two in zip(pieces.columns, whole.columns, strict=True):
        if two.numbers is None:
            assert one.texts is not None
            assert one.texts.to_pylist() == two.texts.to_pylist()
        else:
            assert np.allclose(one.numbers, two.numbers, rtol=1e-6, equal_nan=True)


def test_times_and_positions_keep_double_precision() -> None:
    kinds = {one.header: one.numbers.dtype for one in read_long_table(text()).columns[:4]}
    assert kinds["time [s]"] == np.float64
    assert kinds["Breite [°]"] == np.float64
    assert kinds["Strom [A]"] == np.float32


def test_what_is_mended_in_pieces_is_counted_once() -> None:
    lines = text().split(b"\n")
    lines[500] = b"5,00;50"
    lines[2000] = lines[0].removeprefix(b"\xef\xbb\xbf")
    raw = read_long_table(b"\n".join(lines))
    assert raw.rows == 2999
    assert len(raw.restarts) == 1
    assert raw.restarts[0] == 1999
    assert any("too few cells" in one for one in raw.problems)

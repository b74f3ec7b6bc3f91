"""A very long text is thinned while it is read: what happened is there row by row."""

from collections.abc import Iterator

import numpy as np
import pytest

from importers import long_text, thin_text
from importers.long_text import read_long_table
from importers.raw_table import RawTable

ROWS = 60_000
SPIKE = 41_234


@pytest.fixture(autouse=True)
def _a_short_log_is_long(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(long_text, "PIECE_BYTES", 500_000)
    monkeypatch.setattr(thin_text, "LONG_RIDE_ROWS", 20_000)
    monkeypatch.setattr(thin_text, "HEAD_ROWS", 4_000)
    monkeypatch.setattr(thin_text, "STRETCH_ROWS", 1_000)
    return


def truth() -> dict[str, np.ndarray]:
    """A demand in steps, current with noise, a spike of 20 ms, a BMS at 2 Hz."""
    rng = np.random.default_rng(8)
    demand = np.repeat(rng.choice([0.0, 25.0, 60.0], ROWS // 750), 750)
    amps = demand / 2 + 3 * np.sin(np.arange(ROWS) / 2000) + rng.normal(0, 0.15, ROWS)
    amps[SPIKE : SPIKE + 2] = -40.0
    held = np.repeat(np.round(57 - 0.1 * amps[::50], 2), 50)[:ROWS]
    return {"demand": demand, "amps": amps.round(2), "held": held}


def text(step_s: float = 0.01) -> bytes:
    one = truth()
    lines = ["time [s],demand [%],battery current [A],pack voltage [V],status"]
    for k in range(ROWS):
        word = "fault 7" if k in (33_333, 33_334) else "ok"
        values = f"{one['demand'][k]:.0f},{one['amps'][k]:.2f},{one['held'][k]:.2f}"
        lines.append(f"{k * step_s:.2f},{values},{word}")
    return "\n".join(lines).encode()


def rows_kept(raw: RawTable) -> np.ndarray:
    time_s = raw.columns[0].numbers
    assert time_s is not None
    return np.round(time_s / 0.01).astype(int)


def test_events_stay_and_quiet_rows_go() -> None:
    raw, whole = read_long_table(text()), truth()
    rows = rows_kept(raw)
    assert raw.rows == ROWS
    assert rows.size < 0.45 * ROWS
    assert any(f"of {ROWS} rows {ROWS - rows.size} are left out" in one for one in raw.problems)
    amps, held = raw.columns[2].numbers, raw.columns[3].numbers
    assert amps is not None
    assert held is not None
    assert (amps == -40.0).sum() == 2
    steps = np.flatnonzero(np.abs(np.diff(whole["demand"])) > 1)
    assert np.isin(steps, rows).all()
    assert np.isin(steps + 1, rows).all()
    texts = raw.columns[4].texts
    assert texts is not None
    assert texts.to_pylist().count("fault 7") == 2
    # Whoever joins the rows by steps, as a slow channel is held, is never off by more than noise.
    back = held[np.searchsorted(rows, np.arange(ROWS), side="right") - 1]
    far = 0.02 * np.subtract(*np.quantile(whole["held"], [0.99, 0.01])) + 0.011
    assert np.abs(back - whole["held"]).max() <= far
    for name, values in (("amps", amps), ("held", held)):
        thin = np.trapezoid(values, rows * 0.01)
        assert thin == pytest.approx(np.trapezoid(whole[name], dx=0.01), rel=2e-3)


def test_whole_stretches_have_every_row() -> None:
    raw = read_long_table(text())
    rows = rows_kept(raw)
    assert raw.whole[0] == (0, 4_000)
    assert len(raw.whole) >= 3
    for low, high in raw.whole:
        assert np.array_equal(np.diff(rows[low:high]), np.ones(high - low - 1))


def test_slow_logs_stay_whole() -> None:
    raw = read_long_table(text(step_s=0.05))
    assert raw.columns[0].numbers is not None
    assert raw.columns[0].numbers.size == ROWS
    assert raw.whole == ()


def test_memory_that_was_never_set_is_never_worked_with(monkeypatch: pytest.MonkeyPatch) -> None:
    """A column that turns out to need double precision half way has anything behind it."""
    fresh = np.empty

    def dirty(*args: object, **kwargs: object) -> np.ndarray:
        out = fresh(*args, **kwargs)  # type: ignore[call-overload]
        if out.dtype == np.float32:
            out.view(np.uint32)[...] = 0x7FA00000  # IEEE 754: a signalling NaN
        return out

    volts_v = [57.3 if k < 20_000 else 57.3 + k % 3 * 1e-5 for k in range(40_000)]
    near = "\n".join(f"{k / 100:.2f},{one:.5f}" for k, one in enumerate(volts_v))
    monkeypatch.setattr(np, "empty", dirty)
    raw = read_long_table(f"time [s],pack voltage [V]\n{near}\n".encode())
    read_v = raw.columns[1].numbers
    assert read_v is not None
    assert read_v.dtype == np.float64
    assert 57.29999 < read_v.min() <= read_v.max() < 57.30003

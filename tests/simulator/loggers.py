"""Log files as loggers write them: own clock, own rate, own headers, own way of writing numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from simulator.sensors import bms_channels, drive_channels, gps_channels
from simulator.simulate import SimRide

PACK_CHANNELS = (
    "pack_current_a pack_voltage_v pack_temp_c cell_min_v cell_max_v state_of_charge_pct"
)
PLACE_CHANNELS = "latitude_deg longitude_deg altitude_m gps_speed_mps course_deg"


@dataclass(frozen=True)
class Column:
    """A header, the channel it shows (contract's name, drive before it), and how it is written."""

    header: str
    channel: str
    """`time` for seconds since the file's start, `clock` for date and time, `epoch_ms`."""
    decimals: int = 2
    factor: float = 1.0
    shift: float = 0.0
    """Written is value * factor + shift."""


@dataclass(frozen=True)
class LogFile:
    """One file. `ahead_s` and `drift_ppm`: its clock against the true one."""

    name: str
    columns: tuple[Column, ...]
    rate_hz: float = 10.0
    ahead_s: float = 0.0
    drift_ppm: float = 0.0
    jitter_s: float = 0.0
    begin_s: float = 0.0
    """When on the true clock the file begins."""
    end_s: float | None = None
    delimiter: str = ","
    decimal: str = "."
    newline: str = "\n"
    top: tuple[str, ...] = ()
    """Lines before the header."""
    units: tuple[str, ...] | None = None
    """A row of units under the header."""
    lost: tuple[tuple[float, float], ...] = ()
    """True-clock stretches without rows."""
    zero_rows: tuple[float, ...] = ()
    """True-clock moments at which one row is all zeros but for its time."""
    stuck: tuple[tuple[float, float], ...] = ()
    """True-clock stretches in which values repeat while time runs."""
    naive: bool = False
    """`clock` without a zone."""


def logs_of(sim: SimRide, files: tuple[LogFile, ...]) -> dict[str, str]:
    """The text of each file by name."""
    return {one.name: _text(sim, one, number) for number, one in enumerate(files)}


def _times(sim: SimRide, log: LogFile, number: int) -> np.ndarray:
    """True-clock moments of the rows."""
    rng = np.random.default_rng([sim.seed, 88, number])
    end = sim.t[-1] if log.end_s is None else min(log.end_s, sim.t[-1])
    at = np.arange(log.begin_s, end, 1.0 / log.rate_hz)
    late = np.abs(rng.normal(0, log.jitter_s, at.size)) if log.jitter_s else 0.0
    at = np.minimum(at + np.minimum(late, 0.6 / log.rate_hz), sim.t[-1])
    keep = np.ones(at.size, bool)
    for begin, stop in log.lost:
        keep &= (at < begin) | (at >= stop)
    return at[keep]


def _values(sim: SimRide, log: LogFile, at: np.ndarray) -> dict[str, np.ndarray]:
    seen = at
    for begin, stop in log.stuck:
        seen = np.where((at >= begin) & (at < stop), begin, seen)
    out: dict[str, np.ndarray] = {}
    for name in sim.drives:
        if any(c.channel.startswith(f"{name}.") for c in log.columns):
            for key, values in drive_channels(sim, name, seen, log.rate_hz).items():
                out[f"{name}.{key}"] = values
    wanted = {c.channel for c in log.columns}
    makers: tuple[tuple[str, Callable[[SimRide, np.ndarray], dict[str, np.ndarray]]], ...] = (
        (PACK_CHANNELS, bms_channels),
        (PLACE_CHANNELS, gps_channels),
    )
    for names, maker in makers:
        if wanted & set(names.split()):
            out |= maker(sim, seen)
    return out


def _text(sim: SimRide, log: LogFile, number: int) -> str:
    at = _times(sim, log, number)
    clock = at + log.ahead_s + (at - log.begin_s) * log.drift_ppm * 1e-6
    values = _values(sim, log, at)
    cells = [_cells(sim, log, column, clock, values) for column in log.columns]
    for moment in log.zero_rows:
        row = int(np.argmin(np.abs(at - moment)))
        for column, texts in zip(log.columns, cells, strict=True):
            if column.channel not in ("time", "clock", "epoch_ms"):
                texts[row] = "0"
    lines = [*log.top, log.delimiter.join(c.header for c in log.columns)]
    if log.units is not None:
        lines.append(log.delimiter.join(log.units))
    lines += [log.delimiter.join(row) for row in zip(*cells, strict=True)]
    return log.newline.join(lines) + log.newline


def _cells(
    sim: SimRide, log: LogFile, column: Column, clock: np.ndarray, values: dict[str, np.ndarray]
) -> list[str]:  # fmt: skip
    if column.channel == "clock":
        return [_stamp(sim, s, log.naive) for s in clock]
    if column.channel == "epoch_ms":
        zero = sim.start.timestamp()
        return [str(round((zero + s) * 1000)) for s in clock]
    if column.channel == "time":
        numbers = clock - log.begin_s - log.ahead_s
    else:
        numbers = values[column.channel]
    numbers = numbers * column.factor + column.shift
    texts = ["" if np.isnan(x) else f"{x + 0.0:.{column.decimals}f}" for x in numbers.tolist()]
    zero = f"{0:.{column.decimals}f}"
    texts = [zero if t == f"-{zero}" else t for t in texts]
    return [t.replace(".", log.decimal) for t in texts] if log.decimal != "." else texts


def _stamp(sim: SimRide, seconds: float, naive: bool) -> str:
    moment = sim.start + timedelta(milliseconds=round(seconds * 1000))
    return (moment.replace(tzinfo=None) if naive else moment).isoformat(timespec="milliseconds")


def blackouts(sim: SimRide, rng: np.random.Generator) -> tuple[tuple[float, float], ...]:
    """Stretches a logger fed by the pack has no rows of: from its last block on, until it is up.

    A logger with its own battery has none; one of unknown supply is either, by chance.
    """
    fed = sim.build.logger_powered_by
    if fed == "own_battery" or (fed is None and rng.random() < 0.5):
        return ()
    below = sim.col["v_bus"] < rng.uniform(8.0, 20.0)
    if not below.any():
        return ()
    block_s, boot_s = rng.choice([0.0, 0.25, 1.0, 2.0]), rng.uniform(1.0, 5.0)
    edges = np.diff(np.concatenate([[0], below.astype(int), [0]]))
    out = []
    for first, stop in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        gone = float(sim.t[first])
        begin = np.floor(gone / block_s) * block_s if block_s else gone
        end = float(sim.t[stop] + boot_s) if stop < sim.t.size else float("inf")
        if stop - first > 3 or block_s:
            out.append((float(begin), end))
    return tuple(out)

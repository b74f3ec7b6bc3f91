"""What a current reads while the vehicle stands and nothing is asked for: its zero, once what is
really drawn then is taken off.

Controllers' battery currents do not hold what lights draw, a BMS's does (`pack.aux_a`). A shunt's
offset of half an ampere is half an ampere hour in an hour. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from importers.setup_types import Setup

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STILL_MPS, STILL_RPM, STILL_PCT, STILL_PHASE_A = 0.1, 5.0, 3.0, 3.0
"""Standing: speed, turns, demand and motor current within these. Our choice: noise of each."""
LET_GO_S, STANDS_S = 1.0, 2.0
"""The first second of a halt is left out, shorter halts altogether [s]. Our choice: currents die
away, filters follow."""
LEAST_S = 5.0
"""So much standing tells a zero [s]. Our choice."""
BELOW_A, ABOVE_A = 0.15, 0.35
"""A zero is taken from here on [A]: into the pack at once, for nothing gives at rest; out of it
beyond a controller's own draw of 5 to 15 W. Our choice."""
MOST_A, MOST_PART = 2.0, 0.05
"""More than this [A], or than this part of the highest current, is no zero's error. Our choice."""
KEEPS_A = 0.12
"""Halves of the standing time agree within this [A], or it is a load that changes. Our choice."""
LIT_PART = 0.3
"""Lights are on where a BMS reads at least this part of `aux_a` at rest. Our choice."""
BAND_A, BAND_STEPS = 0.25, 4.0
"""A dead band is told from this on [A], and from so many of the reading's steps. Our choice."""
BESIDE = 12
"""So many rows lie between the band's edge and twice it: as many would lie within, were there no
band. Our choice: none by chance once in e^12."""
ABOUT_ZERO = 0.01
"""Share of rows exactly at zero from which a dead band is looked for. Our choice."""


@dataclass(frozen=True, slots=True)
class Zero:
    """What one current reads at rest."""

    channel: str
    zero_a: float
    """To be taken off; 0 where nothing is."""
    text: str


def without_zeros(table: pd.DataFrame, setup: Setup) -> tuple[pd.DataFrame, list[str]]:
    """The ride's table with its currents' zeros taken off, and `channel: what was done`."""
    found = zeros(table, setup)
    moved = {one.channel: one.zero_a for one in found if one.zero_a}
    if moved:
        own = {
            str(name): (
                table[name].to_numpy() - table[name].dtype.type(moved[str(name)])
                if name in moved else table[name].to_numpy()
            )
            for name in table.columns
        }  # fmt: skip
        table = pd.DataFrame(own, copy=False)
    return table, [f"{one.channel}: {one.text}" for one in found]


def zeros(table: pd.DataFrame, setup: Setup) -> list[Zero]:
    """What is wrong with the currents near zero, as far as the vehicle's halts tell."""
    names = [str(name) for name in table.columns if str(name).endswith(("battery_current_a",
             "pack_current_a"))]  # fmt: skip
    if not names or len(table) < 20:
        return []
    halts = _halts(table)
    out = []
    for name in names:
        amps = table[name].to_numpy()
        band = _dead_band_a(amps)
        if band is not None:
            out.append(Zero(name, 0.0, f"it reads 0 below {band:.2g} A: what lights or a slow roll "
                       "draw is not in its sums"))  # fmt: skip
            continue
        if halts.size:
            one = _zero(name, amps, halts, setup)
            if one is not None:
                out.append(one)
    return out


def _halts(table: pd.DataFrame) -> NDArray[np.intp]:
    """Rows at which the vehicle has stood for a second with nothing asked for."""
    time_s = table["time_s"].to_numpy(np.float64)
    still: Bools | None = None
    quiet: Bools = np.ones(time_s.size, np.bool_)
    for name in map(str, table.columns):
        bare = name.rpartition(".")[2]
        most = {"wheel_speed_mps": STILL_MPS, "speed_mps": STILL_MPS, "motor_rpm": STILL_RPM,
                "throttle_pct": STILL_PCT, "brake_pct": np.inf,
                "phase_current_a": STILL_PHASE_A}.get(bare)  # fmt: skip
        if most is None or not np.isfinite(most):
            continue
        within = np.abs(table[name].to_numpy()) <= most
        if bare in ("wheel_speed_mps", "speed_mps", "motor_rpm"):
            still = within if still is None else still & within
        else:
            quiet &= within
    if still is None:
        return np.zeros(0, np.intp)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still & quiet, [False]])))
    starts, ends = edges[::2], edges[1::2] - 1
    long = time_s[ends] - time_s[starts] >= STANDS_S
    firsts = np.searchsorted(time_s, time_s[starts[long]] + LET_GO_S)
    parts = [np.arange(a, b + 1) for a, b in zip(firsts, ends[long], strict=True) if b > a]
    rows = np.concatenate(parts) if parts else np.zeros(0, np.intp)
    pace_s = float(np.median(np.diff(time_s[:10_000])))
    return rows if rows.size * pace_s >= LEAST_S else np.zeros(0, np.intp)


def _zero(name: str, amps: Floats, halts: NDArray[np.intp], setup: Setup) -> Zero | None:
    rest = np.asarray(amps[halts], np.float64)
    rest = rest[np.isfinite(rest)]
    if rest.size < 20 or not rest.any():
        return None
    pack = name == "pack_current_a"
    aux_a = setup.pack.aux_a
    reads_a = float(np.mean(np.clip(rest, *np.quantile(rest, [0.05, 0.95]))))
    drawn_a = (aux_a or 0.0) if pack else 0.0
    zero_a = reads_a - drawn_a
    if -BELOW_A < zero_a < ABOVE_A:
        return None
    if zero_a > 0 and aux_a is None and (pack or len(setup.drives) == 1):
        return None  # lights, as likely
    half = rest.size // 2
    if abs(float(np.median(rest[:half]) - np.median(rest[half:]))) > KEEPS_A:
        return None
    if pack and drawn_a and reads_a < LIT_PART * drawn_a and reads_a > -BELOW_A:
        return Zero(name, 0.0, f"at rest it reads {reads_a:.2f} A though `pack.aux_a` says "
                    f"{drawn_a:g} A: lights off, or not measured; left as it is")  # fmt: skip
    some = amps[:: max(1, amps.size // 50_000)]
    top_a = float(np.nanquantile(np.abs(some), 0.998))
    if abs(zero_a) > min(MOST_A, MOST_PART * top_a):
        return Zero(name, 0.0, f"at rest it reads {reads_a:.2f} A, too much for a zero's error: "
                    "something is drawn that `pack.aux_a` does not hold, or it is no current of "
                    "this pack; left as it is")  # fmt: skip
    less = f" less `pack.aux_a` {drawn_a:g} A" if drawn_a else ""
    return Zero(name, zero_a, f"its zero is taken from {rest.size} rows of standing: {reads_a:.2f} "
                f"A there{less}, so {zero_a:+.2f} A are taken off everywhere")  # fmt: skip


def _dead_band_a(amps: Floats) -> float | None:
    """The smallest current it shows besides 0, where smaller ones are cut; None without a band."""
    some = amps[:60_000]
    size = np.abs(some[np.isfinite(some)])
    if size.size < 200:
        return None
    zero = size == 0
    if not ABOUT_ZERO < float(zero.mean()) < 1 - ABOUT_ZERO:
        return None
    shown = np.unique(size[~zero])
    if shown.size < 20:
        return None
    least = float(shown[0])
    step = float(np.quantile(np.diff(shown[: shown.size // 2 + 2]), 0.2))
    beside = int(((size > 0) & (size <= 2 * least)).sum())
    wide = least > max(BAND_A, BAND_STEPS * step)
    return least if wide and beside >= BESIDE else None

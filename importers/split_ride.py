"""A log that holds more than one ride: where it is cut, and what each part is. Pure.

Parts are told apart by long pauses, by charging (steady current into the pack at standstill) and
by being carried (the position moves, wheels and current do not).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

PAUSE_S = 3600.0
"""No rows for this long, and a new ride begins. Our choice: a rest on the way is shorter."""
BIN_S = 10.0
CHARGE_S = 300.0
"""Current into the pack at standstill for this long is charging: no descent is that steady."""
CHARGE_A = 0.15
"""Less than this into the pack is sensor offset. Our choice."""
STEADY = 0.1
"""A charger's current keeps within this part of its mean inside 10 s. Our choice."""
CARRIED_S, CARRIED_MPS, STILL_MPS, STILL_A = 60.0, 3.0, 0.3, 1.5
"""Carried: this long faster than this over ground, wheels and current below these. Our choice."""
BREAK_S = 60.0
"""Shorter breaks in a charge or a carriage belong to it. Our choice."""
SHARED_S = 120.0
"""A rest between a charge and what comes before or after it is shared from this length on. Our
choice: half a minute at each end tells a level, a minute is better."""
RIDDEN_S = 20.0
"""A part with less riding than this is no ride of its own. Our choice."""


class PartKind(StrEnum):
    """What a part of a log is."""

    RIDE = "ride"
    CHARGE = "charge"
    CARRIED = "carried"
    IDLE = "idle"


@dataclass(frozen=True, slots=True)
class Part:
    """Rows `begin` to `end` (not included) of a table."""

    kind: PartKind
    begin: int
    end: int


def parts_of(table: pd.DataFrame) -> list[Part]:
    """Which rides, charges and carriages does this table hold, in order of time?"""
    time_s = table["time_s"].to_numpy(np.float64)
    if time_s.size < 2:
        return [Part(PartKind.RIDE, 0, time_s.size)]
    cuts = [0, *(np.flatnonzero(np.diff(time_s) > PAUSE_S) + 1).tolist(), time_s.size]
    bins = _Bins(table, time_s)
    parts: list[Part] = []
    for begin, end in pairwise(cuts):
        parts += _parts_between(bins, begin, end)
    return _merged(parts, time_s)


class _Bins:
    """What the vehicle did in each 10 s: the least that tells riding, charging and carrying."""

    def __init__(self, table: pd.DataFrame, time_s: NDArray[np.float64]) -> None:
        number = (time_s / BIN_S).astype(np.int32)  # towards 0: a bin of 20 s there, no harm
        self.starts = np.concatenate([[0], np.flatnonzero(number[1:] != number[:-1]) + 1])
        del number
        self.n = time_s.size
        counts = np.diff(np.concatenate([self.starts, [self.n]]))
        self.length_s = np.full(self.starts.size, BIN_S)
        current = _current(table)
        mean, spread = self._mean_spread(current, counts)
        wheel = self._highest(_wheel(table))
        ground = self._highest(_column(table, ("gps_speed_mps",)))
        still = np.nan_to_num(wheel, nan=0.0) < STILL_MPS
        known = np.isfinite(mean)
        steady = spread <= np.maximum(STEADY * np.abs(mean), 0.3)
        self.charging = known & still & steady & (mean < -CHARGE_A)
        self.carried = (
            np.isfinite(wheel) & still & (np.nan_to_num(ground) > CARRIED_MPS)
            & (np.nan_to_num(np.abs(mean)) < STILL_A)
        )  # fmt: skip
        self.ridden = (np.nan_to_num(wheel) > 0.5) | (
            ~np.isfinite(wheel) & (np.nan_to_num(mean) > STILL_A)
        )

    def _mean_spread(
        self, values: NDArray[np.float64] | None, counts: NDArray[np.intp]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        if values is None:
            nothing = np.full(self.starts.size, np.nan)
            return nothing, nothing
        good = np.isfinite(values)
        filled = values if good.all() else np.where(good, values, values.dtype.type(0))
        count = np.add.reduceat(good, self.starts, dtype=np.float64)
        total = np.add.reduceat(filled, self.starts, dtype=np.float64)
        square = np.add.reduceat(filled**2, self.starts, dtype=np.float64)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.where(count > 0, total / count, np.nan)
            variance = np.maximum(square / count - mean**2, 0.0)
        return mean, np.sqrt(variance)

    def _highest(self, values: NDArray[np.float64] | None) -> NDArray[np.float64]:
        if values is None:
            return np.full(self.starts.size, np.nan)
        return np.asarray(np.fmax.reduceat(values, self.starts), np.float64)


def _parts_between(bins: _Bins, begin: int, end: int) -> list[Part]:
    """One unbroken stretch of rows as parts."""
    mine = (bins.starts >= begin) & (bins.starts < end)
    at = bins.starts[mine]
    if not at.size:
        return [Part(PartKind.IDLE, begin, end)]
    label = np.zeros(at.size, np.int64)
    for number, (flag, least_s) in enumerate(
        ((bins.charging[mine], CHARGE_S), (bins.carried[mine], CARRIED_S)), 1
    ):
        for low, high in _runs(flag, int(BREAK_S / BIN_S)):
            if (high - low) * BIN_S >= least_s and flag[low:high].mean() > 0.5:
                label[low:high] = number
    ridden = bins.ridden[mine]
    _share_rests(label, ridden)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(label)) + 1, [at.size]])
    parts = []
    for low, high in pairwise(edges):
        rows = (begin if low == 0 else int(at[low]), end if high == at.size else int(at[high]))
        if label[low] == 0:
            enough = float(ridden[low:high].sum()) * BIN_S >= RIDDEN_S
            kind = PartKind.RIDE if enough else PartKind.IDLE
        else:
            kind = PartKind.CHARGE if label[low] == 1 else PartKind.CARRIED
        parts.append(Part(kind, *rows))
    return parts


def _share_rests(label: NDArray[np.int64], ridden: NDArray[np.bool_]) -> None:
    """Mark the rests beside a charge as its own, in place: they tell between which levels it went.
    A ride keeps its half of a rest between, a short one whole; charges with nothing but a rest
    between are one."""
    rest = (label == 0) & ~ridden
    for low, high in _runs(rest, 0):
        before = label[low - 1 : low].tolist()  # none at the begin
        after = label[high : high + 1].tolist()
        if {*before, *after} == {1}:
            label[low:high] = 1
        elif 1 in (*before, *after) and (high - low) * BIN_S >= SHARED_S:
            middle = (low + high) // 2
            label[slice(low, middle) if before == [1] else slice(middle, high)] = 1


def _runs(flag: NDArray[np.bool_], bridge: int) -> list[tuple[int, int]]:
    """Runs of true cells, breaks of up to `bridge` cells closed."""
    true = np.flatnonzero(flag)
    if not true.size:
        return []
    split = np.flatnonzero(np.diff(true) > bridge + 1)
    lows = np.concatenate([[true[0]], true[split + 1]])
    highs = np.concatenate([true[split], [true[-1]]]) + 1
    return [(int(a), int(b)) for a, b in zip(lows, highs, strict=True)]


def _merged(parts: list[Part], time_s: NDArray[np.float64]) -> list[Part]:
    """Standing about goes with the ride beside it, unless a long pause lies between."""
    out: list[Part] = []
    for part in parts:
        near = bool(out) and time_s[part.begin] - time_s[out[-1].end - 1] <= PAUSE_S
        if near and PartKind.IDLE in (part.kind, out[-1].kind):
            kinds = {part.kind, out[-1].kind} - {PartKind.IDLE}
            if kinds <= {PartKind.RIDE}:
                kind = PartKind.RIDE if kinds else PartKind.IDLE
                out[-1] = Part(kind, out[-1].begin, part.end)
                continue
        out.append(part)
    return out


def _current(table: pd.DataFrame) -> NDArray[np.float64] | None:
    pack = _column(table, ("pack_current_a",))
    if pack is not None:
        return pack
    mine = [
        table[name].to_numpy() for name in table.columns if str(name).endswith(".battery_current_a")
    ]
    return None if not mine else np.asarray(sum(mine[1:], mine[0]))


def _wheel(table: pd.DataFrame) -> NDArray[np.float64] | None:
    """The fastest of what turns, as speed; motor turns count as moving, whatever the gear."""
    top: NDArray[np.float64] | None = None
    for name in map(str, table.columns):
        if not (name.endswith((".wheel_speed_mps", ".motor_rpm")) or name == "speed_mps"):
            continue
        one = np.abs(table[name].to_numpy())
        if name.endswith("rpm"):
            one *= 0.02
        top = one if top is None else np.fmax(top, one, out=top)
    return top


def _column(table: pd.DataFrame, names: tuple[str, ...]) -> NDArray[np.float64] | None:
    for name in names:
        if name in table.columns and table[name].notna().any():
            return np.asarray(table[name].to_numpy())
    return None

"""Positions that are none: before the first fix, or thrown far off.

A receiver without fix writes 0/0, and its first fixes may lie kilometres off. Distance and height
must not be built on these: they become missing, and are said. Pure.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from importers.wgs84 import legs_m

Floats = NDArray[np.float64]
Values = NDArray[np.float64] | NDArray[np.object_]

OF_FIX = ("latitude_deg", "longitude_deg", "altitude_m", "gps_speed_mps", "course_deg")
"""What a receiver gives with a fix, and has not without one."""
NOWHERE_DEG = 0.01
"""Nearer than this to 0/0 is no fix [degrees]: a kilometre of sea in the Gulf of Guinea."""
FASTEST_MPS = 70.0
"""No leg between two fixes is faster [m/s]. The vocabulary's own bound."""
JUMP_M = 50.0
"""A jump is no scatter from here on [m]. Our choice: well above a receiver's error in the open."""
EARLY = 0.25
"""Positions before a jump in the first quarter of the fixes are from before a fix. Our choice."""


def fixes_only(
    time_s: Floats, columns: Mapping[str, Values]
) -> tuple[dict[str, Values], list[str]]:
    """One receiver's columns with positions that are none missing, and what was found."""
    out = dict(columns)
    if not {"latitude_deg", "longitude_deg"} <= set(columns):
        return out, []
    lat = np.asarray(columns["latitude_deg"], np.float64)
    lon = np.asarray(columns["longitude_deg"], np.float64)
    with np.errstate(invalid="ignore"):
        nowhere = (np.abs(lat) < NOWHERE_DEG) & (np.abs(lon) < NOWHERE_DEG)
    both = np.isfinite(lat) & np.isfinite(lon)
    if both.any() and bool(nowhere[both].all()):
        nowhere[:] = np.isfinite(lat)
    told = []
    if nowhere.any():
        told.append(f"{int(nowhere.sum())} rows at 0°/0°: no fix yet, or none any more; left out")
        _leave_out(out, nowhere)
        lat, lon = (np.where(nowhere, np.nan, one) for one in (lat, lon))
    thrown = _thrown(time_s, lat, lon)
    if thrown.any():
        told.append(
            f"{int(thrown.sum())} rows lie where no vehicle gets to in the time (before the first "
            "fix, or thrown off): left out"
        )
        _leave_out(out, thrown)
    return out, told


def _leave_out(out: dict[str, Values], rows: NDArray[np.bool_]) -> None:
    for name in OF_FIX:
        if name in out and out[name].dtype != object:
            out[name] = np.asarray(np.where(rows, np.nan, out[name]), np.float64)


def _thrown(time_s: Floats, lat: Floats, lon: Floats) -> NDArray[np.bool_]:
    """Rows on the wrong side of a leg that is too fast: early ones, and short excursions."""
    out = np.zeros(lat.size, np.bool_)
    good = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    if good.size < 10:
        return out
    moved = np.concatenate([[True], (np.diff(lat[good]) != 0) | (np.diff(lon[good]) != 0)])
    fixes = good[moved]
    if fixes.size < 4:
        return out
    legs = legs_m(lat[fixes], lon[fixes])
    # The time from the last row that still held the old place: what a slow receiver had to move.
    span = np.maximum(time_s[fixes[1:]] - time_s[fixes[:-1]], 1e-3)
    jumps = np.flatnonzero((legs > JUMP_M) & (legs > FASTEST_MPS * span))
    if not jumps.size or jumps.size > 0.05 * fixes.size + 2:
        return out
    piece = np.zeros(fixes.size, np.intp)
    piece[jumps + 1] = 1
    piece = np.cumsum(piece)
    counts = np.bincount(piece)
    main = int(np.argmax(counts))
    early = [one for one in range(main) if counts[: one + 1].sum() < EARLY * fixes.size]
    short = [one for one in range(counts.size) if counts[one] <= 5 and one != main]
    wrong = set(early) | set(short)
    bounds = np.concatenate([fixes, [lat.size]])
    for one in wrong:
        mine = np.flatnonzero(piece == one)
        out[bounds[mine[0]] : bounds[mine[-1] + 1]] = True
    return out & np.isfinite(lat)

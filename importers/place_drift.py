"""Positions that move though the vehicle does not, and that stand though it does. Pure.

At standstill a satellite's position wanders and its speed flickers: neither is way nor speed. Under
a bridge many receivers repeat the last fix until they see the sky again: neither is measured.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from importers.place_fixes import OF_FIX
from importers.wgs84 import legs_m

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Values = NDArray[np.float64] | NDArray[np.object_]

HELD_S, HELD_FIXES = 3.0, 3.5
"""A fix that stays for this long [s], and this many usual intervals, is held or the vehicle stands.
Our choice."""
LEAPT_M, LEAPT_MPS = 15.0, 1.0
"""It was held, not standing, where the next fix lies this far [m] off, faster than this on the way
[m/s]. Our choice: three standard deviations of a receiver in the open."""
STILL_WINDOW_S, STILL_M, STILL_MPS = 10.0, 4.0, 1.5
"""Standing: no further than this [m] within this [s], never faster than this [m/s]. Our choice:
slower than anyone rides, and twice a receiver's flicker at rest."""
HOLE_S = 5.0
"""Over a longer step no way is added up [s]. Our choice: a hole in the log."""
TOLD_M = 20.0
"""Drift that would add less way than this is left alone [m]. Our choice."""


def without_drift(
    time_s: Floats, columns: Mapping[str, Values]
) -> tuple[dict[str, Values], list[str]]:
    """One receiver's columns with held fixes missing and no speed where it stands, and what was
    found. `time_s` are n times, rising; `columns` have n values each."""
    out = dict(columns)
    if not {"latitude_deg", "longitude_deg"} <= set(columns):
        return out, []
    lat = np.asarray(columns["latitude_deg"], np.float64)
    lon = np.asarray(columns["longitude_deg"], np.float64)
    fixes = _fixes(lat, lon)
    if fixes.size < 10:
        return out, []
    told = []
    legs = legs_m(lat[fixes], lon[fixes])
    held = _held(time_s, fixes, legs)
    if held.any():
        for name in OF_FIX:
            if name in out and out[name].dtype != object:
                out[name] = np.asarray(np.where(held, np.nan, out[name]), np.float64)
        told.append(
            f"{int(held.sum())} rows repeat a fix and then leap (a bridge, a tunnel): the place "
            "was not measured there, left out"
        )
    still = _standing(time_s, fixes, lat, lon, out.get("gps_speed_mps"))
    drift_m = _way_m(time_s, fixes, legs, out.get("gps_speed_mps"), still)
    if drift_m > TOLD_M:
        _stop(out, still)
        told.append(
            f"the place wanders while the vehicle stands ({int(still.sum())} rows): the "
            f"{drift_m:.0f} m of it are no way and no speed"
        )
    return out, told


def _fixes(lat: Floats, lon: Floats) -> NDArray[np.intp]:
    """Rows at which a new fix came in."""
    good = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    moved = (np.diff(lat[good]) != 0) | (np.diff(lon[good]) != 0)
    return good[np.concatenate([[True], moved])] if good.size else good


def _held(time_s: Floats, fixes: NDArray[np.intp], legs: Floats) -> Bools:
    """Rows that repeat a fix although the vehicle went on, as the next fix shows."""
    out = np.zeros(time_s.size, np.bool_)
    lasted_s = np.diff(time_s[fixes])
    usual_s = float(np.median(lasted_s))
    longest_s = max(HELD_S, HELD_FIXES * usual_s)
    far = (legs > LEAPT_M) & (legs > LEAPT_MPS * lasted_s)
    for at in np.flatnonzero((lasted_s > longest_s) & far).tolist():
        first = int(np.searchsorted(time_s, time_s[fixes[at]] + usual_s * 1.5))
        if first < fixes[at + 1]:  # rows that were logged meanwhile; a hole in the log has none
            out[first : fixes[at + 1]] = True
    return out


def _standing(
    time_s: Floats, fixes: NDArray[np.intp], lat: Floats, lon: Floats, speed: Values | None
) -> Bools:
    """Rows of windows in which the place stays within a few metres and the speed is a flicker."""
    out = np.zeros(time_s.size + 1, np.int32)
    at_s = time_s[fixes]
    ends = np.searchsorted(at_s, at_s + STILL_WINDOW_S)
    begins = np.flatnonzero(ends < fixes.size)
    ends = ends[begins]
    still = np.ones(begins.size, np.bool_)
    for part in (0.25, 0.5, 0.75, 1.0):
        there = begins + np.maximum(1, np.round(part * (ends - begins))).astype(np.intp)
        still &= _apart_m(lat, lon, fixes[begins], fixes[there]) < STILL_M
    if speed is not None and speed.dtype != object:
        quick = np.concatenate(
            [[0], np.cumsum(np.nan_to_num(np.asarray(speed[fixes], np.float64)) > STILL_MPS)]
        )
        still &= quick[np.minimum(ends + 1, fixes.size)] == quick[begins]
    np.add.at(out, fixes[begins[still]], 1)
    np.add.at(out, fixes[ends[still]] + 1, -1)
    return np.asarray(np.cumsum(out[:-1]) > 0, np.bool_)


def _apart_m(lat: Floats, lon: Floats, a: NDArray[np.intp], b: NDArray[np.intp]) -> Floats:
    pairs = np.empty(2 * a.size, np.intp)
    pairs[::2], pairs[1::2] = a, b
    return legs_m(lat[pairs], lon[pairs])[::2]


def _way_m(
    time_s: Floats, fixes: NDArray[np.intp], legs: Floats, speed: Values | None, still: Bools
) -> float:
    """What a reader of speed, or of places, would add up while it stands."""
    if speed is not None and speed.dtype != object:
        step = np.diff(time_s, append=time_s[-1])
        short = step < HOLE_S
        return float(np.nansum(np.abs(speed[still & short]) * step[still & short]))
    return float(legs[still[fixes[1:]] & still[fixes[:-1]]].sum())


def _stop(out: dict[str, Values], still: Bools) -> None:
    """Speed 0 in these rows; where only places tell it, the place of each halt's begin."""
    speed = out.get("gps_speed_mps")
    if speed is not None and speed.dtype != object:
        known = still & np.isfinite(np.asarray(speed, np.float64))
        out["gps_speed_mps"] = np.where(known, 0.0, speed)
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]])))
    for name in ("latitude_deg", "longitude_deg"):
        place = np.array(out[name], np.float64)
        for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            known = np.isfinite(place[first:end])
            if known.any():
                place[first:end][known] = place[first:end][known][0]
        out[name] = place

"""Currents whose braking the log did not keep: cut off at zero, or counted without sign.

Then nothing can be said of braking from them, whatever they show.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Columns = Mapping[str, NDArray[np.float64] | NDArray[np.object_]]

WITHOUT_SIGN = "counted without sign"
LEFT_OUT = "braking by it is not checked"
NEVER_BELOW = 0.005
"""A current never lower than minus this part of its top is never negative. Our choice: noise
around zero stays below it."""
LEAST_ROWS = 200
"""Fewer rows tell nothing. Our choice."""
SLOWING_MPS2 = 0.7
"""Slower than this a light vehicle does not come down by rolling and air alone on the level
(0.015 g rolling, air at 25 km/h: about 0.3 m/s²): twice that and more is braking."""
STRONG = 0.1
"""Part of the top current that counts as current. Our choice."""
IDLE = 0.05
"""Part of the top phase current below which a motor does nothing. Our choice."""
NOTHING = 0.01
"""Part of the top battery current that counts as none. Our choice."""
RARELY = 0.03
"""Share of the braking rows in which a motor that never brakes may carry current and draw none:
pulling away, the hand that changes over. Our choice."""
OFTEN = 0.3
"""Share of the braking rows with such a current from which it is braking current without a sign.
Our choice: a drive that brakes by a lever alone shows next to none."""


def braking_doubts(columns: Columns, time_s: Floats) -> tuple[tuple[str, str], ...]:
    """Which currents lost their braking: (channel, sentence) pairs."""
    told = []
    for name, values in columns.items():
        bare = name.rpartition(".")[2]
        if bare not in ("battery_current_a", "pack_current_a") or values.dtype == object:
            continue
        text = _doubt(name, np.asarray(values, np.float64), columns, time_s)
        if text is not None:
            told.append((name, text))
    return tuple(told)


def _doubt(name: str, amps: Floats, columns: Columns, time_s: Floats) -> str | None:
    good = np.isfinite(amps)
    top = float(np.nanquantile(np.abs(amps), 0.99)) if good.any() else 0.0
    if good.sum() < LEAST_ROWS or top <= 0 or float(np.nanmin(amps)) < -NEVER_BELOW * top - 0.05:
        return None
    slowing = _slowing(name, columns, time_s)
    if slowing is None or int((slowing & good).sum()) < 10:
        return f"it is never below zero: braking, if there was any, is not in the log; {LEFT_OUT}"
    share = float(np.mean(np.abs(amps[slowing & good]) > STRONG * top))
    if share > OFTEN or _lifts(name, amps, columns, slowing, time_s):
        return f"it is {WITHOUT_SIGN}: never below zero, also while braking; {LEFT_OUT}"
    if _rests(name, amps, columns, slowing):
        return None
    return f"it is never below zero, also while braking: cut off or not braked by; {LEFT_OUT}"


def _lifts(
    name: str, amps: Floats, columns: Columns, slowing: NDArray[np.bool_], time_s: Floats
) -> bool:
    """Whether the voltage stands above its rest under this current while the vehicle brakes, and
    below it elsewhere: what flows back lifts a pack, what is drawn makes it sag."""
    drive = name.rpartition(".")[0]
    own = columns.get(f"{drive}.battery_voltage_v" if drive else "pack_voltage_v")
    volts = columns.get("battery_voltage_v") if own is None else own
    if volts is None or volts.dtype == object:
        return False
    v = np.asarray(volts, np.float64)
    size = np.abs(amps)
    top = float(np.nanquantile(size, 0.99))
    known = np.isfinite(v) & np.isfinite(amps)
    rest = known & (size < NOTHING * top)
    flows = known & (size > IDLE * top)
    if rest.sum() < 10 or (flows & slowing).sum() < 10 or (flows & ~slowing).sum() < 10:
        return False
    above = v - np.interp(time_s, time_s[rest], v[rest])
    return bool(np.median(above[flows & slowing]) > 0 > np.median(above[flows & ~slowing]))


def _rests(name: str, amps: Floats, columns: Columns, slowing: NDArray[np.bool_]) -> bool:
    """Whether this drive's motor rests or pulls while the vehicle brakes: then nothing was cut off,
    other wheels or the mechanical brake did it. A cut-off current stands at zero while the motor
    carries current."""
    if not name.endswith("battery_current_a"):
        return False
    phase = columns.get(name.replace("battery_current_a", "phase_current_a"))
    if phase is None or phase.dtype == object:
        return False
    size = np.abs(np.asarray(phase, np.float64))
    known = slowing & np.isfinite(size) & np.isfinite(amps)
    if int(known.sum()) < 10:
        return False
    turned = size > IDLE * float(np.nanquantile(size, 0.99))
    nothing = amps <= NOTHING * float(np.nanquantile(np.abs(amps), 0.99))
    return float(np.mean((turned & nothing)[known])) < RARELY


def _slowing(name: str, columns: Columns, time_s: Floats) -> NDArray[np.bool_] | None:
    """Rows in which the vehicle comes down faster than road load explains."""
    drive = name.rpartition(".")[0]
    own = f"{drive}." if drive else ""
    for one in (f"{own}wheel_speed_mps", "wheel_speed_mps", "speed_mps", "gps_speed_mps"):
        speed = columns.get(one)
        if speed is None or speed.dtype == object or time_s.size < LEAST_ROWS:
            continue
        step = max(1, round(1.0 / max(float(np.median(np.diff(time_s))), 1e-3)))
        values = np.asarray(speed, np.float64)
        change = np.full(values.size, np.nan)
        span = time_s[step:] - time_s[:-step]
        change[: values.size - step] = (values[step:] - values[:-step]) / np.maximum(span, 1e-3)
        with np.errstate(invalid="ignore"):
            return np.asarray((change < -SLOWING_MPS2) & (values > 1.0))
    return None

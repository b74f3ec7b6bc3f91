"""Columns with no sensor behind them: constant, at a rail, or a copy of another. Pure.

A controller writes a number for every reading it knows, fitted or not. What never moves while the
ride does, stands where unconnected inputs stand, or repeats another reading to the last digit, was
not measured: it becomes missing and its limits are not checked.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from importers.channels import channel_of
from importers.scatter import noise_sd

Values = NDArray[np.float64] | NDArray[np.object_]

STUCK_ROWS = 200
"""A reading that never moves over this many rows is no reading, if it must move. Our choice."""
MOVING = {
    "battery_current_a": 3.0,
    "pack_current_a": 3.0,
    "phase_current_a": 6.0,
    "motor_rpm": 100.0,
    "wheel_speed_mps": 2.0,
    "speed_mps": 2.0,
    "gps_speed_mps": 3.0,
}
"""A ride is on when one of these spans more than this. Our choice: beyond noise and drift."""
MUST_MOVE = frozenset(
    {"battery_current_a", "phase_current_a", "motor_rpm", "wheel_speed_mps", "duty_pct", "power_w",
     "pack_current_a", "pack_power_w", "speed_mps", "gps_speed_mps", "acceleration_mps2",
     "course_deg", "latitude_deg", "longitude_deg"}
)  # fmt: skip
"""Channels that cannot stand still in a ride."""
SAG_A = 25.0
"""A voltage must move where the current spans more than this [A]: 1 V, the coarsest step in use,
over 40 mΩ, the stiffest pack of this kind. Our choice."""
LONG_S = 600.0
"""State of charge and height may stand still for shorter than this [s]. Our choice."""
COPY_CHANGES = 20
"""A copy is told by this many equal changes at equal rows. Our choice."""
COPY_NOISE, COPY_WHITE = 1.0, -0.25
"""... and by scatter of this many of its steps, whose changes go against each other as those of
white noise do (their correlation from row to row is -0.5): two sensors never scatter alike, while
two quiet ones may well round alike. Our choice."""
BODY_CHANGES = 5
"""A motor and its controller, two bodies, never warm alike in this many steps. Our choice."""


def drop_absent(
    time_s: NDArray[np.float64], columns: Mapping[str, Values]
) -> tuple[dict[str, Values], list[tuple[str, str]]]:
    """The columns with absent sensors missing, and (channel, what it does) of each."""
    out = dict(columns)
    spans = {name: _span(values) for name, values in columns.items() if values.dtype != object}
    told: list[tuple[str, str]] = []
    for name, values in columns.items():
        if values.dtype == object or values.size < STUCK_ROWS:
            continue
        bare = name.rpartition(".")[2]
        why = _stuck(name, bare, values, spans, time_s)
        if why:
            told.append((name, why))
    for name, other in _copies(columns, {one for one, _ in told}):
        told.append((name, f"repeats {other} to the last digit: a copy"))
    for name, _ in told:
        out[name] = np.full(columns[name].size, np.nan)
    return out, told


def _span(values: Values) -> float:
    top = float(np.nanmax(values, initial=-np.inf))
    return top - float(np.nanmin(values, initial=np.inf)) if np.isfinite(top) else 0.0


def _stuck(
    name: str,
    bare: str,
    values: Values,
    spans: Mapping[str, float],
    time_s: NDArray[np.float64],
) -> str:
    good = np.isfinite(values)
    if spans[name] > 0 or int(good.sum()) < STUCK_ROWS:
        return ""
    level = float(values[np.argmax(good)])
    unit = getattr(channel_of(bare), "unit", "")
    text = f"always {level:g} {unit}".rstrip()
    drive = name.rpartition(".")[0]
    riding = any(
        spans[other] > MOVING[key]
        for other in spans
        if other != name
        and (key := other.rpartition(".")[2]) in MOVING
        and other.rpartition(".")[0] in (drive, "")
    )
    if not riding:
        return ""
    other = {"latitude_deg": "longitude_deg", "longitude_deg": "latitude_deg"}.get(bare)
    if other is not None and any(spans[one] > 0 for one in spans if one.endswith(other)):
        return ""  # due north, due east
    if bare in MUST_MOVE:
        return f"{text} while others move: no sensor"
    amps = max((spans[one] for one in spans if one.endswith("_current_a")
                and not one.endswith("phase_current_a")), default=0.0)  # fmt: skip
    if bare.endswith("_v") and amps > SAG_A and _another_voltage(name, spans):
        return f"{text} while the current moves: no sensor"
    if bare == "throttle_pct" and level > 0:
        return f"{text} while others move: no sensor"
    if bare == "brake_pct" and level > 0:
        return f"{text}: no sensor"
    long = time_s.size > 1 and float(time_s[-1] - time_s[0]) > LONG_S
    if bare in ("altitude_m", "state_of_charge_pct") and long:
        return f"{text} over {(time_s[-1] - time_s[0]) / 60:.0f} min of riding: no sensor"
    return ""


def _another_voltage(name: str, spans: Mapping[str, float]) -> bool:
    """Whether a voltage that does move is left when this one goes."""
    return any(
        one != name and spans[one] > 0
        for one in spans
        if one.endswith(("battery_voltage_v", "pack_voltage_v"))
    )


def _copies(columns: Mapping[str, Values], gone: set[str]) -> list[tuple[str, str]]:
    """(copy, of what) pairs: readings of one kind that two sensors cannot share."""
    names = [
        name for name, values in columns.items() if values.dtype != object and name not in gone
    ]
    found: list[tuple[str, str]] = []
    copied: set[str] = set()
    for at, name in enumerate(names):
        if name in copied:
            continue
        for other in names[at + 1 :]:
            if other in copied or not _comparable(name, other):
                continue
            if _equal(columns[name], columns[other], bodies=_two_bodies(name, other)):
                copy, of = (
                    (other, name) if not other.endswith("controller_temp_c") else (name, other)
                )
                found.append((copy, of))
                copied.add(copy)
    return found


def _two_bodies(name: str, other: str) -> bool:
    kinds = {name.rpartition(".")[2], other.rpartition(".")[2]}
    return kinds == {"motor_temp_c", "controller_temp_c"}


def _comparable(name: str, other: str) -> bool:
    """Readings of one quantity at two places; a pack's voltage may well be read once for all."""
    drive, _, bare = name.rpartition(".")
    drive_2, _, bare_2 = other.rpartition(".")
    if drive == drive_2:
        cells = (
            bare[:5] == bare_2[:5] == "cell_" and bare.rsplit("_", 1)[1] == bare_2.rsplit("_", 1)[1]
        )
        numbered = cells and not {bare, bare_2} & {"cell_min_v", "cell_max_v"}
        return numbered or _two_bodies(name, other)
    same = bare == bare_2 and bare in MOVING | {"motor_temp_c": 0, "controller_temp_c": 0}
    return bool(drive and drive_2 and same)


def _equal(one: Values, two: Values, *, bodies: bool) -> bool:
    if one[:STUCK_ROWS].tobytes() != two[:STUCK_ROWS].tobytes() or not np.array_equal(
        one, two, equal_nan=True
    ):
        return False
    good = one[np.isfinite(one)][:60_000]
    if good.size < STUCK_ROWS:
        return False
    change = np.abs(np.diff(good))
    moved = change[change > 0]
    if bodies:
        return bool(moved.size >= BODY_CHANGES)
    if moved.size < COPY_CHANGES:
        return False
    step = float(np.quantile(moved, 0.01))
    noise = noise_sd(np.asarray(good, np.float64))
    steps = np.clip(np.diff(good), -3 * noise, 3 * noise)  # few large ones must not decide
    together = float(np.dot(steps[1:], steps[:-1]) / max(float(np.dot(steps, steps)), 1e-12))
    return bool(noise > COPY_NOISE * step and together < COPY_WHITE)

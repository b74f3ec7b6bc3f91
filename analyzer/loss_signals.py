"""What one drive was asked for, what it gave, and which of its rows are no reading at all.

Arrays have n values, one per row of `ride.table`; missing is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import (
    Bools,
    Floats,
    brake_pct,
    drive_channel,
    throttle_pct,
    wheel_speed_mps,
)
from importers.ride import Ride
from importers.setup_types import Setup

Rows = NDArray[np.intp]
STANDING_MPS = 0.3
"""Slower than this is standing [m/s]. Our choice."""
LEAST_SCALE_PCT = 20.0
"""A demand that never passes this is not scaled up to full [%]. Our choice."""
BATTERY_FLOOR_A, PHASE_FLOOR_A = 0.25, 0.8
"""Currents below this are none [A]: a shunt's offset and noise (0.1 to 0.3 A of battery current,
common practice, no source)."""
FROZEN_S = 0.6
"""Every channel of a drive standing still under load for longer than this is no reading [s]. Our
choice: noise and speed move at least one of them."""
FROZEN_UPDATES = 4.0
"""... and for more than this many of the drive's own updates. Our choice."""
FAR_LONGER, LEAST_CHANGES = 10.0, 50
"""Readings that stand still so many times longer than ever else, in a log that shows at least so
many changes of a drive under load (or without) while the hand holds still, are none. Our choice:
noise leaves no such gap."""
LIVELY_PART = 0.5
"""... and that changed for this part of that time at least. Our choice: a log without noise stands
still whenever the ride does."""
READ_S, LACKS_PART = 1.5, 0.3
"""So long after a drive's readings came to a stand [s] a pack's current of less than this part of
the drive's own speaks against them. Our choice."""
FEW_BELOW = 10
"""So many readings below zero show that a log tells braking by its sign. Our choice."""
FAR_BELOW, FEW_FAR_BELOW = 4.0, 4
"""... or so few this many floors below zero: braking that was lost as soon as it began. Our
choice."""
DIES_DOWN_ROWS = 8
"""So many rows after the hand went to braking a driving current may still be seen. Our choice: a
reading's filter, and 0.4 s at 20 Hz."""
DRIVE_CHANNELS = (
    "battery_current_a",
    "phase_current_a",
    "battery_voltage_v",
    "motor_rpm",
    "wheel_speed_mps",
    "throttle_pct",
    "duty_pct",
    "power_w",
)


@dataclass(frozen=True, slots=True, eq=False)
class DriveSignals:
    """One drive's series."""

    name: str
    demand: Floats | None
    """-1 to 1 of the largest seen; negative asks for braking. None where it is not logged."""
    work_a: Floats | None
    """Size of the current that makes torque: phase current, else battery current; offset out."""
    work_is_phase: bool
    floor_a: float
    """Work below this is none."""
    battery_a: Floats | None
    phase_a: Floats | None
    voltage_v: Floats | None
    speed_mps: Floats | None
    dead: Bools
    """Rows without a reading: blank, all zeros, or standing still under load."""
    frozen: Bools
    """Those of them in which every channel stands still."""
    braking: Bools = field(init=False)
    """Rows in which current flows that brakes."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "braking", self._braking())

    @property
    def known(self) -> bool:
        """Whether the log tells anything of what this drive gave."""
        return self.work_a is not None

    def _braking(self) -> Bools:
        """Where current brakes: a drive's current that dies down after the hand
        went from driving to braking is none. Where neither current ever goes below zero, what
        still flows some time after braking was first asked for."""
        if self.work_a is None:
            return np.zeros(self.dead.size, np.bool_)
        with np.errstate(invalid="ignore"):
            flows = (self.work_a > self.floor_a) & ~self.dead
            below = np.zeros(self.dead.size, np.bool_)
            far = below.copy()
            for amps, floor in ((self.phase_a, PHASE_FLOOR_A), (self.battery_a, BATTERY_FLOOR_A)):
                if amps is not None:
                    below |= amps < -2.0 * floor
                    far |= amps < -FAR_BELOW * floor
        signed = int(below.sum()) >= FEW_BELOW or int(far.sum()) >= FEW_FAR_BELOW
        if signed or self.demand is None:
            return flows & below
        asked = np.nan_to_num(self.demand) < 0.0
        settled = asked.copy()
        for _ in range(DIES_DOWN_ROWS):
            settled[1:] &= settled[:-1].copy()
        return flows & settled


def drive_signals(ride: Ride, setup: Setup, name: str) -> DriveSignals:
    """What was this drive asked for, and what did it give?"""
    battery = drive_channel(ride, name, "battery_current_a")
    phase = drive_channel(ride, name, "phase_current_a")
    speed = wheel_speed_mps(ride, setup, name)
    demand = _demand(ride, name, battery if battery is not None else phase)
    work = phase if phase is not None else battery
    floor = PHASE_FLOOR_A if phase is not None else BATTERY_FLOOR_A
    blank, frozen = _no_reading(ride, name)
    if work is not None:
        offset = _idle_offset(work, demand, blank | frozen)
        floor = max(floor, 1.5 * abs(offset))
        work = np.abs(work - offset)
    return DriveSignals(
        name=name,
        demand=demand,
        work_a=work,
        work_is_phase=phase is not None,
        floor_a=floor,
        battery_a=battery,
        phase_a=phase,
        voltage_v=drive_channel(ride, name, "battery_voltage_v"),
        speed_mps=None if speed is None else speed.values,
        dead=blank | frozen,
        frozen=frozen,
    )


def _demand(ride: Ride, name: str, current: Floats | None) -> Floats | None:
    """Both directions in one series from -1 to 1, the hand at rest at 0."""
    pull, brake = throttle_pct(ride, name), brake_pct(ride, name)
    if pull is None:
        return None
    forward = np.clip(pull, 0.0, None)
    rest = _rest_level(forward, current)
    top = float(np.nanmax(forward)) if np.isfinite(forward).any() else 0.0
    out = np.clip((forward - rest) / max(top - rest, LEAST_SCALE_PCT), 0.0, 1.0)
    if brake is None:
        return np.asarray(out, np.float64)
    hardest = float(np.nanmax(brake)) if np.isfinite(brake).any() else 0.0
    back = np.clip(brake / max(hardest, LEAST_SCALE_PCT), 0.0, 1.0)
    return np.where(np.isfinite(back) & (back > out), -back, out)


def _rest_level(forward: Floats, current: Floats | None) -> float:
    """What the throttle reads with the hand off: where it spends its time while nothing flows."""
    if current is None:
        return 0.0
    idle = (np.abs(current) < BATTERY_FLOOR_A) & np.isfinite(forward)
    if int(idle.sum()) < 20:
        return 0.0
    # A demand that froze is no rest: the hand is off more than that in every ride.
    level = min(float(np.median(forward[idle])), float(np.nanquantile(forward, 0.05)))
    return level if level < 30.0 else 0.0


def _idle_offset(work: Floats, demand: Floats | None, dead: Bools) -> float:
    """The current's zero error: what it reads while nothing is asked for."""
    if demand is None:
        return 0.0
    idle = (np.abs(demand) < 0.005) & np.isfinite(work) & ~dead
    if int(idle.sum()) < 20:
        return 0.0
    value = float(np.median(work[idle]))
    return value if abs(value) < 1.5 else 0.0


def _no_reading(ride: Ride, name: str) -> tuple[Bools, Bools]:
    """(blank or all zeros, standing still under load) for each row."""
    columns = [c for one in DRIVE_CHANNELS if (c := drive_channel(ride, name, one)) is not None]
    rows = ride.time_s.size
    if not columns or rows < 3:
        return np.zeros(rows, np.bool_), np.zeros(rows, np.bool_)
    blank, zero = np.ones(rows, np.bool_), np.ones(rows, np.bool_)
    still, load = np.ones(rows - 1, np.bool_), np.zeros(rows, np.bool_)
    for values in columns:
        blank &= ~np.isfinite(values)
        zero &= values == 0.0
        still &= values[1:] == values[:-1]
    voltage = drive_channel(ride, name, "battery_voltage_v")
    if voltage is None:
        zero[:] = False
    for word, floor in (("phase_current_a", PHASE_FLOOR_A), ("battery_current_a", 1.0)):
        amps = drive_channel(ride, name, word)
        if amps is not None:
            load |= np.abs(amps) > floor
    return blank | zero, _standing_still(still, load, ride, name, len(columns))


def _standing_still(still: Bools, load: Bools, ride: Ride, name: str, columns: int) -> Bools:
    """Rows inside long runs in which no channel of a loaded drive moves."""
    rows = load.size
    out = np.zeros(rows, np.bool_)
    if columns < 2:
        return out
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    firsts, lasts = edges[::2], edges[1::2]
    if firsts.size == 0:
        return out
    time_s = ride.time_s
    length = time_s[np.minimum(lasts, rows - 1)] - time_s[firsts]
    rates = [ride.rate_hz(f"{name}.{one}") for one in DRIVE_CHANNELS]
    slow = max((1.0 / rate for rate in rates if rate), default=0.0)
    loaded = load[firsts]
    usual = float(np.quantile(length[loaded], 0.75)) if int(loaded.sum()) > 4 else 0.0
    updates = max(FROZEN_S, FROZEN_UPDATES * min(slow, 1.0))
    long = loaded & (length > updates)
    step = float(np.median(np.diff(time_s)))
    hand = throttle_pct(ride, name)
    held = np.zeros(still.size, np.bool_) if hand is None else np.diff(hand) == 0.0
    for runs, rows_of in ((loaded, load), (~loaded, ~load)):
        changes = int((~still & held & rows_of[:-1]).sum())
        far = runs & (length > updates) & (length >= _far_longer(length[runs], changes, step))
        if changes * step > LIVELY_PART * length[far].sum():
            out |= _rows_of(far, firsts, lasts, rows)
    for first, last in zip(firsts[long], lasts[long], strict=True):
        still_s = float(time_s[min(last, rows - 1)] - time_s[first])
        if still_s > 3.0 * usual or _contradicted(ride, name, first, last):
            out[first + 1 : last + 1] = True
    return out


def _far_longer(length: Floats, changes: int, step: float) -> float:
    """From which length on runs without a change are far longer than all others; else infinity."""
    if changes < LEAST_CHANGES or length.size == 0:
        return np.inf
    order = np.sort(np.append(length, step))
    jumps = np.flatnonzero(order[1:] >= FAR_LONGER * order[:-1])
    return float(order[jumps[0] + 1]) if jumps.size else np.inf


def _rows_of(runs: Bools, firsts: Rows, lasts: Rows, rows: int) -> Bools:
    """The rows after the first of each of these runs."""
    out = np.zeros(rows, np.bool_)
    for first, last in zip(firsts[runs], lasts[runs], strict=True):
        out[first + 1 : last + 1] = True
    return out


def _contradicted(ride: Ride, name: str, first: int, last: int) -> bool:
    """Whether the pack gave far less than this drive's standing readings say that it drew."""
    pack, own = ride.get("pack_current_a"), drive_channel(ride, name, "battery_current_a")
    if pack is None or own is None or abs(own[first]) < 4.0 * BATTERY_FLOOR_A:
        return False
    # A management system reads a few times a second at best.
    a = int(np.searchsorted(ride.time_s, ride.time_s[first] + READ_S))
    inside = pack[a : last + 1]
    inside = inside[np.isfinite(inside)]
    return bool(inside.size > 2 and np.median(np.abs(inside)) < LACKS_PART * abs(own[first]))

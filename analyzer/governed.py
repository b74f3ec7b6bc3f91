"""Which limit, or the rider, held each drive's current where it was at each moment?

Codes are places in `GOVERNORS`; -1 where the drive neither drives nor is asked to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.balance import InForce
from analyzer.climbs import Governed
from analyzer.quantities import (
    Bools,
    Floats,
    bus_voltage_v,
    drive_channel,
    step_s,
    throttle_pct,
    wheel_speed_mps,
)
from analyzer.same_demand import LEAST_PCT, steady, usual_a
from analyzer.sensors import believable_temp_c
from analyzer.words import Governor
from importers.ride import Ride
from importers.setup_types import Drive, Setup

GOVERNORS = tuple(Governor)
AT_LIMIT = 0.95
"""From this part of a limit on it governs. The contract's line for a limiter that works."""
FULL_DEMAND = 0.9
"""Of the highest demand seen: the rider asks for all there is. Our choice."""
TOP_DUTY_PCT = 95.0
"""From here a power stage has no voltage left to give [%]. Textbook: six-step and overmodulation
begin near 91 to 96 % of the full voltage."""
LESS = 0.9
"""Below this part of what it gave at the same demand, and of its limits, a drive is held back. Our
choice: clear of a limiter's ripple."""
SLOW_MPS = 1.5
"""Below this a start is on its way [m/s]. Our choice."""
DRIVING_PART = 0.03
"""Below this part of its limit a drive does not drive. Our choice: controllers' dead band."""
LEAST_A = 0.5

Codes = NDArray[np.int8]


@dataclass(frozen=True, slots=True, eq=False)
class DriveState:
    """One drive's course, n values each; None where not logged."""

    battery_a: Floats | None
    phase_a: Floats | None
    demand_pct: Floats | None
    full_pct: float | None
    """The highest demand seen."""
    battery_limit_a: float | None
    """What is really in force, else what is set."""
    phase_limit_a: float | None
    codes: Codes
    held_pct: Floats | None = None
    """What it gave of what the same steady demand at the same speed gave while volts and heat held
    nothing back, or of its battery limit, the larger [%]; NaN where that is not known."""


def govern(ride: Ride, setup: Setup, in_force: Sequence[InForce]) -> dict[str, DriveState]:
    """Every drive's course with what governed it, by drive name."""
    known = {one.drive: one for one in in_force}
    return {
        drive.name: _course(ride, setup, drive, known.get(drive.name)) for drive in setup.drives
    }


def _limit(found: float | None, given: float | None) -> float | None:
    return found if found is not None else given


def _course(ride: Ride, setup: Setup, drive: Drive, found: InForce | None) -> DriveState:
    battery = drive_channel(ride, drive.name, "battery_current_a")
    phase = drive_channel(ride, drive.name, "phase_current_a")
    demand = throttle_pct(ride, drive.name)
    full = None
    if demand is not None and np.isfinite(demand).any():
        full = float(np.nanmax(demand))
        full = full if full > 10.0 else None
    seen_battery = found.battery_drive_a if found else None
    seen_phase = found.phase_drive_a if found else None
    battery_limit = _limit(seen_battery.value if seen_battery else None, drive.battery_drive_a)
    phase_limit = _limit(seen_phase.value if seen_phase else None, drive.phase_drive_a)
    seen = _Seen(battery, phase, demand, full, battery_limit, phase_limit)
    lowered = {
        Governor.VOLTAGE_DERATE: _derated(ride, setup, drive),
        Governor.MOTOR_HEAT_DERATE: _hot(ride, drive, "motor"),
        Governor.CONTROLLER_HEAT_DERATE: _hot(ride, drive, "controller"),
    }
    held = _held_pct(ride, setup, drive, seen, lowered)
    codes = _codes(ride, drive, seen, lowered, held)
    return DriveState(battery, phase, demand, full, battery_limit, phase_limit, codes, held)


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """One drive's readings (n values each), its full demand and its limits in force."""

    battery: Floats | None
    phase: Floats | None
    demand: Floats | None
    full: float | None
    battery_limit: float | None
    phase_limit: float | None


_Lowered = Mapping[Governor, Bools | None]
"""Where volts or heat may lower what a drive gives; None where that is not known."""


def _held_pct(
    ride: Ride, setup: Setup, drive: Drive, seen: _Seen, lowered: _Lowered
) -> Floats | None:
    work = seen.phase if seen.phase is not None else seen.battery
    takers = [one for one in lowered.values() if one is not None]
    anywhere = np.any(takers, axis=0) if takers else np.zeros(ride.time_s.size, np.bool_)
    if work is None or seen.demand is None or seen.full is None or not anywhere.any():
        return None
    speed = wheel_speed_mps(ride, setup, drive.name)
    values = None if speed is None else speed.values
    asked = 100.0 * seen.demand / seen.full
    still = steady(asked, ride.time_s)
    usual = usual_a(work, asked, values, still & ~anywhere, step_s(ride))
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(still & (asked >= LEAST_PCT), work / usual, np.nan)
        if values is not None:
            part = np.where(np.abs(values) < SLOW_MPS, np.nan, part)
        if seen.battery is not None and seen.battery_limit:
            of_limit = seen.battery / seen.battery_limit
            part = np.where(np.isfinite(part), np.fmax(part, of_limit), np.nan)
    return np.asarray(100.0 * part, np.float64)


def _over(values: Floats | None, limit: float | None) -> Bools | None:
    if values is None or limit is None:
        return None
    with np.errstate(invalid="ignore"):
        return np.asarray(values >= AT_LIMIT * limit, np.bool_)


def _codes(
    ride: Ride, drive: Drive, seen: _Seen, lowered: _Lowered, held_pct: Floats | None
) -> Codes:
    rows = ride.time_s.size
    codes = np.full(rows, -1, np.int8)
    driving = _driving(seen, rows)
    asking = _asking(seen.demand, seen.full, rows)
    if held_pct is not None:
        with np.errstate(invalid="ignore"):
            asking |= held_pct < 100.0 * LESS
    codes[driving] = GOVERNORS.index(Governor.RIDER if seen.demand is None else Governor.UNKNOWN)
    if seen.demand is not None:
        codes[driving & ~asking] = GOVERNORS.index(Governor.RIDER)
    # The last one set wins: a limit that the current stands at before what merely lowers it.
    for governor, mask in (
        (Governor.NO_VOLTAGE_HEADROOM, _no_headroom(ride, drive, asking, seen.demand)),
        *lowered.items(),
        (Governor.BATTERY_LIMIT, _over(seen.battery, seen.battery_limit)),
        (Governor.PHASE_LIMIT, _over(seen.phase, seen.phase_limit)),
    ):
        if mask is None:
            continue
        lowers = governor not in (Governor.BATTERY_LIMIT, Governor.PHASE_LIMIT)
        held = driving & mask & (asking if lowers and seen.demand is not None else True)
        codes[held] = GOVERNORS.index(governor)
    return codes


def _driving(seen: _Seen, rows: int) -> Bools:
    out = np.zeros(rows, np.bool_)
    for values, limit in (
        (seen.battery, seen.battery_limit),
        (seen.phase, seen.phase_limit),
    ):
        if values is not None:
            floor = max(LEAST_A, DRIVING_PART * (limit or 0.0))
            with np.errstate(invalid="ignore"):
                out |= values > floor
    return out


def _asking(demand: Floats | None, full: float | None, rows: int) -> Bools:
    if demand is None or full is None:
        return np.zeros(rows, np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray(demand >= FULL_DEMAND * full, np.bool_)


def _no_headroom(ride: Ride, drive: Drive, asking: Bools, demand: Floats | None) -> Bools | None:
    duty = drive_channel(ride, drive.name, "duty_pct")
    if duty is None:
        return None
    with np.errstate(invalid="ignore"):
        top = np.asarray(np.abs(duty) >= TOP_DUTY_PCT, np.bool_)
    return top if demand is None else top & asking


def _derated(ride: Ride, setup: Setup, drive: Drive) -> Bools | None:
    line = drive.derate_from_v
    volts = bus_voltage_v(ride, setup, drive.name)
    if line is None or volts is None:
        return None
    with np.errstate(invalid="ignore"):
        return np.asarray(volts < line, np.bool_)


def _hot(ride: Ride, drive: Drive, part: str) -> Bools | None:
    line = getattr(drive, f"{part}_derate_c")
    logged = drive_channel(ride, drive.name, f"{part}_temp_c")
    values = None if logged is None else believable_temp_c(logged, ride)
    if line is None or values is None:
        return None
    with np.errstate(invalid="ignore"):
        return np.asarray(values > line, np.bool_)


def governed_over(
    states: Mapping[str, DriveState], ride: Ride, start_s: float, end_s: float
) -> tuple[Governed, ...]:
    """Per cent of its driving time that each governor held each drive over a stretch."""
    time_s, step = ride.time_s, step_s(ride)
    rows = slice(*np.searchsorted(time_s, [start_s, end_s]).tolist())
    out = []
    for name, state in states.items():
        codes, weight = state.codes[rows], step[rows]
        whole = float(weight[codes >= 0].sum())
        parts = tuple(
            (governor, 100.0 * float(weight[codes == at].sum()) / whole)
            for at, governor in enumerate(GOVERNORS)
            if whole > 0 and bool((codes == at).any())
        )
        out.append(Governed(name, parts))
    return tuple(out)

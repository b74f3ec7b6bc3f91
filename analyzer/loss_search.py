"""Every loss of drive or braking of a ride: the searches together, drives and retries grouped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.loss_demand import demand_jumps
from analyzer.loss_ends import dead_rows, high_load_a, holes_and_end
from analyzer.loss_fade import faded_away, refused, with_fading
from analyzer.loss_lines import line_rows, status_rows, too_high_rows, too_hot_rows, trip_used
from analyzer.loss_off import switched_off, switched_off_logger
from analyzer.loss_rows import CARRY_S, AskedRows, asked_rows
from analyzer.loss_signals import STANDING_MPS, DriveSignals, drive_signals
from analyzer.loss_spin import ahead_rows, left_behind, road_speed_mps, spins
from analyzer.loss_unasked import Witnesses, unasked_falls
from analyzer.loss_usual import usual_work
from analyzer.losses import RETRY_S, DriveLoss, asked_and_gone, merged_per_drive
from analyzer.quantities import (
    Bools,
    Floats,
    drive_channel,
    speed_mps,
    step_s,
)
from importers.ride import Ride
from importers.setup_types import Setup

LEAST_BRAKE_A = 1.0
"""A brake limit below this is none [A]. Our choice."""
ASKED_TO_BRAKE = 0.15
"""Braking asked for beyond doubt (of the most). Our choice."""
NEVER_S, BRAKES_S = 0.5, 3.0
"""Less braking than this in all the ride is none, more is a drive that brakes [s]. Our choice."""
FLOWS_PART = 0.15
"""Of a drive's high load: current has come back. Our choice."""
TOGETHER_S = 1.0
"""Drives that stop within this of each other are one loss [s]. The contract's."""


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What the search worked out on its way, for the features."""

    ride: Ride
    setup: Setup
    drives: tuple[DriveSignals, ...]
    rows: dict[str, AskedRows]
    speed: Floats | None
    trip_used: dict[str, Floats]
    """`discharge`, `charge`: part of the trip's delay used up at each row; empty without keys."""

    def drive(self, name: str) -> DriveSignals:
        """The signals of that drive."""
        return next(one for one in self.drives if one.name == name)


@dataclass(frozen=True, slots=True)
class Loss:
    """One loss: what was asked for and gone, on which drives."""

    sign: int
    """1 drive, -1 braking."""
    parts: tuple[DriveLoss, ...]
    """The earliest first."""

    @property
    def begin(self) -> int:
        """First row: where fading began, or where the first drive stopped."""
        return min(one.begin for one in self.parts)

    @property
    def first(self) -> int:
        """First row at which a drive gave nothing."""
        return min(one.first for one in self.parts)

    @property
    def last(self) -> int:
        """Last row at which a drive gave nothing."""
        return max(one.last for one in self.parts)

    @property
    def back(self) -> int | None:
        """First row at which all of them give again; None where one never does."""
        rows = [one.back for one in self.parts]
        known = [row for row in rows if row is not None]
        return max(known) if len(known) == len(rows) else None

    @property
    def drives(self) -> tuple[str, ...]:
        """The drives that stopped, the first to stop first."""
        return tuple(dict.fromkeys(one.drive for one in self.parts))

    @property
    def faded(self) -> bool:
        """Whether the first to stop faded."""
        return self.parts[0].faded


def search_losses(ride: Ride, setup: Setup) -> tuple[tuple[Loss, ...], Search]:
    """When was drive or braking asked for and gone, for other reasons than the rider?"""
    drives = tuple(one for name in ride.drives if (one := drive_signals(ride, setup, name)).known)
    speed_q = speed_mps(ride, setup)
    speed = None if speed_q is None else speed_q.values
    rows = _judged(drives, ride, speed)
    used = trip_used(ride, setup)
    search = Search(ride, setup, drives, rows, speed, used)
    if ride.time_s.size < 10 or not drives:
        return (), search
    found = [x for one in drives for x in _of_drive(one, search)]
    pack = ride.get("pack_current_a")
    for one in drives:
        found += dead_rows(
            one,
            rows[one.name],
            ride,
            pack_current_a=pack,
            others=[x for x in drives if x is not one],
            follows=setup.drive(one.name).follows is not None,
            losses=found,
        )
    found += switched_off(drives, ride, speed)
    found += switched_off_logger(drives, ride, speed, setup.logger_powered_by)
    near = None
    for values in used.values():
        near = (values > 0.5) if near is None else near | (values > 0.5)
    found += holes_and_end(
        list(drives),
        rows,
        ride,
        speed=speed,
        powered_by=setup.logger_powered_by,
        near_limit=near,
        series=setup.pack.series,
    )
    given = {
        one.name: _given(one, rows[one.name])
        & ~ahead_rows(one, [x for x in drives if x is not one], ride)
        for one in drives
    }
    return _grouped(merged_per_drive(found, given, ride), ride), search


def _given(one: DriveSignals, rows: AskedRows) -> Bools:
    """Where what was asked for came; without a logged demand, where current flows at all."""
    if one.demand is not None or one.work_a is None:
        return rows.given
    with np.errstate(invalid="ignore"):
        flows = one.work_a > np.maximum(2.0 * one.floor_a, FLOWS_PART * high_load_a(one))
    return np.asarray(flows & ~one.dead, np.bool_)


def _judged(
    drives: tuple[DriveSignals, ...], ride: Ride, speed: Floats | None
) -> dict[str, AskedRows]:
    roads: dict[str, Floats | None] = {}
    loose = {}
    for one in drives:
        others = [x for x in drives if x is not one]
        road = road_speed_mps(one, others, ride)
        loose[one.name] = ahead_rows(one, others, ride) | left_behind(one, others, ride)
        own = one.speed_mps if one.speed_mps is not None else speed
        roads[one.name] = (
            own if own is None or road is None else np.where(loose[one.name], road, own)
        )
    step_s = float(np.median(np.diff(ride.time_s))) if ride.time_s.size > 2 else 1.0
    usual = usual_work(drives, roads, loose, step_s)
    return {
        one.name: asked_rows(
            one,
            drive_channel(ride, one.name, "duty_pct"),
            roads[one.name],
            usual,
            round(CARRY_S / step_s),
        )
        for one in drives
    }


def _of_drive(one: DriveSignals, search: Search) -> list[DriveLoss]:
    ride, setup, rows = search.ride, search.setup, search.rows[one.name]
    others = [x for x in search.drives if x is not one]
    rows.gone[:] |= faded_away(one, rows, setup.drive(one.name), ride)
    rows.gone[:] |= refused(one, rows, setup.drive(one.name), ride)
    if never_brakes(one, others, search):
        rows.gone[rows.asked < 0] = False
    rows.given[:] &= ~rows.gone
    found = asked_and_gone(one, others, rows, ride)
    found += spins(one, others, rows, ride)
    found += demand_jumps(one, others, ride, rows.given)
    if one.demand is None:
        drive = setup.drive(one.name)
        lines = line_rows(one, drive, ride) | _trip_gone(search)
        high = too_high_rows(one, drive, ride)
        hot = too_hot_rows(one, drive, ride)
        seen = Witnesses(lines, hot, high, status_rows(ride), setup.pack.series)
        found += unasked_falls(one, others, ride, seen)
    series = setup.pack.series
    return [with_fading(x, one, rows, setup.drive(one.name), ride, series) for x in found]


def never_brakes(one: DriveSignals, others: list[DriveSignals], search: Search) -> bool:
    """Whether this drive is not made to brake: no current in all the ride's braking, while another
    drive brakes, and no brake limit in the setup that says it should. What was never there is not
    lost."""
    drive = search.setup.drive(one.name)
    set_a = max(drive.phase_brake_a or 0.0, drive.battery_brake_a or 0.0)
    if set_a > LEAST_BRAKE_A or one.work_a is None:
        return False
    step = step_s(search.ride)
    return _brakes_s(one, search, step) < NEVER_S and any(
        _brakes_s(x, search, step) > BRAKES_S for x in others
    )


def _brakes_s(one: DriveSignals, search: Search, step: Floats) -> float:
    """For how long this drive gave current while braking was asked of it, moving [s]."""
    rows = search.rows[one.name].asked < 0
    if one.work_a is None or one.demand is None:
        return 0.0
    if one.speed_mps is not None:
        rows &= np.abs(one.speed_mps) > STANDING_MPS
    with np.errstate(invalid="ignore"):
        # The hand changes over: what drives on for a moment is no braking.
        lasting = rows & np.concatenate([[False], rows[:-1]]) & (one.demand < -ASKED_TO_BRAKE)
        return float(step[lasting & (one.work_a > 2.0 * one.floor_a)].sum())


def _trip_gone(search: Search) -> np.ndarray:
    out = np.zeros(search.ride.time_s.size, np.bool_)
    for values in search.trip_used.values():
        out |= values >= 0.85
    return out


def _grouped(losses: list[DriveLoss], ride: Ride) -> tuple[Loss, ...]:
    """Drives that stop together are one loss, and so is one that stops while another's lasts."""
    time_s = ride.time_s
    groups: list[list[DriveLoss]] = []
    for one in sorted(losses, key=lambda x: (x.begin, x.first)):
        for group in groups:
            first = min(x.first for x in group)
            last = max(x.last for x in group)
            together = abs(time_s[one.first] - time_s[first]) < TOGETHER_S
            within = one.first >= first and time_s[one.first] - time_s[last] < RETRY_S
            if together or (within and one.drive not in {x.drive for x in group}):
                group.append(one)
                break
        else:
            groups.append([one])
    return tuple(
        Loss(_sign(group), tuple(sorted(group, key=lambda x: (x.first, x.begin))))
        for group in groups
    )


def _sign(group: list[DriveLoss]) -> int:
    first = min(group, key=lambda x: x.begin)
    return first.sign

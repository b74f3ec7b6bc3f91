"""When will ageing matter on the hills this rider rides: the charge at which a climb reaches the
voltage where power is reduced, today and as the resistance goes on growing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from analyzer.ageing_capacity import CapacityAgeing
from analyzer.ageing_parts import Kept
from analyzer.ageing_resistance import ResistanceAgeing
from analyzer.estimate import Estimate
from analyzer.forecast import HORIZON_YEARS
from analyzer.rest_voltage import cell_volts, charge_pct
from analyzer.summary import ClimbSummary
from importers.setup_types import Setup

ASKED_CHARGE_PCT = 35.0
"""The charge a hill is looked at with [%]. Our choice: late in a day's ride."""
LEAST_TIMES = 3
"""A climb counts as one the rider rides when it was ridden this often. Our choice."""
LENGTH_STEP_M, GAIN_STEP_M = 100.0, 5.0
"""Climbs without a name are one when length and gain agree within these [m]. Our choice."""


@dataclass(frozen=True, slots=True)
class HillAhead:
    """From when a climb reaches the derate voltage at a given charge."""

    hill: str
    charge_pct: float
    times: int
    from_: datetime | None
    low: datetime | None
    high: datetime | None


@dataclass(frozen=True, slots=True)
class _Hill:
    name: str
    climbs: tuple[tuple[Kept, ClimbSummary], ...]

    @property
    def sag_v(self) -> float:
        """The sag at the hardest moment, median over the times it was ridden [V]."""
        return float(np.median([(c.rest_v or 0) - (c.min_voltage_v or 0) for _, c in self.climbs]))


def _hills(rides: Sequence[Kept]) -> list[_Hill]:
    """Climbs ridden often enough, the most ridden first."""
    groups: dict[str, list[tuple[Kept, ClimbSummary]]] = {}
    for ride in rides:
        for climb in ride.summary.climbs:
            if climb.rest_v is None or climb.min_voltage_v is None:
                continue
            shape = (
                f"the climb of {round(climb.gain_m / GAIN_STEP_M) * GAIN_STEP_M:.0f} m over "
                f"{round(climb.length_m / LENGTH_STEP_M) * LENGTH_STEP_M:.0f} m"
            )
            groups.setdefault(climb.hill or shape, []).append((ride, climb))
    hills = [_Hill(name, tuple(climbs)) for name, climbs in groups.items()]
    often = [one for one in hills if len(one.climbs) >= LEAST_TIMES]
    return sorted(often, key=lambda one: (-len(one.climbs), one.name))


def _derate_v(setup: Setup) -> float | None:
    lines = [one.derate_from_v for one in setup.drives if one.derate_from_v is not None]
    return max(lines) if lines else None


def hills_ahead(
    rides: Sequence[Kept], setup: Setup, course: ResistanceAgeing | None
) -> tuple[HillAhead, ...]:
    """For each climb ridden often: from when it reaches the derate voltage at 35 % charge."""
    line = _derate_v(setup)
    if line is None or course is None:
        return ()
    rest = float(cell_volts(setup.curve, ASKED_CHARGE_PCT, setup)) * setup.pack.series
    last = rides[-1].start
    return tuple(
        HillAhead(
            hill.name,
            ASKED_CHARGE_PCT,
            len(hill.climbs),
            *_when((rest - line) / hill.sag_v, course.growth_pct_per_year, last),
        )
        for hill in _hills(rides)
        if hill.sag_v > 0
    )


def _when(
    room: float, growth: Estimate, now: datetime
) -> tuple[datetime | None, datetime | None, datetime | None]:
    """When sag, growing with the resistance, has grown by the factor `room`."""
    if room <= 1:
        return now, now, now
    needed = 100 * (room - 1)

    def at(rate: float | None) -> datetime | None:
        if rate is None or rate <= 0 or needed / rate > HORIZON_YEARS:
            return None
        return now + timedelta(days=365.25 * needed / rate)

    return at(growth.value), at(growth.high), at(growth.low)


def usable_ah(
    rides: Sequence[Kept],
    setup: Setup,
    course: ResistanceAgeing | None,
    capacity: CapacityAgeing | None,
) -> Estimate | None:
    """Charge from full down to where the most ridden climb reaches the derate voltage, today."""
    line, hills = _derate_v(setup), _hills(rides)
    if line is None or course is None or capacity is None or not hills:
        return None
    cell = (line + hills[0].sag_v) / setup.pack.series
    left = float(np.clip(charge_pct(setup.curve, cell, setup), 0.0, 100.0))
    part = (100 - left) / 100
    now = capacity.now_ah
    if now.low is None or now.high is None:
        return None
    spread = 0.0 if not setup.curve.built_in else 0.08
    return Estimate(
        now.value * part, now.low * max(part - spread, 0.0), now.high * min(part + spread, 1.0)
    )

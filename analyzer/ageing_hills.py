"""When will ageing matter on the hills this rider rides: the charge at which a climb reaches the
voltage where power is reduced, when new, today, in the cold, and as the resistance grows on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.ageing_ahead import ages, grown_pct
from analyzer.ageing_capacity import CapacityAgeing
from analyzer.ageing_parts import Kept
from analyzer.ageing_resistance import ResistanceAgeing
from analyzer.estimate import Estimate
from analyzer.forecast import DatedAhead, dated, years_to
from analyzer.rest_voltage import beyond_v, cell_volts, charge_pct, family
from analyzer.summary import ClimbSummary
from importers.setup_types import Setup

ASKED_CHARGE_PCT = 35.0
"""The charge a hill is looked at with [%]. Our choice: late in a day's ride."""
COLD_C = 5.0
"""The cold day a hill is looked at for [°C]. Our choice."""
LEAST_TIMES = 3
"""A climb counts as one the rider rides when it was ridden this often. Our choice."""
LENGTH_STEP_M, GAIN_STEP_M = 100.0, 5.0
"""Climbs without a name are one when length and gain agree within these [m]. Our choice."""
SAG_SD = 0.03
"""What the sag of a climb is known to beside its scatter [relative]. Our choice."""


@dataclass(frozen=True, slots=True)
class HillAhead:
    """What ageing means on one climb: at which charge it reaches the derate voltage at 25 °C, when
    new, today, and on a cold day today; and from when at the charge asked about."""

    hill: str
    charge_pct: float
    times: int
    ahead: DatedAhead | None
    reached_new_pct: Estimate
    reached_now_pct: Estimate
    reached_cold_pct: Estimate


@dataclass(frozen=True, slots=True)
class _Sag:
    """The sag at a climb's hardest moment at 25 °C and mid charge [V]."""

    name: str
    times: int
    now_v: Estimate
    new_v: Estimate
    cold_v: Estimate


def hills_ahead(
    rides: Sequence[Kept], setup: Setup, course: ResistanceAgeing | None
) -> tuple[HillAhead, ...]:
    """For each climb ridden often: the charge that it takes, and from when 35 % is too little."""
    line = derate_v(setup)
    if line is None or course is None:
        return ()
    return tuple(
        HillAhead(
            sag.name,
            ASKED_CHARGE_PCT,
            sag.times,
            _when(sag, line, rides, setup, course),
            _reached(sag.new_v, line, setup),
            _reached(sag.now_v, line, setup),
            _reached(sag.cold_v, line, setup),
        )
        for sag in _sags(rides, course)
    )


def derate_v(setup: Setup) -> float | None:
    """The highest voltage from which a drive's power is reduced."""
    lines = [one.derate_from_v for one in setup.drives if one.derate_from_v is not None]
    return max(lines) if lines else None


def _climbs(rides: Sequence[Kept]) -> dict[str, list[tuple[Kept, ClimbSummary]]]:
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
    often = {name: each for name, each in groups.items() if len(each) >= LEAST_TIMES}
    return dict(sorted(often.items(), key=lambda one: (-len(one[1]), one[0])))


def _sags(rides: Sequence[Kept], course: ResistanceAgeing) -> list[_Sag]:
    """Each climb's sag over its ride's own resistance (so that temperature, charge and age are out
    of it), times the resistance as fitted for new, now and a cold day."""
    out = []
    cold = course.over_25c(COLD_C)
    for name, each in _climbs(rides).items():
        loads = _loads_a(each)
        if loads.size < LEAST_TIMES:
            continue
        load = float(np.median(loads))
        spread = 1.4826 * float(np.median(np.abs(loads - load))) / loads.size**0.5
        relative = float(np.hypot(spread / load, SAG_SD))
        now = _sag(course.now_25c_ohm, load, relative)
        out.append(
            _Sag(
                name,
                len(each),
                now,
                _sag(course.new_25c_ohm, load, relative),
                _in_the_cold(now, cold),
            )
        )
    return out


def _loads_a(each: Sequence[tuple[Kept, ClimbSummary]]) -> np.ndarray:
    """Sag over the ride's own 10 s resistance, one per time the climb was ridden [A]."""
    loads = [
        ((climb.rest_v or 0.0) - (climb.min_voltage_v or 0.0)) / own[0]
        for ride, climb in each
        if (own := ride.summary.resistance_10s_ohm) is not None
    ]
    return np.array([one for one in loads if one > 0])


def _sag(ohm: Estimate, load_a: float, relative: float) -> Estimate:
    half = float(np.hypot(ohm.half_width, 1.96 * relative * ohm.value)) * load_a
    return Estimate(ohm.value * load_a, ohm.value * load_a - half, ohm.value * load_a + half)


def _in_the_cold(sag: Estimate, cold: Estimate) -> Estimate:
    assert sag.low is not None
    assert sag.high is not None
    assert cold.low is not None
    assert cold.high is not None
    return Estimate(sag.value * cold.value, sag.low * cold.low, sag.high * cold.high)


def _reached(sag: Estimate, line_v: float, setup: Setup) -> Estimate:
    """The charge at which rest less sag is the line, through every curve the cells may follow."""
    series, reach = setup.pack.series, beyond_v(setup)

    def at(volts: float, shift: float) -> list[float]:
        cell = (line_v + volts) / series + shift
        return [float(np.clip(charge_pct(c, cell, setup), 0, 100)) for c in family(setup)]

    assert sag.low is not None
    assert sag.high is not None
    cell = (line_v + sag.value) / series
    value = float(np.clip(charge_pct(setup.curve, cell, setup), 0, 100))
    low, high = min(at(sag.low, -reach)), max(at(sag.high, reach))
    return Estimate(value, min(low, value), max(high, value))


def _when(
    sag: _Sag, line_v: float, rides: Sequence[Kept], setup: Setup, course: ResistanceAgeing
) -> DatedAhead | None:
    """When the sag has grown so far that rest at the asked charge less sag is the line."""
    series, now = setup.pack.series, rides[-1].start
    rest = float(cell_volts(setup.curve, ASKED_CHARGE_PCT, setup)) * series
    room = rest - line_v
    if room <= sag.now_v.value:
        return DatedAhead(now, now, now)
    first, last = ages(rides, setup)
    limit = 100 * (room / sag.new_v.value - 1)
    return dated(years_to(_lost(sag, course), course.growth_pct_per_year, limit, last, first), now)


def _lost(sag: _Sag, course: ResistanceAgeing) -> Estimate:
    """Growth so far, with what the sag itself is not sure of."""
    grown = grown_pct(course)
    assert sag.now_v.high is not None
    more = 100 * (sag.now_v.high / sag.now_v.value - 1)
    return Estimate(
        grown.value,
        grown.value - float(np.hypot(grown.value - (grown.low or 0.0), more)),
        grown.value + float(np.hypot((grown.high or 0.0) - grown.value, more)),
    )


def usable_ah(
    setup: Setup, hills: Sequence[HillAhead], capacity: CapacityAgeing | None
) -> tuple[Estimate | None, Estimate | None]:
    """Charge from full down to where the most ridden climb reaches the derate voltage at 25 °C:
    today, and when the first ride was ridden."""
    if capacity is None or not hills:
        return None, None
    return (
        _above(capacity.now_ah, hills[0].reached_now_pct),
        _above(capacity.new_ah, hills[0].reached_new_pct),
    )


def _above(whole: Estimate, reached: Estimate) -> Estimate | None:
    if whole.low is None or whole.high is None or reached.low is None or reached.high is None:
        return None
    part = 1 - reached.value / 100
    value = whole.value * part
    down = np.hypot(
        (whole.value - whole.low) * part, whole.value * (reached.high - reached.value) / 100
    )
    up = np.hypot(
        (whole.high - whole.value) * part, whole.value * (reached.value - reached.low) / 100
    )
    return Estimate(value, max(value - float(down), 0.0), value + float(up))

"""How has this pack aged over the rides kept, did something break, and when will it matter?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from analyzer.ageing_capacity import CapacityAgeing, capacity_course
from analyzer.ageing_hills import HillAhead, hills_ahead, usable_ah
from analyzer.ageing_parts import YEAR_S, Kept, sd_of, years
from analyzer.ageing_resistance import ResistanceAgeing, resistance_course
from analyzer.estimate import Estimate, Note
from analyzer.forecast import END_CAPACITY_PCT, END_RESISTANCE_PCT, Ahead, years_to
from analyzer.summary import RideSummary, Triple
from analyzer.trend import FEWEST, fit_trend
from analyzer.use import Use, sum_use
from importers.setup_types import Setup

LEAST_SPAN_DAYS = 60
"""A drift per year is not stated from a shorter time [days]. Our choice."""
NOTE_DAYS = 14
"""A note by hand belongs to a jump when it is this near [days]. Our choice."""
SAYS_NOTHING_YEARS = 0.5
"""`Not before` a day nearer than this says nothing [years]. Our choice."""
DISTANCE_LEAST_M = 1000.0
"""Rides shorter than this say nothing of energy per kilometre [m]. Our choice."""


@dataclass(frozen=True, slots=True)
class DayNote:
    """A note by hand, with its day."""

    day: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Health:
    """A quantity of the vehicle over the rides: fitted at the first and the last."""

    quantity: str
    first: Estimate | None
    last: Estimate | None


@dataclass(frozen=True, slots=True)
class DatedAhead:
    """When a threshold is met, as instants; None is open or beyond what can be said."""

    value: datetime | None
    low: datetime
    high: datetime | None


@dataclass(frozen=True, slots=True)
class RideUse:
    """One ride of the book and whether the trends rest on it."""

    kept: Kept
    used: bool
    why_not: str | None


@dataclass(frozen=True, slots=True)
class JumpTold:
    """A jump with what the rider noted around that day."""

    date: datetime
    step_pct: Estimate
    part: str
    note: str | None


@dataclass(frozen=True, slots=True, eq=False)
class AgeingResult:
    """Everything `ageing` says; None with a note where the rides cannot tell."""

    setup: Setup
    rides: int
    rides_used: int
    span_days: float
    resistance: ResistanceAgeing | None
    jumps: tuple[JumpTold, ...]
    capacity: CapacityAgeing | None
    of_rated_pct: Estimate | None
    usable_ah: Estimate | None
    use: Use
    wh_per_km: tuple[Estimate | None, Estimate | None]
    health: tuple[Health, ...]
    capacity_80: DatedAhead | None
    resistance_150: DatedAhead | None
    hills: tuple[HillAhead, ...]
    basis: str
    per_ride: tuple[RideUse, ...]
    notes: tuple[Note, ...]


def judge_ageing(
    rides: Sequence[Kept], setup: Setup, *, notes: Sequence[DayNote] = ()
) -> AgeingResult:
    """What months of rides of one pack say. `setup` is the newest ride's.

    Raises
    ------
    ValueError : there is no ride
    """
    if not rides:
        raise ValueError("ageing needs at least one ride")
    ordered = sorted(rides, key=lambda one: one.start)
    own = not setup.curve.built_in
    resistance = resistance_course(ordered)
    capacity = capacity_course(ordered, own_curve=own)
    span_s = (ordered[-1].start - ordered[0].start).total_seconds()
    told: list[Note] = []
    long_enough = span_s >= LEAST_SPAN_DAYS * 86400
    if resistance is None:
        told.append(Note("resistance", _too_few("a resistance at a known temperature")))
    if capacity is None:
        told.append(Note("capacity", _too_few("enough charge moved between two rest voltages")))
    if not long_enough:
        told.append(
            Note(
                "forecast",
                f"The rides span {span_s / 86400:.0f} days; nothing is said of a drift per year "
                f"or a date under {LEAST_SPAN_DAYS}.",
            )
        )
    used = {*(resistance.used if resistance else ()), *(capacity.used if capacity else ())}
    now = ordered[-1].start
    capacity_80 = _capacity_ahead(capacity, setup, now, ordered[0].start) if long_enough else None
    growth_150 = _resistance_ahead(resistance, now, setup, ordered) if long_enough else None
    hills = hills_ahead(ordered, setup, resistance) if long_enough else ()
    told += _forecast_notes(capacity_80, growth_150, long_enough)
    return AgeingResult(
        setup=setup,
        rides=len(ordered),
        rides_used=len(used),
        span_days=span_s / 86400,
        resistance=resistance,
        jumps=_told_jumps(resistance, notes),
        capacity=capacity,
        of_rated_pct=_of_rated(capacity, setup),
        usable_ah=usable_ah(ordered, setup, resistance, capacity),
        use=sum_use([one.summary for one in ordered]),
        wh_per_km=_first_last(ordered, _wh_per_km),
        health=(
            Health("share", *_first_last(ordered, lambda one: one.share_pct)),
            Health("speed_ratio", *_first_last(ordered, lambda one: one.speed_ratio)),
        ),
        capacity_80=capacity_80,
        resistance_150=growth_150,
        hills=hills,
        basis=BASIS,
        per_ride=tuple(_use_of(one, used) for one in ordered),
        notes=tuple(told),
    )


BASIS = (
    "Both a straight course and one that slows with the square root of age fit a year or two of "
    "rides; the interval holds both. Temperature, charge level and season are taken out, jumps are "
    "counted apart. Packs can also fail suddenly: a date is no promise."
)


def _too_few(what: str) -> str:
    return f"Fewer than {FEWEST} rides have {what}."


def _of_rated(capacity: CapacityAgeing | None, setup: Setup) -> Estimate | None:
    if capacity is None:
        return None
    scale = 100.0 / setup.pack.capacity_ah
    now = capacity.now_ah
    return Estimate(
        now.value * scale,
        None if now.low is None else now.low * scale,
        None if now.high is None else now.high * scale,
    )


def _age_years(now: datetime, first: datetime, setup: Setup) -> float:
    since = setup.pack.in_service_since
    begin = first if since is None else datetime(since.year, since.month, since.day).astimezone()
    return max((now - min(begin, first)).total_seconds() / YEAR_S, 0.1)


def _dated(ahead: Ahead | None, now: datetime) -> DatedAhead | None:
    if ahead is None or (ahead.value_years is None and ahead.low_years < SAYS_NOTHING_YEARS):
        return None

    def at(years_: float | None) -> datetime | None:
        return None if years_ is None else now + timedelta(days=365.25 * years_)

    low = at(ahead.low_years)
    assert low is not None
    return DatedAhead(at(ahead.value_years), low, at(ahead.high_years))


def _capacity_ahead(
    capacity: CapacityAgeing | None, setup: Setup, now: datetime, first: datetime
) -> DatedAhead | None:
    """When 80 % of the rated capacity is reached."""
    of_rated = _of_rated(capacity, setup)
    if capacity is None or of_rated is None or of_rated.low is None or of_rated.high is None:
        return None
    lost = Estimate(100 - of_rated.value, 100 - of_rated.high, 100 - of_rated.low)
    scale = capacity.new_ah.value / setup.pack.capacity_ah
    fade = capacity.fade_pct_per_year
    rate = Estimate(
        fade.value * scale,
        None if fade.low is None else fade.low * scale,
        None if fade.high is None else fade.high * scale,
    )
    age = _age_years(now, first, setup)
    return _dated(years_to(lost, rate, 100 - END_CAPACITY_PCT, age), now)


def _resistance_ahead(
    course: ResistanceAgeing | None, now: datetime, setup: Setup, rides: Sequence[Kept]
) -> DatedAhead | None:
    """When 150 % of the resistance at the first ride is reached, by growth alone."""
    if course is None:
        return None
    span = course.trend.span_years
    ratio = 100.0 * (course.fitted_ohm[-1] / course.fitted_ohm[0] - 1)
    growth = course.growth_pct_per_year
    if growth.low is None or growth.high is None:
        return None
    lost = Estimate(
        float(ratio),
        float(ratio - (growth.value - growth.low) * span),
        float(ratio + (growth.high - growth.value) * span),
    )
    age = max(_age_years(now, rides[0].start, setup), span)
    return _dated(years_to(lost, growth, END_RESISTANCE_PCT - 100, age), now)


def _forecast_notes(
    capacity: DatedAhead | None, resistance: DatedAhead | None, long_enough: bool
) -> list[Note]:
    notes = []
    if long_enough and capacity is None:
        notes.append(
            Note(
                "forecast.capacity_80_pct",
                "No fade is established that would reach 80 % of the rated capacity within the "
                "time that can be looked ahead.",
            )
        )
    if long_enough and resistance is None:
        notes.append(
            Note(
                "forecast.resistance_150_pct",
                "No growth is established that would reach 150 % of the first rides' resistance "
                "within the time that can be looked ahead.",
            )
        )
    return notes


def _told_jumps(course: ResistanceAgeing | None, notes: Sequence[DayNote]) -> tuple[JumpTold, ...]:
    if course is None:
        return ()
    out = []
    for jump in course.jumps:
        reach = timedelta(days=NOTE_DAYS)
        near = [n.text for n in notes if jump.before - reach <= n.day <= jump.date + reach]
        out.append(JumpTold(jump.date, jump.step_pct, jump.part, "; ".join(near) or None))
    return tuple(out)


def _wh_per_km(one: RideSummary) -> Triple | None:
    if one.distance_m is None or one.distance_m < DISTANCE_LEAST_M or one.energy_out_wh is None:
        return None
    net = one.energy_out_wh - abs(one.energy_back_wh or 0.0)
    value = net / one.distance_m * 1000
    return (value, 0.95 * value, 1.05 * value) if value > 0 else None


def _first_last(
    rides: Sequence[Kept], of: Callable[[RideSummary], Triple | None]
) -> tuple[Estimate | None, Estimate | None]:
    """A quantity fitted at the first and the last ride that has it."""
    pairs = [(one, triple) for one in rides if (triple := of(one.summary)) is not None]
    pairs = [(one, triple) for one, triple in pairs if triple[0] > 0]
    if len(pairs) < FEWEST:
        return None, None
    values = np.array([triple[0] for _, triple in pairs])
    sds = np.array([max(sd_of(triple), 1e-4 * triple[0]) for _, triple in pairs])
    trend = fit_trend(years([one for one, _ in pairs]), values, sds, look_for_jumps=False)
    return (None, None) if trend is None else (trend.new, trend.now)


def _use_of(one: Kept, used: set[str]) -> RideUse:
    if one.name in used:
        return RideUse(one, used=True, why_not=None)
    own = one.summary
    if own.resistance_10s_ohm is None:
        why = "too short or too even to tell a resistance, and too little charge for a capacity"
    elif own.temperature_c is None:
        why = "no pack temperature"
    else:
        why = "too few rides like it"
    return RideUse(one, used=False, why_not=why)

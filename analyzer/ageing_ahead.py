"""When does the pack reach the ends of life by capacity and by resistance, or why is none named?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from analyzer.ageing_capacity import CapacityAgeing
from analyzer.ageing_parts import YEAR_S, Kept
from analyzer.ageing_resistance import ResistanceAgeing
from analyzer.estimate import Estimate, Note
from analyzer.forecast import (
    END_CAPACITY_PCT,
    END_RESISTANCE_PCT,
    HORIZON_YEARS,
    DatedAhead,
    dated,
    years_to,
)
from importers.setup_types import Setup

LEAST_SPAN_DAYS = 60
"""A drift per year is not stated from a shorter time [days]. Our choice."""

BASIS = (
    "Both a straight course and one that slows with the square root of age fit a year or two of "
    "rides; the interval holds both. Temperature, charge level and season are taken out, jumps are "
    "counted apart. Packs can also fail suddenly: a date is no promise."
)


def ages(rides: Sequence[Kept], setup: Setup) -> tuple[float, float]:
    """The pack's age at the first and at the last ride [years]; without a day it went into service
    the first ride counts as new."""
    first, last = rides[0].start, rides[-1].start
    since = setup.pack.in_service_since
    begin = first if since is None else datetime(since.year, since.month, since.day).astimezone()
    begin = min(begin, first)
    old = max((last - begin).total_seconds() / YEAR_S, 0.1)
    return min((first - begin).total_seconds() / YEAR_S, old), old


def of_rated_pct(capacity: CapacityAgeing | None, setup: Setup) -> Estimate | None:
    """Today's capacity in % of the rated."""
    return None if capacity is None else times(capacity.now_ah, 100.0 / setup.pack.capacity_ah)


def times(one: Estimate, factor: float) -> Estimate:
    """An estimate in another unit; `factor` is positive."""
    return Estimate(
        one.value * factor,
        None if one.low is None else one.low * factor,
        None if one.high is None else one.high * factor,
    )


def capacity_ahead(
    capacity: CapacityAgeing | None, setup: Setup, rides: Sequence[Kept]
) -> DatedAhead | None:
    """When 80 % of the rated capacity is reached."""
    now = of_rated_pct(capacity, setup)
    if capacity is None or now is None or now.low is None or now.high is None:
        return None
    if capacity.fade_pct_per_year is None:
        return None
    lost = Estimate(100 - now.value, 100 - now.high, 100 - now.low)
    rate = times(capacity.fade_pct_per_year, capacity.new_ah.value / setup.pack.capacity_ah)
    first, last = ages(rides, setup)
    return dated(years_to(lost, rate, 100 - END_CAPACITY_PCT, last, first), rides[-1].start)


def grown_pct(course: ResistanceAgeing) -> Estimate:
    """By how much the resistance has grown from the first ride to the last, jumps counted in."""
    ratio = 100.0 * (course.fitted_ohm[-1] / course.fitted_ohm[0] - 1)
    growth, span = course.growth_pct_per_year, course.trend.span_years
    low = growth.value if growth.low is None else growth.low
    high = growth.value if growth.high is None else growth.high
    return Estimate(
        float(ratio),
        float(ratio - (growth.value - low) * span),
        float(ratio + (high - growth.value) * span),
    )


def resistance_ahead(
    course: ResistanceAgeing | None, setup: Setup, rides: Sequence[Kept]
) -> DatedAhead | None:
    """When 150 % of the resistance at the first ride is reached, by growth alone."""
    if course is None:
        return None
    first, last = ages(rides, setup)
    rate = course.growth_pct_per_year
    ahead = years_to(grown_pct(course), rate, END_RESISTANCE_PCT - 100, last, first)
    return dated(ahead, rides[-1].start)


TELLS_PCT_PER_YEAR = 30.0
"""A drift that may be more than this off says nothing [% a year]. Our choice: no pack in use ages
so fast."""


def refusals(
    capacity: CapacityAgeing | None,
    course: ResistanceAgeing | None,
    found: tuple[DatedAhead | None, DatedAhead | None],
    span_days: float,
) -> list[Note]:
    """Why no date is named, where none is."""
    if span_days < LEAST_SPAN_DAYS:
        text = (
            f"The rides span {span_days:.0f} days; nothing is said of a drift per year or a date "
            f"under {LEAST_SPAN_DAYS}."
        )
        return [Note("forecast", text)]
    fade = None if capacity is None else capacity.fade_pct_per_year
    growth = None if course is None else course.growth_pct_per_year
    notes = []
    for about, what, drift, goal, ahead in (
        ("capacity_80_pct", "fade", fade, f"{END_CAPACITY_PCT:.0f} % of rated", found[0]),
        ("resistance_150_pct", "growth", growth, f"{END_RESISTANCE_PCT:.0f} % of new", found[1]),
    ):
        text = _refusal(what, drift, goal, ahead)
        if text:
            notes.append(Note(f"forecast.{about}", text))
    return notes


def _refusal(what: str, drift: Estimate | None, goal: str, ahead: DatedAhead | None) -> str:
    if ahead is not None and ahead.value is not None:
        return ""
    if drift is None:
        return f"No date for {goal}: no {what} could be fitted."
    if drift.half_width > TELLS_PCT_PER_YEAR:
        return f"No date for {goal}: these rides do not tell the {what} yet."
    if drift.low is None or drift.low <= 0:
        return (
            f"No date for {goal}: the {what} of {drift.value:.1f} % a year is not beyond what "
            "chance, season and scatter make."
        )
    return (
        f"No date for {goal}: at {drift.value:.1f} % a year it lies more than {HORIZON_YEARS:.0f} "
        "years ahead by one of the two laws or both, further than rides can say."
    )

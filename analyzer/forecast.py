"""When will a threshold be met, as far as the rides can say?

Fade may go on in a straight line or slow down with the square root of age (film growth); a year or
two of rides cannot tell which, so an interval holds both. Nothing is forecast further ahead than
`HORIZON_YEARS`, and no date is named when the drift itself is not established.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from math import sqrt

from analyzer.estimate import Estimate

END_CAPACITY_PCT = 80.0
"""End of life by capacity [% of rated]: the industry's tradition."""
END_RESISTANCE_PCT = 150.0
"""End of life by resistance [% of new]: a convention of this tool, stricter than the often used
200 %."""
HORIZON_YEARS = 15.0
"""Nothing further ahead is stated. Our choice."""
SAYS_NOTHING_YEARS = 0.5
"""`Not before` a day nearer than this says nothing [years]. Our choice."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """Years from now until a threshold; None is open on that side."""

    value_years: float | None
    low_years: float
    high_years: float | None
    straight_years: float | None
    slowing_years: float | None


@dataclass(frozen=True, slots=True)
class DatedAhead:
    """When a threshold is met, as instants; None is open or beyond what can be said."""

    value: datetime | None
    low: datetime
    high: datetime | None
    straight: datetime | None = None
    """By the straight law alone, None beyond the horizon."""
    slowing: datetime | None = None


def years_to(
    lost: Estimate, rate: Estimate, limit: float, age_years: float, first_age_years: float = 0.0
) -> Ahead | None:
    """When does what is lost so far reach `limit`?

    `lost` in per cent, `rate` in per cent per year (positive: getting worse) as seen between the
    ages `first_age_years` and `age_years`. None when even the fastest believable rate never gets
    there within the horizon. No value where the rate may be nothing at all.

    The straight law: (limit - lost) / rate. The slowing law has lost grow with k times the square
    root of age, with the k that gives `rate` between the two ages.
    """
    if rate.high is None or rate.low is None or rate.high <= 0:
        return None
    if limit - lost.value <= 0:
        return Ahead(0.0, 0.0, 0.0, 0.0, 0.0)
    least_left = limit - (lost.high if lost.high is not None else lost.value)
    most_left = limit - (lost.low if lost.low is not None else lost.value)
    low = max(least_left, 0.0) / rate.high
    if low > HORIZON_YEARS:
        return None
    if rate.low <= 0:
        return Ahead(None, low, None, None, None)
    left = limit - lost.value
    straight = left / rate.value
    slowing = _slowing(left, rate.value, age_years, first_age_years)
    high = max(most_left / rate.low, _slowing(most_left, rate.low, age_years, first_age_years))
    middle = sqrt(straight * slowing)
    return Ahead(
        middle if middle <= HORIZON_YEARS else None,
        low,
        high if high <= HORIZON_YEARS else None,
        straight,
        slowing,
    )


def _slowing(left: float, rate: float, age_years: float, first_age_years: float) -> float:
    """Years from now until `left` more is lost under k sqrt(age)."""
    age = max(age_years, 1e-6)
    k = rate * (sqrt(age) + sqrt(min(max(first_age_years, 0.0), age)))
    return (sqrt(age) + left / k) ** 2 - age


def dated(ahead: Ahead | None, now: datetime) -> DatedAhead | None:
    """Years ahead as instants; None where they say nothing."""
    if ahead is None or (ahead.value_years is None and ahead.low_years < SAYS_NOTHING_YEARS):
        return None

    def at(years: float | None) -> datetime | None:
        if years is None or years > HORIZON_YEARS:
            return None
        return now + timedelta(days=365.25 * years)

    low = at(ahead.low_years)
    assert low is not None
    return DatedAhead(
        at(ahead.value_years), low, at(ahead.high_years),
        at(ahead.straight_years), at(ahead.slowing_years),
    )  # fmt: skip

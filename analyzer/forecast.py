"""When will a threshold be met, as far as the rides can say?

Fade may go on in a straight line or slow down with the square root of age (film growth); a year or
two of rides cannot tell which, so an interval holds both. Nothing is forecast further ahead than
`HORIZON_YEARS`, nor when the drift itself is not established.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from analyzer.estimate import Estimate

END_CAPACITY_PCT = 80.0
"""End of life by capacity [% of rated]: the industry's tradition."""
END_RESISTANCE_PCT = 150.0
"""End of life by resistance [% of new]: a convention of this tool, stricter than the often used
200 %."""
HORIZON_YEARS = 15.0
"""Nothing further ahead is stated. Our choice."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """Years from now until a threshold; None is open on that side."""

    value_years: float | None
    low_years: float
    high_years: float | None
    straight_years: float | None
    slowing_years: float | None


def years_to(lost: Estimate, rate: Estimate, limit: float, age_years: float) -> Ahead | None:
    """When does what is lost so far reach `limit`?

    `lost` in per cent since new, `rate` in per cent per year (positive: getting worse), `age_years`
    the time in which it was lost. None when even the fastest believable rate never gets there.

    The straight law: (limit - lost) / rate. The slowing law, lost = k sqrt(age): age (limit/lost)^2
    - age, with k from the loss so far, or, where that is not known, from the rate.
    """
    if rate.high is None or rate.low is None or rate.high <= 0:
        return None
    left = limit - lost.value
    if left <= 0:
        return Ahead(0.0, 0.0, 0.0, 0.0, 0.0)
    least_left = limit - (lost.high if lost.high is not None else lost.value)
    most_left = limit - (lost.low if lost.low is not None else lost.value)
    low = max(least_left, 0.0) / rate.high
    straight = left / rate.value if rate.value > 0 else None
    slowing = _slowing(lost.value, rate.value, limit, age_years) if rate.value > 0 else None
    high = None
    if rate.low > 0:
        slow_lost = lost.low if lost.low is not None and lost.low > 0 else lost.value
        high = max(most_left / rate.low, _slowing(slow_lost, rate.low, limit, age_years) or 0.0)
        high = high if high <= HORIZON_YEARS else None
    value = None
    if straight is not None and slowing is not None:
        middle = sqrt(straight * slowing)
        value = middle if middle <= HORIZON_YEARS else None
    if low > HORIZON_YEARS:
        return None
    return Ahead(value, low, high, straight, slowing)


def _slowing(lost: float, rate: float, limit: float, age_years: float) -> float | None:
    """Years from now under lost = k sqrt(age)."""
    if age_years <= 0:
        return None
    # k from the tangent at today's age keeps to the measured rate where `lost` is uncertain.
    k_level = lost / sqrt(age_years) if lost > 0 else 0.0
    k_rate = 2 * rate * sqrt(age_years)
    k = k_level if k_level > 0 else k_rate
    if k <= 0:
        return None
    gain = (limit - lost) / k
    return (sqrt(age_years) + gain) ** 2 - age_years

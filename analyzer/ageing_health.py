"""What else changed on this vehicle over the rides kept: wheels, rolling, heat, shares, demand."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from analyzer.ageing_parts import Kept, sd_of, years
from analyzer.ageing_result import Health
from analyzer.estimate import Estimate, Note
from analyzer.summary import RideSummary, Triple
from analyzer.trend import FEWEST, fit_trend

DISTANCE_LEAST_M = 1000.0
"""Rides shorter than this say nothing of energy per kilometre [m]. Our choice."""
WH_PER_KM_SD = 0.025
"""What one ride's energy per kilometre is known to [relative]. Our choice: a current's scale."""
SHIFT = 100.0
"""Added before the fit to what may be zero: over a few per cent the logarithm runs straight."""

QUANTITIES: dict[str, tuple[Callable[[RideSummary], Triple | None], float, str]] = {
    "share": (lambda one: one.share_pct, 0.0, "both drives' battery currents under load"),
    "speed_ratio": (lambda one: one.speed_ratio, 0.0, "both drives' wheel speeds"),
    "wheel_circumference": (
        lambda one: one.wheel_circumference_m,
        0.0,
        "a satellite speed beside the motors', and vehicle.wheel_diameter_m",
    ),
    "rolling": (
        lambda one: one.rolling,
        0.0,
        "rides with a logged height, vehicle.mass_kg and enough flat road",
    ),
    "heat_per_watt": (
        lambda one: one.heat_per_watt,
        0.0,
        "phase current and motor temperature, on rides that warm the motors",
    ),
    "demand_rest": (lambda one: one.demand_rest_pct, SHIFT, "the demand, logged while standing"),
}
"""Quantity: where a summary keeps it, what is added before the fit, and what it takes."""


def vehicle_health(rides: Sequence[Kept]) -> tuple[tuple[Health, ...], tuple[Note, ...]]:
    """Each quantity as fitted at the first and the last ride, and a note where it is not known."""
    health = tuple(
        Health(name, *first_last(rides, of, shift=shift))
        for name, (of, shift, _) in QUANTITIES.items()
    )
    notes = tuple(
        Note(f"drive_health.{one.quantity}", _why_not(rides, one.quantity))
        for one in health
        if one.first is None
    )
    return health, notes


def _why_not(rides: Sequence[Kept], name: str) -> str:
    of, _, takes = QUANTITIES[name]
    known = sum(of(one.summary) is not None for one in rides)
    if known == 0:
        return f"No ride tells it; it takes {takes}."
    return f"{known} of {len(rides)} rides tell it, under {FEWEST}; it takes {takes}."


def first_last(
    rides: Sequence[Kept], of: Callable[[RideSummary], Triple | None], *, shift: float = 0.0
) -> tuple[Estimate | None, Estimate | None]:
    """A quantity fitted at the first and the last ride that has it."""
    pairs = [(one, triple) for one in rides if (triple := of(one.summary)) is not None]
    pairs = [(one, triple) for one, triple in pairs if triple[0] + shift > 0]
    if len(pairs) < FEWEST:
        return None, None
    values = np.array([triple[0] + shift for _, triple in pairs])
    sds = np.array([max(sd_of(triple), 1e-4 * abs(triple[0] + shift)) for _, triple in pairs])
    trend = fit_trend(years([one for one, _ in pairs]), values, sds, look_for_jumps=False)
    if trend is None:
        return None, None
    return _shifted(trend.new, shift), _shifted(trend.now, shift)


def _shifted(one: Estimate, shift: float) -> Estimate:
    return Estimate(
        one.value - shift,
        None if one.low is None else one.low - shift,
        None if one.high is None else one.high - shift,
    )


def energy_per_km(rides: Sequence[Kept]) -> tuple[Estimate | None, Estimate | None]:
    """Energy per kilometre at the first and the last ride, at matched speed and air: how fast and
    how cold each ride was is fitted along and taken out."""
    pairs = [(one, wh) for one in rides if (wh := _wh_per_km(one.summary)) is not None]
    if len(pairs) < FEWEST:
        return None, None
    good = [one for one, _ in pairs]
    values = np.array([wh for _, wh in pairs], np.float64)
    speed = np.array([_speed(one.summary) for one in good])
    temp = np.array([_temperature(one.summary) for one in good])
    columns = np.column_stack([speed**2 / float(np.median(speed)) ** 2 - 1, (temp - 15) / 20])
    trend = fit_trend(
        years(good),
        values,
        WH_PER_KM_SD * values,
        regressors=columns,
        prior_mean=np.zeros(2),
        prior_sd=np.array([0.5, 0.2]),
        look_for_jumps=False,
    )
    return (None, None) if trend is None else (trend.new, trend.now)


def _speed(one: RideSummary) -> float:
    return max((one.distance_m or 0.0) / max(one.duration_s, 1.0), 0.5)


def _temperature(one: RideSummary) -> float:
    return 15.0 if one.temperature_c is None else one.temperature_c


def _wh_per_km(one: RideSummary) -> float | None:
    if one.distance_m is None or one.distance_m < DISTANCE_LEAST_M or one.energy_out_wh is None:
        return None
    net = one.energy_out_wh - abs(one.energy_back_wh or 0.0)
    value = net / one.distance_m * 1000
    return value if value > 0 else None

"""What one ride tells of the rest of the vehicle: wheels, rolling, heat, the demand's rest."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, sqrt

from analyzer.estimate import Estimate
from analyzer.heat import fit_heat
from analyzer.ride_analysis import RideResult
from analyzer.road_load import RoadLoad, fit_road_load
from importers.setup_types import Setup

DEMAND_STEP_PCT = 0.3
"""How well a demand's rest value is known beside its noise, one standard deviation [%]. Our
choice: a reading's last digit."""


@dataclass(frozen=True, slots=True)
class VehicleFacts:
    """None where the ride does not tell."""

    wheel_circumference_m: Estimate | None
    rolling: Estimate | None
    heat_per_watt: Estimate | None
    """Kelvin a motor ends up warmer than the air per watt lost in its copper, the hotter one's."""
    demand_rest_pct: Estimate | None


def vehicle_facts(result: RideResult) -> VehicleFacts:
    """What else than the pack may have changed, from what the ride tells of itself."""
    ride, setup = result.ride, result.setup
    load = fit_road_load(ride, setup, result.roads)
    return VehicleFacts(
        wheel_circumference_m=_circumference(load, setup),
        rolling=load.rolling_coefficient.estimate if load.rolling_coefficient.fitted else None,
        heat_per_watt=_heat_per_watt(result, load),
        demand_rest_pct=_demand_rest(result),
    )


def _circumference(load: RoadLoad, setup: Setup) -> Estimate | None:
    diameter, factor = setup.vehicle.wheel_diameter_m, load.wheel_factor
    if diameter is None or factor is None:
        return None
    one = factor.estimate
    assert one.low is not None
    assert one.high is not None
    return Estimate(pi * diameter * one.value, pi * diameter * one.low, pi * diameter * one.high)


def _heat_per_watt(result: RideResult, load: RoadLoad) -> Estimate | None:
    copper = load.copper_ohm
    if copper is None or not copper.fitted or copper.estimate.value <= 0:
        return None
    fits = [fit_heat(result.ride, result.setup, drive) for drive in result.ride.drives]
    known = [one for one in fits if one is not None]
    if not known:
        return None
    hottest = max(known, key=lambda one: one.resistance)
    ohm = copper.estimate
    value = hottest.resistance / ohm.value
    relative = hypot(hottest.relative_sd, ohm.half_width / 1.96 / ohm.value)
    return Estimate(value, value / (1 + 1.96 * relative), value * (1 + 1.96 * relative))


def _demand_rest(result: RideResult) -> Estimate | None:
    """Of the first drive whose demand is logged."""
    inputs = result.inputs
    for one in inputs.drives if inputs is not None else ():
        if one.rest_pct is not None:
            sd = hypot(DEMAND_STEP_PCT, (one.noise_pct or 0.0) / sqrt(10))
            return Estimate(one.rest_pct, one.rest_pct - 1.96 * sd, one.rest_pct + 1.96 * sd)
    return None

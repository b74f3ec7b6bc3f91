"""What does a lower limit cost on a hill? In speed, where the setup says the vehicle's mass."""

from __future__ import annotations

from analyzer.estimate import Estimate
from analyzer.road_force import road_force_n
from analyzer.setup_finding import above, pct
from analyzer.setup_paper import fade_from_pct, rest_v
from importers.setup_types import Setup

CLIMB_GRADE_PCT = 8.0
"""The hill that costs are told on: steep for a light vehicle, and common. Our choice."""
ROLLING = 0.012
DRAG_AREA_M2 = 0.7
"""Where the setup gives none. Common practice, no source: small air tyres, an upright rider."""
EFFICIENCY = 0.8
"""From the pack to the road at a climbing load. Common practice, no source."""
CHARGE_PCT = 60.0
"""The pack's charge that its voltage is taken at. Our choice."""


def climbing_speed_mps(
    setup: Setup, battery_a: float, grade_pct: float, resistance_ohm: float
) -> float | None:
    """How fast would all drives together climb with this battery current? None without a mass."""
    vehicle = setup.vehicle
    if vehicle.mass_kg is None:
        return None
    pack_v = rest_v(setup, CHARGE_PCT) - battery_a * resistance_ohm
    power_w = EFFICIENCY * battery_a * max(pack_v, 0.0)
    rolling = ROLLING if vehicle.rolling_coefficient is None else vehicle.rolling_coefficient
    area = DRAG_AREA_M2 if vehicle.drag_area_m2 is None else vehicle.drag_area_m2
    low, high = 0.0, 100.0
    for _ in range(60):  # bisection: power over speed rises steadily
        middle = (low + high) / 2
        force_n = road_force_n(
            middle,
            grade_pct,
            mass_kg=vehicle.mass_kg,
            rolling_coefficient=rolling,
            drag_area_m2=area,
        )
        low, high = (middle, high) if middle * float(force_n) < power_w else (low, middle)
    return (low + high) / 2


def battery_cost(
    setup: Setup, way: str, now: float | None, new: float, resistance_ohm: float
) -> str:
    """What a lower battery limit costs; empty where nothing is lowered."""
    if now is None or not above(now, new):
        return ""
    less = pct(1 - new / now)
    if way == "brake":
        return (
            f"{less} less motor braking from speed: the mechanical brake must hold the loaded "
            "vehicle on its own; try it at walking pace first."
        )
    count = len(setup.drives)
    before = climbing_speed_mps(setup, count * now, CLIMB_GRADE_PCT, resistance_ohm)
    after = climbing_speed_mps(setup, count * new, CLIMB_GRADE_PCT, resistance_ohm)
    if before is None or after is None:
        return f"about {less} less power where the battery limit governs."
    return (
        f"an {CLIMB_GRADE_PCT:.0f} % climb at about {3.6 * after:.0f} km/h instead of "
        f"{3.6 * before:.0f}, as far as the motors give that."
    )


def fade_cost(setup: Setup, current_a: float, derate_v: float, ohm: Estimate) -> str:
    """From which charge on a derate voltage takes power away at full current."""
    fade = fade_from_pct(setup, current_a, derate_v, ohm)
    return (
        f"full power down to about {fade.value:.0f} % charge "
        f"({fade.low or 0.0:.0f} to {fade.high or 0.0:.0f}), less below."
    )

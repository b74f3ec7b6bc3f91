"""What does a lower limit cost on a hill? In speed, seconds and motor heat, by one balance of power
for every finding of a ride and for a setup on paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analyzer.estimate import Estimate
from analyzer.road_force import road_force_n
from analyzer.setup_finding import above, pct
from analyzer.setup_paper import fade_from_pct, rest_v
from importers.setup_types import Setup

if TYPE_CHECKING:
    from analyzer.climbs import Climb
    from importers.ride import Ride

KMH = 3.6
CLIMB_GRADE_PCT = 8.0
"""The hill that costs are told on where the ride has none: steep for a light vehicle, and common.
Our choice."""
ROLLING = 0.012
DRAG_AREA_M2 = 0.7
"""Where the setup gives none. Common practice, no source: small air tyres, an upright rider."""
EFFICIENCY = 0.8
"""From the pack to the road at a climbing load. Common practice, no source."""
CHARGE_PCT = 60.0
"""The pack's charge that its voltage is taken at where the ride does not tell. Our choice."""
LEAST_LONGER_S = 3.0
"""Fewer seconds more on a climb are not worth telling [s]. Our choice."""
LEAST_HEATING_K = 1.0
"""Less further heating of a motor is not worth telling [K]. Our choice."""


@dataclass(frozen=True, slots=True)
class Hill:
    """The climb that a cost is told on."""

    grade_pct: float
    length_m: float | None = None
    name: str | None = None
    start_s: float = -np.inf
    end_s: float = np.inf
    motor_top_c: float | None = None
    """The hotter motor's highest temperature on it."""
    motor_rise_k_per_s: float | None = None
    """How fast that motor warmed from foot to top."""

    @property
    def words(self) -> str:
        """The climb inside a sentence, at its beginning in small letters."""
        if self.name is not None:
            return f"{self.name} ({self.grade_pct:.0f} % on average)"
        if self.length_m is not None:
            return f"this climb of {self.grade_pct:.0f} % on average"
        article = "an" if round(self.grade_pct) in (8, 11, 18) else "a"
        return f"{article} {self.grade_pct:.0f} % climb"


PAPER_HILL = Hill(CLIMB_GRADE_PCT)


def hills_of(ride: Ride, climbs: Iterable[Climb]) -> tuple[Hill, ...]:
    """The ride's climbs, as costs are told on them."""
    return tuple(_hill(ride, one) for one in climbs)


def _hill(ride: Ride, climb: Climb) -> Hill:
    tops = [(top, drive) for drive, top in climb.top_motor_temp_c if top is not None]
    top_c, rise = None, None
    if tops:
        top_c, drive = max(tops)
        temp_c = ride.get(f"{drive}.motor_temp_c")
        rows = slice(*np.searchsorted(ride.time_s, [climb.start_s, climb.end_s]).tolist())
        if temp_c is not None and np.isfinite(temp_c[rows]).any() and climb.end_s > climb.start_s:
            first = float(temp_c[rows][np.isfinite(temp_c[rows])][0])
            rise = (top_c - first) / (climb.end_s - climb.start_s)
    grade = climb.grade_pct.value
    return Hill(grade, climb.length_m, climb.hill, climb.start_s, climb.end_s, top_c, rise)


def hill_at(hills: Iterable[Hill], start_s: float, end_s: float) -> Hill:
    """The climb that these seconds lie on; the usual one where they lie on none."""
    return next((one for one in hills if one.start_s <= end_s and start_s <= one.end_s), PAPER_HILL)


def climbing_speed_mps(
    setup: Setup,
    battery_a: float,
    grade_pct: float,
    resistance_ohm: float,
    *,
    pack_rest_v: float | None = None,
    mass_kg: float | None = None,
) -> float | None:
    """How fast would all drives together climb with this battery current? None without a mass.

    Power at the wheel = efficiency x current x (rest voltage - current x resistance) = speed x
    road force; the steady speed at which both are equal.
    """
    vehicle = setup.vehicle
    mass = vehicle.mass_kg if mass_kg is None else mass_kg
    if mass is None:
        return None
    rest = rest_v(setup, CHARGE_PCT) if pack_rest_v is None else pack_rest_v
    pack_v = rest - battery_a * resistance_ohm
    power_w = EFFICIENCY * battery_a * max(pack_v, 0.0)
    rolling = ROLLING if vehicle.rolling_coefficient is None else vehicle.rolling_coefficient
    area = DRAG_AREA_M2 if vehicle.drag_area_m2 is None else vehicle.drag_area_m2
    low, high = 0.0, 100.0
    for _ in range(60):  # bisection: power over speed rises steadily
        middle = (low + high) / 2
        force_n = road_force_n(
            middle,
            grade_pct,
            mass_kg=mass,
            rolling_coefficient=rolling,
            drag_area_m2=area,
        )
        low, high = (middle, high) if middle * float(force_n) < power_w else (low, middle)
    return (low + high) / 2


def climb_cost(
    setup: Setup,
    now_a: float,
    new_a: float,
    resistance_ohm: float,
    hill: Hill = PAPER_HILL,
    *,
    pack_rest_v: float | None = None,
    mass_kg: float | None = None,
) -> str:
    """What it costs to climb with `new_a` from the pack instead of `now_a`, all drives together;
    begins in small letters; empty where nothing is lowered."""
    if not above(now_a, new_a):
        return ""
    before, after = (
        climbing_speed_mps(
            setup, amps, hill.grade_pct, resistance_ohm, pack_rest_v=pack_rest_v, mass_kg=mass_kg
        )
        for amps in (now_a, new_a)
    )
    if before is None or after is None or after <= 0:
        return f"about {pct(1 - new_a / now_a)} less power where the battery limit governs."
    text = (
        f"{hill.words} at about {KMH * after:.0f} km/h instead of {KMH * before:.0f}, "
        "where the motors give that"
    )
    if hill.length_m is None:
        return f"{text}."
    longer_s = hill.length_m / after - hill.length_m / before
    if longer_s < LEAST_LONGER_S:
        return f"{text}."
    text = f"{text}; some {_about_s(longer_s)} longer"
    rise = (hill.motor_rise_k_per_s or 0.0) * longer_s
    if hill.motor_top_c is None or rise < LEAST_HEATING_K:
        return f"{text}."
    return (
        f"{text}, and at the same motor current motors near {hill.motor_top_c + rise:.0f} °C at "
        f"the top instead of {hill.motor_top_c:.0f}."
    )


def _about_s(seconds: float) -> str:
    """Seconds as one says them of an estimate."""
    return f"{seconds:.0f} s" if seconds < 10 else f"{5 * round(seconds / 5)} s"


def battery_cost(
    setup: Setup, way: str, now: float | None, new: float, resistance_ohm: float
) -> str:
    """What a lower battery limit costs on paper; empty where nothing is lowered."""
    if now is None or not above(now, new):
        return ""
    if way == "brake":
        return (
            f"{pct(1 - new / now)} less motor braking from speed: the mechanical brake must hold "
            "the loaded vehicle on its own; try it at walking pace first."
        )
    count = len(setup.drives)
    return climb_cost(setup, count * now, count * new, resistance_ohm)


def fade_cost(setup: Setup, current_a: float, derate_v: float, ohm: Estimate) -> str:
    """From which charge on a derate voltage takes power away at full current."""
    fade = fade_from_pct(setup, current_a, derate_v, ohm)
    return (
        f"full power down to about {fade.value:.0f} % charge "
        f"({fade.low or 0.0:.0f} to {fade.high or 0.0:.0f}), less below."
    )

"""What was not put to the test, and the ride that would: which grade, how long, at what charge and
load, what to watch, when to stop, with a way out."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.climbs import Climb
from analyzer.limits import LimitCheck
from analyzer.words import LimitRole, Verdict
from importers.setup_types import Setup

GRAVITY_MPS2 = 9.80665
ROLLING = 0.012
"""Where the setup gives no rolling coefficient: air tyres on a hard road, upper half of published
values (0.008 to 0.015)."""
EFFICIENCY = 0.8
"""Pack to wheel. Common practice, no source: 0.75 to 0.85 for small drives under load."""
CLIMB_MPS = 4.0
"""Speed of the climb that is proposed [m/s]: a loaded vehicle on a steep road. Our choice."""
MASS_KG = 150.0
"""Where the setup gives no mass. Our choice."""
TEST_PART = 0.8
"""A test is to reach this part of a rating: exercised (60 %), not touched (95 %). Our choice."""
LOW_CHARGE_PCT, COLD_C = 40.0, 5.0
"""Below these a pack counts as tried low and tried cold. Our choice."""
STEEPEST_PCT = 20.0
"""Steeper is not proposed. Our choice: beyond public roads' usual grades."""
WAY_OUT = (
    "Choose a hill with room to turn and someone below; walk the first metres with the brake held."
)


def next_rides(
    limits: Sequence[LimitCheck], setup: Setup, climbs: Sequence[Climb]
) -> tuple[str, ...]:
    """Sentences for the next ride, what matters most first; empty where all was tried."""
    told = [
        _current(limits, setup),
        _low_charge(limits, setup),
        _heat(limits),
        _descent(limits, setup),
        _cold(limits),
        _load(limits, setup),
    ]
    found = [one for one in told if one]
    if not climbs and not found:
        return ("No climb was ridden yet: ride one you know, gently, with the limits as they are.",)
    return (*found, WAY_OUT) if found else ()


def _open(limits: Sequence[LimitCheck], *endings: str) -> list[LimitCheck]:
    untried = (Verdict.NOT_EXERCISED, Verdict.NOT_REACHED)
    return [one for one in limits if one.limit.endswith(endings) and one.verdict in untried]


def _charge(limits: Sequence[LimitCheck]) -> tuple[float, float] | None:
    spans = [one.tried.charge_pct for one in limits if one.tried.charge_pct is not None]
    return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None


def _current(limits: Sequence[LimitCheck], setup: Setup) -> str:
    """A climb that leans on the drive limits or draws four fifths of the lowest rating."""
    ratings = [one for one in _open(limits, "discharge_rating_a") if one.role is LimitRole.RATING]
    if not ratings:
        return ""
    rating = min(ratings, key=lambda one: one.set)
    asked = TEST_PART * rating.set
    given = [one.battery_drive_a for one in setup.drives]
    if all(one is not None for one in given):
        whole = sum(one for one in given if one is not None) + (setup.pack.aux_a or 0.0)
        asked = min(asked, whole)
    grade = _grade_pct(asked, setup)
    seen = "" if rating.seen is None else f" (so far {rating.seen:.0f} A)"
    return (
        f"Climb about {grade:.0f} % for 60 s at full demand: that asks about {asked:.0f} A of "
        f"{rating.limit} = {rating.set:g} A{seen}. Watch the pack's current and voltage; stop if "
        f"the current stays above {rating.set:g} A or power fades."
    )


def _grade_pct(current_a: float, setup: Setup) -> float:
    """The grade on which a steady climb draws that current, air drag left out."""
    mass = setup.vehicle.mass_kg or MASS_KG
    rolling = setup.vehicle.rolling_coefficient or ROLLING
    volts = 0.9 * setup.full_v
    force = current_a * volts * EFFICIENCY / CLIMB_MPS
    slope = force / (mass * GRAVITY_MPS2) - rolling
    return float(min(max(100.0 * slope, 2.0), STEEPEST_PCT))


def _low_charge(limits: Sequence[LimitCheck], setup: Setup) -> str:
    span = _charge(limits)
    if span is None or span[0] <= LOW_CHARGE_PCT:
        return ""
    derate = [one.derate_from_v for one in setup.drives if one.derate_from_v is not None]
    line = f" Stop when the pack stays below {max(derate):g} V." if derate else ""
    return (
        f"Ride the same climb at about {LOW_CHARGE_PCT:.0f} % charge: so far it was tried at "
        f"{span[0]:.0f} to {span[1]:.0f} %. Watch the lowest voltage.{line}"
    )


def _heat(limits: Sequence[LimitCheck]) -> str:
    hot = _open(limits, "motor_derate_c", "motor_stop_c")
    if not hot:
        return ""
    first = min(hot, key=lambda one: one.set)
    seen = "" if first.seen is None else f"so far {first.seen:.0f} °C, "
    return (
        f"Climb for 10 minutes or more without a rest ({seen}{first.limit} is {first.set:g} °C): "
        f"watch both motors, also for two minutes after the top; stop at {first.set - 10:.0f} °C "
        "or at any smell."
    )


def _descent(limits: Sequence[LimitCheck], setup: Setup) -> str:
    ratings = _open(limits, "charge_rating_a")
    ratings = [one for one in ratings if "discharge" not in one.limit]
    if not ratings or not any(one.battery_brake_a for one in setup.drives):
        return ""
    lowest = min(ratings, key=lambda one: one.set)
    return (
        f"Descend a long, even grade on the motors at 60 to 80 % charge, mechanical brake ready: "
        f"watch braking current against {lowest.limit} = {lowest.set:g} A and the pack against "
        f"{setup.full_v:.1f} V; brake mechanically as soon as either is near."
    )


def _cold(limits: Sequence[LimitCheck]) -> str:
    spans = [one.tried.pack_temp_c for one in limits if one.tried.pack_temp_c is not None]
    if not spans:
        return "Log the pack's temperature, or give it with --temp: cold was never put to the test."
    low = min(span[0] for span in spans)
    if low <= COLD_C:
        return ""
    return (
        f"The pack was never colder than {low:.0f} °C: on a cold day start the same climb with "
        "more charge, and expect the voltage to sink further."
    )


def _load(limits: Sequence[LimitCheck], setup: Setup) -> str:
    spans = [one.tried.mass_kg for one in limits if one.tried.mass_kg is not None]
    usual = setup.vehicle.mass_kg
    if not spans or usual is None:
        return "Give vehicle.mass_kg, and --mass on the day: the load it was tried with is unknown."
    high = max(span[1] for span in spans)
    if high > 1.05 * usual:
        return ""
    return f"All was ridden at {high:.0f} kg or less: full load was not put to the test."

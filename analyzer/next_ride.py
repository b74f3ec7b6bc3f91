"""What was not put to the test, and the ride that would: which grade, how long, at what charge and
load, what to watch, when to stop, with a way out.

A trip, a stop voltage and a heat stop are never sought out: a protection that acts takes drive or
braking away. The ride goes as near as tells something, and stops.
"""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.climbs import Climb
from analyzer.estimate import Estimate
from analyzer.limits import LimitCheck
from analyzer.road_force import GRAVITY_MPS2
from analyzer.setup_paper import fade_from_pct, paper_resistance_ohm
from analyzer.words import LimitRole, Verdict
from importers.setup_types import Setup

ROLLING = 0.012
"""Where the setup gives no rolling coefficient: air tyres on a hard road, upper half of published
values (0.008 to 0.015)."""
EFFICIENCY = 0.8
"""Pack to wheel. Common practice, no source: 0.75 to 0.85 for small drives under load."""
CLIMB_MPS = 4.0
"""Speed of the climb that is proposed [m/s]: a loaded vehicle on a steep road. Our choice."""
DESCENT_MPS = 5.0
"""Speed of the descent that is proposed [m/s]. Our choice: one that can still be stopped short."""
MASS_KG = 150.0
"""Where the setup gives no mass. Our choice."""
TEST_PART = 0.8
"""A test is to reach this part of a rating: exercised (60 %), not touched (95 %). Our choice."""
EXERCISED_PART = 0.6
"""The contract's line from which a rating counts as exercised."""
LOW_CHARGE_PCT, COLD_C = 40.0, 5.0
"""Below these a pack counts as tried low and tried cold. Our choice."""
LEAST_CHARGE_PCT = 15.0
"""No test is proposed below this charge [%]. Our choice: enough to ride home slowly."""
STEEPEST_PCT = 20.0
"""Steeper is not proposed. Our choice: beyond public roads' usual grades."""
HEAT_LEFT_K = 10.0
"""A heat test ends this far below its limit [K]. Our choice: windings go on warming after the
stop."""
UP_WAY_OUT = (
    "Way out: a hill with room to turn, empty below; roll back down with the mechanical brake."
)
DOWN_WAY_OUT = (
    "Way out: the mechanical brake, tried before on the same grade at walking pace, and a run-out "
    "at the foot."
)


def next_rides(
    limits: Sequence[LimitCheck],
    setup: Setup,
    climbs: Sequence[Climb],
    *,
    resistance_ohm: Estimate | None = None,
) -> tuple[str, ...]:
    """Sentences for the next ride, what matters most first; empty where all was tried."""
    if not limits:
        return ("No limit could be held against these rides: see what was not checked.",)
    ohm = paper_resistance_ohm(setup) if resistance_ohm is None else resistance_ohm
    high, back = _too_high(limits, setup, "drive"), _too_high(limits, setup, "brake")
    told = [
        high,
        back,
        "" if high else _current(limits, setup),
        _pull(limits, setup),
        "" if back else _descent(limits, setup),
        "" if high else _derate(limits, setup, ohm),
        "" if high else _low_charge(limits, setup),
        _heat(limits, setup),
        _cold(limits),
        _load(limits, setup),
        _not_sought(limits, setup),
    ]
    found = [one for one in told if one]
    if not climbs and not found:
        return (
            "No climb was ridden yet: ride one you know, gently, with the limits as they are. "
            + UP_WAY_OUT,
        )
    return tuple(found)


def _open(limits: Sequence[LimitCheck], *endings: str) -> list[LimitCheck]:
    untried = (Verdict.NOT_EXERCISED, Verdict.NOT_REACHED)
    return [one for one in limits if one.limit.endswith(endings) and one.verdict in untried]


def _charge(limits: Sequence[LimitCheck]) -> tuple[float, float] | None:
    spans = [one.tried.charge_pct for one in limits if one.tried.charge_pct is not None]
    return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None


def _names(limits: Sequence[LimitCheck]) -> str:
    """`bms.discharge_rating_a = 50 A and fuse …`: what a test is for."""
    parts = [f"{one.limit} = {one.set:g} {one.unit}" for one in limits]
    return f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else parts[0]


def _seen(limits: Sequence[LimitCheck]) -> str:
    seen = [one.seen for one in limits if one.seen is not None]
    return f" (so far {max(seen):.0f} {limits[0].unit})" if seen else ""


def _usual_load(setup: Setup) -> str:
    mass = setup.vehicle.mass_kg
    return "the usual load" if mass is None else f"the usual {mass:.0f} kg"


def _all_limits_a(setup: Setup, name: str) -> float | None:
    """All drives' battery limits together; None where one is not given."""
    given = [getattr(one, name) for one in setup.drives]
    return None if any(one is None for one in given) else float(sum(given))


def _too_high(limits: Sequence[LimitCheck], setup: Setup, way: str) -> str:
    """Where the limits together pass a rating, no ride at full demand is proposed."""
    word = "discharge" if way == "drive" else ".charge"
    ratings = [one for one in limits if one.limit.endswith(f"{word}_rating_a")]
    lowest = min(ratings, key=lambda one: one.set, default=None)
    whole = _all_limits_a(setup, f"battery_{way}_a")
    aux = (setup.pack.aux_a or 0.0) if way == "drive" else 0.0
    if lowest is None or whole is None or whole + aux <= lowest.set:
        return ""
    verb = "driving" if way == "drive" else "braking"
    test = "climb at full demand" if way == "drive" else "descend on the motors alone"
    return (
        f"First lower the battery limits: {verb}, they allow {whole + aux:.0f} A together, more "
        f"than {lowest.limit} = {lowest.set:g} A (hillproof setup check says to what). Until "
        f"then do not {test}: that is no test but what the rating forbids."
    )


def _current(limits: Sequence[LimitCheck], setup: Setup) -> str:
    """A climb that leans on the drive limits or draws four fifths of the lowest rating."""
    whole = _all_limits_a(setup, "battery_drive_a")
    most = None if whole is None else whole + (setup.pack.aux_a or 0.0)
    ratings = [
        one
        for one in _open(limits, "discharge_rating_a", "connector_rating_a", "fuse_a")
        if one.role is LimitRole.RATING and (most is None or most >= EXERCISED_PART * one.set)
    ]
    limiters = _open(limits, "battery_drive_a")
    if not ratings and not limiters:
        return ""
    lowest = min((one.set for one in ratings), default=None)
    asked = most if lowest is None else TEST_PART * lowest
    if limiters and most is not None:
        asked = most if lowest is None else min(most, max(asked or 0.0, most))
    asked = min(asked or 20.0, most or asked or 20.0)
    given = [one.set for one in limits if one.limit.endswith("discharge_rating_a")]
    stop_a = min(given, default=asked)
    tested = [*sorted(ratings, key=lambda one: one.set), *limiters]
    return (
        f"For {_names(tested)}{_seen(ratings or limiters)}: climb about "
        f"{_grade_pct(asked, setup):.0f} % for 60 s at full demand, with 60 to 80 % charge and "
        f"{_usual_load(setup)}: that asks for about {asked:.0f} A together. Watch the pack's "
        f"current and voltage; stop if the current stays above {stop_a:g} A for more than a few "
        f"seconds, or power fades. {UP_WAY_OUT}"
    )


def _grade_pct(current_a: float, setup: Setup) -> float:
    """The grade on which a steady climb draws that current, air drag left out."""
    mass = setup.vehicle.mass_kg or MASS_KG
    rolling = setup.vehicle.rolling_coefficient or ROLLING
    volts = 0.9 * setup.full_v
    force = current_a * volts * EFFICIENCY / CLIMB_MPS
    slope = force / (mass * GRAVITY_MPS2) - rolling
    return float(min(max(100.0 * slope, 2.0), STEEPEST_PCT))


def _pull(limits: Sequence[LimitCheck], setup: Setup) -> str:
    """Phase limits govern at low speed: a start on a hill."""
    limiters = _open(limits, "phase_drive_a")
    if not limiters:
        return ""
    return (
        f"For {_names(limiters)}{_seen(limiters)}: start from standstill on 6 to 8 % with full "
        f"demand for 5 s, three times, with 60 to 80 % charge and {_usual_load(setup)}. Watch "
        "both sides' motor current; let go at once if the wheels do not turn within 1 s or one "
        f"side pulls alone. {UP_WAY_OUT}"
    )


def _descent(limits: Sequence[LimitCheck], setup: Setup) -> str:
    """A descent that leans on the braking limits or pushes four fifths of the lowest rating."""
    whole = _all_limits_a(setup, "battery_brake_a")
    ratings = [
        one
        for one in _open(limits, ".charge_rating_a")
        if whole is None or whole >= EXERCISED_PART * one.set
    ]
    limiters = _open(limits, "battery_brake_a", "phase_brake_a")
    if (not ratings and not limiters) or not any(_brakes(setup)):
        return ""
    lowest = min((one.set for one in ratings), default=None)
    asked = TEST_PART * lowest if lowest is not None else whole or 10.0
    asked = min(asked, whole) if whole is not None and not limiters else whole or asked
    given = [one.set for one in limits if one.limit.endswith(".charge_rating_a")]
    stop_a = min(given, default=asked)
    tested = [*sorted(ratings, key=lambda one: one.set), *limiters]
    return (
        f"For {_names(tested)}{_seen(ratings or limiters)}: descend about "
        f"{_down_pct(asked, setup):.0f} % for 30 s at {3.6 * DESCENT_MPS:.0f} km/h on the motors, "
        f"with 60 to 80 % charge, a pack above 10 °C and {_usual_load(setup)}: that gives back "
        f"about {asked:.0f} A together. Watch the braking current and the pack against "
        f"{setup.full_v:.1f} V; brake mechanically as soon as the current stays above {stop_a:g} A "
        f"or the voltage comes within 0.5 V of full. {DOWN_WAY_OUT}"
    )


def _brakes(setup: Setup) -> list[bool]:
    return [bool(d.battery_brake_a or d.phase_brake_a) for d in setup.drives]


def _down_pct(current_a: float, setup: Setup) -> float:
    """The grade on which holding the speed gives that current back, air drag left out."""
    mass = setup.vehicle.mass_kg or MASS_KG
    rolling = setup.vehicle.rolling_coefficient or ROLLING
    force = current_a * 0.9 * setup.full_v / EFFICIENCY / DESCENT_MPS
    slope = force / (mass * GRAVITY_MPS2) + rolling
    return float(min(max(100.0 * slope, 2.0), STEEPEST_PCT))


def _derate(limits: Sequence[LimitCheck], setup: Setup, ohm: Estimate) -> str:
    """A climb at the charge at which the pack's voltage comes down to where power fades."""
    lines = _open(limits, "derate_from_v")
    whole = _all_limits_a(setup, "battery_drive_a")
    if not lines or whole is None:
        return ""
    line_v = max(one.set for one in lines)
    current = whole + (setup.pack.aux_a or 0.0)
    fade = fade_from_pct(setup, current, line_v, ohm)
    stops = [one.stop_at_v for one in setup.drives if one.stop_at_v is not None]
    stop = f"{0.5 * (line_v + max(stops)):.1f} V" if stops else f"{line_v:g} V"
    if fade.value < LEAST_CHARGE_PCT:
        return (
            f"For {_names(lines)}: with these limits the pack comes down to it only below "
            f"{LEAST_CHARGE_PCT:.0f} % charge. Nothing to seek out: ride home before that."
        )
    return (
        f"For {_names(lines)}{_lowest(lines)}: climb about {_grade_pct(current, setup):.0f} % for "
        f"60 s at full demand, with about {fade.value:.0f} % charge and {_usual_load(setup)}: "
        "power should fade gently, alike on all sides. Watch the lowest voltage; stop at "
        f"{stop}, or when one side fades alone. {UP_WAY_OUT}"
    )


def _lowest(limits: Sequence[LimitCheck]) -> str:
    seen = [one.seen for one in limits if one.seen is not None]
    return f" (so far {min(seen):.1f} V)" if seen else ""


def _low_charge(limits: Sequence[LimitCheck], setup: Setup) -> str:
    span = _charge(limits)
    if span is None or span[0] <= LOW_CHARGE_PCT:
        return ""
    derate = [one.derate_from_v for one in setup.drives if one.derate_from_v is not None]
    line = f"stop when the pack stays below {max(derate):g} V" if derate else "stop if power fades"
    return (
        f"Ride the hardest climb so far once more with about {LOW_CHARGE_PCT:.0f} % charge and "
        f"{_usual_load(setup)}: all of it was tried at {span[0]:.0f} to {span[1]:.0f} %. Watch the "
        f"lowest voltage; {line}. {UP_WAY_OUT}"
    )


def _heat(limits: Sequence[LimitCheck], setup: Setup) -> str:
    hot = _open(limits, "motor_derate_c", "controller_derate_c")
    told = {one.limit.rsplit("_", 2)[0] for one in hot}
    hot += [
        one
        for one in _open(limits, "motor_stop_c", "controller_stop_c")
        if one.limit.rsplit("_", 2)[0] not in told and one.limit not in _with_derate(limits)
    ]
    if not hot:
        return ""
    hot.sort(key=lambda one: one.set)
    stop = "; ".join(
        f"{one.set - HEAT_LEFT_K:.0f} °C for {one.limit.split('.')[1]}'s "
        f"{one.limit.split('.')[2].split('_')[0]}"
        for one in hot[:4]
    )
    return (
        f"For {_names(hot)}{_seen(hot)}: climb 4 to 6 % for 10 minutes without a rest, with 80 "
        f"to 95 % charge and {_usual_load(setup)}. Watch every temperature, also for two minutes "
        f"after the top, where a winding is hottest; stop at {stop}, or at any smell. {UP_WAY_OUT}"
    )


def _with_derate(limits: Sequence[LimitCheck]) -> set[str]:
    """Heat stops whose derate is among the limits: the derate is what a ride tries."""
    keys = {one.limit for one in limits}
    return {k for k in keys if k.endswith("_stop_c") and k.replace("_stop_c", "_derate_c") in keys}


def _cold(limits: Sequence[LimitCheck]) -> str:
    spans = [one.tried.pack_temp_c for one in limits if one.tried.pack_temp_c is not None]
    if not spans:
        return "Log the pack's temperature, or give it with --temp: cold was never put to the test."
    low = min(span[0] for span in spans)
    if low <= COLD_C:
        return ""
    return (
        f"The pack was never colder than {low:.0f} °C: on a day near {COLD_C:.0f} °C ride the same "
        "climb with 80 % charge or more. Watch the lowest voltage; stop when it comes within 1 V "
        f"of where power fades, and do not brake with the motors on a freezing pack. {UP_WAY_OUT}"
    )


def _load(limits: Sequence[LimitCheck], setup: Setup) -> str:
    spans = [one.tried.mass_kg for one in limits if one.tried.mass_kg is not None]
    usual = setup.vehicle.mass_kg
    if not spans or usual is None:
        return "Give vehicle.mass_kg, and --mass on the day: the load it was tried with is unknown."
    high = max(span[1] for span in spans)
    if high > 1.05 * usual:
        return ""
    return (
        f"All was ridden at {high:.0f} kg or less, full load was not put to the test: load it, "
        "give --mass on the day, and ride the mildest known climb of 60 s or more first, with 80 % "
        "charge. Watch current, voltage and heat; stop if power fades or the mechanical brake "
        f"does not hold it on that grade. {UP_WAY_OUT}"
    )


def _not_sought(limits: Sequence[LimitCheck], setup: Setup) -> str:
    """What stays untried on purpose."""
    hidden = _with_derate(limits)
    left = [
        one
        for one in limits
        if one.verdict is Verdict.NOT_EXERCISED
        and (one.role is LimitRole.TRIP or one.limit in hidden)
    ]
    whole = {"discharge": "battery_drive_a", ".charge": "battery_brake_a"}
    for one in limits:
        if one.verdict is not Verdict.NOT_EXERCISED or one.role is not LimitRole.RATING:
            continue
        word = ".charge" if ".charge" in one.limit else "discharge"
        most = _all_limits_a(setup, whole[word])
        aux = (setup.pack.aux_a or 0.0) if word == "discharge" else 0.0
        if most is not None and most + aux < EXERCISED_PART * one.set:
            left.append(one)
    if not left:
        return ""
    keys = ", ".join(one.limit for one in left)
    return (
        f"Not to be sought out: {keys}. Far from it is where a protection should stay, or the "
        "limits as set do not reach that far; a ride that made one act would lose drive or braking."
    )

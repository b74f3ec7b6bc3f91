"""Which channels a header's words may name, each with a chance; the data decides among them."""

from __future__ import annotations

from dataclasses import dataclass

from importers.header_words import MEASURES, HeaderWords

CLEAR, LIKELY, OPEN = 0.985, 0.93, 0.6
"""Chance that the words alone name it right: said outright, usual meaning, one of two. Set so
that over the generated corpus (benchmarks/recognition.py) none called sure is wrong."""
PERHAPS = 0.8
"""... and: what it mostly is in such a file, though it may be another."""
HAND_OR_FOOT = frozenset({"pedal", "pedale", "pedaal", "grip", "griff"})
"""What a rider asks with; the brake's says so. A lever may well be the brake's."""
AVOID = frozenset({"limit", "delta", "foreign", "soh", "count", "grade", "steering", "lateral"})
"""Ideas that make a column none of our business: set values, differences, other devices."""


OTHERS = frozenset({"torque", "energy", "distance", "resistance", "humidity", "sats", "frequency"})
"""Quantities that have no channel."""


@dataclass(frozen=True, slots=True)
class NameGuess:
    """A channel (without drive) that the words may name."""

    channel: str
    chance: float
    pack: bool = False
    """True where the words speak of the whole pack, not of one controller's reading."""


def dimension_of(words: HeaderWords) -> str | None:
    """What the column measures: by its unit where that is clear, else by its words."""
    named = {MEASURES[one] for one in words.ideas if one in MEASURES}
    if words.unit is not None and words.unit.dimension not in ("other", "time"):
        own = words.unit.dimension
        if own == "pulse":
            return "fraction"
        if own == "rotation" or own in named or not named:
            return own
        if own == "length" and named & {"length"}:
            return own
        if own == "angle" and "angle" in named:
            return own
        if own == "charge" and "temperature" in named:
            return "temperature"
        if own in ("speed",) and "rotation" in named:
            return own
        if "throttle" in words.ideas or "brake" in words.ideas:
            return own
        if named <= {"energy", "charge", "text"}:
            return own
        if own == "voltage" and "soc" in words.ideas:  # `battery level [V]`
            return own
        return None
    if "speed" in named and "electrical" in words.ideas:
        return "rotation"
    for one in ("temperature", "rotation", "voltage", "current", "speed", "power"):
        if one in named:
            return one
    return next(iter(sorted(named)), None)


def is_foreign(words: HeaderWords) -> bool:
    """Whether the words say outright that the column is none of ours."""
    dimension = dimension_of(words)
    # `Charge` may be a state of charge, `T` a temperature: those need a unit to be told.
    vague = dimension in ("charge", "time") and words.unit is None
    known = dimension is not None and dimension not in _BY_DIMENSION and not vague
    return known or bool(words.ideas & (AVOID | OTHERS))


def name_guesses(words: HeaderWords) -> list[NameGuess]:
    """Channels the header may name, likeliest first; empty where none of ours."""
    ideas = words.ideas
    if ideas & AVOID and not ("cell" in ideas and words.number is not None and "count" in ideas):
        return []
    dimension = dimension_of(words)
    chosen = _BY_DIMENSION.get(dimension or "")
    if chosen is None:
        if dimension is None and "cell" in ideas and not ideas & {"delta", "count", "status"}:
            return [NameGuess(one.channel, LIKELY, True) for one in _voltage(words)]
        if dimension is None and ideas & {"throttle", "brake"}:
            return _fraction(words)
        if dimension is None and ideas <= {"motor", "rotor", "mechanical"} and "erpm" in ideas:
            return [NameGuess("motor_rpm", CLEAR)]
        return []
    return [_less_sure(one, words) for one in chosen(words)]


def _less_sure(one: NameGuess, words: HeaderWords) -> NameGuess:
    """Words nobody knows, and headers without a stated unit, leave some doubt."""
    chance = one.chance * 0.985 ** min(len(words.unknown), 3)
    return NameGuess(one.channel, chance, one.pack)


def _voltage(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if ideas & {"throttle", "brake", "temperature", "status", "duty"}:
        return []
    if "cell" in ideas:
        if "min" in ideas:
            return [NameGuess("cell_min_v", CLEAR, True)]
        if "max" in ideas:
            return [NameGuess("cell_max_v", CLEAR, True)]
        if words.number is not None:
            return [NameGuess(f"cell_{words.number:02d}_v", CLEAR, True)]
        return []
    if ideas & {"min", "max"} or ideas & {"phase", "motor", "wheel", "time"}:
        return []
    if "pack" in ideas:
        return [NameGuess("battery_voltage_v", CLEAR, True)]
    chance = CLEAR if ideas & {"battery", "input"} else LIKELY
    return [NameGuess("battery_voltage_v", chance)]


def _current(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if ideas & {"cell", "min", "max", "throttle", "brake", "wheel"}:
        return []
    if "phase" in ideas:
        return [NameGuess("phase_current_a", CLEAR)]
    if "pack" in ideas:
        return [NameGuess("battery_current_a", CLEAR, True)]
    if ideas & {"battery", "input"}:
        if "motor" in ideas:
            return [NameGuess("battery_current_a", LIKELY), NameGuess("phase_current_a", 0.05)]
        return [NameGuess("battery_current_a", CLEAR)]
    if "motor" in ideas:
        return [NameGuess("phase_current_a", 0.9), NameGuess("battery_current_a", 0.1)]
    if "total" in ideas:
        return [NameGuess("battery_current_a", LIKELY, True)]
    return [NameGuess("battery_current_a", OPEN), NameGuess("phase_current_a", 1 - OPEN)]


def _temperature(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if ideas & {"min", "mean"} and "ambient" not in ideas:
        return []
    top = 0.45 if "max" in ideas else CLEAR
    own = ideas & {"cell", "battery", "pack"} and not ideas & {"motor", "controller", "ambient"}
    if words.number is not None and own:
        return [NameGuess(f"cell_temp_{words.number:02d}_c", CLEAR, True)]
    if "cell" in ideas:
        return [NameGuess("pack_temp_c", min(top, LIKELY), True)]
    if "ambient" in ideas:
        return [NameGuess("ambient_temp_c", CLEAR, True)]
    if ideas & {"controller"}:
        return [NameGuess("controller_temp_c", top)]
    if "motor" in ideas:
        return [NameGuess("motor_temp_c", top)]
    if ideas & {"battery", "pack"}:
        return [NameGuess("pack_temp_c", top, True)]
    return []


def _rotation(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if ideas & {"wheel", "min", "max", "vehicle", "humidity"}:
        return []
    return [NameGuess("motor_rpm", CLEAR if ideas & {"motor", "rotation", "erpm"} else LIKELY)]


def _speed(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if ideas & {"min", "max", "mean", "humidity"}:
        return []
    if "gps" in ideas:
        return [NameGuess("gps_speed_mps", CLEAR, True)]
    if "wheel" in ideas:
        return [NameGuess("wheel_speed_mps", CLEAR)]
    if "motor" in ideas:
        return [NameGuess("wheel_speed_mps", 0.8)]
    return [NameGuess("speed_mps", CLEAR if "vehicle" in ideas else 0.96)]


def _fraction(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if "soc" in ideas:
        doubt = 0.7 if ideas & {"min", "max"} else CLEAR
        return [NameGuess("state_of_charge_pct", doubt, True)]
    if "throttle" in ideas and "brake" in ideas:
        return [NameGuess("throttle_pct", 0.9)]
    if "throttle" in ideas:
        return [NameGuess("throttle_pct", CLEAR)]
    if "duty" in ideas:
        return [NameGuess("duty_pct", CLEAR)]
    if "brake" in ideas and not ideas & {"current", "power", "energy"}:
        return [NameGuess("brake_pct", LIKELY)]
    if ideas & {"battery", "pack", "charge"} and ideas <= {"battery", "pack", "level", "charge"}:
        return [NameGuess("state_of_charge_pct", LIKELY, True)]
    if "cycle" in ideas and ideas <= {"cycle", "motor"} and set(words.words) & HAND_OR_FOOT:
        return [NameGuess("throttle_pct", PERHAPS)]
    return []


def _power(words: HeaderWords) -> list[NameGuess]:
    ideas = words.ideas
    if ideas & {"min", "max", "mean", "brake"}:
        return []
    if "pack" in ideas:
        return [NameGuess("power_w", LIKELY, True)]
    if ideas & {"battery", "input"}:
        return [NameGuess("power_w", CLEAR)]
    return [NameGuess("power_w", 0.8)]


def _length(words: HeaderWords) -> list[NameGuess]:
    if "altitude" in words.ideas and not words.ideas & {"min", "max", "distance"}:
        return [NameGuess("altitude_m", CLEAR, True)]
    return []


def _angle(words: HeaderWords) -> list[NameGuess]:
    for idea, name in (
        ("latitude", "latitude_deg"), ("longitude", "longitude_deg"), ("course", "course_deg"),
    ):  # fmt: skip
        if idea in words.ideas:
            return [NameGuess(name, CLEAR, True)]
    return []


def _acceleration(words: HeaderWords) -> list[NameGuess]:
    known = "acceleration" in words.ideas and "min" not in words.ideas
    if not known or set(words.words) & {"y", "z", "lateral", "vertical"}:
        return []
    return [NameGuess("acceleration_mps2", LIKELY, True)]


def _text(words: HeaderWords) -> list[NameGuess]:
    return [NameGuess("status", CLEAR if "fault" in words.ideas else LIKELY)]


_BY_DIMENSION = {
    "voltage": _voltage, "current": _current, "temperature": _temperature,
    "rotation": _rotation, "speed": _speed, "fraction": _fraction, "power": _power,
    "length": _length, "angle": _angle, "acceleration": _acceleration, "text": _text,
}  # fmt: skip

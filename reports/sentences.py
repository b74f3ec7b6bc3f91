"""Kinds, causes, verdicts and channels in the rider's words: tables of text, no numbers."""

from __future__ import annotations

from analyzer.words import BalanceVerdict, EventKind, Governor, LimitRole, Severity, Verdict

SEVERITY = {
    Severity.ACT: "act",
    Severity.WATCH: "watch",
    Severity.NOTE: "note",
}
SEVERITY_MEANING = {
    Severity.ACT: "a rating is exceeded, or drive or braking can be lost while moving",
    Severity.WATCH: "it works, but with little in hand or with the sides set differently",
    Severity.NOTE: "worth knowing",
}

KIND = {
    EventKind.CUTOUT: "Drive lost",
    EventKind.BRAKE_LOSS: "Motor braking lost",
    EventKind.POWER_REDUCED: "Power held back",
    EventKind.BRAKE_REDUCED: "Motor braking held back",
    EventKind.NEAR_TRIP: "Close to a protection",
    EventKind.SAG: "Voltage sagged",
    EventKind.REGEN_OVER_RATING: "Braking above the charge rating",
    EventKind.DISCHARGE_OVER_RATING: "Current above the rating",
    EventKind.OVERVOLTAGE: "Voltage above full",
    EventKind.IMBALANCE: "Sides carry unequally",
    EventKind.OVERHEAT: "Too hot",
    EventKind.WHEEL_SLIP: "A wheel slipped",
    EventKind.STALL: "Full current at a standstill",
    EventKind.LOG_GAP: "Samples missing",
}

CAUSE = {
    "bms_overcurrent_discharge": "the BMS opened: more current than it allows",
    "bms_overcurrent_charge": "the BMS opened: more braking current than it allows",
    "bms_overheat": "the BMS opened: too hot",
    "cell_low_voltage": "the BMS opened: one cell group too low",
    "cell_high_voltage": "the BMS closed the charge path: one cell group full",
    "undervoltage_stop": "the controllers stopped: pack voltage at their stop line",
    "overvoltage_trip": "the controllers stopped: voltage too high",
    "controller_overheat": "a controller stopped: too hot",
    "motor_overheat": "a controller stopped: its motor too hot",
    "phase_overcurrent": "one controller tripped on motor current",
    "input_signal_lost": "the throttle or remote signal was lost",
    "interlock_opened": "a brake-lever, seat or stand switch opened",
    "idle_shutdown": "switched off after standing idle",
    "drive_link_lost": "the link between the controllers was lost",
    "rotor_sensor_fault": "a motor's position sensor failed",
    "motor_phase_fault": "one of a motor's three wires failed",
    "temperature_sensor_fault": "a temperature sensor or its wire failed",
    "mechanical_drive_lost": "belt, chain or coupling let go",
    "supply_interrupted": "a connector, fuse or switch broke the supply",
    "battery_limit": "the battery-current limit",
    "phase_limit": "the motor-current limit",
    "voltage_derate": "low pack voltage",
    "controller_heat_derate": "heat in the controller",
    "motor_heat_derate": "heat in the motor",
    "no_voltage_headroom": "top speed for this voltage",
    "rider": "the rider",
    "battery_limit_differs": "battery-current limits differ",
    "phase_limit_differs": "motor-current limits differ",
    "demand_differs": "the sides are asked for different amounts",
    "setting_not_in_force": "a setting is not in force on one side",
    "motor_constant_differs": "the motors' constants differ",
    "gearing_or_tyre_differs": "gearing or tyres differ",
    "rotor_sensor_alignment": "a rotor sensor is out of line",
    "drag_one_side": "something drags on one side",
    "derate_one_side": "one side is being held back",
    "current_sensor_gain": "one current sensor reads differently",
    "load_off_centre_or_turning": "load off centre, or turning",
    "slip": "a wheel slipped",
    "link_delay": "one side is told later",
    "unknown": "something else",
}

VERDICT = {
    Verdict.WORKS: "works",
    Verdict.OVERSHOOTS: "overshoots",
    Verdict.NOT_REACHED: "not reached",
    Verdict.EXCEEDED: "exceeded",
    Verdict.TOUCHED: "touched",
    Verdict.HOLDS: "holds",
    Verdict.NOT_EXERCISED: "not tried",
}
VERDICT_MEANING = {
    Verdict.WORKS: "this setting governed the ride, within 5 % of its value",
    Verdict.OVERSHOOTS: "current went more than 5 % above the setting",
    Verdict.NOT_REACHED: "the ride never leaned on this setting: it is unproven",
    Verdict.EXCEEDED: "more was asked than this rating allows",
    Verdict.TOUCHED: "within 5 % of the rating: nothing in hand",
    Verdict.HOLDS: "stayed below 95 % of it under the conditions tried",
    Verdict.NOT_EXERCISED: "stayed below 60 % of it: says nothing about safety",
}
VERDICT_SEVERITY = {
    Verdict.EXCEEDED: Severity.ACT,
    Verdict.TOUCHED: Severity.WATCH,
    Verdict.OVERSHOOTS: Severity.WATCH,
}

ROLE = {
    LimitRole.LIMITER: "limiter",
    LimitRole.RATING: "rating",
    LimitRole.TRIP: "trip",
    LimitRole.HEAT: "heat",
}

BALANCE = {
    BalanceVerdict.EVEN: "The sides carry alike.",
    BalanceVerdict.UNEVEN: "The sides do not carry alike.",
    BalanceVerdict.NOT_ENOUGH_LOAD: "Too little common load to say whether the sides carry alike.",
}

GOVERNOR = {
    Governor.RIDER: "rider",
    Governor.BATTERY_LIMIT: "battery limit",
    Governor.PHASE_LIMIT: "motor-current limit",
    Governor.VOLTAGE_DERATE: "low voltage",
    Governor.CONTROLLER_HEAT_DERATE: "controller heat",
    Governor.MOTOR_HEAT_DERATE: "motor heat",
    Governor.NO_VOLTAGE_HEADROOM: "top speed",
    Governor.UNKNOWN: "not known",
}

LIMIT = {
    "bms.discharge_rating_a": "BMS, discharge rating",
    "bms.charge_rating_a": "BMS, charge rating",
    "bms.discharge_peak_a": "BMS, short discharge peak",
    "bms.charge_peak_a": "BMS, short charge peak",
    "bms.discharge_trip_a": "BMS, discharge trip",
    "bms.charge_trip_a": "BMS, charge trip",
    "bms.cell_low_v": "BMS, lowest cell voltage",
    "bms.cell_high_v": "BMS, highest cell voltage",
    "pack.discharge_rating_a": "Cells, discharge rating",
    "pack.charge_rating_a": "Cells, charge rating",
    "pack.discharge_peak_a": "Cells, short discharge peak",
    "pack.charge_peak_a": "Cells, short charge peak",
    "pack.cell_full_v": "Cells full",
    "pack.cell_empty_v": "Cells empty",
    "pack.min_charge_temp_c": "Cells, lowest charging temperature",
    "wiring.fuse_a": "Fuse",
    "wiring.connector_rating_a": "Connector",
}
DRIVE_LIMIT = {
    "phase_drive_a": "motor-current limit when driving",
    "phase_brake_a": "motor-current limit when braking",
    "battery_drive_a": "battery-current limit when driving",
    "battery_brake_a": "battery-current limit when braking",
    "derate_from_v": "derate voltage",
    "stop_at_v": "stop voltage",
    "overvoltage_v": "overvoltage line",
    "controller_derate_c": "controller derate temperature",
    "controller_stop_c": "controller stop temperature",
    "motor_derate_c": "motor derate temperature",
    "motor_stop_c": "motor stop temperature",
}

PACK = (
    ("resistance_10s_ohm", "Resistance after 10 s", "ohm"),
    ("resistance_10s_25c_ohm", "… brought to 25 °C", "ohm"),
    ("resistance_instant_ohm", "Resistance, instant part", "ohm"),
    ("rest_voltage_start_v", "Rest voltage at the start", "v"),
    ("rest_voltage_end_v", "Rest voltage at the end", "v"),
    ("state_of_charge_start_pct", "Charge at the start", "pct"),
    ("state_of_charge_end_pct", "Charge at the end", "pct"),
    ("capacity_ah", "Capacity", "ah"),
)
"""Field of `PackState`, its name for the rider, its unit's suffix."""


OWNER = {"BMS": "the BMS's", "Cells": "the cells'"}


def limit_name(key: str) -> str:
    """A setup key as a rider says it: `drives.left.motor_stop_c` -> `left: motor stop
    temperature`; the key itself where there is no wording."""
    if key.startswith("drives."):
        drive, _, last = key.removeprefix("drives.").rpartition(".")
        return f"{drive}: {DRIVE_LIMIT.get(last, last)}"
    return LIMIT.get(key, key)


def limit_phrase(key: str) -> str:
    """A setup key inside a sentence: `the left drive's stop voltage`, `the BMS's charge trip`."""
    if key.startswith("drives."):
        drive, _, last = key.removeprefix("drives.").rpartition(".")
        return f"the {drive} drive's {DRIVE_LIMIT.get(last, last)}"
    owner, comma, what = LIMIT.get(key, key).partition(", ")
    if comma:
        return f"{OWNER.get(owner, owner)} {what}"
    return f"the {owner[:1].lower()}{owner[1:]}"


def cause_name(word: str) -> str:
    """A cause in the rider's words; the word itself where there is no wording."""
    return CAUSE.get(word, word.replace("_", " "))


def joined(words: list[str] | tuple[str, ...], last: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def capital(text: str) -> str:
    """The text with a capital first letter, the rest as it stands."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """The text as a sentence: capital first letter, one full stop."""
    text = text.strip()
    return capital(text) if not text or text[-1] in ".!?:" else f"{capital(text)}."


def counted(count: int, one: str, many: str | None = None) -> str:
    """`1 climb`, `3 climbs`."""
    return f"{count} {one if count == 1 else many or one + 's'}"

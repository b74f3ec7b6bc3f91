"""Which logged facts can tell two causes apart, pair by pair, and what to say where none was seen.

A likelihood may lean to one side by habit; only a fact that physics ties to one of the two decides.
Where none was seen the answer is a split. The trade's; no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analyzer.words import CutoutCause as C

Fact = Mapping[str, str]
"""Sign -> levels, blank between them, `-` where it was not told; all of its signs must be at one
of their levels."""


@dataclass(frozen=True, slots=True)
class Pair:
    """What speaks for either of two causes against the other: any one fact does."""

    one: C
    other: C
    for_one: tuple[Fact, ...]
    for_other: tuple[Fact, ...]
    ask: str
    """What would tell them apart."""


TRIP_USED: Fact = {"discharge_trip": "used half"}
CHARGE_TRIP_USED: Fact = {"charge_trip": "used half"}
LOW_CELL: Fact = {"cell_low": "at"}
LOW_MEAN: Fact = {"cell_low": "mean_at mean_near", "charge": "low"}
WRITTEN = "gone no_demand dead frozen"
"""A loss whose rows were written: what tripped something at a hole may have gone with the last
block of the log."""
NO_LOW_CELL: tuple[Fact, ...] = (
    {"cell_low": "clear mean_clear", "how": f"- {WRITTEN}"},
    {"charge": "middle full"},
)
LOWISH_MEAN: Fact = {"cell_low": "mean_at mean_near", "charge": "low lowish"}
AT_THEIR_STOP: Fact = {"overvoltage_v": "at", "bus": "rebound"}
HIGH_CELL: Fact = {"cell_high": "at"}
HIGH_MEAN: Fact = {"cell_high": "mean_at", "charge": "full"}
NO_HIGH_CELL: Fact = {"cell_high": "clear mean_clear"}
HOT_BMS: Fact = {"heat_load": "hot warm", "away": "minute minutes"}
COOL_BMS: tuple[Fact, ...] = (
    {"heat_load": "cool", "away": "- instant seconds tens"},
    {"away": "instant seconds"},
)
CONTACT: tuple[Fact, ...] = ({"flicker": "yes"}, {"return": "blink soon"})
NO_TRIP: tuple[Fact, ...] = ({"discharge_trip": "clear begun"}, {"discharge_load": "light below"})
NO_CHARGE_TRIP: tuple[Fact, ...] = ({"charge_trip": "clear begun"}, {"charge_load": "light below"})
OPENED: Fact = {"bus": "collapse dead"}
STAYED: Fact = {"bus": "rebound"}
SPIKE: Fact = {"phase": "spike"}
RUNNING: Fact = {"speed": "riding"}
JERKS: tuple[Fact, ...] = (
    {"jitter": "yes some", "phase": "- below half light spike"},
    {"speed": "still slow", "phase": "below light", "beats": "yes some"},
)
COMES_BACK = "blink soon later after_rest tries"
SMOOTH: Fact = {"phase": "full", "jitter": "no", "beats": "no", "return": COMES_BACK}
ROLLS_WELL: Fact = {"speed": "still slow", "rolling": "runs"}
ROLLS_NOT: Fact = {"rolling": "fails"}
BEATING: tuple[Fact, ...] = (
    {"tries": "weak_short", "speed": "jog riding"},
    {"tries": "weak_short weak_long", "rolling": "fails"},
    {"beats": "yes some", "return": "never", "speed": "jog riding"},
)
STAYS_AWAY: Fact = {"return": "never", "rolling": "fails"}
CONTROLLED: Fact = {
    "fall": "ramp",
    "speed": "jog riding",
    "beats": "- no",
    "return": "blink soon later after_rest",
}
BOTH_SIDES: Fact = {"who": "all"}
ONE_SIDE: Fact = {"who": "one"}
OVER_LINK: tuple[Fact, ...] = (
    {"frozen": "yes"},
    {"demand": "frozen", "sides": "- parted"},
    {"sides": "parted"},
    {"link": "follower", "phase": "below half light", "return": "soon later never after_rest"},
)
NOT_OVER_LINK: tuple[Fact, ...] = ({"link": "leader"}, {"link": "untold", "frozen": "no"})
SIGNAL_GONE: tuple[Fact, ...] = (
    {"demand": "jump"},
    {"sides": "parted"},
    {"demand_still": "stuck"},
    {"demand_leaves": "jump", "alive": "- no"},
)
SIGNAL_ALIVE: tuple[Fact, ...] = ({"sides": "together"}, {"alive": "yes"}, {"return": "tries"})

PATH_OPENS = (
    C.BMS_OVERCURRENT_DISCHARGE,
    C.BMS_OVERHEAT,
    C.CELL_LOW_VOLTAGE,
    C.SUPPLY_INTERRUPTED,
)
PATH_STAYS = (
    C.PHASE_OVERCURRENT,
    C.ROTOR_SENSOR_FAULT,
    C.MOTOR_PHASE_FAULT,
    C.INTERLOCK_OPENED,
    C.INPUT_SIGNAL_LOST,
)
"""What opens the pack's path takes the voltage away; what stops a motor or its demand leaves it."""

PAIRS = (
    Pair(
        C.BMS_OVERCURRENT_DISCHARGE,
        C.CELL_LOW_VOLTAGE,
        (TRIP_USED, *({**fact, "discharge_load": "at above far_above"} for fact in NO_LOW_CELL)),
        (LOW_CELL, *NO_TRIP),
        "the lowest cell's voltage, or the trip's level and delay in the setup",
    ),
    Pair(
        C.BMS_OVERCURRENT_DISCHARGE,
        C.SUPPLY_INTERRUPTED,
        (TRIP_USED,),
        (*NO_TRIP, *CONTACT),
        "the trip's level and delay in the setup, and the voltage at pack and controllers",
    ),
    Pair(
        C.BMS_OVERCURRENT_DISCHARGE,
        C.BMS_OVERHEAT,
        (TRIP_USED, *COOL_BMS),
        NO_TRIP,
        "the management system's own temperature",
    ),
    Pair(
        C.BMS_OVERHEAT,
        C.SUPPLY_INTERRUPTED,
        (HOT_BMS,),
        (*COOL_BMS, {"flicker": "yes"}),
        "the management system's own temperature, and whether power comes back by itself once it "
        "has cooled",
    ),
    Pair(
        C.BMS_OVERHEAT,
        C.CELL_LOW_VOLTAGE,
        tuple({**HOT_BMS, **fact} for fact in NO_LOW_CELL),
        (LOW_CELL, LOW_MEAN, *({**LOWISH_MEAN, **fact} for fact in (*COOL_BMS, {"away": "tens"}))),
        "the lowest cell's voltage and the management system's own temperature",
    ),
    Pair(
        C.CELL_LOW_VOLTAGE,
        C.SUPPLY_INTERRUPTED,
        (LOW_CELL, LOW_MEAN, LOWISH_MEAN),
        (*NO_LOW_CELL, {"return": "blink"}),
        "the lowest cell's voltage",
    ),
    Pair(
        C.CELL_LOW_VOLTAGE,
        C.UNDERVOLTAGE_STOP,
        (OPENED, {"stop_at_v": "clear off"}),
        (STAYED, {"fall": "faded"}),
        "rows after the loss: does the controllers' voltage rise back or sink with speed",
    ),
    Pair(
        C.BMS_OVERCURRENT_CHARGE,
        C.CELL_HIGH_VOLTAGE,
        (CHARGE_TRIP_USED, {**NO_HIGH_CELL, "charge_load": "at above far_above"}),
        (HIGH_CELL, *NO_CHARGE_TRIP),
        "the highest cell's voltage",
    ),
    Pair(
        C.BMS_OVERCURRENT_CHARGE,
        C.OVERVOLTAGE_TRIP,
        (CHARGE_TRIP_USED, {"jump": "yes"}),
        ({"overvoltage_v": "at", "jump": "no"}, AT_THEIR_STOP, *NO_CHARGE_TRIP),
        "pack current at 5 Hz or faster and the controllers' own voltage",
    ),
    Pair(
        C.CELL_HIGH_VOLTAGE,
        C.OVERVOLTAGE_TRIP,
        (HIGH_CELL, {"jump": "yes"}, {"overvoltage_v": "off clear"}),
        ({"overvoltage_v": "at", "cell_high": "clear near mean_near mean_below mean_clear"},),
        "the highest cell's voltage",
    ),
    Pair(
        C.BMS_OVERCURRENT_CHARGE,
        C.SUPPLY_INTERRUPTED,
        (CHARGE_TRIP_USED,),
        (*NO_CHARGE_TRIP, {"flicker": "yes"}, {"return": "blink"}),
        "the charge trip's level and delay in the setup",
    ),
    Pair(
        C.CELL_HIGH_VOLTAGE,
        C.SUPPLY_INTERRUPTED,
        (HIGH_CELL, HIGH_MEAN),
        (NO_HIGH_CELL, *CONTACT),
        "the highest cell's voltage",
    ),
    Pair(
        C.PHASE_OVERCURRENT,
        C.ROTOR_SENSOR_FAULT,
        (SPIKE, RUNNING, {"speed": "jog", "phase": "full"}, SMOOTH),
        JERKS,
        "motor current and motor speed at 50 Hz or faster",
    ),
    Pair(
        C.PHASE_OVERCURRENT,
        C.MOTOR_PHASE_FAULT,
        (
            SPIKE,
            {"beats": "no", "tries": "full_short full_long"},
            {"beats": "no", "phase": "full"},
        ),
        (*BEATING, STAYS_AWAY),
        "motor current at 20 Hz or faster: does it spike once, or beat whenever it runs",
    ),
    Pair(
        C.ROTOR_SENSOR_FAULT,
        C.MOTOR_PHASE_FAULT,
        (*JERKS, {"speed": "still slow", "jitter": "yes some"}, ROLLS_WELL),
        (RUNNING, {"speed": "jog"}, ROLLS_NOT),
        "whether that side runs well once the vehicle rolls",
    ),
    Pair(
        C.DRIVE_LINK_LOST,
        C.PHASE_OVERCURRENT,
        OVER_LINK,
        (SPIKE, *NOT_OVER_LINK, {"return": "tries"}),
        "both controllers logged by their own, motor current at 50 Hz",
    ),
    Pair(
        C.DRIVE_LINK_LOST,
        C.MOTOR_PHASE_FAULT,
        OVER_LINK,
        (*BEATING, *NOT_OVER_LINK, {"return": "tries"}),
        "both controllers logged by their own",
    ),
    Pair(
        C.DRIVE_LINK_LOST,
        C.ROTOR_SENSOR_FAULT,
        (*OVER_LINK, RUNNING),
        (*JERKS, *NOT_OVER_LINK, {"return": "tries"}),
        "both controllers logged by their own",
    ),
    Pair(
        C.MECHANICAL_DRIVE_LOST,
        C.ROTOR_SENSOR_FAULT,
        ({"road": "leaves"},),
        JERKS,
        "the speed of wheel or satellite beside the motor's",
    ),
    *(
        Pair(
            C.MECHANICAL_DRIVE_LOST,
            other,
            ({"road": "leaves"},),
            ({"road": "keeps"},),
            "the speed of wheel or satellite beside the motor's",
        )
        for other in (C.PHASE_OVERCURRENT, C.MOTOR_PHASE_FAULT, C.DRIVE_LINK_LOST)
    ),
    Pair(
        C.INPUT_SIGNAL_LOST,
        C.INTERLOCK_OPENED,
        (
            {"demand": "jump"},
            {"demand": "frozen", "demand_still": "long"},
            {"demand_still": "stuck"},
            {"demand_leaves": "jump"},
        ),
        (
            {"demand": "held", "alive": "yes"},
            {"fall": "ramp"},
            {"demand": "held", "demand_leaves": "ramp"},
        ),
        "the switch inputs, and the demand at 20 Hz or faster",
    ),
    *(
        Pair(
            C.INPUT_SIGNAL_LOST,
            other,
            SIGNAL_GONE,
            (*SIGNAL_ALIVE, *facts),
            "each side's demand as its controller reads it, at 20 Hz or faster",
        )
        for other, facts in (
            (C.PHASE_OVERCURRENT, (SPIKE,)),
            (C.ROTOR_SENSOR_FAULT, JERKS),
            (C.MOTOR_PHASE_FAULT, BEATING),
        )
    ),
    Pair(
        C.INPUT_SIGNAL_LOST,
        C.DRIVE_LINK_LOST,
        ({"who": "all", "order": "- together"}, {"link": "leader"}),
        ({"link": "follower"}, {"frozen": "yes"}),
        "whether the demand reaches that side by wire or over the link",
    ),
    Pair(
        C.SUPPLY_INTERRUPTED,
        C.UNDERVOLTAGE_STOP,
        (OPENED, {"stop_at_v": "off clear"}, {"flicker": "yes"}, {"dip": "yes"}),
        ({"fall": "faded"}, {"stop_at_v": "at", "charge": "low", "bus": "rebound"}),
        "the voltage at pack and controllers",
    ),
    *(
        Pair(
            C.INTERLOCK_OPENED,
            other,
            (BOTH_SIDES, CONTROLLED),
            (ONE_SIDE, *facts, ROLLS_NOT),
            "the other drive's log, or the switch inputs",
        )
        for other, facts in (
            (C.PHASE_OVERCURRENT, (SPIKE,)),
            (C.ROTOR_SENSOR_FAULT, JERKS),
            (C.MOTOR_PHASE_FAULT, BEATING),
        )
    ),
    Pair(
        C.DRIVE_LINK_LOST,
        C.SUPPLY_INTERRUPTED,
        ({"link": "follower"},),
        ({"link": "leader"}, {"bus": "collapse"}),
        "whether that side's readings come over the link, and whether its lamps went out",
    ),
    *(
        Pair(
            path,
            other,
            ({"bus": "collapse"}, *CONTACT[:1], {"dip": "yes"})
            if path is C.SUPPLY_INTERRUPTED
            else ({"bus": "collapse"},),
            () if path is C.SUPPLY_INTERRUPTED else ({"kind": "drive", "bus": "rebound"},),
            "each controller's own voltage",
        )
        for path in PATH_OPENS
        for other in PATH_STAYS
    ),
    *(
        Pair(
            heat,
            other,
            ({sign: hot},),
            ({sign: cool}, *facts),
            "both temperatures of that side",
        )
        for heat, sign, hot, cool in (
            (C.CONTROLLER_OVERHEAT, "controller_heat", "at", "clear"),
            (C.MOTOR_OVERHEAT, "motor_heat", "at", "clear"),
            (C.TEMPERATURE_SENSOR_FAULT, "temp_wire", "broken", "fine"),
        )
        for other, facts in (
            (C.PHASE_OVERCURRENT, (SPIKE,)),
            (C.ROTOR_SENSOR_FAULT, JERKS),
            (C.MOTOR_PHASE_FAULT, BEATING),
            (C.INPUT_SIGNAL_LOST, ({"demand": "jump"}, {"sides": "parted"})),
            (C.INTERLOCK_OPENED, (CONTROLLED,)),
            (C.DRIVE_LINK_LOST, OVER_LINK),
        )
    ),
    *(
        Pair(
            other,
            C.UNDERVOLTAGE_STOP,
            ({"stop_at_v": "clear off"},),
            ({"stop_at_v": "at"}, {"fall": "faded"}),
            "each controller's own voltage at 10 Hz or faster",
        )
        for other in PATH_STAYS
    ),
)

TWINS = frozenset({(C.ROTOR_SENSOR_FAULT, C.PHASE_OVERCURRENT)})
"""(first, rival) that only a decisive fact parts, however unlikely habit makes the rival: a motor
that stops when slow, again and again, without a jerk or a spike in the log may have either. Our
choice: the only pair that was said surely and wrong in a row on made rides."""

NAMES = {
    C.BMS_OVERCURRENT_DISCHARGE: "too much current for the management system",
    C.BMS_OVERCURRENT_CHARGE: "too much charging current for the management system",
    C.BMS_OVERHEAT: "heat in the management system",
    C.CELL_LOW_VOLTAGE: "a low cell group",
    C.CELL_HIGH_VOLTAGE: "a full cell group",
    C.UNDERVOLTAGE_STOP: "the controllers' own stop voltage",
    C.OVERVOLTAGE_TRIP: "the controllers' own overvoltage stop",
    C.CONTROLLER_OVERHEAT: "heat in a controller",
    C.MOTOR_OVERHEAT: "heat in a motor",
    C.PHASE_OVERCURRENT: "too much motor current",
    C.INPUT_SIGNAL_LOST: "a lost throttle signal",
    C.INTERLOCK_OPENED: "an interlock switch",
    C.DRIVE_LINK_LOST: "a lost link between the controllers",
    C.ROTOR_SENSOR_FAULT: "a motor's rotor sensor",
    C.MOTOR_PHASE_FAULT: "a motor's wire",
    C.MECHANICAL_DRIVE_LOST: "a lost belt, chain or coupling",
    C.SUPPLY_INTERRUPTED: "a connector, fuse or switch",
}
"""Causes within a sentence."""

HEAT = {
    C.CONTROLLER_OVERHEAT: "controller_heat",
    C.MOTOR_OVERHEAT: "motor_heat",
}
"""A part at its stop temperature speaks for its heat against all that happens on one side."""


def _seen(facts: tuple[Fact, ...], signs: Mapping[str, str]) -> bool:
    return any(all(signs.get(k, "-") in v.split() for k, v in fact.items()) for fact in facts)


def decided(losses: Sequence[Mapping[str, str]]) -> list[tuple[C, C]]:
    """(cause, rival) wherever a fact that physics ties to the cause, and none that it ties to the
    rival, was seen in these `losses` of the same drives."""
    out = []
    for pair in PAIRS:
        one = any(_seen(pair.for_one, signs) for signs in losses)
        other = any(_seen(pair.for_other, signs) for signs in losses)
        if one and not other:
            out.append((pair.one, pair.other))
        if other and not one:
            out.append((pair.other, pair.one))
    return out


def told_apart(
    first: C, second: C, signs: Mapping[str, str], beside: Sequence[Mapping[str, str]] = ()
) -> tuple[bool, str]:
    """Whether a fact that physics ties to `first`, and none that it ties to `second`, was seen in
    this loss or in those `beside` it; and what would tell them. Pairs that nothing is stated for
    count as told apart."""
    for heat, sign in HEAT.items():
        if heat is second and signs.get(sign) == "at" and first not in HEAT:
            wire = first is C.TEMPERATURE_SENSOR_FAULT and signs.get("temp_wire") == "broken"
            return wire, "that part's temperature beside a thermometer"
    for pair in PAIRS:
        if {first, second} == {pair.one, pair.other}:
            mine, its = pair.for_one, pair.for_other
            if first is pair.other:
                mine, its = its, mine
            all_seen = (signs, *beside)
            found = any(_seen(mine, one) for one in all_seen)
            return found and not any(_seen(its, one) for one in all_seen), pair.ask
    return True, ""

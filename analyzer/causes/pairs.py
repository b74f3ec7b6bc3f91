"""Which facts speak for either of two causes against the other. The trade's; no source."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.causes.facts import (
    AT_THEIR_STOP,
    BEATING,
    BOTH_SIDES,
    CHARGE_TRIP_USED,
    COLLAPSES,
    CONTACT,
    CONTROLLED,
    COOL_BMS,
    DIPS,
    FLICKERS,
    HIGH_CELL,
    HIGH_MEAN,
    HOT_BMS,
    JERKS,
    LOW_CELL,
    LOW_MEAN,
    LOWISH_MEAN,
    NO_CHARGE_TRIP,
    NO_HIGH_CELL,
    NO_LOW_CELL,
    NO_TRIP,
    NOT_OVER_LINK,
    ONE_SIDE,
    OPENED,
    OVER_LINK,
    ROLLS_NOT,
    ROLLS_WELL,
    RUNNING,
    SIGNAL_ALIVE,
    SIGNAL_GONE,
    SMOOTH,
    SPIKE,
    STAYED,
    TRIP_USED,
    Fact,
)
from analyzer.words import CutoutCause as C


@dataclass(frozen=True, slots=True)
class Pair:
    """What speaks for either of two causes against the other: any one fact does."""

    one: C
    other: C
    for_one: tuple[Fact, ...]
    for_other: tuple[Fact, ...]
    ask: str
    """What would tell them apart."""


BMS_OPENS = (C.BMS_OVERCURRENT_DISCHARGE, C.BMS_OVERHEAT, C.CELL_LOW_VOLTAGE)
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
        (*NO_CHARGE_TRIP, FLICKERS, {"return": "blink"}),
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
        (SPIKE, {"phase": "full"}, {"beats": "no", "tries": "full_short full_long"}),
        (*BEATING, ROLLS_NOT),
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
        (OPENED, {"stop_at_v": "off clear"}, FLICKERS, DIPS),
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
        ({"link": "leader"}, COLLAPSES),
        "whether that side's readings come over the link, and whether its lamps went out",
    ),
    *(
        Pair(
            path,
            other,
            for_path,
            for_other,
            "each controller's own voltage",
        )
        for path, for_path, for_other in (
            *((one, (COLLAPSES,), ({"kind": "drive", **STAYED},)) for one in BMS_OPENS),
            # A contact may close again before the bus has sunk.
            (C.SUPPLY_INTERRUPTED, (COLLAPSES, FLICKERS, DIPS), ()),
        )
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

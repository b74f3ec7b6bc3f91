"""Causes in the pack's management system: it opened the path, and every drive went at once."""

from __future__ import annotations

from analyzer.causes import say
from analyzer.causes.model import (
    HARDLY,
    LIKELY,
    NEVER,
    SOME,
    UNLIKELY,
    YES,
    CauseModel,
    Levels,
)
from analyzer.words import CutoutCause

OPENED: dict[str, Levels] = {
    "who": {"all": LIKELY, "one": NEVER},
    "order": {"together": SOME, "apart": UNLIKELY},
    "bus": {"collapse": LIKELY, "dead": LIKELY, "rebound": HARDLY, "pack_stays": 0.0},
    "fall": {"faded": HARDLY, "slow": UNLIKELY, "ramp": -0.7},
    "log": {"one_blank": SOME, "ends": SOME},
    "demand": {"jump": HARDLY, "frozen": -0.7},
    "road": {"leaves": HARDLY},
    "temp_wire": {"broken": UNLIKELY},
    "frozen": {"yes": -0.7},
    "controller_heat": {"at": UNLIKELY},
    "motor_heat": {"at": UNLIKELY},
    "return": {"tries": -0.7, "blink": UNLIKELY, "soon": -0.7, "after_rest": SOME},
    "beats": {"yes": UNLIKELY},
}
"""What every opening of the pack's path shows."""

MODELS = (
    CauseModel(
        CutoutCause.BMS_OVERCURRENT_DISCHARGE,
        0.3,
        OPENED
        | {
            "kind": {"brake": HARDLY},
            "discharge_trip": {"used": YES, "half": 0.0, "begun": HARDLY, "clear": NEVER},
            "discharge_load": {
                "light": NEVER,
                "below": HARDLY,
                "at": 0.0,
                "above": LIKELY,
                "far_above": YES,
            },
            "cell_low": {"at": UNLIKELY, "clear": SOME},
            "idle": {"long": HARDLY},
        },
        say.overcurrent_discharge,
        (
            "Ride the same place with each drive's battery limit a third lower, on the flat "
            "first: if it no longer cuts out, it was the current.",
            "Log the management system's own state or fault word beside the currents.",
        ),
    ),
    CauseModel(
        CutoutCause.BMS_OVERCURRENT_CHARGE,
        0.0,
        OPENED
        | {
            "kind": {"drive": NEVER, "brake": LIKELY},
            # Driving on proves that only the way into the pack was closed.
            "other_way": {"works": LIKELY, "fails": -0.7},
            "jump": {"yes": LIKELY, "no": UNLIKELY},
            "charge_trip": {"used": YES, "half": 0.0, "begun": HARDLY, "clear": NEVER},
            "charge_load": {
                "light": NEVER,
                "below": UNLIKELY,
                "at": SOME,
                "above": LIKELY,
                "far_above": YES,
            },
            "cell_high": {"at": UNLIKELY, "clear": SOME, "mean_clear": SOME},
            "overvoltage_v": {"at": SOME},
        },
        say.overcurrent_charge,
        (
            "Set each drive's battery braking limit a third lower and brake at the same charge: "
            "if braking stays, it was the current.",
            "Log pack current at 5 Hz or faster.",
        ),
    ),
    CauseModel(
        CutoutCause.BMS_OVERHEAT,
        -0.7,
        OPENED
        | {
            "heat_load": {
                "cool": NEVER,
                "mild": UNLIKELY,
                "warm": SOME,
                "hot": LIKELY,
                "short": HARDLY,
            },
            "discharge_trip": {"used": HARDLY},
            "discharge_load": {"light": UNLIKELY, "far_above": -0.7},
            "return": {
                "later": SOME,
                "never": 0.3,
                "soon": UNLIKELY,
                "blink": HARDLY,
                "tries": HARDLY,
            },
            "away": {
                "instant": NEVER,
                "seconds": NEVER,
                "tens": -0.7,
                "minute": SOME,
                "minutes": LIKELY,
            },
            "kind": {"brake": UNLIKELY},
            "idle": {"long": HARDLY},
        },
        say.bms_heat,
        (
            "Right after the next such loss feel the management system's case (power off): "
            "too hot to touch speaks for heat.",
            "Log its own temperature.",
        ),
    ),
    CauseModel(
        CutoutCause.CELL_LOW_VOLTAGE,
        0.0,
        OPENED
        | {
            "kind": {"brake": HARDLY},
            "cell_low": {
                "at": YES,
                "near": 0.0,
                "clear": NEVER,
                "mean_at": SOME,
                "mean_near": SOME,
                "mean_above": -0.3,
                "mean_clear": HARDLY,
            },
            "charge": {"low": LIKELY, "lowish": SOME, "middle": UNLIKELY, "full": NEVER},
            "discharge_trip": {"used": UNLIKELY},
            "discharge_load": {"light": UNLIKELY},
            "idle": {"long": HARDLY},
        },
        say.cell_low,
        (
            "Read every cell group's voltage at rest and under load, or log the lowest cell: one "
            "group far under the others says it.",
        ),
    ),
    CauseModel(
        CutoutCause.CELL_HIGH_VOLTAGE,
        0.0,
        OPENED
        | {
            "kind": {"drive": HARDLY, "brake": LIKELY},
            # Driving on proves that only the way into the pack was closed.
            "other_way": {"works": LIKELY, "fails": -0.7},
            "jump": {"yes": LIKELY, "no": UNLIKELY},
            "cell_high": {
                "at": YES,
                "near": 0.0,
                "clear": NEVER,
                "mean_at": LIKELY,
                "mean_near": SOME,
                "mean_below": UNLIKELY,
                "mean_clear": NEVER,
            },
            "charge": {"full": LIKELY, "middle": UNLIKELY, "lowish": NEVER, "low": NEVER},
            "charge_trip": {"used": UNLIKELY},
            "overvoltage_v": {"at": SOME},
        },
        say.cell_high,
        (
            "Leave home at 90 % charge and brake at the same place: if braking stays, it was a "
            "full cell group.",
            "Log the highest cell voltage.",
        ),
    ),
)

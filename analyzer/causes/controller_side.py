"""Causes in the controllers: one of their own limits stopped them, the pack stayed connected."""

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

STAYED: dict[str, Levels] = {
    "bus": {"rebound": SOME, "collapse": HARDLY, "dead": HARDLY, "pack_stays": SOME},
    "log": {"one_blank": HARDLY, "ends": HARDLY, "goes_on_pack": SOME},
    "demand": {"jump": HARDLY, "frozen": UNLIKELY},
    "frozen": {"yes": HARDLY},
    "road": {"leaves": HARDLY},
    "jump": {"yes": HARDLY},
    "sides": {"parted": HARDLY},
}
"""What every stop by a controller itself shows: voltages go back to rest, the log goes on."""


def _heat(part: str, other: str) -> dict[str, Levels]:
    return STAYED | {
        f"{part}_heat": {"at": YES, "band": 0.0, "clear": NEVER},
        f"{other}_heat": {"at": -0.7},
        "temp_wire": {"broken": HARDLY, "fine": SOME},
        "fall": {"faded": LIKELY, "instant": -0.7},
        "who": {"one": 0.3},
        "stop_at_v": {"at": UNLIKELY},
        "order": {"together": -0.7},
    }


MODELS = (
    CauseModel(
        CutoutCause.UNDERVOLTAGE_STOP,
        0.2,
        STAYED
        | {
            "kind": {"brake": HARDLY},
            "stop_at_v": {"at": YES, "near": 0.3, "off": UNLIKELY, "clear": NEVER},
            "band": {"in": SOME, "above": HARDLY},
            "dip": {"yes": HARDLY},
            "fall": {"faded": LIKELY},
            "charge": {"low": SOME, "full": UNLIKELY, "middle": -0.3},
            "who": {"one": -0.7},
            "discharge_load": {"light": -0.7},
            "idle": {"long": HARDLY},
        },
        say.undervoltage,
        (
            "Ride the same place with a fuller pack: it should not stop there.",
            "Log each controller's own voltage at 10 Hz or faster.",
        ),
    ),
    CauseModel(
        CutoutCause.OVERVOLTAGE_TRIP,
        0.0,
        STAYED
        | {
            "kind": {"drive": HARDLY, "brake": LIKELY},
            "overvoltage_v": {"at": YES, "near": 0.0, "off": HARDLY, "clear": NEVER},
            "jump": {"yes": HARDLY, "no": SOME},
            "charge": {"full": LIKELY, "middle": -0.7, "lowish": HARDLY, "low": HARDLY},
            "cell_high": {"clear": 0.3, "mean_clear": UNLIKELY},
            "return": {"tries": SOME},
        },
        say.overvoltage,
        (
            "Leave home at 90 % charge and brake at the same place: if braking stays, it was the "
            "voltage.",
        ),
    ),
    CauseModel(
        CutoutCause.CONTROLLER_OVERHEAT,
        0.0,
        _heat("controller", "motor"),
        say.controller_heat,
        ("Log the controller's temperature; let it cool and repeat the climb more slowly.",),
    ),
    CauseModel(
        CutoutCause.MOTOR_OVERHEAT,
        0.0,
        _heat("motor", "controller"),
        say.motor_heat,
        ("Log the motor's temperature; let it cool and repeat the climb more slowly.",),
    ),
    CauseModel(
        CutoutCause.PHASE_OVERCURRENT,
        -0.2,
        STAYED
        | {
            "who": {"one": LIKELY, "all": HARDLY},
            "phase": {
                "spike": YES,
                "full": SOME,
                "below": -0.7,
                "half": -0.7,
                "light": UNLIKELY,
            },
            "fall": {"instant": SOME, "sudden": 0.3, "ramp": -0.7, "faded": NEVER},
            "return": {
                "tries": LIKELY,
                "soon": SOME,
                "blink": 0.3,
                "after_rest": -0.7,
                "never": -0.7,
            },
            "beats": {"yes": UNLIKELY, "some": -0.3, "no": 0.3},
            "jitter": {"yes": UNLIKELY},
            "rolling": {"runs": 0.3, "fails": -0.3},
            "stop_at_v": {"at": -0.7},
            "motor_heat": {"at": UNLIKELY},
            "controller_heat": {"at": UNLIKELY},
            "temp_wire": {"broken": HARDLY},
            "link": {"follower": -0.3},
            "idle": {"long": -0.7},
        },
        say.phase_overcurrent,
        (
            "Log motor current at 20 Hz or faster: a spike just before the stop says it.",
            "Lower that side's motor-current limit by a fifth and repeat.",
        ),
    ),
)

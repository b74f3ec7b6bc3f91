"""Causes in what tells the controllers to drive: throttle, switches, the link, a sleep timer."""

from __future__ import annotations

from analyzer.causes import say
from analyzer.causes.model import HARDLY, LIKELY, NEVER, SOME, UNLIKELY, YES, CauseModel
from analyzer.causes.pack_side import OPENED
from analyzer.words import CutoutCause

UNTOUCHED = {
    "bus": {"rebound": SOME, "collapse": NEVER, "dead": HARDLY, "pack_stays": SOME},
    "stop_at_v": {"at": UNLIKELY},
    "controller_heat": {"at": UNLIKELY},
    "motor_heat": {"at": UNLIKELY},
    "temp_wire": {"broken": HARDLY},
    "road": {"leaves": HARDLY},
    "jump": {"yes": HARDLY},
    "beats": {"yes": UNLIKELY},
}
"""A signal that fails leaves voltage, heat and speed as they were."""

MODELS = (
    CauseModel(
        CutoutCause.INPUT_SIGNAL_LOST,
        0.0,
        UNTOUCHED
        | {
            "demand": {"jump": YES, "frozen": LIKELY, "held": -0.7},
            "demand_still": {"stuck": YES, "long": YES, "some": SOME, "no": -0.7},
            "alive": {"yes": -2.5, "no": SOME},
            "sides": {"parted": YES, "together": HARDLY},
            "demand_leaves": {"jump": LIKELY, "ramp": UNLIKELY},
            "who": {"all": SOME, "one": -0.7},
            "link": {"follower": HARDLY},
            "fall": {"faded": HARDLY},
            "log": {"ends": HARDLY, "one_blank": HARDLY},
            "return": {"tries": -0.3},
        },
        say.signal_lost,
        (
            "With a wheel off the ground move the throttle's cable and plug by hand and watch the "
            "demand: it must not jump.",
            "Log the throttle demand at 20 Hz or faster.",
        ),
    ),
    CauseModel(
        CutoutCause.INTERLOCK_OPENED,
        -0.2,
        UNTOUCHED
        | {
            "demand": {"held": SOME, "jump": HARDLY, "frozen": UNLIKELY},
            "demand_still": {"stuck": HARDLY, "long": UNLIKELY},
            # A lever's switch takes drive away and lets braking in.
            "kind": {"brake": UNLIKELY},
            "demand_leaves": {"jump": UNLIKELY, "ramp": 0.3},
            "who": {"all": SOME, "one": HARDLY},
            "fall": {"ramp": LIKELY, "instant": -0.3, "slow": SOME, "faded": UNLIKELY},
            "log": {"ends": HARDLY, "one_blank": HARDLY},
            "return": {"tries": -0.7, "soon": SOME, "blink": SOME},
            "order": {"together": 0.3, "apart": UNLIKELY},
            "stop_at_v": {"at": UNLIKELY, "near": -0.7},
            "overvoltage_v": {"at": UNLIKELY},
        },
        say.interlock,
        (
            "With a wheel off the ground press and wiggle brake lever, seat and stand switch one "
            "by one under a light throttle: which one stops the motors?",
            "Log the switch inputs.",
        ),
    ),
    CauseModel(
        CutoutCause.IDLE_SHUTDOWN,
        -0.7,
        OPENED
        | {
            "idle": {"long": YES, "short": HARDLY, "no": NEVER},
            "how": {"off": YES},
            "speed": {"still": SOME, "riding": UNLIKELY},
            "discharge_load": {"above": HARDLY, "far_above": HARDLY, "at": HARDLY},
            "discharge_trip": {"used": HARDLY, "half": HARDLY},
            "charge_trip": {"used": HARDLY},
            "bus": {"collapse": SOME, "dead": SOME, "rebound": 0.0},
            "return": {"later": SOME},
        },
        say.idle,
        (
            "Let it stand switched on without touching it and time when it goes off: twice the "
            "same time says it.",
        ),
    ),
    CauseModel(
        CutoutCause.DRIVE_LINK_LOST,
        -0.2,
        UNTOUCHED
        | {
            "who": {"one": LIKELY, "all": NEVER},
            "link": {"follower": LIKELY, "leader": HARDLY, "untold": -0.7},
            "frozen": {"yes": YES, "no": -0.3},
            "sides": {"parted": YES},
            "demand": {"frozen": LIKELY, "jump": SOME, "held": 0.0},
            "phase": {"spike": HARDLY, "full": -0.3},
            "jitter": {"yes": HARDLY},
            "fall": {"faded": HARDLY},
            "return": {"tries": -0.7, "soon": SOME},
            "log": {"ends": HARDLY},
            "idle": {"long": -0.7},
        },
        say.link_lost,
        (
            "With wheels off the ground move the cable between the controllers: does that side "
            "stop?",
            "Log both controllers by their own, not over the link.",
        ),
    ),
)

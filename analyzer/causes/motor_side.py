"""Causes in or at one motor: its sensor, its wires, its thermometer, its belt."""

from __future__ import annotations

from analyzer.causes import say
from analyzer.causes.controller_side import STAYED
from analyzer.causes.model import HARDLY, LIKELY, NEVER, SOME, UNLIKELY, YES, CauseModel
from analyzer.words import CutoutCause

ONE_SIDE = STAYED | {"who": {"one": LIKELY, "all": NEVER}}
"""What breaks in one motor stops one: two at the same moment are no coincidence."""

MODELS = (
    CauseModel(
        CutoutCause.ROTOR_SENSOR_FAULT,
        -0.2,
        ONE_SIDE
        | {
            "speed": {"still": LIKELY, "slow": LIKELY, "jog": 0.0, "riding": HARDLY},
            "jitter": {"yes": LIKELY, "some": SOME, "no": -0.7},
            "beats": {"yes": LIKELY, "some": SOME, "no": -0.3},
            "rolling": {"runs": SOME, "fails": HARDLY},
            "return": {"tries": SOME, "soon": SOME},
            "phase": {"spike": -0.7, "full": SOME},
            "temp_wire": {"broken": HARDLY},
            "fall": {"faded": HARDLY, "instant": SOME},
            "link": {"follower": -0.3},
        },
        say.rotor_sensor,
        (
            "Wheel off the ground, turn it slowly by hand and pull away gently ten times: jerks or "
            "refusals on one side only say it.",
            "Log motor speed at 20 Hz or faster.",
        ),
    ),
    CauseModel(
        CutoutCause.MOTOR_PHASE_FAULT,
        -0.3,
        ONE_SIDE
        | {
            "speed": {"still": -0.3},
            "beats": {"yes": LIKELY, "some": SOME, "no": -0.7},
            "tries": {"weak_long": LIKELY, "weak_short": SOME, "full_short": -0.3},
            "rolling": {"runs": -0.5, "fails": SOME},
            "jitter": {"yes": -0.7},
            "return": {"tries": LIKELY, "soon": -0.7, "blink": -0.3, "never": SOME},
            "phase": {"spike": -0.7},
            "temp_wire": {"broken": HARDLY},
            "fall": {"faded": HARDLY},
            "link": {"follower": -0.3},
        },
        say.motor_phase,
        (
            "Power off, unplug that motor and measure its three wires against each other: two "
            "pairs open, or one far above the others, says it.",
            "Log motor current at 20 Hz or faster.",
        ),
    ),
    CauseModel(
        CutoutCause.TEMPERATURE_SENSOR_FAULT,
        -0.3,
        ONE_SIDE
        | {
            "temp_wire": {"broken": YES, "fine": NEVER},
            "motor_heat": {"at": SOME},
            "fall": {"faded": UNLIKELY},
        },
        say.temperature_sensor,
        (
            "Compare that side's reading with a thermometer on the case after a night's rest: it "
            "must read the air's temperature.",
        ),
    ),
    CauseModel(
        CutoutCause.MECHANICAL_DRIVE_LOST,
        -0.3,
        ONE_SIDE
        | {
            "road": {"leaves": YES, "keeps": NEVER},
            "how": {"spin": LIKELY},
            "temp_wire": {"broken": HARDLY},
            "beats": {"yes": -0.3},
        },
        say.mechanical,
        (
            "Power off: turn that wheel by hand. The motor must turn with it; look at belt, chain, "
            "key and coupling.",
            "Log both motors' speeds and the speed by satellite.",
        ),
    ),
)

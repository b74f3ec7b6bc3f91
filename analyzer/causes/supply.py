"""A connector, fuse or switch broke the supply, and the honest rest: something else."""

from __future__ import annotations

from analyzer.causes import say
from analyzer.causes.model import HARDLY, LIKELY, SOME, UNLIKELY, YES, CauseModel
from analyzer.causes.pack_side import OPENED
from analyzer.words import CutoutCause

MODELS = (
    CauseModel(
        CutoutCause.SUPPLY_INTERRUPTED,
        0.2,
        OPENED
        | {
            "who": {"all": SOME, "one": -0.7},
            "dip": {"yes": YES},
            "flicker": {"yes": LIKELY, "no": -0.3},
            "discharge_trip": {"used": HARDLY, "half": -0.3, "clear": SOME},
            "charge_trip": {"used": HARDLY},
            "discharge_load": {"far_above": -0.3},
            "cell_low": {"at": HARDLY, "near": -0.7, "clear": SOME},
            "cell_high": {"at": HARDLY, "near": -0.7},
            "return": {"blink": LIKELY, "soon": SOME, "never": SOME, "tries": SOME},
            "heat_load": {"hot": -0.7},
            "away": {"instant": SOME, "seconds": SOME},
            "idle": {"long": UNLIKELY},
            "kind": {"brake": -0.7},
            "other_way": {"works": UNLIKELY, "fails": SOME},
        },
        say.supply,
        (
            "Power off: main connector, fuse and switch, warm, browned or loose? A contact that "
            "fails does so at low current, too, and over bumps.",
            "Log voltage at the controllers and at the pack: a difference that grows is a contact.",
        ),
    ),
    CauseModel(
        CutoutCause.UNKNOWN,
        -1.5,
        {},
        say.unknown,
        ("Log demand, both sides' currents and voltages, and pack current at 10 Hz or faster.",),
    ),
)

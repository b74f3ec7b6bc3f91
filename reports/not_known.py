"""What a ride cannot say of a loss, and what one would have to log or write down for it."""

from __future__ import annotations

import numpy as np

from analyzer.events import Event
from analyzer.ride_analysis import RideResult
from analyzer.words import EventKind
from reports.numbers import fixed
from reports.sentences import joined, sentence

SLOW_S = 0.02
"""Samples further apart than this hide the order in which drives stop [s]. Our choice: protections
act within some ten milliseconds."""


def not_known(event: Event, result: RideResult) -> tuple[str, ...]:
    """What stayed in the dark about this loss, in one sentence; empty for other events."""
    if event.kind not in (EventKind.CUTOUT, EventKind.BRAKE_LOSS):
        return ()
    what = [*_channels(result), *_keys(event, result)]
    time_s = result.ride.time_s
    if time_s.size > 1:
        step = float(np.median(np.diff(time_s)))
        if step > SLOW_S:
            what.append(f"what happened between two samples ({fixed(step, 2)} s apart)")
    return (sentence(joined(what)),) if what else ()


def _channels(result: RideResult) -> list[str]:
    ride = result.ride
    names = [str(one) for one in ride.table.columns]
    found = []
    if not any(one.startswith("cell_") and one.endswith("_v") for one in names):
        found.append("single cells (no cell voltages logged)")
    if "pack_current_a" not in names:
        found.append("the current as the BMS sees it (no BMS log)")
    if not any(one.endswith("throttle_pct") for one in names):
        found.append("what was asked for (no demand logged)")
    for part in ("motor", "controller"):
        if not any(one.endswith(f"{part}_temp_c") for one in names):
            found.append(f"{part} heat (no temperature logged)")
    return found


def _keys(event: Event, result: RideResult) -> list[str]:
    word = "discharge" if event.kind is EventKind.CUTOUT else "charge"
    keys = [f"{word}_trip_a", f"{word}_trip_delay_s"]
    missing = [f"bms.{key}" for key in keys if getattr(result.setup.bms, key) is None]
    if not missing:
        return []
    return [f"where the BMS opens ({joined(missing)} not in the setup)"]

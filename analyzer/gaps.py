"""Where are samples missing although the ride went on, and what tells that from a cutout?"""

from __future__ import annotations

import numpy as np

from analyzer.events import Event
from analyzer.quantities import speed_mps
from analyzer.words import EventKind, Severity
from importers.ride import Ride
from importers.setup_types import Setup

MOVING_MPS = 0.5
"""Slower than this is standing [m/s]. Our choice."""
SPEED_CHANGE_MPS2 = 3.0
"""What a light vehicle's brakes or motors change speed by at most [m/s²]. Our choice."""
SPEED_SLACK_MPS = 1.0
"""Noise of two speed readings [m/s]. Our choice."""
EDGE_ROWS = 5
"""Rows before and after a hole that tell the speed. Our choice."""


def find_log_gaps(ride: Ride, setup: Setup) -> list[Event]:
    """Where are samples missing although the ride went on: speed is there on both sides of the
    hole and fits, or the vehicle stood before and after? Where it moved before and stands after,
    power may have gone: that is for the search for cutouts."""
    time_s, speed = ride.time_s, speed_mps(ride, setup)
    holes = np.flatnonzero(np.diff(time_s) > ride.gap_s)
    events = []
    for hole in holes:
        missing_s = float(time_s[hole + 1] - time_s[hole])
        if speed is not None and not _went_on(speed.values, int(hole), missing_s):
            continue
        events.append(
            Event(
                EventKind.LOG_GAP,
                float(time_s[hole]),
                float(time_s[hole + 1]),
                setup.drive_names,
                Severity.NOTE,
                facts=(f"No samples for {missing_s:.1f} s.",),
                measures=(("length_s", missing_s),),
            )
        )
    return events


def _went_on(speed: np.ndarray, hole: int, missing_s: float) -> bool:
    before = _edge(speed[max(hole + 1 - EDGE_ROWS, 0) : hole + 1])
    after = _edge(speed[hole + 1 : hole + 1 + EDGE_ROWS])
    if before is None or after is None:
        return False
    if abs(before) < MOVING_MPS and abs(after) < MOVING_MPS:
        return True
    fits = abs(after - before) <= SPEED_CHANGE_MPS2 * missing_s + SPEED_SLACK_MPS
    return fits and abs(after) >= MOVING_MPS


def _edge(values: np.ndarray) -> float | None:
    good = values[np.isfinite(values)]
    return float(np.median(good)) if good.size else None

"""Which readings can be believed, and how exactly?

A sensor that is absent reads a constant, a broken wire steps or reads beyond what a motor survives:
neither is heat. A current that a controller works out itself is right within a few per cent.
"""

from __future__ import annotations

import numpy as np

from analyzer.quantities import Floats
from importers.ride import Ride

TEMP_LOW_C, TEMP_HIGH_C = -40.0, 150.0
"""Beyond these it is a sensor or its wire [C]: common practice, no source (causes.md)."""
TEMP_RATE_K_PER_S = 5.0
"""Faster than this it is a sensor or its wire [K/s]: common practice, no source."""
STEP_FLOOR_K = 5.0
"""A step of less than this may be the sensor's resolution or noise [K]. Our choice."""
MOVED_K = 0.3
"""A real temperature moves by this much over a ride that heats anything [K]. Our choice."""
CONTROLLER_CURRENT_SHARE = 0.03
"""A controller's battery current is right within this part of it: common practice, no source
(3 to 5 %; the lower end, so that a real excess is not explained away)."""
BMS_CURRENT_SHARE = 0.02
"""A BMS shunt, likewise (1 to 3 %)."""


def believable_temp_c(values: Floats, ride: Ride) -> Floats | None:
    """The temperature with what no mass can do left out as NaN; None for an absent sensor."""
    good = np.where((values > TEMP_LOW_C) & (values < TEMP_HIGH_C), values, np.nan)
    known = np.flatnonzero(np.isfinite(good))
    if known.size < 2 or np.ptp(good[known]) < MOVED_K:
        return None
    seen, time_s = good[known], ride.time_s[known]
    jump, step = np.diff(seen), np.diff(time_s)
    broken = (np.abs(jump) > STEP_FLOOR_K) & (np.abs(jump) > TEMP_RATE_K_PER_S * step)
    if not broken.any():
        return np.asarray(good, np.float64)
    # Pieces between jumps: the longest is taken for the sensor, any other that starts or ends in
    # a jump for its wire.
    piece = np.concatenate([[0], np.cumsum(broken)])
    longest = np.bincount(piece).argmax()
    near = np.abs(seen - np.median(seen[piece == longest])) < 2 * STEP_FLOOR_K + np.ptp(
        seen[piece == longest]
    )
    good[known[~near]] = np.nan
    return np.asarray(good, np.float64)


def current_accuracy_share(channels: tuple[str, ...]) -> float:
    """How exact the sum of these current channels is, as a part of its value."""
    bms = all(one == "pack_current_a" for one in channels)
    return BMS_CURRENT_SHARE if bms else CONTROLLER_CURRENT_SHARE

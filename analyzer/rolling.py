"""Do the wheels turn alike when the vehicle goes straight, and when does it turn?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.blocks import Blocks
from analyzer.estimate import Estimate
from analyzer.quantities import Bools, Floats, wheel_speed_mps
from importers.ride import Ride
from importers.setup_types import Setup

FAST_MPS = 2.0
"""Slower wheels are not compared [m/s]. Our choice: crawling wheels slip, jerk and steer."""
TURN_DEG_PER_S = 4.0
"""Course changes faster than this in a bend [°/s]. Our choice: 100 m radius at 7 m/s."""
TURN_SHARE = 0.02
"""Or the wheels' speeds differ by this much more than on the straight. Our choice."""
STRAIGHT_ENOUGH_S = 10.0
"""Less than this going straight gives no ratio [s]. Our choice."""
CHUNK_S = 10.0
"""Blocks within this are resampled together [s]. Our choice."""
DRAWS = 200
"""Bootstrap draws. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Rolling:
    """m blocks: the first drive's wheel speed over the second's, and whether the way was straight;
    None where wheel speeds or course do not tell."""

    ratio: Estimate | None
    straight: Bools | None
    ratios: Floats | None
    speed_mps: Floats | None


def find_rolling(ride: Ride, setup: Setup, blocks: Blocks, rng: np.random.Generator) -> Rolling:
    """How do the first two drives' wheels turn against each other?"""
    speeds = [wheel_speed_mps(ride, setup, name) for name in setup.drive_names[:2]]
    means = [blocks.mean(one.values) for one in speeds if one is not None]
    turning = _course_turns(ride, blocks)
    if len(means) < 2 or means[0] is None or means[1] is None:
        return Rolling(None, None if turning is None else ~turning, None, None)
    first, second = means[0], means[1]
    with np.errstate(invalid="ignore", divide="ignore"):
        fast = (first > FAST_MPS) & (second > FAST_MPS)
        ratios = np.where(fast, first / second, np.nan)
    good = np.isfinite(ratios)
    if turning is not None:
        good &= ~turning
    if float(blocks.length_s[good].sum()) < STRAIGHT_ENOUGH_S:
        return Rolling(None, None if turning is None else ~turning, ratios, (first + second) / 2)
    middle = _shorth(ratios[good])
    with np.errstate(invalid="ignore"):
        straight = np.abs(ratios / middle - 1.0) < TURN_SHARE
        if turning is not None:
            straight &= ~turning
    ratio = _interval(ratios, straight, blocks, rng)
    return Rolling(ratio, straight, ratios, (first + second) / 2)


def _course_turns(ride: Ride, blocks: Blocks) -> Bools | None:
    course = ride.get("course_deg")
    if course is None or blocks.size < 3:
        return None
    east, north = blocks.mean(np.sin(np.radians(course))), blocks.mean(np.cos(np.radians(course)))
    if east is None or north is None:
        return None
    mean = np.unwrap(np.nan_to_num(np.arctan2(east, north)))
    # Over four blocks: a GPS gives its course once a second or so.
    change = np.zeros(mean.size)
    change[2:-2] = np.abs(mean[4:] - mean[:-4])
    time = np.full(mean.size, np.inf)
    time[2:-2] = blocks.start_s[4:] - blocks.start_s[:-4]
    return np.asarray(np.degrees(change) / time > TURN_DEG_PER_S, np.bool_)


def _shorth(values: Floats) -> float:
    """Middle of the shortest interval that holds half of the values: left and right bends pull
    the mean apart, the straight is where most of it is."""
    sorted_ = np.sort(values)
    half = max(sorted_.size // 2, 1)
    widths = sorted_[half:] - sorted_[: sorted_.size - half]
    if widths.size == 0:
        return float(np.median(sorted_))
    at = int(np.argmin(widths))
    return float(np.median(sorted_[at : at + half + 1]))


def _interval(
    ratios: Floats, straight: Bools, blocks: Blocks, rng: np.random.Generator
) -> Estimate | None:
    on = straight & np.isfinite(ratios)
    if float(blocks.length_s[on].sum()) < STRAIGHT_ENOUGH_S:
        return None
    values = ratios[on]
    chunk = np.unique(np.floor(blocks.start_s[on] / CHUNK_S), return_inverse=True)[1]
    count = np.bincount(chunk).astype(np.float64)
    total = np.bincount(chunk, values)
    draw = rng.integers(0, count.size, (DRAWS, count.size))
    drawn = total[draw].sum(axis=1) / count[draw].sum(axis=1)
    value = float(np.median(values))
    half = 1.96 * float(drawn.std()) + 2e-4
    return Estimate(value, value - half, value + half)

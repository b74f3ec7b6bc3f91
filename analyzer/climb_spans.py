"""Which stretches of a height profile are climbs, and which are descents?"""

from __future__ import annotations

import numpy as np

from analyzer.quantities import Floats

MIN_GAIN_M = 10.0
MAX_DIP_M = 2.0
MIN_GRADE_PCT = 2.0
"""What makes a climb: gain, deepest dip on the way, mean grade. The contract's."""
LEAST_GAIN_M = 9.0
"""Spans are looked for from here: whether one of 9.6 m may be 10 m is for its interval [m]."""
EDGE_GRADE_PCT = 1.6
"""Flatter than this at its ends does not belong to it [%]. Our choice: just under the least."""


def climb_spans(distance_m: Floats, height_m: Floats) -> list[tuple[float, float]]:
    """Where the road gains 9 m or more without a dip of more than 2 m at 2 % or more in the
    mean: (from, to) in metres along the way, in order, apart from each other."""
    found: list[tuple[int, int]] = []
    for first, last in _rises(height_m):
        _search(distance_m, height_m, first, last, found)
    return [(float(distance_m[a]), float(distance_m[b])) for a, b in sorted(found)]


def descent_spans(distance_m: Floats, height_m: Floats) -> list[tuple[float, float]]:
    """Where the road falls likewise; the same rule on the height turned upside down."""
    return climb_spans(distance_m, -height_m)


def _rises(height_m: Floats) -> list[tuple[int, int]]:
    """From each low to the following high, neither interrupted by a dip above the allowed."""
    rises = []
    low = high = 0
    for k in range(1, height_m.size):
        if height_m[k] > height_m[high]:
            high = k
        if height_m[high] - height_m[k] > MAX_DIP_M:
            if height_m[high] - height_m[low] >= LEAST_GAIN_M:
                rises.append((low, high))
            low = high = k
        elif height_m[k] < height_m[low]:
            low = high = k
    if height_m.size and height_m[high] - height_m[low] >= LEAST_GAIN_M:
        rises.append((low, high))
    return rises


def _steepest_part(
    distance_m: Floats, height_m: Floats, first: int, last: int, grade_pct: float
) -> tuple[int, int]:
    """The part of a rise that stands highest above a slope of `grade_pct`."""
    above = height_m[first : last + 1] - grade_pct / 100.0 * distance_m[first : last + 1]
    lowest = np.minimum.accumulate(above)
    end = int(np.argmax(above - lowest))
    start = int(np.argmin(above[: end + 1]))
    return first + start, first + end


def _is_climb(distance_m: Floats, height_m: Floats, a: int, b: int) -> bool:
    gain = height_m[b] - height_m[a]
    length = distance_m[b] - distance_m[a]
    return bool(gain >= LEAST_GAIN_M and length > 0 and 100 * gain >= MIN_GRADE_PCT * length)


def _search(
    distance_m: Floats, height_m: Floats, first: int, last: int, found: list[tuple[int, int]]
) -> None:
    if last - first < 1 or height_m[first : last + 1].max() - height_m[first] < LEAST_GAIN_M:
        return
    for edge_pct in (EDGE_GRADE_PCT, MIN_GRADE_PCT):
        a, b = _steepest_part(distance_m, height_m, first, last, edge_pct)
        if _is_climb(distance_m, height_m, a, b):
            found.append((a, b))
            _search(distance_m, height_m, first, a, found)
            _search(distance_m, height_m, b, last, found)
            return

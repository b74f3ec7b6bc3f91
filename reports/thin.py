"""Fewer points that look the same: minimum and maximum of every stretch are kept, so that the
shortest spike of a long ride is still on the plot."""

from __future__ import annotations

import base64

import numpy as np

from analyzer.quantities import Floats

POINTS_A_TRACE = 4000
"""No trace has more points than this. The house's budget: 16 of them keep a page under 3 MB."""
CLOSER_SHARE = 0.4
"""This part of a trace's points goes to the places that findings point to. Our choice: a link
into a 3 h ride must show seconds, not one point."""
HOLE_STEPS = 5.0
"""A step in time of more than this many usual steps breaks the line. As for holes in a log."""


def extremes(values: Floats, most: int) -> np.ndarray:
    """Which of the n values to keep: first, last, and every stretch's lowest and highest, in
    order, at most `most` of them; NaN is never picked where a stretch has a number."""
    n = values.size
    if n <= most:
        return np.arange(n)
    stretches = max((most - 4) // 2, 1)
    width = -(-n // stretches)
    whole = n // width * width
    body = values[:whole].reshape(-1, width)
    start = np.arange(0, whole, width)
    picks = [
        start + np.argmin(np.where(np.isfinite(body), body, np.inf), axis=1),
        start + np.argmax(np.where(np.isfinite(body), body, -np.inf), axis=1),
        np.array([0, n - 1]),
    ]
    if whole < n:
        tail = values[whole:]
        picks.append(
            whole
            + np.array(
                [
                    np.argmin(np.where(np.isfinite(tail), tail, np.inf)),
                    np.argmax(np.where(np.isfinite(tail), tail, -np.inf)),
                ]
            )
        )
    return np.unique(np.concatenate(picks))


def thinned(
    time_s: Floats,
    values: Floats,
    *,
    most: int = POINTS_A_TRACE,
    closer: tuple[tuple[float, float], ...] = (),
    hole_s: float = 0.0,
) -> tuple[Floats, Floats]:
    """Times and values to draw: at most `most` points, denser in the `closer` spans [s], with a
    NaN between two points where the log has a hole longer than `hole_s` or the channel pauses."""
    good = np.isfinite(values)
    time_s, values = time_s[good], values[good]
    if time_s.size == 0:
        return time_s, values
    edges = [(np.searchsorted(time_s, a), np.searchsorted(time_s, b)) for a, b in closer]
    spans = [(int(a), int(b)) for a, b in edges if b - a > 1]
    step = np.diff(time_s)
    holes = step > max(hole_s, HOLE_STEPS * float(np.median(step))) if step.size else step > 0
    room = max(most - int(holes.sum()), most // 2)
    if time_s.size <= room:
        keep = np.arange(time_s.size)
    else:
        share = int(CLOSER_SHARE * room) // len(spans) if spans else 0
        picks = [a + extremes(values[a:b], max(share, 6)) for a, b in spans]
        picks.append(extremes(values, room - share * len(spans)))
        keep = np.unique(np.concatenate(picks))
    x, y = time_s[keep], values[keep]
    if not holes.any():
        return x, y
    # Between two kept points lies a hole when the count of holes before them differs.
    before = np.concatenate([[0], np.cumsum(holes)])[keep]
    breaks = np.flatnonzero(np.diff(before)) + 1
    return np.insert(x, breaks, x[breaks]), np.insert(y, breaks, np.nan)


def cloud(x: Floats, y: Floats, *, cells: int = 110) -> np.ndarray:
    """Which points of a cloud to draw so that it looks the same: one per cell of a grid, first
    come; outliers have cells of their own and stay."""
    good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if good.size == 0:
        return good
    places = []
    for part in (x[good], y[good]):
        low, high = float(part.min()), float(part.max())
        width = (high - low) / cells or 1.0
        places.append(((part - low) / width).astype(np.int64))
    _, first = np.unique(places[0] * (cells + 2) + places[1], return_index=True)
    kept: np.ndarray = good[np.sort(first)]
    return kept[:POINTS_A_TRACE]


def packed(values: Floats) -> dict[str, str]:
    """An array as the plot script reads it: little-endian float32 as base64. At 3 h a time is
    good to a millisecond."""
    data = np.ascontiguousarray(values, dtype="<f4").tobytes()
    return {"dtype": "f4", "bdata": base64.b64encode(data).decode("ascii")}

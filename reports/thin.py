"""Fewer points that look the same: minimum and maximum of every stretch are kept, so that the
shortest spike of a long ride is still on the plot."""

from __future__ import annotations

import base64

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import Floats

POINTS_A_TRACE = 4000
"""No trace has more points than this. The house's budget: 16 of them keep a page under 3 MB."""
POINTS_A_CLOUD = 2500
"""Points of one cloud. Our choice: 80 by 80 cells are seldom half full."""
CLOSER_SHARE = 0.4
"""This part of a trace's points goes to the places that findings point to. Our choice: a link
into a 3 h ride must show seconds, not one point."""
HOLE_STEPS = 5.0
"""A step in time of more than this many usual steps breaks the line. As for holes in a log."""
HOLES_PART = 16
"""At most a sixteenth of the points mark holes; shorter holes are drawn over. Our choice."""


def extremes(values: Floats, most: int) -> NDArray[np.intp]:
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
    holes = _holes(time_s, hole_s, most // HOLES_PART)
    room = most - 3 * holes.size
    if time_s.size <= room:
        keep = np.arange(time_s.size)
    else:
        share = int(CLOSER_SHARE * room) // len(spans) if spans else 0
        picks = [a + extremes(values[a:b], max(share, 6)) for a, b in spans]
        picks += [extremes(values, room - share * len(spans)), holes, holes + 1]
        keep = np.unique(np.concatenate(picks))
    x, y = time_s[keep], values[keep]
    after = np.searchsorted(keep, holes + 1)
    return np.insert(x, after, x[after]), np.insert(y, after, np.nan)


def _holes(time_s: Floats, hole_s: float, most: int) -> NDArray[np.intp]:
    """The samples after which the line breaks: the longest `most` holes."""
    step = np.diff(time_s)
    if step.size == 0:
        return np.zeros(0, np.intp)
    found = np.flatnonzero(step > max(hole_s, HOLE_STEPS * float(np.median(step))))
    if found.size > most:
        found = np.sort(found[np.argsort(-step[found], kind="stable")[:most]])
    return found


def cloud(x: Floats, y: Floats, *, cells: int = 80) -> NDArray[np.intp]:
    """Which points of a cloud to draw so that it looks the same: one per cell of a grid, first
    come; outliers have cells of their own and stay. At most `POINTS_A_CLOUD`."""
    good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if good.size == 0:
        return good
    places = []
    for part in (x[good], y[good]):
        low, high = float(part.min()), float(part.max())
        width = (high - low) / cells or 1.0
        places.append(((part - low) / width).astype(np.int64))
    _, first = np.unique(places[0] * (cells + 2) + places[1], return_index=True)
    kept: NDArray[np.intp] = good[np.sort(first)]
    return kept[:POINTS_A_CLOUD]


def packed(values: Floats) -> dict[str, str]:
    """An array as the plot script reads it: little-endian float32 as base64. At 3 h a time is
    good to a millisecond."""
    data = np.ascontiguousarray(values, dtype="<f4").tobytes()
    return {"dtype": "f4", "bdata": base64.b64encode(data).decode("ascii")}

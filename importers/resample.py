"""Samples of one log at the times of another: nothing invented, nothing carried across a gap.

Fast channels are read off by linear interpolation at the true offset; channels that are held
between updates stay held; text stays held. Outside a log's time, and inside its gaps, missing.
Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from importers.ride import GAP_FACTOR, GAP_FLOOR_S

Values = NDArray[np.float64] | NDArray[np.object_]

HELD_BELOW = 0.7
"""A channel whose true rate is below this part of its file's is held, not ramped. Our choice."""
SPARSE = 0.02
"""From this share of missing cells on a channel is resampled from its own filled rows."""
SAME_S = 1e-6
"""Times closer than this are one instant: what is left of a clock conversion."""
NEVER_RAMPED = ("status", "course_deg")
"""Text, and an angle that jumps from 360 to 0."""


def gap_limit_s(time_s: NDArray[np.float64]) -> float:
    """Steps longer than this are holes in the log [s]."""
    if time_s.size < 3:
        return GAP_FLOOR_S
    return max(GAP_FACTOR * float(np.median(np.diff(time_s))), GAP_FLOOR_S)


class Onto:
    """One log's channels at `at_s`, times on that log's own clock.

    `time_s` are the log's n times, rising strictly, `at_s` the m times wanted. The places are
    found once for all channels.
    """

    def __init__(self, time_s: NDArray[np.float64], at_s: NDArray[np.float64]) -> None:
        limit = gap_limit_s(time_s)
        last = time_s.size - 1
        at_s = _snapped(time_s, at_s)
        self._time_s, self._at_s = time_s, at_s
        self._before = np.clip(np.searchsorted(time_s, at_s, side="right") - 1, 0, last)
        self._after = np.minimum(self._before + 1, last)
        step = time_s[self._after] - time_s[self._before]
        since = at_s - time_s[self._before]
        self._weight = np.divide(since, step, out=np.zeros_like(since), where=step > 0)
        self._outside = (since < 0) | (since > np.where(step > 0, step, 0.0))
        in_gap = (step > limit) & (since > 0)
        self.inside: NDArray[np.bool_] = ~(self._outside | in_gap)
        pace = float(np.median(np.diff(time_s))) if time_s.size > 1 else 0.0
        self._still_held = (since >= 0) & (since <= np.where(in_gap, pace, np.inf))
        self._still_held &= (at_s <= time_s[-1] + pace) & (at_s >= time_s[0])

    def ramped(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """m values by linear interpolation; NaN outside and in gaps."""
        missing = np.isnan(values)
        if missing.any() and float(missing.mean()) > SPARSE:
            good = ~missing
            if good.sum() < 2:
                return np.full(self._at_s.size, np.nan)
            return Onto(self._time_s[good], self._at_s).ramped(values[good])
        low = values[self._before]
        out = low + (values[self._after] - low) * self._weight
        exact = self._weight == 0.0
        out[exact] = low[exact]
        out[~self.inside] = np.nan
        return np.asarray(out, np.float64)

    def held(self, values: Values) -> Values:
        """m values, each the latest sample at that time; missing outside and in gaps."""
        out = values[self._before]
        if out.dtype == object:
            out[~self._still_held] = None
            return out
        return np.asarray(np.where(self._still_held, out, np.nan), np.float64)


def _snapped(time_s: NDArray[np.float64], at_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """`at_s` with times that are a sample's own but for rounding put on it."""
    after = np.minimum(np.searchsorted(time_s, at_s), time_s.size - 1)
    before = np.maximum(after - 1, 0)
    at_s = np.where(np.abs(time_s[after] - at_s) < SAME_S, time_s[after], at_s)
    return np.where(np.abs(time_s[before] - at_s) < SAME_S, time_s[before], at_s)


def onto(
    time_s: NDArray[np.float64],
    at_s: NDArray[np.float64],
    columns: Mapping[str, Values],
    *,
    held: Callable[[str], bool] = lambda _: False,
) -> dict[str, Values]:
    """All of one log's channels at the times `at_s`, by name."""
    places = Onto(time_s, at_s)
    out: dict[str, Values] = {}
    for name, values in columns.items():
        keep = values.dtype == object or name.rsplit(".", 1)[-1] in NEVER_RAMPED or held(name)
        out[name] = places.held(values) if keep else places.ramped(values.astype(np.float64))
    return out


def join_groups(
    time_s: NDArray[np.float64],
    groups: NDArray[np.intp],
    columns: Mapping[int, Mapping[str, Values]],
) -> tuple[NDArray[np.float64], dict[str, Values]]:
    """A long file's ids side by side, on the times of the first id.

    `time_s` are n times of all rows, not falling; `groups` the id number of each row; `columns`
    the channels per id, already named in full, n values each. Where only another id has rows,
    its times continue the first one's.
    """
    ids: Sequence[int] = list(columns)
    rows = {one: np.flatnonzero(groups == one) for one in ids}
    ids = [one for one in ids if rows[one].size]  # all of an id's rows may have lost their time
    rows = {one: at[np.diff(time_s[at], prepend=-np.inf) > 0] for one, at in rows.items()}
    base = time_s[rows[ids[0]]]
    for one in ids[1:]:
        base = with_uncovered(base, time_s[rows[one]])
    out: dict[str, Values] = {}
    for one in ids:
        mine = {name: values[rows[one]] for name, values in columns[one].items()}
        own_s = time_s[rows[one]]
        same = own_s.size == base.size and bool(np.all(own_s == base))
        out |= mine if same else onto(own_s, base, mine)
    return base, out


def with_uncovered(
    base_s: NDArray[np.float64], other_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """`base_s`, continued by the times of another log where it has none."""
    if not base_s.size:
        return other_s
    covered = Onto(base_s, other_s).inside
    pace = float(np.median(np.diff(base_s))) if base_s.size > 1 else 0.0
    at = np.searchsorted(base_s, other_s)
    to_next = np.abs(base_s[np.minimum(at, base_s.size - 1)] - other_s)
    to_last = np.abs(other_s - base_s[np.maximum(at - 1, 0)])
    extra = other_s[~covered & (np.minimum(to_next, to_last) > 0.5 * pace)]
    return np.union1d(base_s, extra) if extra.size else base_s

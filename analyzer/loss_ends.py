"""Losses that show by readings that end: blank or frozen columns, holes, the end of the log."""

from __future__ import annotations

import numpy as np

from analyzer.loss_rows import AskedRows
from analyzer.loss_signals import DriveSignals
from analyzer.losses import DriveLoss
from analyzer.quantities import Bools, Floats, next_true, spans_where
from importers.ride import Ride

DEAD_S = 0.25
"""Columns blank for less than this are a logger's slip [s]. Our choice."""
LOADED_PART = 0.25
"""Of the ride's high load: under load. Our choice."""
HEAVY_PART = 0.5
"""... and heavily so, which nobody ends a ride with. Our choice."""
MOVING_MPS = 1.0
"""Moving [m/s]. Our choice."""
EASED_PART = 0.005
"""A bus that rises by this part has lost a load. Our choice: noise is a tenth of it."""
EDGE_S = 0.5
"""What stood just before and after a hole is read from this long [s]. Our choice."""


def high_load_a(one: DriveSignals) -> float:
    """What this drive gives when it works hard in this ride."""
    if one.work_a is None:
        return 0.0
    busy = one.work_a[np.isfinite(one.work_a) & (one.work_a > 2 * one.floor_a) & ~one.dead]
    return float(np.quantile(busy, 0.9)) if busy.size > 10 else 0.0


def _edge(values: Floats | None, a: int, b: int) -> float | None:
    part = np.zeros(0) if values is None else values[max(a, 0) : max(b, 0)]
    good = part[np.isfinite(part)]
    return float(np.median(good)) if good.size else None


def load_before(one: DriveSignals, row: int, time_s: Floats) -> float:
    """Part of the high load that flowed just before and at `row`."""
    a = int(np.searchsorted(time_s, time_s[row] - EDGE_S))
    edge = _edge(one.work_a, a, row + 1)
    high = high_load_a(one)
    return 0.0 if edge is None or high <= 0 else edge / high


def _sign(one: DriveSignals, row: int) -> int:
    if one.demand is not None and np.isfinite(one.demand[row]) and abs(one.demand[row]) > 0.05:
        return 1 if one.demand[row] > 0 else -1
    if one.battery_a is not None and np.isfinite(one.battery_a[row]):
        return 1 if one.battery_a[row] >= 0 else -1
    return 1


def dead_rows(
    one: DriveSignals,
    rows: AskedRows,
    ride: Ride,
    *,
    pack_current_a: Floats | None,
    others: list[DriveSignals],
    follows: bool,
    losses: list[DriveLoss],
) -> list[DriveLoss]:
    """Stretches in which a drive's columns say nothing while others run on, begun under load, that
    are no slip of the logger: current is gone after them, or the pack's own says so."""
    found, time_s = [], ride.time_s
    for span in spans_where(one.dead, ride, join_s=0.2, min_s=DEAD_S):
        before = span.first - 1
        if before < 1:
            continue
        touching = any(
            x.drive == one.name and span.first - x.last <= 3 and span.first >= x.first - 3
            for x in losses
        )
        loaded = load_before(one, before, time_s) >= LOADED_PART
        frozen = bool(one.frozen[span.rows].any())
        went = loaded and _went(one, others, ride, (span.first, span.last), pack_current_a)
        if loaded and frozen and pack_current_a is None:
            # Readings that come over the link stop with it.
            went = went or follows or _eased(others, ride, span.first)
        if not touching and not went:
            continue
        found.append(
            DriveLoss(
                one.name,
                _sign(one, before),
                span.first,
                span.first,
                span.last,
                _next_given(rows.given, one, span.last),
                0.0,
                "frozen" if frozen else "dead",
            )
        )
    return found


def _next_given(given: Bools, one: DriveSignals, last: int) -> int | None:
    if one.demand is None and one.work_a is not None:
        with np.errstate(invalid="ignore"):
            given = (one.work_a > LOADED_PART * high_load_a(one)) & ~one.dead
    return next_true(given, last + 1)


def _eased(others: list[DriveSignals], ride: Ride, first: int) -> bool:
    """Whether the bus rose at another drive that went on as before: a load has gone."""
    time_s = ride.time_s
    rows = np.searchsorted(time_s, time_s[first] + np.array([-0.5, 0.0, 0.4, 1.2])).tolist()
    for other in others:
        volts = [_edge(other.voltage_v, rows[i], rows[i + 1]) for i in (0, 2)]
        amps = [_edge(other.work_a, rows[i], rows[i + 1]) for i in (0, 2)]
        if volts[0] is None or volts[1] is None or amps[0] is None or amps[1] is None:
            continue
        steady = amps[1] > 0.85 * amps[0] and amps[0] > 4 * other.floor_a
        if steady and volts[1] > volts[0] * (1 + EASED_PART):
            return True
    return False


def _went(
    one: DriveSignals,
    others: list[DriveSignals],
    ride: Ride,
    span: tuple[int, int],
    pack_current_a: Floats | None,
) -> bool:
    """Whether the current really was gone while nothing was read."""
    time_s, (first, last) = ride.time_s, span
    n = int(np.searchsorted(time_s, time_s[last] + 0.3, side="right"))
    # A management system reads a few times a second: half a second on, it has seen it.
    a = int(np.searchsorted(time_s, time_s[first] + 0.5))
    if pack_current_a is not None and one.battery_a is not None and a <= last:
        rest = pack_current_a.copy()
        for other in others:
            if other.battery_a is not None:
                rest = rest - np.where(other.dead, 0.0, other.battery_a)
        before, inside = _edge(rest, first - 5, first), _edge(rest, a, last + 1)
        own = _edge(one.battery_a, first - 5, first)
        if before is not None and inside is not None and own is not None:
            return bool(abs(before - inside) > 0.5 * abs(own))
    if last >= time_s.size - 2:
        return bool(time_s[last] - time_s[first] >= 1.0)
    after = _edge(one.work_a, last + 1, n)
    return after is not None and after <= max(one.floor_a, 0.1 * high_load_a(one))


def holes_and_end(
    drives: list[DriveSignals],
    judged: dict[str, AskedRows],
    ride: Ride,
    *,
    speed: Floats | None,
    powered_by: str | None,
    near_limit: Bools | None,
) -> list[DriveLoss]:
    """Holes in the log, and its end, that came under load while moving. A logger with a battery of
    its own does not stop with the pack."""
    if powered_by == "own_battery":
        return []
    time_s, found = ride.time_s, []
    last = time_s.size - 1
    for row in [*np.flatnonzero(np.diff(time_s) > ride.gap_s).tolist(), last]:
        if row < 3 or not _moving(speed, row):
            continue
        after = None if row == last else row + 1
        if after is not None and not _stands_or_empty(drives, speed, after, time_s):
            continue
        near = near_limit is not None and bool(near_limit[max(row - 3, 0) : row + 1].any())
        sure = powered_by == "pack" or near
        if after is not None and not near and _moving(speed, after + 5):
            # Rolling on without current after a hole: coasting looks just so.
            continue
        for one in drives:
            load = load_before(one, row, time_s)
            light = LOADED_PART if sure and (near or after is not None) else HEAVY_PART
            if load < light or (after is None and not sure):
                continue
            if after is not None and not near and _sign(one, row) < 0:
                # Braking ends in standing without any fault.
                continue
            back = _next_given(judged[one.name].given, one, row)
            how = "log_end" if after is None else "hole"
            end = last if back is None else back - 1
            found.append(DriveLoss(one.name, _sign(one, row), row, row, end, back, 0.0, how))
    return found


def _moving(speed: Floats | None, row: int) -> bool:
    if speed is None:
        return True
    edge = _edge(np.abs(speed), row - 5, row + 1)
    return edge is not None and edge > MOVING_MPS


def _stands_or_empty(
    drives: list[DriveSignals], speed: Floats | None, row: int, time_s: Floats
) -> bool:
    """After the hole: standing, or rolling without current."""
    n = int(np.searchsorted(time_s, time_s[row] + 0.5))
    works = [_edge(one.work_a, row, n) for one in drives]
    empty = all(w is None or w <= 2 * one.floor_a for w, one in zip(works, drives, strict=True))
    return empty

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
LAST_ROWS_S = 4.0
"""How a supply went shows in this much before a log stops, or not at all [s]. Our choice: a
writing block of seconds."""
OPENED_V_PER_CELL = 0.3
"""A bus under its loaded voltage by this much has lost its pack [V per cell]. Our choice."""
LONG_HOLE_S, ALIKE_S = 3.0, 0.1
"""Holes longer than this that differ by less are alike [s]. Our choice."""
LEAST_ALIKE, LEAST_UNTOLD, MOST_PART = 2, 3, 0.6
"""So many holes (the second: where the setup does not say that the logger lives on the pack), and
this part of all that begin while moving, show the same. Our choice."""
SLOWER_PART = 0.5
"""A vehicle driven on through a hole does not come out at less than this of its speed. Our
choice."""
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
        loaded |= frozen and follows and _others_asked(others, span.rows)
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


def _others_asked(others: list[DriveSignals], rows: slice) -> bool:
    """Whether another side was asked for drive or braking for most of these rows' beginning."""
    rows = slice(rows.start, min(rows.start + max((rows.stop - rows.start) // 2, 3), rows.stop))
    for other in others:
        if other.demand is not None and np.mean(np.abs(other.demand[rows]) > LOADED_PART) > 0.7:
            return True
    return False


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
        stuck = np.ptp(pack_current_a[first : last + 1]) == 0.0  # its reader stopped as well
        if before is not None and inside is not None and own is not None and not stuck:
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
    series: int,
) -> list[DriveLoss]:
    """Holes in the log, and its end, that came under load while moving. A logger with a battery of
    its own does not stop with the pack."""
    if powered_by == "own_battery":
        return []
    time_s, found = ride.time_s, []
    last = time_s.size - 1
    holes = np.flatnonzero(np.diff(time_s) > ride.gap_s).tolist()
    whole = {edge: _last_whole_row(drives, edge, time_s, series) for edge in (*holes, last)}
    heavy = [x for x in holes if _heavy(drives, whole[x][0], time_s)]
    again = _again_and_again(holes, drives, speed, time_s, series, powered_by)
    for edge, (row, opened) in whole.items():
        if row < 3 or not _moving(speed, row):
            continue
        after = None if edge == last else edge + 1
        near = near_limit is not None and bool(near_limit[max(row - 3, 0) : row + 1].any())
        alike = edge in heavy and _alike(heavy, edge, time_s)
        known = near or opened or alike or edge in again
        if after is not None and not opened and not known:
            # A hole that tells nothing of its own: resting or coasting after it looks just so.
            continue
        if after is not None and not opened and not _stopped_in(drives, speed, row, after, time_s):
            continue
        for one in drives:
            load = load_before(one, row, time_s)
            sure = known or powered_by == "pack"
            light = LOADED_PART if known or (sure and after is not None) else HEAVY_PART
            if load < light or (after is None and not sure):
                continue
            if after is not None and not known and _sign(one, row) < 0:
                # Braking ends in standing without any fault.
                continue
            back = _next_given(judged[one.name].given, one, edge)
            how = "log_end" if after is None else "hole"
            end = last if back is None else back - 1
            found.append(DriveLoss(one.name, _sign(one, row), row, row, end, back, 0.0, how))
    return found


def _heavy(drives: list[DriveSignals], row: int, time_s: Floats) -> bool:
    return all(load_before(one, row, time_s) >= HEAVY_PART for one in drives)


def _last_whole_row(
    drives: list[DriveSignals], edge: int, time_s: Floats, series: int
) -> tuple[int, bool]:
    """The last row with the pack behind it before a log stops at `edge`, and whether the log still
    shows how it went: all columns dead, or every bus falling under its loaded voltage."""
    a = int(np.searchsorted(time_s, time_s[edge] - LAST_ROWS_S))
    gone = np.ones(edge + 1 - a, np.bool_)
    for one in drives:
        off = one.dead[a : edge + 1].copy()
        loaded_v = _loaded_v(one, slice(a, edge + 1))
        if loaded_v is not None and one.voltage_v is not None:
            with np.errstate(invalid="ignore"):
                off |= one.voltage_v[a : edge + 1] < loaded_v - OPENED_V_PER_CELL * series
        gone &= off
    if not gone[-1]:
        return edge, False
    whole = np.flatnonzero(~gone)
    row = a + int(whole[-1]) if whole.size else a
    return row, bool(edge - row >= 2)


def _loaded_v(one: DriveSignals, rows: slice) -> float | None:
    """How low the bus was in these rows with most of the current flowing."""
    if one.voltage_v is None or one.work_a is None:
        return None
    work, volts = np.nan_to_num(one.work_a[rows]), one.voltage_v[rows]
    full = (work >= 0.7 * work.max()) & np.isfinite(volts) & ~one.dead[rows]
    return float(np.quantile(volts[full], 0.2)) if int(full.sum()) >= 3 else None


def _again_and_again(
    holes: list[int],
    drives: list[DriveSignals],
    speed: Floats | None,
    time_s: Floats,
    series: int,
    powered_by: str | None,
) -> set[int]:
    """Holes that begin at work and end standing or coasting without current, when nearly all of a
    ride's do so: a supply that goes takes its logger along each time, slips of a logger come at
    any moment."""
    if speed is None:
        return set()
    moving = [x for x in holes if _moving(speed, x) and time_s[x + 1] - time_s[x] > LONG_HOLE_S]
    out = set()
    for row in moving:
        worked = _last_whole_row(drives, row, time_s, series)[1] or all(
            load_before(one, row, time_s) >= LOADED_PART and _sign(one, row) > 0 for one in drives
        )
        was, now = _edge(np.abs(speed), row - 5, row + 1), _edge(np.abs(speed), row + 1, row + 4)
        if was is None or now is None or now >= SLOWER_PART * was or not worked:
            continue
        if _empty(drives, row + 1, time_s) or now < MOVING_MPS:
            out.add(row)
    least = LEAST_ALIKE if powered_by == "pack" else LEAST_UNTOLD
    enough = len(out) >= least and len(out) >= MOST_PART * len(moving)
    return out if enough else set()


def _empty(drives: list[DriveSignals], row: int, time_s: Floats) -> bool:
    """Whether no drive gives anything just after `row`."""
    n = int(np.searchsorted(time_s, time_s[row] + 0.5))
    works = [_edge(one.work_a, row, n) for one in drives]
    return all(w is None or w <= 2 * one.floor_a for w, one in zip(works, drives, strict=True))


def _alike(holes: list[int], edge: int, time_s: Floats) -> bool:
    """Whether another of these holes is as long: a protection's pause and a logger's start take
    the same time each time, a logger's slips do not."""
    length = time_s[edge + 1] - time_s[edge]
    others = [time_s[x + 1] - time_s[x] for x in holes if x != edge]
    return bool(length > LONG_HOLE_S and any(abs(length - x) < ALIKE_S for x in others))


def _moving(speed: Floats | None, row: int) -> bool:
    if speed is None:
        return True
    edge = _edge(np.abs(speed), row - 5, row + 1)
    return edge is not None and edge > MOVING_MPS


def _stopped_in(
    drives: list[DriveSignals], speed: Floats | None, before: int, row: int, time_s: Floats
) -> bool:
    """After the hole: rolling or standing without current, or much slower than before it."""
    if speed is not None:
        was, now = _edge(np.abs(speed), before - 5, before + 1), _edge(np.abs(speed), row, row + 3)
        if was is not None and now is not None and now < SLOWER_PART * was:
            return True
    return _empty(drives, row, time_s)

"""How much charge does the pack hold, from the charge drawn between two rest voltages?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats, pack_current_a
from analyzer.rest_voltage import beyond_v, charge_pct, family
from importers.ride import Ride
from importers.setup_types import Setup

LEAST_DEPTH_PCT = 8.0
"""Rides that use less tell nothing of the capacity [points of charge]. Our choice."""
LEAST_DEPTH_BUILT_IN_PCT = 40.0
"""Likewise when the curve is not the cells' own: over less, cells sold under one name differ from
any published curve by half of what is measured. Our choice."""
BUILT_IN_DEPTH_SD_PCT = 5.0
"""What the way between two rest voltages may differ by from one cell to another of a chemistry,
one standard deviation [points of charge]. Our choice: the published nmc curves read up to 8 to
12 points apart, one alone."""
COUNTER_LEAST_PCT = 5.0
"""A logged state of charge must fall by this to be evidence [points]. Our choice: it has steps of
up to 1."""
COUNTER_SD = 0.12
"""How far a logger's own 0 to 100 % may lie from rest at empty to rest at full, one standard
deviation. Our choice: reserves at both ends, and counting on a rated capacity long gone."""
JUMP_PCT = 2.0
"""A change of the logged state of charge by more than this that no current explains is a correction
[points]. Our choice: it has steps of up to 1, and counts on a capacity that may be half gone."""
MOST_JUMPS = 50
"""More of them are noise. Our choice."""
WIDEST_OF_VALUE = 1.0
"""An interval wider than this times the value is not given. Our choice."""


def capacity_from_rests(
    drawn_ah: float,
    drawn_sd_ah: float,
    rest_start_v: float,
    rest_end_v: float,
    sd_v: tuple[float, float],
    common_sd_v: float,
    setup: Setup,
) -> Estimate | None:
    """Charge between empty and full [Ah]; None where the ride is too short to tell.

    `sd_v` are the rest voltages' own standard deviations, `common_sd_v` the part that moves both
    alike (the gain of the voltage reading).
    """
    series = setup.pack.series
    start, end = rest_start_v / series, rest_end_v / series
    depth = float(charge_pct(setup.curve, start, setup) - charge_pct(setup.curve, end, setup))
    least = LEAST_DEPTH_BUILT_IN_PCT if setup.curve.built_in else LEAST_DEPTH_PCT
    if depth < least or drawn_ah <= 0:
        return None
    value = 100 * drawn_ah / depth
    step = 0.002
    slopes = [
        float(charge_pct(setup.curve, v + step, setup) - charge_pct(setup.curve, v - step, setup))
        / (2 * step)
        for v in (start, end)
    ]
    own = beyond_v(setup) / 1.96 if not setup.curve.built_in else 0.0
    sds = [float(np.hypot(sd / series, own)) for sd in sd_v]
    common = (slopes[0] - slopes[1]) * common_sd_v / series
    depth_sd = float(np.sqrt((slopes[0] * sds[0]) ** 2 + (slopes[1] * sds[1]) ** 2 + common**2))
    if setup.curve.built_in:
        depth_sd = float(np.hypot(depth_sd, BUILT_IN_DEPTH_SD_PCT))
    relative = float(np.hypot(depth_sd / depth, drawn_sd_ah / drawn_ah))
    depths = [
        float(charge_pct(c, start + a, setup) - charge_pct(c, end + b, setup))
        for c in family(setup)
        for a, b in ((0, 0), *(_bends(setup)))
    ]
    low = 100 * drawn_ah / max(max(depths), 1e-6) * (1 - 1.96 * relative)
    high = 100 * drawn_ah / max(min(depths), 1e-6) / max(1 - 1.96 * relative, 0.05)
    if not 0 < high - low < WIDEST_OF_VALUE * value:
        return None
    return Estimate(value, low, high)


def _bends(setup: Setup) -> tuple[tuple[float, float], ...]:
    """How a curve beyond the published ones may stretch or squeeze the depth [V per cell]."""
    if not setup.curve.built_in:
        return ()
    reach = beyond_v(setup) / 2
    return ((reach, -reach), (-reach, reach))


def logged_charge_pct(
    ride: Ride, at_s: Floats, jumps: Sequence[tuple[float, float]] = ()
) -> tuple[float, float] | None:
    """The logged state of charge at two times of the ride [%], `jumps` (`charge_jumps`) taken out
    of the second; None where it is not logged."""
    logged = ride.get("state_of_charge_pct")
    if logged is None:
        return None
    good = np.isfinite(logged)
    start, end = np.interp(at_s, ride.time_s[good], logged[good])
    leapt = sum(by for when_s, by in jumps if at_s[0] < when_s <= at_s[1])
    return float(start), float(end) - leapt


def charge_jumps(ride: Ride, setup: Setup) -> list[tuple[float, float]]:
    """Where did the logged state of charge correct itself: (time, points up or down) of each change
    that no current explains."""
    logged, current = ride.get("state_of_charge_pct"), pack_current_a(ride, setup)
    if logged is None or current is None:
        return []
    good = np.flatnonzero(np.isfinite(logged))
    steps = np.diff(logged[good])
    large = np.flatnonzero(np.abs(steps) > JUMP_PCT)
    if not large.size or large.size > MOST_JUMPS:
        return []
    changed = good[1:][steps != 0.0]
    out = []
    for at in large.tolist():
        row = int(good[at + 1])
        before = int(np.searchsorted(changed, row)) - 1
        since = int(changed[before]) if before >= 0 else int(good[0])
        part = slice(since, row + 1)
        moved_ah = integral_ah(ride.time_s[part], current.values[part])
        drawn_pct = 100.0 * moved_ah / setup.pack.capacity_ah
        if abs(steps[at] + drawn_pct) > JUMP_PCT + abs(drawn_pct):
            out.append((float(ride.time_s[row]), float(steps[at] + drawn_pct)))
    return out


def integral_ah(time_s: Floats, amps: Floats) -> float:
    """The charge that a current moved, missing values left out [Ah]."""
    known = np.isfinite(amps)
    return float(np.trapezoid(amps[known], time_s[known])) / 3600.0 if known.sum() > 1 else 0.0


def capacity_from_counter(drawn_ah: float, drawn_sd_ah: float, fell_pct: float) -> Estimate | None:
    """The charge that 100 points of a logged state of charge stand for [Ah]: evidence, no truth.

    It repeats well and says little: the logger's 0 and 100 % are its own, so the interval is wide.
    """
    if fell_pct < COUNTER_LEAST_PCT or drawn_ah <= 0:
        return None
    value = 100 * drawn_ah / fell_pct
    relative = 1.96 * float(np.hypot(COUNTER_SD, drawn_sd_ah / drawn_ah))
    return Estimate(value, value * (1 - relative), value * (1 + relative))

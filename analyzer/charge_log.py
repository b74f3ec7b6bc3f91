"""Is this the log of a pack being charged, and what does it tell of the capacity?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyzer.capacity import LEAST_DEPTH_BUILT_IN_PCT, LEAST_DEPTH_PCT
from analyzer.estimate import Estimate
from analyzer.pack_errors import BMS_GAIN_SD
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps, step_s
from analyzer.rest_voltage import charge_from_rest
from analyzer.ride_analysis import RideResult
from analyzer.summary import FULL_PCT, RideSummary, summary_of
from importers.ride import Ride
from importers.setup_types import Setup

LEAST_CHARGE_PART = 0.01
"""A charge puts at least this part of the rated capacity in. Our choice."""
MOST_OUT_PART = 0.05
"""... and takes no more than this part of it out again. Our choice."""
STANDING_MPS = 0.5
"""A vehicle slower than this stands [m/s]. Our choice."""
REST_A_PART = 0.02
"""A current under this part of the rated capacity per hour counts as rest. Our choice."""
REST_S = 30.0
"""Rest at the log's begin or end that lets the level be read [s]. Our choice."""
MEAN_S = 10.0
"""Currents are judged as means over this: a reading's noise is no load [s]. Our choice."""
UNRESTED_V_PER_CELL = 0.010
"""What a voltage read right after a charge may still be off, one standard deviation. Our choice:
minutes after a slow charge cells still fall by some 10 to 20 mV."""
SETTLING_S = 600.0
"""... and this dies away with rest [s]. Our choice: the slowest time constants of cells that
pulse tests show are some 300 to 1000 s."""
BEFORE_PART = 0.3
"""How much of it is left where the log begins at rest. Our choice."""
LEAST_SD_V_PER_CELL = 0.002
"""A reading's own. Our choice."""


def is_charge(ride: Ride, setup: Setup) -> bool:
    """True when charge only goes in and the vehicle stands all the while."""
    current = pack_current_a(ride, setup)
    if current is None:
        return False
    speed = speed_mps(ride, setup)
    if speed is not None and bool(np.nanmax(np.abs(speed.values), initial=0.0) > STANDING_MPS):
        return False
    out, back = _moved_ah(current.values, step_s(ride))
    rated = setup.pack.capacity_ah
    return back > LEAST_CHARGE_PART * rated and out <= MOST_OUT_PART * back


def _moved_ah(current_a: Floats, step: Floats) -> tuple[float, float]:
    amps = np.nan_to_num(current_a)
    out = float((np.clip(amps, 0, None) * step).sum() / 3600)
    return out, float((np.clip(-amps, 0, None) * step).sum() / 3600)


def charge_summary(result: RideResult) -> RideSummary:
    """A charge's numbers for the book: what went in, between which levels."""
    ride, setup = result.ride, result.setup
    one = summary_of(result)
    rests = [_rest_v(ride, setup, last=last) for last in (False, True)]
    start, end = (
        None if rest is None else charge_from_rest(rest[0], rest[1], setup) for rest in rests
    )
    put_in = (one.charge_back_ah or 0.0) - (one.charge_out_ah or 0.0)
    return replace(
        one,
        kind="charge",
        distance_m=None,
        resistance_10s_ohm=None,
        resistance_10s_25c_ohm=None,
        resistance_instant_ohm=None,
        capacity_ah=_triple(_capacity(put_in, start, end, setup)),
        charge_start_pct=_triple(start),
        charge_end_pct=_triple(end),
        rest_start_v=_around(rests[0]),
        rest_end_v=_around(rests[1]),
        hours_full=_hours_full(ride, setup, end),
        share_pct=None,
        speed_ratio=None,
        climbs=(),
    )


def _hours_full(ride: Ride, setup: Setup, end: Estimate | None) -> float:
    """Hours above `FULL_PCT`, counted back from the level at the end."""
    amps = pack_current_a(ride, setup)
    if end is None or amps is None:
        return 0.0
    step = step_s(ride)
    put_in = np.cumsum(np.nan_to_num(-amps.values) * step) / 3600
    level = end.value - 100 * (put_in[-1] - put_in) / setup.pack.capacity_ah
    return float(step[level > FULL_PCT].sum() / 3600)


def _capacity(
    put_in_ah: float, start: Estimate | None, end: Estimate | None, setup: Setup
) -> Estimate | None:
    """Charge put in over the part of the way from empty to full; None where it was too little, or
    the curve is not the cells' own and the charge not deep."""
    if start is None or end is None or put_in_ah <= 0:
        return None
    depth = end.value - start.value
    least = LEAST_DEPTH_BUILT_IN_PCT if setup.curve.built_in else LEAST_DEPTH_PCT
    if depth < least:
        return None
    value = 100 * put_in_ah / depth
    reach = float(np.hypot(start.half_width, end.half_width)) / depth
    reach = float(np.hypot(reach, 1.96 * BMS_GAIN_SD))
    return Estimate(value, value / (1 + reach), value / max(1 - reach, 0.05))


def _triple(one: Estimate | None) -> tuple[float, float | None, float | None] | None:
    return None if one is None else (one.value, one.low, one.high)


def _around(rest: tuple[float, float] | None) -> tuple[float, float, float] | None:
    return None if rest is None else (rest[0], rest[0] - 1.96 * rest[1], rest[0] + 1.96 * rest[1])


def _rest_v(ride: Ride, setup: Setup, *, last: bool) -> tuple[float, float] | None:
    """The pack's volts in the rest at the log's end (or begin) and how sure they are, one standard
    deviation; None where there is no rest."""
    amps, volts = pack_current_a(ride, setup), pack_voltage_v(ride, setup)
    if amps is None or volts is None:
        return None
    rested_s = _rested_s(ride.time_s, amps.values, setup, last=last)
    time_s = ride.time_s
    inside = time_s >= time_s[-1] - REST_S if last else time_s <= time_s[0] + REST_S
    part = volts.values[inside & np.isfinite(volts.values)]
    if part.size == 0 or rested_s < REST_S:
        return None
    # Before the log a pack stood for hours, as far as it shows; after a charge only this long.
    unrested = np.exp(-rested_s / SETTLING_S) if last else BEFORE_PART
    sd = (UNRESTED_V_PER_CELL * float(unrested) + LEAST_SD_V_PER_CELL) * setup.pack.series
    return float(np.median(part)), sd


def _rested_s(time_s: Floats, current_a: Floats, setup: Setup, *, last: bool) -> float:
    """How long no current but noise flowed at the log's end (or begin) [s]."""
    small = REST_A_PART * setup.pack.capacity_ah
    place = np.floor((time_s - time_s[0]) / MEAN_S).astype(int)
    good = np.isfinite(current_a)
    count = np.bincount(place[good], minlength=int(place[-1]) + 1)
    total = np.bincount(place[good], current_a[good], minlength=int(place[-1]) + 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        loaded = np.flatnonzero(np.abs(total / count) > small)
    whole = float(time_s[-1] - time_s[0])
    if loaded.size == 0:
        return whole
    return whole - MEAN_S * float(loaded[-1] + 1) if last else MEAN_S * float(loaded[0])

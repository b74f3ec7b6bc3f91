"""Is this the log of a pack being charged, and what does it tell of the capacity?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps, step_s
from analyzer.rest_voltage import charge_from_rest
from analyzer.ride_analysis import RideResult
from analyzer.summary import RideSummary, summary_of
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
UNRESTED_V_PER_CELL = 0.010
"""What a voltage read after so short a rest may still be off, one standard deviation. Our choice:
minutes after a slow charge cells still fall by some 10 to 20 mV."""


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
    start, end = _rest_level(ride, setup, last=False), _rest_level(ride, setup, last=True)
    return replace(
        one,
        kind="charge",
        distance_m=None,
        resistance_10s_ohm=None,
        resistance_10s_25c_ohm=None,
        resistance_instant_ohm=None,
        capacity_ah=None,
        charge_start_pct=_triple(start),
        charge_end_pct=_triple(end),
        share_pct=None,
        speed_ratio=None,
        climbs=(),
    )


def _triple(one: Estimate | None) -> tuple[float, float | None, float | None] | None:
    return None if one is None else (one.value, one.low, one.high)


def _rest_level(ride: Ride, setup: Setup, *, last: bool) -> Estimate | None:
    """The level read from the rest at the log's end (or begin); None where there is none."""
    amps, volts = pack_current_a(ride, setup), pack_voltage_v(ride, setup)
    if amps is None or volts is None:
        return None
    time_s = ride.time_s
    inside = time_s >= time_s[-1] - REST_S if last else time_s <= time_s[0] + REST_S
    small = REST_A_PART * setup.pack.capacity_ah
    part = volts.values[inside & np.isfinite(volts.values)]
    if part.size == 0 or bool((np.abs(np.nan_to_num(amps.values[inside])) > small).any()):
        return None
    sd = UNRESTED_V_PER_CELL * setup.pack.series
    return charge_from_rest(float(np.median(part)), sd, setup)

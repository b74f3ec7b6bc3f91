"""How far, how long, how much energy and charge went out of the pack and came back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.quantities import Floats, pack_current_a, pack_voltage_v, speed_mps
from analyzer.way import great_circle_m
from importers.current_doubts import WITHOUT_SIGN
from importers.ride import Ride
from importers.setup_types import Setup

EARTH_RADIUS_M = 6_371_008.8
"""Mean radius [m]; haversine on it is right within 0.6 % anywhere, references.md section 10."""
GPS_LEG_S = 5.0
"""Fixes this far apart are joined by straight lines [s]. Our choice: long enough that the noise of
single fixes adds no distance, short enough to follow a road."""
GPS_STILL_M = 4.0
"""Legs shorter than this are standing still [m]. Our choice: half the horizontal accuracy of GPS
(SPS Performance Standard 2020, table 3.8-3: 8 m, 95 %)."""

GPS_ONLY = ("gps_speed_mps",)
LEAP_S = 300.0
"""Fixes further apart than this say nothing of the way between [s]. Our choice."""


@dataclass(frozen=True, slots=True)
class Totals:
    """A ride's sums; None where the channels for one are missing."""

    duration_s: float
    distance_m: float | None
    energy_out_wh: float | None
    energy_back_wh: float | None
    charge_out_ah: float | None
    charge_back_ah: float | None


def integral(values: Floats, ride: Ride) -> float:
    """Area under a channel, by straight lines between its values; holes in the log and longer
    stretches of missing values (like holes) add nothing."""
    good = np.isfinite(values)
    time_s, known = ride.time_s[good], values[good]
    if time_s.size < 2:
        return 0.0
    step = np.diff(time_s)
    step[step > ride.gap_s] = 0.0
    return float(np.sum(step * (known[1:] + known[:-1]) / 2))


def _gps_distance_m(ride: Ride) -> float | None:
    lat, lon = ride.get("latitude_deg"), ride.get("longitude_deg")
    if lat is None or lon is None:
        return None
    good = np.isfinite(lat) & np.isfinite(lon)
    time_s, phi, lam = ride.time_s[good], np.radians(lat[good]), np.radians(lon[good])
    if time_s.size < 2:
        return None
    at = np.unique(np.searchsorted(time_s, np.arange(time_s[0], time_s[-1], GPS_LEG_S)))
    phi, lam = phi[at], lam[at]
    chord = (
        np.sin(np.diff(phi) / 2) ** 2
        + np.cos(phi[1:]) * np.cos(phi[:-1]) * np.sin(np.diff(lam) / 2) ** 2
    )
    legs = 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0)))
    return float(legs[legs >= GPS_STILL_M].sum())


def _distance_m(ride: Ride, setup: Setup) -> float | None:
    speed = speed_mps(ride, setup)
    if speed is None:
        return _gps_distance_m(ride)
    way_m = integral(np.abs(speed.values), ride)
    return way_m + _leapt_m(ride, speed.values) if speed.channels == GPS_ONLY else way_m


def _leapt_m(ride: Ride, speed: Floats) -> float:
    """Way under bridges, where the receiver had no speed: straight from fix to fix."""
    lat, lon = ride.get("latitude_deg"), ride.get("longitude_deg")
    if lat is None or lon is None:
        return 0.0
    known = np.flatnonzero(np.isfinite(speed))
    a, b = known[:-1], known[1:]
    apart_s = ride.time_s[b] - ride.time_s[a]
    leapt = (b - a > 1) & (apart_s > ride.gap_s) & (apart_s <= LEAP_S)
    a, b = a[leapt], b[leapt]
    return float(np.nansum(great_circle_m(lat[a], lon[a], lat[b], lon[b])))


def ride_totals(ride: Ride, setup: Setup) -> Totals:
    """How far, how long, and what went out of the pack and came back? Lights count in where a
    BMS logs the current or `aux_a` is given."""
    time_s = ride.time_s
    duration_s = float(time_s[-1] - time_s[0]) if time_s.size else 0.0
    current, voltage = pack_current_a(ride, setup), pack_voltage_v(ride, setup)
    out_ah = back_ah = out_wh = back_wh = None
    if current is not None:
        # What a log did not keep is not zero, and what came back unsigned was not given.
        lost = [why for one in current.channels if (why := ride.unjudged_why(one, -1))]
        if not any(WITHOUT_SIGN in why for why in lost):
            out_ah = integral(np.clip(current.values, 0.0, None), ride) / 3600.0
        if not lost:
            back_ah = integral(np.clip(-current.values, 0.0, None), ride) / 3600.0
        if voltage is not None:
            power = current.values * voltage.values
            if out_ah is not None:
                out_wh = integral(np.clip(power, 0.0, None), ride) / 3600.0
            if back_ah is not None:
                back_wh = integral(np.clip(-power, 0.0, None), ride) / 3600.0
    return Totals(duration_s, _distance_m(ride, setup), out_wh, back_wh, out_ah, back_ah)

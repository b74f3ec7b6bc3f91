"""How hard do this vehicle's tyres, the air and its drives hold it back, as the ride tells?

The parameters of the power balance, fitted with the road's height (`analyzer.height_fit`) or, where
none was logged, with energy and speed alone (`analyzer.lean_fit`), as least squares held near what
is known before the ride, all within their physical bounds. A parameter the ride does not tell
keeps its default, its wide interval and says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer import power_balance as before
from analyzer.estimate import Z_95, Estimate, Note
from analyzer.power_balance import PowerBalance
from analyzer.quantities import Floats, speed_mps
from analyzer.road import Road
from analyzer.road_force import GRAVITY_MPS2, USUAL_AIR_KG_M3
from importers.ride import Ride
from importers.setup_types import Setup

TOLD_BELOW = 0.5
"""A parameter is told by the ride when its spread after it is below this part of the spread
before. Our choice."""
ROLLING_BAND = (0.002, 0.08)
DRAG_BAND_M2 = (0.1, 2.5)
EFFICIENCY_BAND = (0.5, 1.0)
COPPER_BAND = (0.0, 0.6)
RETURN_BAND = (1.0, 2.0)
TURNING_BAND = (1.0, 1.3)
"""What is physically possible. Sources: references as for the defaults; the rest our choice."""
WIND_SD_MPS, WIND_DRAG_M2 = 0.7, 0.6
"""A steady wind, which no log shows, looks like rolling: rho C_dA v times this [m/s, m2]. Our
choice: a ride's mean of the wind along its way on a calm day."""
RISING_DRAG, RISING_DRAG_SD = 0.3, 0.2
"""What one turning drive holds back more at the wheel per speed (iron, belt) [N per m/s]. Between a
ride's speeds that is nearly the shape of air drag, and passes for it. Common practice, no source: a
wheel motor of 250 to 500 W in the air takes 20 to 35 W at 7.5 m/s and some 70 % of that current at
half the speed, so 0.2 to 0.4."""
ONE_SPEED_PART = 0.05
"""Squares of speed that scatter by less than this part of their mean are one speed. Our choice."""
WHEEL_SD = 0.002
"""A GPS's Doppler speed is right within this in the mean. Source: GPS SPS Performance Standard,
5th ed. 2020, table 3.8-3 (0.2 m/s, 95 %, per axis and sample)."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """One parameter: what it is taken to be, and whether this ride told it."""

    estimate: Estimate
    fitted: bool
    source: str
    """`ride`, `setup`, or the default's source."""


@dataclass(frozen=True, slots=True, eq=False)
class RoadLoad:
    """What holds the vehicle back, and what its drives lose."""

    rolling_coefficient: Fitted
    """Of tyres and turning drives together: the road cannot tell them apart."""
    tyres: Fitted
    """The same less the usual drag of turning drives."""
    drag_area_m2: Fitted
    """Of the air alone: less what drives' drag that rises with speed adds to what was fitted."""
    efficiency: Fitted
    """Battery to wheel, copper loss apart."""
    copper_ohm: Fitted | None
    """Copper loss per phase current squared, summed over drives [ohm, direct-current sense]; None
    without phase currents."""
    copper_share: Fitted
    """Part of the driving energy lost in copper over this ride [1]."""
    return_factor: Fitted
    """Energy taken at the wheel per energy that came back while braking."""
    wheel_factor: Fitted | None
    """True speed over the wheel's speed by the setup; None without GPS speed."""
    theta: Floats
    """The six parameters as fitted; empty where nothing was."""
    covariance: Floats
    """(6, 6) of efficiency, copper share, return, rolling (a steady wind in it), drag, turning
    mass."""
    prior: tuple[Floats, Floats]
    """The six before the ride: expected values and sds."""
    mass_kg: float | None
    notes: tuple[Note, ...]


DEFAULT_SOURCES = {
    "efficiency": "common practice, no source",
    "copper_share": "common practice, no source",
    "return": "common practice, no source",
    "rolling": "Carvill 1993; Stilwell et al. 2023",
    "drag_m2": "Hoerner 1965; Tengattini 2017",
    "turning": "common practice, no source",
}
_IN_WORDS = {
    "efficiency": "the drives' efficiency",
    "copper_share": "the copper loss",
    "rolling": "the rolling coefficient",
    "drag_m2": "the drag area",
}


def fit_road_load(ride: Ride, setup: Setup, roads: tuple[Road, ...]) -> RoadLoad:
    """What holds this vehicle back: the longest stretch of the ride tells; what it does not tell
    keeps a stated default with a wide interval."""
    told = [road for road in roads if road.balance is not None and road.parameters.size]
    mass = ride.facts.mass_kg or setup.vehicle.mass_kg
    expected, sd = before.before_the_ride(setup, mass or before.UNKNOWN_MASS_KG)
    theta, covariance, balance, prior = expected, np.diag(sd**2), None, (expected, sd)
    if told:
        road = max(told, key=lambda one: one.way.length_m)
        theta, covariance, balance = road.parameters, road.covariance, road.balance
        if balance is not None:
            prior = (balance.expected, balance.sd)
    parts = {
        name: _fitted(setup, name, k, theta, covariance, sd)
        for k, name in enumerate(
            ("efficiency", "copper_share", "return", "rolling", "drag_m2", "turning")
        )
    }
    wind_sd = 0.0 if mass is None else wind_as_rolling(setup, ride, mass)
    rising = _rising_drag(ride, setup, mass, told_part=_told_part(covariance[4, 4], prior[1][4]))
    rolling = _less(_in_wind(parts["rolling"], wind_sd), rising.rolling, ROLLING_BAND)
    drag = _less(parts["drag_m2"], rising.area_m2, DRAG_BAND_M2)
    covariance = covariance.copy()
    covariance[3, 3] += wind_sd**2
    notes = tuple(
        Note(
            f"road_load.{name}",
            f"This ride does not tell {words}: a usual value ({parts[name].source}).",
        )
        for name, words in _IN_WORDS.items()
        if not parts[name].fitted and parts[name].source != "setup"
    )
    return RoadLoad(
        rolling_coefficient=rolling,
        tyres=_of_tyres(rolling, setup, mass),
        drag_area_m2=drag,
        efficiency=parts["efficiency"],
        copper_ohm=_copper_ohm(parts["copper_share"], balance),
        copper_share=parts["copper_share"],
        return_factor=parts["return"],
        wheel_factor=wheel_factor(ride, setup),
        theta=np.clip(theta, 0.0, None) if told else np.zeros(0),
        covariance=covariance,
        prior=prior,
        mass_kg=mass,
        notes=notes,
    )


_BANDS = {
    "efficiency": EFFICIENCY_BAND,
    "copper_share": COPPER_BAND,
    "return": RETURN_BAND,
    "rolling": ROLLING_BAND,
    "drag_m2": DRAG_BAND_M2,
    "turning": TURNING_BAND,
}


def _fitted(
    setup: Setup, name: str, k: int, theta: Floats, covariance: Floats, sd: Floats
) -> Fitted:
    low, high = _BANDS[name]
    value = float(np.clip(theta[k], low, high))
    after = float(np.sqrt(max(covariance[k, k], 0.0)))
    # a mass error scales every force alike: nothing in the ride can tell it
    alike = _ALIKE_SD.get(name, 0.0) * value
    half = Z_95 * float(np.hypot(after, alike))
    estimate = Estimate(value, max(value - half, low), min(value + half, high))
    given = {
        "rolling": setup.vehicle.rolling_coefficient,
        "drag_m2": setup.vehicle.drag_area_m2,
    }.get(name)
    fitted = after < TOLD_BELOW * float(sd[k])
    if fitted:
        return Fitted(estimate, True, "ride")
    return Fitted(estimate, False, "setup" if given is not None else DEFAULT_SOURCES[name])


@dataclass(frozen=True, slots=True)
class _Rising:
    """Drives' drag that rises with speed, as a ride's fit takes it: some for air, some for rolling.

    A straight line b v over the speeds ridden is nearest to c v^2 + d: c passes for drag area,
    and at the usual speed the drives hold back c v^2 more than the rolling says."""

    area_m2: tuple[float, float]
    """2 c / rho and its sd."""
    rolling: tuple[float, float]
    """Minus c v^2 at the usual speed over the weight, and its sd."""


def _rising_drag(ride: Ride, setup: Setup, mass: float | None, told_part: float) -> _Rising:
    """From the speeds of this ride, each metre of way counting alike; `told_part` is how much of
    the drag area is the ride's word, the rest is a rider's usual area and holds no drives."""
    speed = speed_mps(ride, setup)
    nothing = _Rising((0.0, 0.0), (0.0, 0.0))
    if speed is None or mass is None or not (moving := speed.values > 1.0).any():
        return nothing
    v = speed.values[moving]
    weight = v / v.sum()  # rows are even in time
    off = v**2 - float(weight @ v**2)
    bend = float(weight @ off**2)
    if bend <= (ONE_SPEED_PART * float(weight @ v**2)) ** 2:
        return nothing
    per_rise = told_part * float(weight @ (off * v)) / bend * len(setup.drives)
    area = 2.0 * per_rise / USUAL_AIR_KG_M3
    over_weight = per_rise * float(np.median(v)) ** 2 / (mass * GRAVITY_MPS2)
    return _Rising(
        (area * RISING_DRAG, area * RISING_DRAG_SD),
        (-over_weight * RISING_DRAG, over_weight * RISING_DRAG_SD),
    )


def _told_part(after: float, before_sd: float) -> float:
    """How much of a parameter is the ride's own word, by its variance and its sd before [1]."""
    return float(np.clip(1.0 - after / before_sd**2, 0.0, 1.0))


def _less(fitted: Fitted, taken: tuple[float, float], band: tuple[float, float]) -> Fitted:
    """The parameter without what another force added to it (value, sd); the sd widens it."""
    e = fitted.estimate
    value = float(np.clip(e.value - taken[0], *band))
    half = float(np.hypot(e.half_width, Z_95 * taken[1]))
    low, high = max(value - half, band[0]), min(value + half, band[1])
    return Fitted(Estimate(value, low, high), fitted.fitted, fitted.source)


def wind_as_rolling(setup: Setup, ride: Ride, mass: float) -> float:
    """How far a steady wind, which no log shows, may shift the rolling coefficient (one sd)."""
    speed = speed_mps(ride, setup)
    usual = 5.0
    if speed is not None and (moving := speed.values > 1.0).any():
        usual = float(np.median(speed.values[moving]))
    return USUAL_AIR_KG_M3 * WIND_DRAG_M2 * usual * WIND_SD_MPS / (mass * GRAVITY_MPS2)


def _in_wind(fitted: Fitted, wind_sd: float) -> Fitted:
    """The rolling coefficient's interval must hold the wind, too."""
    e = fitted.estimate
    half = float(np.hypot(e.half_width, Z_95 * wind_sd))
    low = max(e.value - half, ROLLING_BAND[0])
    return Fitted(Estimate(e.value, low, e.value + half), fitted.fitted, fitted.source)


def _of_tyres(whole: Fitted, setup: Setup, mass: float | None) -> Fitted:
    """The rolling of the tyres alone: what was fitted, less the usual drag of the drives."""
    if mass is None:
        return whole
    drives = len(setup.drives) / (mass * GRAVITY_MPS2)
    e = whole.estimate
    value = max(e.value - drives * before.DRIVE_DRAG_N, ROLLING_BAND[0])
    half = float(np.hypot(e.half_width, Z_95 * drives * before.DRIVE_DRAG_SD_N))
    low = max(value - half, ROLLING_BAND[0])
    return Fitted(Estimate(value, low, value + half), whole.fitted, whole.source)


_ALIKE_SD = {"rolling": before.MASS_SD, "drag_m2": before.MASS_SD}


def _copper_ohm(share: Fitted, balance: PowerBalance | None) -> Fitted | None:
    """From the share of energy to ohms: the balance's column was scaled to the driving energy."""
    if balance is None or not balance.has_phase:
        return None
    scale = balance.energy_scale[0]
    e = share.estimate
    low = None if e.low is None else e.low * scale
    high = None if e.high is None else e.high * scale
    return Fitted(Estimate(e.value * scale, low, high), share.fitted, share.source)


def wheel_factor(ride: Ride, setup: Setup) -> Fitted | None:
    """By how much is the vehicle faster than its wheels say by the setup's diameter and gear?"""
    gps = ride.get("gps_speed_mps")
    speed = speed_mps(ride, setup)
    if gps is None or speed is None or speed.channels == ("gps_speed_mps",):
        return None
    fast = np.isfinite(gps) & np.isfinite(speed.values) & (speed.values > 3.0) & (gps > 2.0)
    if fast.sum() < 30:
        return None
    # the sums weigh fast stretches, where a GPS lag or a bend counts least
    time = ride.time_s[fast]
    block = np.floor((time - time[0]) / 20.0).astype(np.intp)
    by_gps, by_wheel = np.bincount(block, gps[fast]), np.bincount(block, speed.values[fast])
    ratio = by_gps[by_wheel > 0] / by_wheel[by_wheel > 0]
    if ratio.size < 5:
        return None
    value = float(np.median(ratio))
    spread = 1.4826 * float(np.median(np.abs(ratio - value))) * 1.2533 / np.sqrt(ratio.size)
    half = Z_95 * float(np.hypot(spread, WHEEL_SD))
    return Fitted(Estimate(value, value - half, value + half), True, "ride")

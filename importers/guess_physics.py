"""What the physics between columns settles: units of speed and turns, signs, and power."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from importers.channels import channel_of
from importers.column_guess import Guess
from importers.guess_name import CLEAR
from importers.guess_sign import (
    SignGuess,
    charge_sign,
    common_sign,
    energy_sign,
    forward_sign,
    rate_sign,
    sag_sign,
)
from importers.guess_unit import TOLD, UnitGuess
from importers.setup_types import Setup
from importers.units import BY_NAME

Floats = NDArray[np.float64]

SPEED_FITS, TURNS_FIT, TURNS_CLOSE = 0.06, 0.1, 0.05
"""Speed over the wheel's by the turns is this near to what a unit makes it. Our choice: half of
what parts knots from miles an hour; what the wheel's size in the setup may be off; half of that."""
DEGREES = ("°", "1e-6 °", "1e-7 °")
"""Units of places: degrees, or whole numbers of them, as receivers send them."""
RATE_FITS = 0.6
"""Correlation with the speed's rate from which a column is the acceleration along the vehicle.
Our choice."""


def settle_speed_units(guesses: list[Guess], setup: Setup | None) -> None:
    """A speed without unit against the wheel's turns; turns without a word on what turns against
    a speed: gear and wheel fix the ratio."""
    vehicle = setup.vehicle if setup else None
    if vehicle is None or not vehicle.gear_ratio or not vehicle.wheel_diameter_m:
        return
    per_rpm = np.pi * vehicle.wheel_diameter_m / 60.0 / vehicle.gear_ratio
    speeds = [one for one in guesses if one.name and channel_of(one.name.channel)
              and channel_of(one.name.channel).dimension == "speed"]  # type: ignore[union-attr]  # fmt: skip
    for turns in (one for one in guesses if one.name and one.name.channel == "motor_rpm"):
        for speed in speeds:
            ratio = _ratio(speed.sample, turns.sample * per_rpm)
            if ratio is None:
                continue
            if speed.words.unit is None:
                _speed_by_ratio(speed, turns, ratio, vehicle.pole_pairs)
            elif turns.unit.chance < 1.0:
                _turns_by_ratio(turns, ratio, vehicle.pole_pairs)


def _ratio(one: Floats, two: Floats) -> float | None:
    """Typical size of one over two where both move; None where they do not go together."""
    if one.size != two.size:
        return None
    one, two = np.abs(one), np.abs(two)
    top = np.nanquantile(two, 0.95) if np.isfinite(two).any() else 0.0
    moving = np.isfinite(one) & (two > 0.3 * top) & (two > 0)
    if top <= 0 or moving.sum() < 20:
        return None
    ratios = one[moving] / two[moving]
    low, middle, high = np.quantile(ratios, [0.25, 0.5, 0.75])
    return float(middle) if high - low < 0.15 * max(middle, 1e-9) else None


def _speed_by_ratio(speed: Guess, turns: Guess, ratio: float, pairs: int | None) -> None:
    """A speed's unit by the turns; where these are not marked either, the one pair of units that
    fits settles both."""
    shown = ratio / speed.unit.factor
    open_turns = turns.unit.chance < 1.0 and bool(pairs) and pairs != 1
    fits = [
        (name, times)
        for name in ("km/h", "m/s", "mph", "kn")
        for times in ((1, pairs) if open_turns and pairs else (1,))
        if abs(shown * BY_NAME[("speed", name)].factor * times - 1.0) < SPEED_FITS
    ]
    if not fits or len({times for _, times in fits}) > 1:
        return
    name, times = fits[0]
    unit = BY_NAME[("speed", name)]
    speed.sample = speed.sample / speed.unit.factor * unit.factor
    speed.unit = UnitGuess(name, unit.factor, 0.0, 0.97, "fits the motor's turns")
    speed.why = speed.unit.why
    if turns.unit.chance < 1.0 and len(fits) == 1:
        _turns_by_ratio(turns, shown * unit.factor, times)


def _turns_by_ratio(turns: Guess, ratio: float, pairs: int | None) -> None:
    if abs(ratio - 1.0) < TURNS_FIT:
        turns.unit = replace(turns.unit, chance=0.995, why="fits the speed")
    elif pairs and pairs > 1 and abs(ratio * pairs - 1.0) < TURNS_FIT:
        close = abs(ratio * pairs - 1.0) < TURNS_CLOSE
        turns.unit = UnitGuess(
            "electrical rpm", 1.0 / pairs, 0.0, 0.985 if close else 0.97, "fits the speed"
        )
        turns.sample = turns.sample / pairs
    turns.why = turns.unit.why


def settle_degrees(guesses: list[Guess]) -> None:
    """Latitude and longitude come in one unit: the only one in which both can be, or the one
    that is stated for either. What could be degrees as it stands is never taken for parts of
    them."""
    named = {one.name.channel: one for one in guesses if one.name is not None}
    both = [named.get("latitude_deg"), named.get("longitude_deg")]
    pair = [one for one in both if one is not None and one.sample.size]
    if len(pair) < 2:
        return
    stated = [one.unit.name for one in pair if one.words.unit is not None]
    tops = [float(np.nanmax(np.abs(one.sample), initial=0.0)) / one.unit.factor for one in pair]
    fits = [
        unit for unit in (BY_NAME[("angle", name)] for name in DEGREES)
        if tops[0] * unit.factor <= 90.0 and tops[1] * unit.factor <= 180.0
        and (not stated or unit.name == stated[0])
        and all(unit.name == "°" or top > 180.0 for top in tops)
    ]  # fmt: skip
    if len(fits) != 1 or len(set(stated)) > 1:
        return
    for one in pair:
        if one.words.unit is None:
            one.sample = one.sample / one.unit.factor * fits[0].factor
            one.unit = UnitGuess(fits[0].name, fits[0].factor, 0.0, TOLD)


def settle_signs(guesses: list[Guess], time_s: Floats) -> None:
    """Which way round each signed column is logged, in place."""
    named = {one.key: one for one in guesses if one.name is not None}
    volts = {drive: one for (drive, name), one in named.items() if name in
             ("battery_voltage_v", "pack_voltage_v")}  # fmt: skip
    for (drive, name), one in named.items():
        if name in ("battery_current_a", "pack_current_a"):
            own = volts.get(drive) or volts.get(None) or next(iter(volts.values()), None)
            found = sag_sign(own.settled, one.sample, time_s) if own is not None else None
            if own is not None and (found is None or found.chance < 0.99):
                found = charge_sign(own.settled, one.sample, time_s) or found
            if found and found.chance >= 0.99 and own is not None and own is volts.get(drive):
                _sags(own)
            one.sign = _battery_sign(one, found)
            one.why = one.why or one.sign.why
    _settle_acceleration(named, time_s)
    for (drive, name), one in named.items():
        battery = named.get((drive, "battery_current_a")) or named.get((None, "pack_current_a"))
        if name == "phase_current_a":
            own_sign = common_sign(one.sample, battery.settled, 1.0) if battery else None
            one.sign = own_sign or replace(forward_sign(one.sample), why="it mostly drives")
        elif name in ("power_w", "pack_power_w"):
            own_sign = common_sign(one.sample, battery.settled, 1.0) if battery else None
            one.sign = own_sign or energy_sign(one.sample)
        elif name in ("motor_rpm", "wheel_speed_mps", "speed_mps", "duty_pct"):
            one.sign = forward_sign(one.sample)
            if name == "duty_pct" and one.sign.chance < 0.95:
                one.sign = SignGuess(one.sign.sign, 0.95, one.sign.why)
        if one.sign.sign < 0:
            one.why = one.sign.why


def _sags(volts: Guess) -> None:
    """A voltage of that many cells which answers to the battery's current is the pack's."""
    if volts.name is not None and volts.unit.chance >= 1.0 and not volts.rival:
        volts.name = replace(volts.name, chance=max(volts.name.chance, CLEAR))


def _settle_acceleration(named: dict[tuple[str | None, str], Guess], time_s: Floats) -> None:
    """Acceleration along the vehicle is the rate of its speed: that settles name and sign."""
    own = named.get((None, "acceleration_mps2"))
    speeds = [one for (_, name), one in named.items() if name.endswith("speed_mps")]
    if own is None or own.name is None or not speeds:
        return
    found = rate_sign(own.sample, forward_sign(speeds[0].sample).sign * speeds[0].sample, time_s)
    if found is not None and found[1] > RATE_FITS:
        own.name = replace(own.name, chance=0.985)
        own.sign = SignGuess(found[0], 0.99, "it goes with the speed's rate")


def _battery_sign(one: Guess, found: SignGuess | None) -> SignGuess:
    """By sag; where nothing sags, by energy; words for charging do not decide against data."""
    if found is not None:
        by_energy = energy_sign(one.sample)
        if by_energy.sign != found.sign and by_energy.chance > 0.9 and found.chance < 0.97:
            return SignGuess(found.sign, 0.7, found.why)
        return found
    return energy_sign(one.sample)


def check_power(guesses: list[Guess]) -> None:
    """Battery power is voltage times current: settles name and unit of a power column."""
    named = {one.key: one for one in guesses if one.name is not None}
    for (drive, name), one in named.items():
        if name not in ("power_w", "pack_power_w"):
            continue
        pack = "pack_" if name == "pack_power_w" else "battery_"
        volts = named.get((drive, f"{pack}voltage_v")) or named.get((None, "pack_voltage_v"))
        amps = named.get((drive, f"{pack}current_a"))
        if volts is None or amps is None or one.name is None:
            continue
        ratio = _ratio(one.sample, volts.settled * amps.settled)
        if ratio is not None and abs(ratio - 1) < 0.1:
            one.name = replace(one.name, chance=0.985)
            one.unit = replace(one.unit, chance=1.0)
        elif ratio is None or not 0.5 < ratio < 1.5:
            one.drop("it is not voltage times current")

"""Motor turns of one log against the speed of another: gear and wheel fix their ratio, pole pairs
tell electrical turns from mechanical ones. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from importers.channel_map import map_line
from importers.ride import ALL_RESTS_ON_IT, ChannelReading, Source, reading_of
from importers.setup_types import Setup
from importers.turns_energy import counts_electrical
from importers.units import ELECTRICAL_RPM

Floats = NDArray[np.float64]

SPEEDS = ("speed_mps", "gps_speed_mps")
MOVING_MPS, LEAST_ROWS = 2.0, 200
"""Rows at which both are compared. Our choice: a satellite's speed is rough when slow."""
SPREAD = 0.2
"""The middle half of the ratios lies within this part of the middle one, or wheels slip, signals
lag, or they do not belong together. Our choice."""
FITS, ODD = 0.08, 0.2
"""A ratio this near to 1 (or to the pole pairs) is told; further off than this, something given is
wrong. Our choice: a worn or soft tyre is 3 % smaller, a satellite's speed right within 1 %."""
ROWS = 20_000
"""Rows looked at. Our choice: a ratio needs no more."""
READ_FROM = 0.5
"""Readings less sure than this are doubted for another reason. Our choice."""
SETTLED = 0.985
"""Chance that the unit is right once the speeds agree. Our choice."""


def settle_turns(
    table: pd.DataFrame, setup: Setup, sources: Sequence[Source]
) -> tuple[pd.DataFrame, tuple[Source, ...], list[str]]:
    """The table with unmarked turns that are electrical ones put right, the sources with what is
    settled, and `channel: what was found`."""
    vehicle, told = setup.vehicle, list[str]()
    speed = next((table[name].to_numpy() for name in SPEEDS if name in table.columns), None)
    if not vehicle.gear_ratio or not vehicle.wheel_diameter_m:
        return table, tuple(sources), told
    if speed is None:
        return _by_energy(table, setup, sources)
    per_rpm = np.pi * vehicle.wheel_diameter_m / 60.0 / vehicle.gear_ratio
    changed: dict[str, ChannelReading] = {}
    pairs = vehicle.pole_pairs or 1
    for name in (str(one) for one in table.columns if str(one).endswith(".motor_rpm")):
        reading = reading_of(sources, name)
        ratio = _ratio(table[name].to_numpy(), speed, per_rpm)
        if reading is None or ratio is None or reading.why == "as the map says":
            continue
        if abs(ratio - 1.0) <= FITS:
            if reading.sure < SETTLED and reading.sure > 0.5:
                changed[str(reading.channel)] = replace(reading, sure=SETTLED, why="fits the speed")
        elif pairs > 1 and abs(ratio / pairs - 1.0) <= FITS and reading.unit != ELECTRICAL_RPM:
            table = table.assign(**{name: table[name] / pairs})
            changed[str(reading.channel)] = replace(
                reading, unit=ELECTRICAL_RPM, sure=SETTLED, why="fits the speed"
            )
            line = map_line(reading.header, str(reading.channel), reading.unit, reading.sign)
            told.append(f"{name}: it turns {ratio:.1f} times as fast as the vehicle's speed asks "
                        f"for, so it counts electrical turns ({pairs} pole pairs). If it does not, "
                        f"a map file says so: {line}")  # fmt: skip
        elif abs(ratio - 1.0) > ODD:
            line = map_line(reading.header, str(reading.channel), ELECTRICAL_RPM, reading.sign)
            told.append(
                f"{name}: it tells {ratio:.2f} times the vehicle's speed: its unit, or "
                "`vehicle.wheel_diameter_m`, `gear_ratio` or `pole_pairs` in the setup, is wrong; "
                f"{ALL_RESTS_ON_IT}. "
                f"If it counts electrical turns, a map file says so: {line}"
            )
    return table, tuple(_with(one, changed, told) for one in sources), told


def _by_energy(
    table: pd.DataFrame, setup: Setup, sources: Sequence[Source]
) -> tuple[pd.DataFrame, tuple[Source, ...], list[str]]:
    """As `settle_turns`, where no speed was logged: by what pulling away took from the pack."""
    changed: dict[str, ChannelReading] = {}
    told: list[str] = []
    for name in (str(one) for one in table.columns if str(one).endswith(".motor_rpm")):
        reading = reading_of(sources, name)
        if reading is None or not READ_FROM < reading.sure < SETTLED:
            continue
        if reading.unit == ELECTRICAL_RPM or reading.why == "as the map says":
            continue
        electrical = counts_electrical(table, setup, name)
        if electrical is None:
            continue
        why = "fits the energy that pulling away took"
        unit = ELECTRICAL_RPM if electrical else reading.unit
        changed[str(reading.channel)] = replace(reading, unit=unit, sure=SETTLED, why=why)
        if electrical:
            pairs = setup.vehicle.pole_pairs or 1
            table = table.assign(**{name: table[name] / pairs})
            line = map_line(reading.header, str(reading.channel), reading.unit, reading.sign)
            told.append(f"{name}: as mechanical turns it asks for more energy in pulling away than "
                        f"the pack gave, so it counts electrical ones ({pairs} pole pairs). If it "
                        f"does not, a map file says so: {line}")  # fmt: skip
    return table, tuple(_with(one, changed, told) for one in sources), told


def _with(source: Source, changed: dict[str, ChannelReading], told: Sequence[str]) -> Source:
    """The source with what was settled, its own doubts of it gone, what was found said."""
    mine = [
        text for text in told
        if text.partition(":")[0] in {one.channel for one in source.channels}
        or (any(one.channel == "motor_rpm" for one in source.channels))
    ]  # fmt: skip
    channels = tuple(changed.get(str(one.channel), one) for one in source.channels)
    settled = {one.header for one in changed.values()}
    problems = tuple(
        text for text in source.problems
        if not (" is read as " in text and any(text.startswith(f"'{h}'") for h in settled))
    )  # fmt: skip
    return replace(source, channels=channels, problems=(*problems, *mine))


def _ratio(rpm: Floats, speed: Floats, per_rpm: float) -> float | None:
    """Wheel speed by the turns over speed where the vehicle moves; None where they do not go
    together."""
    every = max(1, rpm.size // ROWS)
    turned, speed = np.abs(rpm[::every]) * per_rpm, np.abs(speed[::every])
    with np.errstate(invalid="ignore", divide="ignore"):
        moving = (speed > MOVING_MPS) & (turned > 0.1)
        ratios = turned[moving] / speed[moving]
    if ratios.size < LEAST_ROWS:
        return None
    low, middle, high = (float(one) for one in np.quantile(ratios, [0.25, 0.5, 0.75]))
    return middle if high - low < SPREAD * middle else None

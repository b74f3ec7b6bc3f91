"""Which unit a column is logged in: as stated where the values agree, else as the values tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.channels import channel_of
from importers.setup_types import Setup
from importers.units import BY_NAME, ELECTRICAL_RPM, Unit

Floats = NDArray[np.float64]

NO_SUCH_PACK = "no voltage of this pack"
"""What is said of a voltage that no number of volts a cell explains."""
CELL_V = (1.5, 4.6)
"""Volts per cell that any lithium cell in use can show, margins included."""
EMPTY_PART = 0.8
"""No pack is ridden with its middle voltage below this part of an empty one's. Our choice."""
STATED, TOLD, LIKELY, OPEN = 1.0, 0.97, 0.92, 0.55
"""Chance that the unit is right: stated and plausible; only one fits; the usual one; a toss."""
BROKEN_WIRE_LEAST = 0.6
"""A stated temperature may be beyond all sense for part of the ride: a wire broke. Our choice."""
LIVE_CELL_V, LIVE_LEAST = 3.0, 0.003
"""A connected pack reads this much per cell at some time; and for this part of the log at least,
when the log goes on long after the pack was cut off. Our choice."""
HOTTEST_START_C = 105.0
"""Nothing on a vehicle is hotter than this through a whole ride, its start included [°C]. Our
choice."""
PULSE_LOW_US, PULSE_HIGH_US, PULSE_MID_US = 1000.0, 2000.0, 1500.0
"""Pulse widths of a servo signal [µs]: common practice, no source."""


@dataclass(frozen=True, slots=True)
class UnitGuess:
    """The unit, what it takes to SI, and how sure."""

    name: str
    factor: float
    offset: float
    chance: float
    why: str = ""

    def apply(self, numbers: Floats) -> Floats:
        """Values in SI; the numbers themselves where nothing is to do."""
        if self.factor == 1.0 and self.offset == 0.0:
            return numbers
        return numbers * self.factor + self.offset


def guess_unit(
    channel: str, numbers: Floats, stated: Unit | None, setup: Setup | None, *, electrical: bool
) -> UnitGuess:
    """The unit of a column that is taken for `channel`; `electrical` says the words do."""
    row = channel_of(channel)
    if row is None:
        return UnitGuess("", 1.0, 0.0, STATED)
    good = numbers[np.isfinite(numbers)]
    if row.dimension == "rotation":
        return _rotation(good, stated, setup, electrical)
    if row.dimension == "fraction":
        return _fraction(good, stated, signed_ok=row.low < 0)
    if stated is not None and stated.dimension == row.dimension:
        return _checked(channel, good, stated, setup)
    return _from_values(channel, row.dimension, good, setup)


def _of(unit: Unit, chance: float, why: str = "") -> UnitGuess:
    return UnitGuess(unit.name.split("\n")[0], unit.factor, unit.offset, chance, why)


def _voltage_range(channel: str, setup: Setup | None) -> tuple[float, float]:
    if channel.startswith("cell"):
        return CELL_V
    if setup is None:
        return 8.0, 900.0
    least = max(CELL_V[0], EMPTY_PART * setup.cell_empty_v)
    return least * setup.pack.series, CELL_V[1] * setup.pack.series


def _checked(channel: str, good: Floats, unit: Unit, setup: Setup | None) -> UnitGuess:
    """A stated unit, held against what the channel can show."""
    row = channel_of(channel)
    assert row is not None
    if good.size == 0:
        return _of(unit, STATED)
    values = good * unit.factor + unit.offset
    low, high = row.low, row.high
    if row.dimension == "voltage":
        low, high = _voltage_range(channel, setup)
        middle = float(np.median(values[values > 0.2 * low])) if (values > 0.2 * low).any() else 0.0
        if not low <= middle <= high and not _cut_off(channel, values, (low, high), setup):
            return _of(unit, 0.4, f"{middle:.4g} V is {NO_SUCH_PACK}")
        return _of(unit, STATED)
    inside = float(np.mean((values >= low) & (values <= high)))
    if inside < (BROKEN_WIRE_LEAST if row.dimension == "temperature" else 0.97):
        return _of(unit, 0.4, f"{1 - inside:.0%} of the values are beyond what it can be")
    return _of(unit, STATED)


def _cut_off(channel: str, values: Floats, span: tuple[float, float], setup: Setup | None) -> bool:
    """Whether this is the pack's voltage for a while and then a bus the pack was cut off from."""
    if setup is None or channel.startswith("cell"):
        return False
    known = (values >= LIVE_CELL_V * setup.pack.series) & (values <= span[1])
    return float(np.mean(known)) >= LIVE_LEAST and float(values.max()) <= span[1]


def _units(dimension: str, *names: str) -> list[Unit]:
    return [BY_NAME[(dimension, name)] for name in names]


def _from_values(channel: str, dimension: str, good: Floats, setup: Setup | None) -> UnitGuess:
    """No unit is stated: which ones make the values possible?"""
    if good.size == 0:
        return UnitGuess("", 1.0, 0.0, OPEN, "no values and no unit")
    if dimension == "voltage":
        return _one_that_fits(
            good[good > 0], _units("voltage", "V", "mV", "cV", "dV"),
            _voltage_range(channel, setup), known=setup is not None or channel.startswith("cell"),
        )  # fmt: skip
    top = float(np.quantile(np.abs(good), 0.999))
    if dimension == "current":
        if top <= 500:
            whole = bool(np.all(good == np.round(good))) and top > 150
            return _of(BY_NAME[("current", "A")], 0.8 if whole else LIKELY, "usual unit")
        return _of(BY_NAME[("current", "mA")], 0.8, "too large for A")
    if dimension == "temperature":
        return _temperature(good)
    if dimension == "angle" and channel.startswith(("lat", "lon")):
        if top <= 180:
            return _of(BY_NAME[("angle", "°")], TOLD)
        name = "1e-7 °" if top > 1.8e8 else "1e-6 °"
        return _of(BY_NAME[("angle", name)], LIKELY if top > 1.8e8 else 0.8)
    usual = {
        "speed": ("km/h", OPEN), "power": ("W" if top > 30 else "kW", 0.85), "length": ("m", 0.9),
        "angle": ("°", TOLD), "acceleration": ("g" if top < 0.8 else "m/s²", 0.8),
    }  # fmt: skip
    if dimension in usual:
        name, chance = usual[dimension]
        return _of(BY_NAME[(dimension, name)], chance, "usual unit, not stated")
    return UnitGuess("", 1.0, 0.0, LIKELY)


def _one_that_fits(
    good: Floats, units: list[Unit], span: tuple[float, float], *, known: bool
) -> UnitGuess:
    if good.size == 0:
        return _of(units[0], OPEN, "no values above zero")
    middle = float(np.median(good))
    fits = [one for one in units if span[0] <= middle * one.factor <= span[1]]
    if not fits:
        return _of(units[0], 0.3, f"{middle:.4g} is {NO_SUCH_PACK} in any usual unit")
    first = fits[0]
    clear = len(fits) == 1 or (known and first.factor == 1.0)
    return _of(first, TOLD if clear and known else LIKELY if first.factor == 1.0 else 0.75)


def _temperature(good: Floats) -> UnitGuess:
    middle, top = float(np.median(good)), float(np.quantile(good, 0.999))
    if middle > 220 and top < 430:
        return _of(BY_NAME[("temperature", "K")], LIKELY)
    if middle > 170 or float(np.quantile(good, 0.001)) > HOTTEST_START_C:
        return UnitGuess("0.1 °C", 0.1, 0.0, 0.8, "too large for °C")
    doubtful = middle > 55
    return _of(BY_NAME[("temperature", "°C")], 0.8 if doubtful else LIKELY, "usual unit")


def _rotation(
    good: Floats, stated: Unit | None, setup: Setup | None, electrical: bool
) -> UnitGuess:
    pairs = setup.vehicle.pole_pairs if setup is not None else None
    if electrical or (stated is not None and stated.name == ELECTRICAL_RPM):
        if pairs is None:
            return UnitGuess(ELECTRICAL_RPM, np.nan, 0.0, STATED, "vehicle.pole_pairs is not given")
        return UnitGuess(ELECTRICAL_RPM, 1.0 / pairs, 0.0, STATED)
    unit = stated if stated is not None and stated.dimension == "rotation" else None
    if unit is not None:
        top = float(np.quantile(np.abs(good), 0.999)) * unit.factor if good.size else 0.0
        # Above what small motors turn an unmarked figure is likelier an electrical one.
        return _of(unit, 0.97 if top < 12000 else 0.7)
    return _of(BY_NAME[("rotation", "rpm")], 0.9)


def _fraction(good: Floats, stated: Unit | None, *, signed_ok: bool) -> UnitGuess:
    if good.size == 0:
        return UnitGuess("%", 1.0, 0.0, LIKELY)
    top = float(np.max(np.abs(good)))
    if stated is not None and stated.dimension == "pulse":
        return _pulse(good)
    if stated is not None and stated.dimension == "fraction":
        logged_top = top * stated.factor
        if logged_top > 130:
            return _of(stated, 0.4, f"{logged_top:.4g} % is more than all")
        doubt = stated.name == "%" and 0.5 < top <= 1.02 and bool(np.unique(good).size > 5)
        return _of(stated, 0.6 if doubt else STATED)
    if top <= 1.05 and top > 0.15:
        return UnitGuess("0-1", 100.0, 0.0, TOLD)
    if 10.0 < top <= 105.0:
        return UnitGuess("%", 1.0, 0.0, TOLD)
    if 1900.0 <= top <= 2300.0 and float(np.min(good)) > 700.0:
        return _pulse(good)
    if 900.0 <= top <= 1000.0:
        return UnitGuess("‰", 0.1, 0.0, 0.8)
    if top <= 105.0:
        return UnitGuess("%", 1.0, 0.0, 0.8)
    return UnitGuess("", 1.0, 0.0, 0.2, f"{top:.4g} is no fraction")


def _pulse(good: Floats) -> UnitGuess:
    """A servo signal: at rest in the middle it is signed, at its low end it is not."""
    values, counts = np.unique(np.round(good, -1), return_counts=True)
    rest = float(values[int(np.argmax(counts))])
    if abs(rest - PULSE_MID_US) < 100 and float(np.min(good)) < 1400:
        return UnitGuess("µs", 100.0 / 500.0, -PULSE_MID_US / 5.0, LIKELY, "signed, rest at 1500")
    return UnitGuess("µs", 0.1, -PULSE_LOW_US / 10.0, LIKELY, "rest at 1000")

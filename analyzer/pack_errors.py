"""How wrong sensors and the fit may be: what the pack's numbers are worth.

One ride cannot see a wrong scale or zero of its own readings: their spreads are stated here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np

from analyzer.quantities import Quantity
from analyzer.resistance import ResistanceFit
from importers.ride import Ride
from importers.setup_types import Setup

CONTROLLER_GAIN_SD = 0.015
"""Battery current as a controller computes it, one standard deviation of its scale: 3 % (common
practice, no source: 3 to 5 %) as the 95 % range. Two controllers err independently."""
BMS_GAIN_SD = 0.010
"""A BMS's shunt: 2 % likewise (common practice, no source: 1 to 3 %)."""
VOLTAGE_GAIN_SD = 0.004
"""A voltage reading: two on one wire differ by 0.5 to 1 % (common practice, no source)."""
OFFSET_SD_A = 0.15
"""A shunt's zero (common practice, no source: 0.1 to 0.3 A at most)."""
AUX_UNKNOWN_SD_A = 0.6
"""What lights and converter draw past the controllers when `aux_a` is not given (common practice,
no source: 0.3 to 2 A)."""
AUX_KNOWN_SD = 0.2
"""... and how well a given `aux_a` is met. Our choice."""
MODEL_SD = 0.006
"""What the fit itself adds to the 10 s resistance: 0.5 to 1.2 % on two kinds of simulated rides
with perfect sensors (benchmarks/tables/pack_truth.py), the larger where diffusion is solved and
resistance has a bump at a bend of the rest-voltage curve."""
OWN_SURFACE_SD, BUILT_IN_SURFACE_SD = 1.1, 2.7
"""Relative error of the 10 s resistance per part of the rest voltage that the electrodes' surface
moves under load, with the cells' own and with a built-in curve: diffusion is read through the
curve's slope. Measured on simulated rides of two kinds, likewise."""
WARMING_SD = 0.25
"""How much of what warmth is expected to do to the resistance may not be so: an activation energy
of 20 kJ/mol is known to about 5 (see `analyzer.temperature`); rides gave 0.24."""
INSTANT_MODEL_SD = 0.05
"""Likewise for the instant part: filters in front of the readings smear it."""
REST_MODEL_SD_V = 0.006
"""What the fit adds to a rest voltage [V per cell], measured likewise."""
ROUNDING_ROWS = 50_000
LAST_DIGIT_V = 1e-4
"""Readings nearer than this are equal [V]."""
STRANGE_FROM = 0.02
"""From here on a part of the voltage's movement that the current does not explain is said. Our
choice: clean logs leave 0.001, a current clipped at half its height 0.04 to 0.10."""
STRANGE_SD = 3.0
"""What such a part adds to the resistance's relative error, measured on clipped and unsigned
currents of simulated rides."""


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """What the readings of one ride may be off by, one standard deviation each."""

    gain_v: float
    """Scale of the voltage [relative]."""
    gain_a: float
    """Scale of the current [relative]."""
    offset_a: float
    """Zero of the current, lights and converter counted in [A]."""
    strange: float
    """Part of the voltage's movement under load that neither current nor last digit explains."""
    at_controllers: bool
    """Whether a voltage was read behind leads, fuse and connectors."""

    @property
    def gain(self) -> float:
        """Scale of a resistance [relative]."""
        return hypot(self.gain_v, self.gain_a)


def sensor_errors(
    fit: ResistanceFit, ride: Ride, setup: Setup, volts: Quantity, amps: Quantity
) -> SensorErrors:
    """How far may this ride's readings be off, by where they were read?"""
    gain_v, gain_a = _gain_sds(volts, amps)
    return SensorErrors(
        gain_v,
        gain_a,
        _offset_sd_a(amps, setup),
        max(1 - fit.explained - _rounding_part(ride, fit, volts), 0.0),
        any("." in channel for channel in volts.channels),
    )


def _rounding_part(ride: Ride, fit: ResistanceFit, volts: Quantity) -> float:
    """The part of the voltage's movement under load that is the reading's last digit."""
    steps = []
    for name in volts.channels:
        values = np.unique(ride.table[name].to_numpy(np.float64)[:ROUNDING_ROWS])
        apart = np.diff(values[np.isfinite(values)])
        apart = apart[apart > LAST_DIGIT_V]
        steps.append(float(apart.min()) if apart.size else 0.0)
    noise = sum(step**2 / 12 for step in steps) / max(len(steps), 1) ** 2
    moved = fit.residual_sd_v**2 / max(1 - fit.explained, 1e-9)
    return noise / max(moved, 1e-12)


def _gain_sds(volts: Quantity, amps: Quantity) -> tuple[float, float]:
    """Standard deviations of the scales of voltage and current, as relative errors."""
    voltage = VOLTAGE_GAIN_SD / np.sqrt(max(len(volts.channels), 1))
    if amps.channels == ("pack_current_a",):
        return float(voltage), BMS_GAIN_SD
    return float(voltage), float(CONTROLLER_GAIN_SD / np.sqrt(max(len(amps.channels), 1)))


def _offset_sd_a(amps: Quantity, setup: Setup) -> float:
    if amps.channels == ("pack_current_a",):
        return OFFSET_SD_A
    aux = setup.pack.aux_a
    lights = AUX_UNKNOWN_SD_A if aux is None else AUX_KNOWN_SD * aux
    return hypot(OFFSET_SD_A * len(amps.channels) ** 0.5, lights)

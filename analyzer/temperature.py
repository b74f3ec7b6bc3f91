"""What a resistance would be at 25 °C, and how warm the pack was.

R(T) = R(25 °C) exp[(E/Rg)(1/T - 1/298.15 K)]
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt
from typing import TypeVar

import numpy as np

from analyzer.quantities import Floats
from importers.ride import Ride

GAS_J_PER_MOL_K = 8.314462618
"""CODATA 2018."""
ZERO_C_K = 273.15
REFERENCE_K = 298.15
PLAUSIBLE_E_J_PER_MOL = (12_000.0, 32_000.0)
"""Activation energy of a whole cell's 10 s resistance, 95 %: full cell models of three published
parameter sets (O'Kane 2022, O'Regan 2022, Ecker 2015) give 12.1, 17.7 and 31.8 kJ/mol between -10
and 40 °C."""
DEFAULT_E_J_PER_MOL = 20_500.0
"""Where the pack's own is not known: the mean of the same three."""
ASSUMED_C = 20.0
ASSUMED_SD_C = 8.0
"""Where nothing tells the pack's temperature [°C]. Our choice: riding weather and its spread."""
FROM_AMBIENT_SD_C = 4.0
"""The pack against the air around it [°C]. Our choice: it comes from indoors, and warms up."""
FROM_START_SD_C = 2.0
"""The ride's mean against the pack's temperature at the start [°C]. Our choice."""
BELIEVED_C = (-30.0, 80.0)
"""No pack in use is colder or hotter; a reading beyond is a sensor's fault [°C]. Our choice."""
SENSOR_SD_C = 1.0
"""A sensor at one place against the cells' mean [°C]. Our choice."""


@dataclass(frozen=True, slots=True)
class PackTemperature:
    """The ride's mean pack temperature, how sure, and where it is from."""

    mean_c: float
    sd_c: float
    source: str
    """`logged`, `stated` (by the rider, at the start), `ambient` or `assumed`."""


@dataclass(frozen=True, slots=True)
class Activation:
    """Activation energy with its 95 % interval."""

    value_j_per_mol: float = DEFAULT_E_J_PER_MOL
    low_j_per_mol: float = PLAUSIBLE_E_J_PER_MOL[0]
    high_j_per_mol: float = PLAUSIBLE_E_J_PER_MOL[1]


_T = TypeVar("_T", float, Floats)


def heat_of(temperature_c: _T) -> _T:
    """What an activation energy [kJ/mol] is multiplied by for ln R over that at 25 °C (Arrhenius);
    of one temperature or of each of n."""
    return (1 / (ZERO_C_K + temperature_c) - 1 / REFERENCE_K) * 1000.0 / GAS_J_PER_MOL_K


def arrhenius_ratio(temp_c: float, e_j_per_mol: float = DEFAULT_E_J_PER_MOL) -> float:
    """How many times the resistance at 25 °C a pack of `temp_c` has."""
    return exp(e_j_per_mol / GAS_J_PER_MOL_K * (1 / (ZERO_C_K + temp_c) - 1 / REFERENCE_K))


def log_ratio_interval(
    temperature: PackTemperature, activation: Activation
) -> tuple[float, float, float]:
    """ln of R(25 °C) over R now, and by how much that may lie lower and higher (95 %).

    The unknown activation energy and the unknown temperature are taken as independent.
    """
    mean = temperature.mean_c
    value = -log(arrhenius_ratio(mean, activation.value_j_per_mol))
    by_energy = [
        -log(arrhenius_ratio(mean, e)) - value
        for e in (activation.low_j_per_mol, activation.high_j_per_mol)
    ]
    slope = activation.value_j_per_mol / GAS_J_PER_MOL_K / (ZERO_C_K + mean) ** 2
    by_heat = 1.96 * temperature.sd_c * slope
    if temperature.source == "assumed":  # far from 25 °C the energy matters as much
        by_heat *= activation.high_j_per_mol / activation.value_j_per_mol
    down, up = max(0.0, *(-b for b in by_energy)), max(0.0, *by_energy)
    return value, sqrt(down**2 + by_heat**2), sqrt(up**2 + by_heat**2)


def pack_temperature(ride: Ride) -> PackTemperature:
    """How warm was the pack on this ride: logged, said by the rider, as the air, or assumed."""
    logged = _logged_c(ride)
    if logged is not None:
        logged = np.where((logged >= BELIEVED_C[0]) & (logged <= BELIEVED_C[1]), logged, np.nan)
    if logged is not None and bool(np.isfinite(logged).any()):
        return PackTemperature(float(np.nanmean(logged)), SENSOR_SD_C, "logged")
    if ride.facts.pack_temp_c is not None:
        return PackTemperature(ride.facts.pack_temp_c, FROM_START_SD_C, "stated")
    air = ride.get("ambient_temp_c")
    if air is not None:
        return PackTemperature(float(np.nanmean(air)), FROM_AMBIENT_SD_C, "ambient")
    return PackTemperature(ASSUMED_C, ASSUMED_SD_C, "assumed")


def known_temp_c(ride: Ride) -> float | None:
    """The pack's mean temperature where it was logged or stated for the day; what was taken from
    the air or assumed is not known well enough to be carried to another temperature."""
    found = pack_temperature(ride)
    return found.mean_c if found.source in ("logged", "stated") else None


def _logged_c(ride: Ride) -> Floats | None:
    """The pack's logged temperature, else the mean of its cells' [°C]; n values or None."""
    logged = ride.get("pack_temp_c")
    if logged is not None:
        return logged
    names = [c for c in ride.table.columns if c.startswith("cell_temp_") and ride.has(c)]
    if not names:
        return None
    return np.asarray(ride.table[names].mean(axis=1).to_numpy(np.float64))


def resistance_over_mean(ride: Ride, time_s: Floats) -> Floats:
    """How many times its resistance at the ride's mean temperature the pack is expected to have
    at times of the ride: by the default activation energy, from the logged temperature; 1 where
    none is logged."""
    logged = _logged_c(ride)
    if logged is None:
        return np.ones(time_s.size)
    good = np.isfinite(logged)
    kelvin = np.clip(np.interp(time_s, ride.time_s[good], logged[good]), *BELIEVED_C) + ZERO_C_K
    ratio = np.exp(DEFAULT_E_J_PER_MOL / GAS_J_PER_MOL_K * (1 / kelvin - 1 / kelvin.mean()))
    return np.asarray(ratio, np.float64)

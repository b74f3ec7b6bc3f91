"""A pack of cells as an equivalent circuit: rest voltage, one ohmic and two slow parts.

Sources: the circuit and its step response are the textbook ones (G. Plett, Battery Management
Systems vol. 1, 2015, ch. 2); rest voltages: Chen et al. 2020 (nmc811), Mohtat et al. 2020
(nmc532), Prada et al. 2013 (lfp), Kim et al. 2011 (nca), Ai et al. 2020 (lco), every 5 % of
charge. A real pack is none of these exactly: `blend` mixes two of them.
"""

from dataclasses import dataclass, field
from math import exp

import numpy as np

SOC = np.linspace(0.0, 1.0, 21)
_TABLES = {
    "nmc811": "2.5000 3.1094 3.2959 3.4339 3.4852 3.5286 3.5814 3.6290 3.6670 3.7054 3.7509 3.7983 "
    "3.8406 3.8896 3.9479 3.9943 4.0421 4.0809 4.0967 4.1236 4.2000",
    "nmc532": "2.8000 3.4620 3.5107 3.5395 3.5847 3.6202 3.6389 3.6538 3.6710 3.6914 3.7155 3.7446 "
    "3.7968 3.8399 3.8797 3.9232 3.9705 4.0216 4.0767 4.1360 4.2000",
    "lfp": "2.0000 2.7853 2.9781 3.1080 3.1685 3.1857 3.2058 3.2324 3.2525 3.2621 3.2660 3.2678 "
    "3.2688 3.2700 3.2740 3.2926 3.3097 3.3132 3.3142 3.3164 3.6000",
    "nca": "2.7000 3.1939 3.2471 3.3099 3.3721 3.4331 3.4918 3.5472 3.5978 3.6430 3.6846 3.7253 "
    "3.7678 3.8163 3.8742 3.9300 3.9803 4.0295 4.0803 4.1354 4.2000",
    "lco": "3.0000 3.5421 3.6396 3.6654 3.6954 3.7168 3.7331 3.7481 3.7622 3.7763 3.7925 3.8122 "
    "3.8365 3.8675 3.9089 3.9519 3.9945 4.0409 4.0879 4.1384 4.2000",
}
CURVES = {name: np.array([float(v) for v in row.split()]) for name, row in _TABLES.items()}

# An activation energy of lithium-ion cells' resistance; 15 to 35 kJ/mol in the literature
# (from memory; Waag et al. 2013 measured such a spread). Truth here, not a claim.
ACTIVATION_J_PER_MOL = 20_000.0
GAS_J_PER_MOL_K = 8.314


def blend(first: str, second: str, part: float) -> np.ndarray:
    """A cell between two published ones, volts per cell on `SOC`."""
    return (1.0 - part) * CURVES[first] + part * CURVES[second]


@dataclass
class Cells:
    """Truth of a whole pack; resistances at 25 °C and charge counted from empty to full rest."""

    chemistry: str
    series: int
    parallel: int
    capacity_ah: float
    curve_v: np.ndarray
    r0_ohm: float
    slow: tuple[tuple[float, float], ...]  # (ohm, seconds)
    full_v: float = 4.2
    empty_v: float = 3.0
    weak_v: float = 0.0  # how far the weakest group rests below the mean
    weak_r: float = 1.0  # and its resistance against the mean
    grid: tuple[np.ndarray, np.ndarray] = field(init=False)

    def __post_init__(self) -> None:
        """Re-count charge so that 0 and 1 are rest at `empty_v` and `full_v`."""
        low, high = np.interp([self.empty_v, self.full_v], self.curve_v, SOC)
        fine = np.linspace(low, high, 201)
        self.grid = (np.linspace(0.0, 1.0, 201), np.interp(fine, SOC, self.curve_v))

    def rest_v(self, soc: float) -> float:
        """Rest voltage of the pack at a charge from 0 to 1; straight on below empty."""
        if soc < 0.0:
            slope = (self.grid[1][1] - self.grid[1][0]) / self.grid[0][1]
            return self.series * float(self.grid[1][0] + soc * slope)
        return self.series * float(np.interp(soc, *self.grid))

    def warm(self, temp_c: float) -> float:
        """How much more than at 25 °C the pack resists (Arrhenius)."""
        inverse = 1.0 / (temp_c + 273.15) - 1.0 / 298.15
        return exp(ACTIVATION_J_PER_MOL / GAS_J_PER_MOL_K * inverse)

    def resistance_10s_ohm(self, soc: float, temp_c: float) -> float:
        """The contract's pulse: C/2 for 10 s from rest, the fall of rest voltage counted in."""
        amps = self.capacity_ah / 2.0
        polar = self.r0_ohm + sum(r * (1.0 - exp(-10.0 / tau)) for r, tau in self.slow)
        moved = amps * 10.0 / 3600.0 / self.capacity_ah
        fall = self.rest_v(soc) - self.rest_v(soc - moved)
        return polar * self.warm(temp_c) + fall / amps

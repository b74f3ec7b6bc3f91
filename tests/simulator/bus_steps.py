"""The wires between pack and controllers: closed they follow the pack, open they live on what the
controllers' capacitors hold and the turning motors generate."""

import numpy as np

from simulator.compiled import njit

DIODE_V = 1.2
"""Two junctions of the bridge between a turning motor and the bus [V]."""


@njit()
def floor_v(drives, k):
    """What a turning motor holds the bus up to through its bridge [V]."""
    d = drives[k]
    return max(d.kt * abs(d.omega) - DIODE_V, 0.0)


@njit()
def open_bus(v, watts, farad, lowest, highest, dt):
    """The bus after `dt` with `watts` drawn (negative: fed) and no pack behind it."""
    energy = 0.5 * farad * v * v - watts * dt
    new = np.sqrt(2.0 * energy / farad) if energy > 0.0 else 0.0
    return min(max(new, lowest), highest)


@njit()
def closed_bus(behind, ohm, watts, amps, v):
    """Bus voltage and pack current with `watts` and `amps` drawn: V² - UV + RP = 0, stable root."""
    open_v = behind - ohm * amps
    root = open_v * open_v - 4.0 * ohm * watts
    bus = 0.5 * (open_v + np.sqrt(root)) if root > 0.0 else 0.5 * open_v
    return bus, amps + watts / bus

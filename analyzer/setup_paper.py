"""Where on the charge does this pack fade under load, or overflow under braking?

From its rest-voltage curve and a resistance: as cells of its size usually have it before any ride,
or as rides have shown it.
"""

from __future__ import annotations

import numpy as np

from analyzer.estimate import Estimate
from analyzer.rest_voltage import cell_volts, charge_pct, family
from importers.setup_types import Setup

CELL_OHM_AH = Estimate(0.10, 0.05, 0.20)
"""Resistance after 10 s of one cell times its capacity [Ohm Ah] at 25 degC, wiring included:
cells built for power lie low, cells built for energy and aged ones high. Common practice, no
source; a 3.5 Ah cell of 29.6 mOhm has 0.10."""


def paper_resistance_ohm(setup: Setup) -> Estimate:
    """The pack's resistance after 10 s as cells of its size usually have it, with an interval
    wide enough for makes that differ."""
    scale = setup.pack.series / setup.pack.capacity_ah
    low, high = CELL_OHM_AH.low or 0.0, CELL_OHM_AH.high or 0.0
    return Estimate(CELL_OHM_AH.value * scale, low * scale, high * scale)


def rest_v(setup: Setup, at_pct: float) -> float:
    """The pack's voltage after long rest at a state of charge [%], by its curve."""
    return float(cell_volts(setup.curve, at_pct, setup)) * setup.pack.series


def _charge_between(setup: Setup, pack_v: Estimate) -> Estimate:
    """The charge behind a rest voltage, its interval read from every curve the cells may follow."""

    def at(volts: float, curves: bool) -> list[float]:
        many = family(setup) if curves else (setup.curve,)
        cell_v = volts / setup.pack.series
        return [float(np.clip(charge_pct(one, cell_v, setup), 0.0, 100.0)) for one in many]

    low_v = pack_v.value if pack_v.low is None else pack_v.low
    high_v = pack_v.value if pack_v.high is None else pack_v.high
    return Estimate(at(pack_v.value, False)[0], min(at(low_v, True)), max(at(high_v, True)))


def fade_from_pct(setup: Setup, current_a: float, derate_v: float, ohm: Estimate) -> Estimate:
    """Below which state of charge does a steady current pull the pack under the derate voltage?"""
    low, high = ohm.low or ohm.value, ohm.high or ohm.value
    wanted = (derate_v + current_a * one for one in (ohm.value, low, high))
    return _charge_between(setup, Estimate(*wanted))


def braking_room_pct(setup: Setup, current_a: float, high_v: float, ohm: Estimate) -> Estimate:
    """Above which state of charge does braking with this current lift the pack over `high_v`?"""
    low, high = ohm.low or ohm.value, ohm.high or ohm.value
    wanted = (high_v - current_a * one for one in (ohm.value, high, low))
    return _charge_between(setup, Estimate(*wanted))

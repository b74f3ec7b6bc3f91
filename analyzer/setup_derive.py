"""At which voltages should this pack's power fade and end? From its own sag, curve and BMS line.

Full power down to a fifth of the charge asks for a derate voltage of the rest voltage there less
the sag at the limit. Between derate and stop the current settles where
I = I_limit (V - stop) / (derate - stop) meets V = rest - I R; it hunts when the band is narrower
than the sag I_limit R, so the band is at least that wide.
"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.setup_evidence import Evidence
from analyzer.setup_finding import MARGIN, above, ceil_v, num
from analyzer.setup_paper import rest_v
from analyzer.setup_sums import allowed_a, total
from importers.setup_types import Setup

FULL_POWER_PCT = 20.0
"""Full power should last down to this charge. Our choice."""
LEFT_PCT = 4.0
"""Power should be gone with this much left: keep 3 to 4 % or more (common practice, no source)."""
LEAST_BAND_V = 0.10
"""A derate band narrower than this per cell acts like a switch. Our choice."""
GOOD_BAND_V = 0.20
"""A band of this much per cell is felt and not yet in the way. Our choice."""
ABOVE_EMPTY_V = 0.05
"""... and this far per cell above empty. Our choice."""
NEAR_BMS_V = 0.10
"""The stop voltage should lie this far per cell above the BMS's low line: the line counts for
the lowest cell, and cells under load differ. Our choice, within common practice."""


@dataclass(frozen=True, slots=True)
class Derived:
    """Voltages for this pack, and the figures they come from."""

    stop_v: float
    derate_v: float
    band_v: float
    current_a: float
    sag_v: float
    stop_why: str
    derate_why: str


def planned_current_a(setup: Setup, evidence: Evidence) -> float:
    """What all drives and lights will draw once the sum is in order; without limits and ratings
    what empties the pack in an hour."""
    allowed = allowed_a(setup, "drive", evidence.drive_overshoot)
    summed = total(setup, "drive")
    room = None if allowed is None else allowed[0]
    if summed is not None and not summed.missing:
        return summed.value if room is None else min(summed.value, room)
    return setup.pack.capacity_ah if room is None else room


def stop_floor_v(setup: Setup, evidence: Evidence) -> float:
    """The lowest pack voltage at which power should be gone: above empty, and above the BMS's low
    line by a tenth of the way from full and by the spread of the cells, so that the controllers
    have faded before the lowest cell gets there."""
    floor = setup.cell_empty_v + ABOVE_EMPTY_V
    low = setup.bms.cell_low_v
    if low is not None:
        apart = max(NEAR_BMS_V, MARGIN * (setup.cell_full_v - low), evidence.cell_spread_v or 0.0)
        floor = max(floor, low + apart)
    return floor * setup.pack.series


def derive_voltages(setup: Setup, evidence: Evidence) -> Derived:
    """Where power should fade and be gone, rounded up to 0.1 V."""
    series = setup.pack.series
    current_a = planned_current_a(setup, evidence)
    sag_v = current_a * evidence.resistance_ohm.value
    full_power_v = rest_v(setup, FULL_POWER_PCT) - sag_v
    band_v = max(GOOD_BAND_V * series, sag_v)
    floor_v = stop_floor_v(setup, evidence)
    stop_v = ceil_v(max(floor_v, min(rest_v(setup, LEFT_PCT), full_power_v - band_v)))
    derate_v = ceil_v(max(full_power_v, stop_v + band_v))
    sag = f"{num(sag_v, 'V')} of sag at {num(current_a, 'A')} ({evidence.resistance_from})"
    stop_why = _stop_why(setup, stop_v, floor_v, full_power_v - band_v)
    if above(derate_v, ceil_v(full_power_v)):
        derate_why = f"leaves {num(band_v, 'V')} above the stop voltage, the width that {sag} needs"
    else:
        derate_why = (
            f"gives full power down to {FULL_POWER_PCT:.0f} % charge: "
            f"{num(rest_v(setup, FULL_POWER_PCT), 'V')} at rest less {sag}"
        )
    return Derived(stop_v, derate_v, band_v, current_a, sag_v, stop_why, derate_why)


def _stop_why(setup: Setup, stop_v: float, floor_v: float, under_band_v: float) -> str:
    """Which of the three bounds the stop voltage comes from."""
    line = "empty and the BMS's low line" if setup.bms.cell_low_v is not None else "empty"
    if not above(stop_v, ceil_v(floor_v)):
        return f"stays clear of {line}"
    if not above(stop_v, ceil_v(under_band_v)) and above(rest_v(setup, LEFT_PCT), under_band_v):
        return f"stays clear of {line} and under the derate voltage by a band in which power fades"
    return f"stays clear of {line} and ends the ride with {LEFT_PCT:.0f} % of charge left"

"""How far, how long, how much energy and charge went out of the pack and came back."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Totals:
    """A ride's sums; None where the channels for one are missing."""

    duration_s: float
    distance_m: float | None
    energy_out_wh: float | None
    energy_back_wh: float | None
    charge_out_ah: float | None
    charge_back_ah: float | None

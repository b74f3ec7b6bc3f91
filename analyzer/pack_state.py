"""What the ride says of the pack: resistance, rest voltage, charge, capacity."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.estimate import Estimate
from analyzer.quantities import Floats


@dataclass(frozen=True, slots=True, eq=False)
class PackFit:
    """The fitted pack over the whole ride; n values, one per row of `ride.table`.

    V = rest voltage(charge drawn) - sum of R_k * lag_k(current).
    """

    rest_voltage_v: Floats
    """What the pack would read after long rest at that moment; NaN across holes."""
    modelled_v: Floats
    taus_s: tuple[float, ...]
    resistances_ohm: tuple[float, ...]
    """R_k of each time constant; the first is the instant part."""
    residual_sd_v: float
    voltage_lag_s: float
    """By how much the voltage reading trails the current reading (fitted)."""


@dataclass(frozen=True, slots=True)
class PackState:
    """The pack's numbers as the contract names them; None with a note where unknown."""

    resistance_10s_ohm: Estimate | None
    resistance_10s_25c_ohm: Estimate | None
    resistance_instant_ohm: Estimate | None
    temperature_c: float | None
    rest_voltage_start_v: Estimate | None
    rest_voltage_end_v: Estimate | None
    state_of_charge_start_pct: Estimate | None
    state_of_charge_end_pct: Estimate | None
    capacity_ah: Estimate | None

"""A hill not yet ridden, and what comes of riding it: the data of a forward run.

Arrays have d values, one per draw, or (drives, d) where a drive has its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.quantities import Bools, Floats

COUNTS_M = 10.0
"""A track climbs (descends) where it rises (falls) by this on the whole, dips taken off [m]. The
contract's for climbs."""


@dataclass(frozen=True, slots=True, eq=False)
class HillAhead:
    """A hill not yet ridden: its profile and how it is met."""

    distance_m: Floats
    height_m: Floats
    charge_pct: float
    temp_c: float
    speed_mps: float | None
    """The speed wished for; None: as fast as the limits allow."""
    extra_mass_kg: float = 0.0
    start_altitude_m: float = 200.0
    name: str | None = None

    @property
    def length_m(self) -> float:
        """Along the road."""
        return float(self.distance_m[-1] - self.distance_m[0])

    @property
    def grade_pct(self) -> float:
        """Mean grade from bottom to top."""
        return 100.0 * float(self.height_m[-1] - self.height_m[0]) / max(self.length_m, 1e-9)

    @property
    def is_track(self) -> bool:
        """Whether it has a profile of its own, more than one grade."""
        return self.height_m.size > 2

    @property
    def rise_m(self) -> float:
        """The most it gains from any place to a later one."""
        return float(np.max(self.height_m - np.minimum.accumulate(self.height_m)))

    @property
    def fall_m(self) -> float:
        """The most it loses from any place to a later one."""
        return float(np.max(np.maximum.accumulate(self.height_m) - self.height_m))

    @property
    def climbs(self) -> bool:
        """Whether a way up is asked about; a road that neither rises nor falls counts as one."""
        if not self.is_track:
            return self.grade_pct >= 0
        return self.rise_m >= COUNTS_M or (self.fall_m < COUNTS_M and self.grade_pct >= 0)

    @property
    def descends(self) -> bool:
        """Whether a way down is asked about."""
        if not self.is_track:
            return self.grade_pct < 0
        return self.fall_m >= COUNTS_M or not self.climbs


def even_hill(
    grade_pct: float,
    length_m: float,
    charge_pct: float,
    temp_c: float,
    speed_mps: float | None = None,
    extra_mass_kg: float = 0.0,
) -> HillAhead:
    """A hill of one grade; a negative grade is a descent."""
    return HillAhead(
        np.array([0.0, length_m]),
        np.array([0.0, grade_pct / 100.0 * length_m]),
        charge_pct,
        temp_c,
        speed_mps,
        extra_mass_kg,
    )


@dataclass(frozen=True, slots=True, eq=False)
class HillRun:
    """What came of it; d values each, (drives, d) where a drive has its own. Currents and voltages
    are extreme 1 s means."""

    reached: Bools
    reduced_at_m: Floats
    """Where power is first reduced; NaN where it never is."""
    speed_top_mps: Floats
    time_s: Floats
    pack_peak_a: Floats
    pack_brake_peak_a: Floats
    """Largest current into the pack, positive; 0 without braking."""
    lowest_v: Floats
    highest_v: Floats
    rest_low_v: Floats
    """Rest voltage at the moment of the lowest voltage."""
    rest_high_v: Floats
    charge_used_ah: Floats
    battery_peak_a: Floats
    battery_brake_peak_a: Floats
    phase_peak_a: Floats
    phase_brake_peak_a: Floats
    motor_at_top_c: Floats
    """Where the hill ends, or the ride on it."""
    motor_top_c: Floats
    """Highest, the minutes beyond the top included."""
    controller_top_c: Floats
    """NaN where no ride tells how controllers warm."""
    mechanical_peak_w: Floats
    mechanical_j: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PerDraw:
    """What differs from draw to draw in a search: each draw looks for its own edge."""

    charge_pct: Floats
    temp_c: Floats
    steeper: Floats
    """Factor on the hill's grade."""

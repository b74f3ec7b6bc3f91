"""Do the sides carry alike, and at what current does each drive really saturate?"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.estimate import Estimate
from analyzer.events import Cause
from analyzer.words import BalanceVerdict, Severity


@dataclass(frozen=True, slots=True)
class Share:
    """One drive's part of all drives' battery current under load [%]."""

    drive: str
    drive_pct: Estimate | None
    brake_pct: Estimate | None
    drive_straight_pct: Estimate | None = None
    drive_turning_pct: Estimate | None = None


CURRENT_LIMITS = ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a")
"""Settings of a drive whose plateau shows what is really in force: the fields of `InForce`."""


@dataclass(frozen=True, slots=True)
class InForce:
    """The currents at which one drive really saturates; None where it never does."""

    drive: str
    battery_drive_a: Estimate | None
    phase_drive_a: Estimate | None
    battery_brake_a: Estimate | None
    phase_brake_a: Estimate | None


@dataclass(frozen=True, slots=True)
class Balance:
    """Left against right (or any number of drives)."""

    shares: tuple[Share, ...]
    speed_ratio: Estimate | None
    verdict: BalanceVerdict
    severity: Severity | None
    causes: tuple[Cause, ...]
    load_s: float
    """Seconds of common load the verdict rests on."""

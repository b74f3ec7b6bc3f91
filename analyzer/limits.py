"""Limit by limit: how near did the ride come, and what does that prove?"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.words import LimitRole, Verdict


@dataclass(frozen=True, slots=True)
class Tried:
    """The conditions a verdict was earned under; it says nothing beyond them."""

    charge_pct: tuple[float, float] | None
    pack_temp_c: tuple[float, float] | None
    mass_kg: tuple[float, float] | None
    climbs: int


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """One limit of the setup against the most the ride asked of it."""

    limit: str
    role: LimitRole
    set: float
    unit: str
    seen: float | None
    """Highest mean over `window_s`, in the limit's own direction and unit."""
    window_s: float
    seen_10s: float | None
    seen_60s: float | None
    verdict: Verdict
    exercised_pct: float | None
    tried: Tried
    at_s: float | None = None
    """When the most was seen: the end of its window."""
    at_least: bool = False
    text: str = ""
    """One sentence for the table: what the verdict rests on."""

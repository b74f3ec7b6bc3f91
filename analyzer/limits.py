"""Limit by limit: how near did the ride come, and what does that prove?"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.words import LimitRole, Verdict

WORKS_FROM_PCT, OVERSHOOTS_FROM_PCT = 95.0, 105.0
"""A limiter works between these, per cent of it. The contract's."""
EXCEEDED_FROM_PCT, TOUCHED_FROM_PCT, HOLDS_FROM_PCT = 102.0, 95.0, 60.0
"""A rating, trip or heat limit, per cent of it. The contract's."""


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


def judge(role: LimitRole, used_pct: float, accuracy_pct: float = 0.0) -> Verdict:
    """The contract's word for a limit of which `used_pct` per cent were seen; a reading less exact
    than that (a coarse step, noise in the highest second) moves the line above which a limiter
    overshoots or a rating counts as exceeded."""
    if role is LimitRole.LIMITER:
        if used_pct > max(OVERSHOOTS_FROM_PCT, 100.0 + accuracy_pct):
            return Verdict.OVERSHOOTS
        return Verdict.WORKS if used_pct >= WORKS_FROM_PCT else Verdict.NOT_REACHED
    if used_pct > max(EXCEEDED_FROM_PCT, 100.0 + accuracy_pct):
        return Verdict.EXCEEDED
    if used_pct >= TOUCHED_FROM_PCT:
        return Verdict.TOUCHED
    return Verdict.HOLDS if used_pct >= HOLDS_FROM_PCT else Verdict.NOT_EXERCISED

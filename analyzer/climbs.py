"""Where did the road rise, and what did it ask of the build?"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.estimate import Estimate
from analyzer.words import Governor, GradeSource


@dataclass(frozen=True, slots=True)
class Governed:
    """Which limit, or the rider, governed one drive over a climb: per cent of its time."""

    drive: str
    parts: tuple[tuple[Governor, float], ...]


@dataclass(frozen=True, slots=True)
class Climb:
    """A stretch that gains 10 m or more without a dip of more than 2 m, mean grade 2 % or more."""

    start_s: float
    end_s: float
    length_m: float
    gain_m: float
    grade_pct: Estimate
    grade_source: GradeSource
    peak_pack_current_a: float | None
    mean_pack_current_a: float | None
    min_voltage_v: float | None
    margin_to_derate_v: float | None
    top_motor_temp_c: tuple[tuple[str, float | None], ...]
    governed: tuple[Governed, ...]
    limits_touched: tuple[str, ...]
    hill: str | None = None
    """The rider's own name for it, from `[[hills]]`."""

"""Months of rides as summaries with known truth: own ageing law, own curve, own errors.

The summaries carry what one ride's analysis would find, with that analysis' measured errors; the
analysis of samples itself is tested elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

import numpy as np

from analyzer.ageing_parts import Kept
from analyzer.summary import RideSummary

BEGIN = datetime(2031, 3, 1, 9, tzinfo=timezone(timedelta(hours=1)))


@dataclass(frozen=True)
class BookTruth:
    growth_pct_per_year: float
    fade_pct_per_year: float
    jump_at: int | None
    jump_pct: float
    capacity_now_ah: float
    resistance_now_25c_ohm: float


def make_book(
    seed: int,
    *,
    rides: int = 80,
    months: float = 14,
    growth_pct_per_year: float = 0.0,
    fade_pct_per_year: float = 0.0,
    jump_pct: float = 0.0,
    jump_part: str = "instant",
    curve_error_pct: float = 0.0,
    rated_ah: float = 20.0,
) -> tuple[list[Kept], BookTruth]:
    """A book of summaries; `curve_error_pct` bends the state of charge the analysis sees."""
    rng = np.random.default_rng(seed)
    span_days = months * 30.44
    days = np.sort(rng.uniform(0, span_days, rides))
    years = (days - days[0]) / 365.25
    season = 17.5 - 17.5 * np.cos(2 * np.pi * (days + rng.uniform(0, 365)) / 365.25)
    temp = np.clip(season + rng.normal(0, 4, rides), 0, 38)
    e_kj = rng.uniform(13, 30)
    heat = np.exp(e_kj * 1000 / 8.314462618 * (1 / (temp + 273.15) - 1 / 298.15))
    r_new, instant_part = rng.uniform(0.05, 0.12), rng.uniform(0.35, 0.6)
    jump_at = int(rng.integers(rides // 6, rides - rides // 6)) if jump_pct else None
    step = np.zeros(rides)
    if jump_at is not None:
        step[jump_at:] = r_new * jump_pct / 100 * (1 + growth_pct_per_year / 100 * years[jump_at])
    grown = r_new * (1 + growth_pct_per_year / 100 * years)
    instant = grown * instant_part * np.exp((np.log(heat)) * 0.6)
    slow = grown * (1 - instant_part) * heat
    instant += step if jump_part == "instant" else 0.0
    slow += step * heat if jump_part == "slow" else 0.0
    deep = rng.random(rides) < 1 / 3
    used = np.where(deep, rng.uniform(30, 70, rides), rng.uniform(4, 25, rides))
    start = np.clip(rng.uniform(55, 99, rides), used + 12, 99)
    bend = curve_error_pct * np.sin(rng.uniform(0, 6) + np.array([0.0]))
    gain = rng.normal(1, 0.012)
    c_new = rated_ah * rng.uniform(0.94, 1.0)
    capacity = c_new * (1 - fade_pct_per_year / 100 * years)
    kept = []
    for i in range(rides):
        moved = capacity[i] * used[i] / 100 * gain

        def level(pct: float) -> float:
            bent = pct + float(bend[0]) * np.sin(np.pi * pct / 100)
            return float(np.clip(bent + rng.normal(0, 0.7), 0, 100))

        r10 = (instant[i] + slow[i]) * rng.lognormal(0, 0.02) / gain
        inst = instant[i] * rng.lognormal(0, 0.03) / gain
        seen_temp = float(temp[i] + rng.normal(0, 0.7))
        if rng.random() < 0.03:
            r10 *= rng.uniform(1.1, 1.4)
        wide = 0.05 * r10
        a, b = level(start[i]), level(start[i] - used[i])
        kept.append(
            Kept(
                f"ride-{i:03d}",
                RideSummary(
                    kind="ride",
                    start=(BEGIN + timedelta(days=float(days[i]))).isoformat(),
                    origin="pack",
                    rated_ah=rated_ah,
                    duration_s=1500.0,
                    distance_m=9000.0,
                    charge_out_ah=moved,
                    charge_back_ah=0.0,
                    energy_out_wh=moved * 50,
                    energy_back_wh=0.0,
                    temperature_c=seen_temp,
                    temperature_logged=True,
                    resistance_10s_ohm=(r10, r10 - wide, r10 + wide),
                    resistance_10s_25c_ohm=(r10, 0.7 * r10, 1.3 * r10),
                    resistance_instant_ohm=(inst, 0.9 * inst, 1.1 * inst),
                    charge_start_pct=(a, a - 8, a + 8),
                    charge_end_pct=(b, b - 8, b + 8),
                    capacity_ah=None,
                    hours_full=0.0,
                    hours_hot=0.0,
                    charged_cold_ah=0.0,
                    share_pct=None,
                    speed_ratio=None,
                ),
            )
        )
    truth = BookTruth(
        growth_pct_per_year,
        fade_pct_per_year,
        jump_at,
        jump_pct,
        float(capacity[-1]),
        float(grown[-1] + step[-1]),
    )
    return kept, truth

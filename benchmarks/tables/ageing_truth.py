"""Books with known ageing: errors, coverage, false trends, jumps found. Prints the table."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))

from analyzer.ageing_capacity import capacity_course
from analyzer.ageing_resistance import resistance_course
from simulator.books import make_book

CASES = (
    ("no ageing", {}),
    ("growth 10, fade 3", {"growth_pct_per_year": 10.0, "fade_pct_per_year": 3.0}),
    ("growth 20, fade 6", {"growth_pct_per_year": 20.0, "fade_pct_per_year": 6.0}),
    ("no ageing, 15 % instant jump", {"jump_pct": 15.0}),
    (
        "growth 8, 15 % slow jump",
        {"growth_pct_per_year": 8.0, "jump_pct": 15.0, "jump_part": "slow"},
    ),
    ("fade 4, built-in curve off by 8", {"fade_pct_per_year": 4.0, "curve_error_pct": 8.0}),
)


def row(name: str, options: dict[str, object], seeds: range) -> str:
    growth, fade, jumps, parts = [], [], [], []
    own = "curve_error_pct" not in options
    for seed in seeds:
        kept, truth = make_book(seed, **options)
        course = resistance_course(kept)
        capacity = capacity_course(kept, own_curve=own)
        g, f = course.growth_pct_per_year, capacity.fade_pct_per_year
        growth.append(
            (
                g.value - truth.growth_pct_per_year,
                g.low <= truth.growth_pct_per_year <= g.high,
                g.low > 0 or g.high < 0,
            )
        )
        fade.append(
            (
                f.value - truth.fade_pct_per_year,
                f.low <= truth.fade_pct_per_year <= f.high,
                f.low > 0 or f.high < 0,
            )
        )
        near = [
            j
            for j in course.jumps
            if truth.jump_at is not None and abs(j.first - truth.jump_at) <= 3
        ]
        jumps.append((bool(near), len(course.jumps) - len(near)))
        parts += [j.part for j in near]
    g, f, j = np.array(growth, float), np.array(fade, float), np.array(jumps, float)
    right = sum(one == options.get("jump_part", "instant") for one in parts)
    return (
        f"{name:34} growth: median err {np.median(np.abs(g[:, 0])):.2f} p95 "
        f"{np.quantile(np.abs(g[:, 0]), 0.95):.2f} cover {g[:, 1].mean():.2f} "
        f"signif {g[:, 2].mean():.2f} | fade: median err {np.median(np.abs(f[:, 0])):.2f} p95 "
        f"{np.quantile(np.abs(f[:, 0]), 0.95):.2f} cover {f[:, 1].mean():.2f} signif "
        f"{f[:, 2].mean():.2f} | jumps dated {j[:, 0].mean():.2f} false per book "
        f"{j[:, 1].mean():.3f} part right {right}/{len(parts)}"
    )


def main(seeds: int = 60) -> None:
    for name, options in CASES:
        print(row(name, options, range(1000, 1000 + seeds)))


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))

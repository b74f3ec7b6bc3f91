"""Months of rides by another hand, through `book add` and `ageing`, against what was true.

    PYTHONPATH=.:tests python benchmarks/tables/months_truth.py [BOOKS] [FIRST SEED] [--only CASE…]

`tests/probe/months.py` writes the logs, with equations of its own, and nothing is fitted on it. The
real command line reads them. One row per book: growth and fade with their intervals beside the
truth, jumps and marks dated; then over each case's books: median error, share of intervals that
hold the truth, trends claimed where there is none. HILLPROOF_TABLE_CACHE keeps the books.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from probe import months
from probe.months import Plan

AGED = Plan(growth_pct=11, fade_pct=4.5)
CASES = {
    "no ageing": Plan(),
    "aged": AGED,
    "aged, charge log a month": replace(AGED, charges=True),
    "aged, contact": replace(AGED, contact_pct=16),
    "aged, built-in curve": replace(AGED, own_curve=False),
    "aged, logger changed": replace(AGED, change="logger"),
    "aged, scale changed": replace(AGED, change="scale"),
    "no ageing, rider changed": Plan(change="rider"),
    "no ageing, temperature not logged": Plan(temperature=False),
}
KINDS = ("scooter", "board", "commuter", "barrow", "bicycle", "fast_board", "trike", "two_seater")
NEAR_RIDES = 3


@dataclass(frozen=True)
class Row:
    """One book: error and whether the interval holds, and what was claimed."""

    growth_off: float | None
    growth_held: bool
    fade_off: float | None
    fade_held: bool
    false: int
    dated: int
    stray: int
    marked: int


def answer_of(book: months.Book, folder: Path) -> dict[str, Any]:
    """The JSON of `ageing` on the book, added by the command line."""
    home = folder / "book"
    tool = [sys.executable, "-m", "hillproof"]
    if not home.is_dir():
        places = [str(one) for one in months.rides(book, folder / "logs")]
        done = subprocess.run(
            [*tool, "book", "add", *places, "--book", str(home), "--quiet"],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            print(done.stderr.strip()[:300])
        for place in places:
            for one in Path(place).iterdir():
                one.unlink()
    done = subprocess.run(
        [*tool, "ageing", "--book", str(home), "--json", "-", "--quiet"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return dict(json.loads(done.stdout))


def judge(name: str, book: months.Book, answer: dict[str, Any]) -> Row:
    """One answer against its truth, printed and kept."""
    plan = book.plan
    resistance, capacity = answer["resistance"] or {}, answer["capacity"] or {}
    growth, fade = resistance.get("growth_pct_per_year"), capacity.get("fade_pct_per_year")
    jumps = resistance.get("jumps", [])
    places = [_place(book, one["date"]) for one in jumps]
    near = [p for p in places if book.jump_at is not None and abs(p - book.jump_at) <= NEAR_RIDES]
    marks = [one["text"] for one in answer["notes"] if one["about"] == "resistance.jumps"]
    steady = not plan.growth_pct, not plan.fade_pct
    false = sum(
        quiet and one is not None and not one["low"] <= 0 <= one["high"]
        for quiet, one in zip(steady, (growth, fade), strict=True)
    )
    print(
        f"{name}: growth {_text(growth)} was {book.growth_pct_per_year:.1f}, "
        f"fade {_text(fade)} was {plan.fade_pct:.1f}, jumps at {places} was {book.jump_at}, "
        f"{len(marks)} marks",
        flush=True,
    )
    return Row(
        _off(growth, book.growth_pct_per_year), _held(growth, book.growth_pct_per_year),
        _off(fade, plan.fade_pct), _held(fade, plan.fade_pct), false,
        min(len(near), 1), len(places) - min(len(near), 1), len(marks),
    )  # fmt: skip


def _place(book: months.Book, date: str) -> int:
    """The first ride of this day."""
    began = [months.FIRST_DAY + timedelta(days=float(day)) for day in book.days]
    asked = datetime.fromisoformat(date).date()
    return int(np.argmin([abs((one.date() - asked).days) for one in began]))


def _text(one: dict[str, float] | None) -> str:
    return "none" if one is None else f"{one['value']:.1f} ({one['low']:.1f} to {one['high']:.1f})"


def _off(one: dict[str, float] | None, truth: float) -> float | None:
    return None if one is None else one["value"] - truth


def _held(one: dict[str, float] | None, truth: float) -> bool:
    return one is not None and one["low"] <= truth <= one["high"]


def summed(rows: list[Row]) -> str:
    """Over the books of a case."""
    lines = []
    for what, off, held in (
        ("growth", [r.growth_off for r in rows], [r.growth_held for r in rows]),
        ("fade", [r.fade_off for r in rows], [r.fade_held for r in rows]),
    ):
        known = [one for one in off if one is not None]
        if known:
            lines.append(
                f"{what} off {np.median(np.abs(known)):.2f} (most {np.abs(known).max():.2f}, bias "
                f"{np.median(known):+.2f}, held {sum(held)} of {len(known)}) points"
            )
    return "; ".join(lines) + (
        f"; false trends {sum(r.false for r in rows)}; jumps dated {sum(r.dated for r in rows)}, "
        f"false {sum(r.stray for r in rows)}; marks {sum(r.marked for r in rows)}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("books", type=int, nargs="?", default=4)
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("--only", nargs="*")
    args = parser.parse_args()
    cache = os.environ.get("HILLPROOF_TABLE_CACHE")
    for case in args.only or CASES:
        rows = []
        for seed in range(args.first, args.first + args.books):
            kind = KINDS[seed % len(KINDS)]
            book = months.draw(seed, replace(CASES[case], kind=kind))
            name = f"{case}, {kind} {seed}"
            with tempfile.TemporaryDirectory() as own:
                folder = Path(cache) / name.replace(" ", "_") if cache else Path(own)
                rows.append(judge(name, book, answer_of(book, folder)))
        print(f"== {case}, {len(rows)} books: {summed(rows)}", flush=True)


if __name__ == "__main__":
    main()

"""Choices on a grid: against trying them all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.likely_choices import COUNTS_WITHIN, flood, valley


@dataclass
class Tried:
    score: float


def test_two_hollows_apart_are_both_found_with_fewer_trials_than_all() -> None:
    row, column = np.mgrid[0:9, 0:15]
    one = 3.0 * (row - 1) ** 2 + 2.0 * (column - 12) ** 2
    other = 1.0 + 3.0 * (row - 7) ** 2 + 2.0 * (column - 4) ** 2
    scores = np.minimum(one, other)
    asked = []

    def tried(choice: tuple[int, int]) -> Tried:
        asked.append(choice)
        return Tried(float(scores[choice]))

    size = (9, 15)
    found = flood(size, tried, valley(size, tried, range(9), (4, 7)))
    counts = {(int(r), int(c)) for r, c in np.argwhere(scores < scores.min() + COUNTS_WITHIN)}
    assert counts <= set(found)
    assert len(asked) == len(set(asked)) < scores.size

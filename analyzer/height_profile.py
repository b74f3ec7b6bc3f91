"""How high is the road along the way, and how sure is a difference of two heights?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import Floats

CELL_M = 10.0
"""Length of one cell of the profile [m]. Our choice: a third of the shortest ramp that matters."""
MAX_CELLS = 30_000
"""A longer way gets longer cells. Our choice: bounds the work for a day's ride."""
MOST_CELLS = 1_000_000
"""Cells times pairs of places looked at together: some 16 MB. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One choice of how far road and readings wander, and the height under it."""

    chance: float
    """How probable this choice is; those of one profile sum to 1."""
    height_m: Floats
    """m heights."""
    factor: Floats | None
    """Upper banded Cholesky factor of the posterior precision of road and reading error, by turns;
    None without readings."""
    lean: Floats
    """(m, k): how the height answers to each fitted parameter."""
    lean_cov: Floats
    """(k, k): covariance of those parameters."""

    def difference_variance_m2(self, contrast: Floats) -> Floats:
        """Variance of p differences of heights, (m, p) weights of the m heights in each."""
        variance = np.zeros(contrast.shape[1])
        if self.factor is not None:
            from scipy.linalg import cho_solve_banded

            by_turns = np.zeros((2 * contrast.shape[0], contrast.shape[1]))
            by_turns[0::2] = contrast
            solved = cho_solve_banded((self.factor, False), by_turns, check_finite=False)
            variance += np.einsum("ij,ij->j", by_turns, solved)
        if self.lean.shape[1]:
            along = self.lean.T @ contrast
            variance += np.einsum("ij,ik,kj->j", along, self.lean_cov, along)
        return variance


@dataclass(frozen=True, slots=True, eq=False)
class HeightProfile:
    """The road's height every `cell_m` metres and what its differences are worth.

    What nobody knows before the ride, how far the readings' error and the balance's wander, has
    several answers: the height is their mean, weighed by how probable each is, and the spread of a
    difference holds both what each leaves open and how far they disagree.
    """

    cell_m: float
    height_m: Floats
    """m heights, at 0, cell_m, 2 cell_m, ..."""
    candidates: tuple[Candidate, ...]
    walk_m2_per_m: float = 0.0
    """Variance of the height per metre that no parameter explains, where nothing was read."""

    @property
    def distance_m(self) -> Floats:
        """The m places of `height_m`."""
        return np.arange(self.height_m.size, dtype=np.float64) * self.cell_m

    def height_at(self, distance_m: float | Floats) -> Floats:
        """Height at a place [m]."""
        return np.asarray(np.interp(distance_m, self.distance_m, self.height_m), np.float64)

    def difference_sd_m(self, from_m: Floats, to_m: Floats) -> Floats:
        """Standard deviation of the height difference between pairs of places [m]."""
        starts, ends = np.atleast_1d(from_m), np.atleast_1d(to_m)
        if starts.size == 0:
            return np.zeros(0)
        # Each pair takes a column of twice the profile's length: some megabytes at a time.
        some = max(MOST_CELLS // max(self.height_m.size, 1), 1)
        parts = [
            self._some_differences_sd_m(starts[at : at + some], ends[at : at + some])
            for at in range(0, starts.size, some)
        ]
        return np.concatenate(parts)

    def _some_differences_sd_m(self, from_m: Floats, to_m: Floats) -> Floats:
        m, pairs = self.height_m.size, from_m.size
        contrast = np.zeros((m, pairs))
        for places, sign in ((to_m, 1.0), (from_m, -1.0)):
            cell, part = cell_of(np.asarray(places, np.float64), self.cell_m, m)
            contrast[cell, np.arange(pairs)] += sign * (1 - part)
            contrast[cell + 1, np.arange(pairs)] += sign * part
        variance = self.walk_m2_per_m * np.abs(to_m - from_m)
        mean = self.height_m @ contrast
        for one in self.candidates:
            apart = one.height_m @ contrast - mean
            variance = variance + one.chance * (one.difference_variance_m2(contrast) + apart**2)
        return np.asarray(np.sqrt(np.clip(variance, 0.0, None)), np.float64)


def cell_of(distance_m: Floats, cell_m: float, m: int) -> tuple[NDArray[np.intp], Floats]:
    """The cell a place lies in and how far into it (0 to 1), for m heights."""
    at = np.clip(distance_m / cell_m, 0.0, m - 1 - 1e-9)
    cell = np.floor(at).astype(np.intp)
    return cell, at - cell


def cells_for(length_m: float) -> tuple[float, int]:
    """Cell length [m] and number of heights for a way of this length."""
    cell_m = max(CELL_M, length_m / MAX_CELLS)
    return cell_m, max(int(np.ceil(length_m / cell_m)) + 1, 5)

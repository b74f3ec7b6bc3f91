"""How high is the road along the way, from noisy height readings, and how sure is that?

Between the readings the road's grade is taken to wander: its change from cell to cell is normal
with one unknown spread, and the readings scatter about the road with another. Both are chosen so
that the readings are most probable (restricted likelihood), so a flat ride with 3 m of scatter
comes out flat and a sharp little hill stays a hill. Sources: Whittaker 1923, Proc. Edinburgh
Math. Soc. 41, 63 (the smoother); Wahba 1985, Ann. Statist. 13, 1378 (its likelihood).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.quantities import Floats

CELL_M = 10.0
"""Length of one cell of the profile [m]. Our choice: a third of the shortest ramp that matters."""
MAX_CELLS = 60_000
"""A longer way gets longer cells. Our choice: bounds the memory of a day's ride."""
NOISE_FLOOR_M = 0.05
"""No height channel is better than this [m]. Our choice."""
OUTLIER_SDS = 4.0
"""A reading this many scatters off the road is left out. Our choice."""
STIFFNESS = np.logspace(-1.0, 7.0, 17)
"""Tried ratios of reading variance to the variance of the change of slope per cell."""


@dataclass(frozen=True, slots=True, eq=False)
class HeightProfile:
    """The road's height every `cell_m` metres and what its differences are worth."""

    cell_m: float
    height_m: Floats
    """m heights, at 0, cell_m, 2 cell_m, ..."""
    noise_m: float
    """Scatter of one reading about the road."""
    bands: Floats
    """Upper bands of the posterior precision (2, m rows), for `difference_sd_m`."""
    correlated_m: float = 0.0
    """Wandering error of the height channel, known where the vehicle stood still."""

    @property
    def distance_m(self) -> Floats:
        """The m places of `height_m`."""
        return np.arange(self.height_m.size, dtype=np.float64) * self.cell_m

    def height_at(self, distance_m: float | Floats) -> Floats:
        """Height at a place [m]."""
        return np.asarray(np.interp(distance_m, self.distance_m, self.height_m), np.float64)

    def difference_sd_m(self, from_m: Floats, to_m: Floats) -> Floats:
        """Standard deviation of the height difference between pairs of places [m]."""
        from scipy.linalg import solveh_banded

        m = self.height_m.size
        pairs = np.atleast_1d(from_m).size
        if pairs == 0:
            return np.zeros(0)
        contrast = np.zeros((m, pairs))
        for places, sign in ((np.atleast_1d(to_m), 1.0), (np.atleast_1d(from_m), -1.0)):
            cell, part = _cell_of(np.asarray(places, np.float64), self.cell_m, m)
            contrast[cell, np.arange(pairs)] += sign * (1 - part)
            contrast[cell + 1, np.arange(pairs)] += sign * part
        solved = solveh_banded(self.bands, contrast, check_finite=False)
        own = np.einsum("ij,ij->j", contrast, solved)
        return np.asarray(np.sqrt(np.clip(own, 0.0, None) + 2 * self.correlated_m**2))


def _cell_of(distance_m: Floats, cell_m: float, m: int) -> tuple[NDArray[np.intp], Floats]:
    at = np.clip(distance_m / cell_m, 0.0, m - 1 - 1e-9)
    cell = np.floor(at).astype(np.intp)
    return cell, at - cell


def _stiff_bands(m: int) -> Floats:
    """Upper bands of D'D for second differences of m heights."""
    bands = np.zeros((3, m))
    for offset, weight in ((0, 1.0), (1, -2.0), (2, 1.0)):
        bands[2, offset : offset + m - 2] += weight**2
    bands[1, 1 : m - 1] += -2.0
    bands[1, 2:m] += -2.0
    bands[0, 2:] += 1.0
    return bands


def _data_bands(cell: NDArray[np.intp], part: Floats, weight: Floats, m: int) -> Floats:
    bands = np.zeros((3, m))
    np.add.at(bands[2], cell, weight * (1 - part) ** 2)
    np.add.at(bands[2], cell + 1, weight * part**2)
    np.add.at(bands[1], cell + 1, weight * part * (1 - part))
    return bands


def smooth_height(
    distance_m: Floats, reading_m: Floats, weight: Floats, *, noise_floor_m: float = NOISE_FLOOR_M
) -> HeightProfile | None:
    """The road's height along the way from n readings at n places (rising or equal); `weight` is
    each reading's worth. None with fewer than 8 readings or under 30 m of way."""
    good = np.isfinite(reading_m) & (weight > 0)
    if good.sum() < 8 or np.ptp(distance_m[good]) < 3 * CELL_M:
        return None
    distance, reading, worth = distance_m[good], reading_m[good], weight[good].copy()
    length = float(distance_m[-1])
    cell_m = max(CELL_M, length / MAX_CELLS)
    m = max(int(np.ceil(length / cell_m)) + 1, 5)
    profile = None
    for _ in range(3):
        profile = _most_probable(distance, reading, worth, cell_m, m, noise_floor_m)
        off = np.abs(reading - profile.height_at(distance))
        centre = float(np.median(off[worth > 0])) * 1.4826
        out = off > OUTLIER_SDS * max(centre, noise_floor_m, 0.3)
        if not bool((out & (worth > 0)).any()):
            break
        worth[out] = 0.0
    return profile


def _most_probable(
    distance: Floats, reading: Floats, weight: Floats, cell_m: float, m: int, floor_m: float
) -> HeightProfile:
    from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded

    cell, part = _cell_of(distance, cell_m, m)
    level = float(np.average(reading, weights=weight))
    above = reading - level
    data = _data_bands(cell, part, weight, m)
    moment = np.zeros(m)
    np.add.at(moment, cell, weight * above * (1 - part))
    np.add.at(moment, cell + 1, weight * above * part)
    total = float(np.sum(weight * above**2))
    count = float((weight > 0).sum())
    stiff = _stiff_bands(m)
    best: tuple[float, Floats, float, Floats] | None = None
    for ratio in STIFFNESS:
        bands = data + ratio * stiff
        bands[2] += 1e-9
        try:
            factor = cholesky_banded(bands, check_finite=False)
        except LinAlgError:
            continue
        height = cho_solve_banded((factor, False), moment, check_finite=False)
        misfit = max(total - float(moment @ height), 1e-9)
        variance = max(misfit / max(count - 2, 1.0), floor_m**2)
        log_det = 2 * float(np.log(factor[-1]).sum())
        score = (
            (count - 2) * np.log(variance) + misfit / variance + log_det - (m - 2) * np.log(ratio)
        )
        if best is None or score < best[0]:
            best = (score, height, variance, bands)
    assert best is not None
    _, height, variance, bands = best
    return HeightProfile(cell_m, height + level, float(np.sqrt(variance)), bands / variance)

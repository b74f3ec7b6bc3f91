"""How much the pack's voltage falls under load, at once and over time, from an ordinary ride.

    V = rest voltage(charge drawn) - sum over k of R_k * lag_k(current),   R_k >= 0

The rest voltage is a falling chain of straight pieces in the charge drawn, lag_k is the current
behind a first-order lag of `TAUS_S[k]` (0: the current itself). All of it is one non-negative
least-squares problem on an even grid; the normal equations are kept per block of the ride, so
that the reading's time lag and the bootstrap need no second pass over the samples.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.lags import TAUS_S as TAUS_S
from analyzer.lags import lagged as lagged
from analyzer.lags import pulse_ohm as pulse_ohm
from analyzer.nonneg import nonneg_normal
from analyzer.pack_grid import (
    SLOPED,
    ExpectedRest,
    PackGrid,
    bend_along,
    pack_grid,
    piece_at_mean,
)
from analyzer.quantities import Bools, Floats
from analyzer.spells import Stretch

PULSE_S = 10.0
"""Length of the pulse that `resistance_10s_ohm` stands for [s]. The contract's."""
BLOCK_S = 30.0
"""Length of the bootstrap's blocks [s]. Our choice: longer than a pull or a braking."""
COARSE_STEPS = 4
"""Steps of the grid between the lags tried first. Our choice: the misfit has one broad hollow."""
LAG_LIMIT_S = 2.0
"""Largest lag between voltage and current readings looked for [s]. Our choice."""
FACTOR_DEPTH = 0.10
"""Length of the pieces in which the resistance may change with charge drawn (and with the
temperature that goes with it) [of the rated charge]. Our choice."""
MOST_FACTORS = 7
FACTOR_SD = 0.3
"""By how much the resistance may change over a piece, one standard deviation. Our choice: most
cells rise by less than half towards empty."""
BEND_PART = 0.15
BEND_SD = 0.2
"""How large that part is and one standard deviation [of all resistance]. Our choice: charge
transfer is a fifth to a third of a cell's resistance; leads and electrolyte do not bend."""
RELAXING_S = 100.0
"""What had not come to rest when the log began dies away with this time constant [s]. Our
choice; minutes after a charge or a ride."""
RELAXING_V_PER_CELL = 0.005
"""... and is this large, one standard deviation [V per cell]. Our choice."""
KNOWN_EVERY_S = 3.0
"""Neighbouring errors of the fit are alike: one sample in this many seconds counts as new when
data are weighed against what is known beforehand [s]. Our choice."""
PASSES = 4
"""With one resistance, then thrice with one that follows the charge on the whole and at the
electrodes' surface; more passes change nothing."""
JUDGED_AFTER = 1
"""The pass (from 0) after which a fit shows which rows do not belong to it."""
LEAST_FACTOR = 0.1
"""The resistance never falls below this part of itself at the mean charge."""
DRAWS = 200
"""Draws of the bootstrap: a standard deviation is then known within 5 %. Our choice."""
LEAST_BLOCKS = 8
"""Blocks are made shorter rather than fewer than this."""


@dataclass(frozen=True, slots=True, eq=False)
class ResistanceFit:
    """The fitted pack on the grid of the stretches, strung together (N samples), and what a
    block bootstrap says of its numbers (`*_sd`, sensor gains not counted in)."""

    resistances_ohm: Floats
    """R_k at the ride's mean charge."""
    pulse_ohm: float
    """`PULSE_S` after a step from rest, the fall of rest voltage counted in."""
    pulse_sd_ohm: float
    surface_part: float
    """How the rest voltage at the electrodes' surface moves under load, one standard deviation
    [of the rest voltage]: what a wrong slope of the curve is multiplied with."""
    warming: float
    """By how much (natural logarithm) the resistance is expected to differ between the load's
    mean temperature and the ride's: what a wrong activation energy is multiplied with."""
    instant_ohm: float
    instant_sd_ohm: float
    total_ohm: float
    """All lags together: what a wrong zero of the current is multiplied with in rest voltage."""
    rest_start_v: float
    rest_start_sd_v: float
    rest_end_v: float
    rest_end_sd_v: float
    time_s: Floats
    charge_ah: Floats
    rest_v: Floats
    modelled_v: Floats
    sag_v: Floats
    """Rest voltage less modelled voltage, as the load makes it."""
    first: tuple[int, ...]
    """Where each stretch begins."""
    residual_sd_v: float
    explained: float
    """Share of the voltage's variation about the rest voltage that the load explains."""
    lag_s: float
    """By how much the voltage reading trails the current reading."""
    step_s: float


def fit_resistance(
    stretches: list[Stretch],
    step_s: float,
    *,
    rated_ah: float,
    series: int,
    curve: ExpectedRest,
    warmth: Callable[[Floats], Floats],
    seed: int,
    lag_s: float | None = None,
    worth: Callable[[ResistanceFit], bool] | None = None,
) -> ResistanceFit:
    """What falls at once, what falls within 10 s, and what the pack would read at rest.

    The first of `PASSES` has one resistance for the whole ride and settles the time lag between
    the two readings; in the others the resistance follows the charge drawn, so that the
    answer stands for the mean charge however the ride was spread. `warmth` gives, for times of the
    ride, how many times its resistance at the mean temperature the pack is expected to have.
    Blocks of the last pass are drawn anew `DRAWS` times for the standard deviations. `lag_s` is
    the readings' lag where an earlier fit settled it. A fit that is not `worth` it is returned
    early, without its standard deviations (zero): its rows are to be chosen anew.
    """
    grid = pack_grid(stretches, step_s, rated_ah)
    if lag_s is None:
        lag, volts = _align(grid, stretches)
    else:
        lag, volts = lag_s, _shifted(stretches, lag_s, grid.step_s)
    span = float(np.ptp(grid.charge_ah)) / rated_ah
    shapes = _factor_shapes(grid, int(np.clip(span / FACTOR_DEPTH, 0, MOST_FACTORS)))
    factor = warm = warmth(grid.time_s)
    sag = np.zeros(grid.charge_ah.size)
    relaxing_v, all_ohm = RELAXING_V_PER_CELL * series, 0.0
    for turn in range(PASSES):
        extra = [-sag * shape for shape in shapes] if turn else []
        problem = _Problem.of(grid, volts, factor, extra, relaxing_v, all_ohm)
        x, open_ = problem.solve()
        if worth is not None and turn == JUDGED_AFTER:
            bare = _told(grid, problem, x, x[None], volts, lag, warm)
            if not worth(bare):
                return bare
        if turn < PASSES - 1:
            all_ohm = float(problem.resistances(x).sum())
            for change, shape in zip(x[x.size - len(extra) :], shapes, strict=False):
                factor = factor + factor * change * shape
            factor = np.maximum(factor, LEAST_FACTOR)
            sag = (grid.current_lags * factor[:, None]) @ problem.lag_ohms(x)
            surface_v = grid.current_lags[:, SLOPED] @ problem.surface_ohms(x)
            start_v = float(problem.rest_v(x, grid.ramps[:1])[0])
            grid = bend_along(grid, start_v, curve, surface_v)
    draws = problem.draws(np.random.default_rng(seed), open_)
    return _told(grid, problem, x, draws, volts, lag, warm)


def _factor_shapes(grid: PackGrid, pieces: int) -> list[Floats]:
    """Tents over the charge drawn, each less its value at the mean charge; none when short."""
    if not pieces:
        return []
    knots = np.linspace(grid.charge_ah.min(), grid.charge_ah.max(), pieces + 1)
    return [
        np.interp(grid.charge_ah, knots, row) - float(np.interp(grid.mean_ah, knots, row))
        for row in np.eye(pieces + 1)
    ]


def _shifted(stretches: list[Stretch], shift_s: float, step_s: float) -> Floats:
    """The voltage as it reads `shift_s` later; ends are held."""
    if abs(shift_s) < 1e-9:
        return np.concatenate([one.voltage_v for one in stretches])
    return np.concatenate(
        [np.interp(one.time_s + shift_s, one.time_s, one.voltage_v) for one in stretches]
    )


def _align(grid: PackGrid, stretches: list[Stretch]) -> tuple[float, Floats]:
    """The time lag at which the fit is best, and the voltage moved by it: looked for coarsely
    over the whole reach, then step by step about the best."""
    reach = max(int(LAG_LIMIT_S / grid.step_s), 2)
    columns = np.column_stack([-grid.ramps, -grid.current_lags, np.ones(grid.charge_ah.size)])
    gram = columns.T @ columns
    coarse = np.unique(np.append(np.arange(-reach, reach + 1, COARSE_STEPS), [-reach, 0, reach]))
    found = _misfits(coarse, grid.step_s, stretches, columns, gram)
    near = min(found, key=lambda at: found[at])
    fine = np.arange(max(near - COARSE_STEPS, -reach), min(near + COARSE_STEPS, reach) + 1)
    fresh = np.setdiff1d(fine, coarse)
    found |= _misfits(fresh, grid.step_s, stretches, columns, gram)
    best = min(found, key=lambda at: found[at])
    lag = float(best * grid.step_s)
    if best - 1 in found and best + 1 in found:
        a, b, c = (found[at] for at in (best - 1, best, best + 1))
        bend = a - 2 * b + c
        lag += float(grid.step_s * 0.5 * (a - c) / bend) if bend > 0 else 0.0
    return lag, _shifted(stretches, lag, grid.step_s)


def _misfits(
    places: NDArray[np.intp],
    step_s: float,
    stretches: list[Stretch],
    columns: Floats,
    gram: Floats,
) -> dict[int, float]:
    """The fit's sum of squares with the voltage moved by so many steps."""
    if places.size == 0:
        return {}
    moved = np.column_stack([_shifted(stretches, float(k * step_s), step_s) for k in places])
    moved -= moved.mean()
    rights, squares = columns.T @ moved, (moved**2).sum(axis=0)
    found: dict[int, float] = {}
    open_ = None
    for at, right, square in zip(places.tolist(), rights.T, squares, strict=True):
        x, open_ = nonneg_normal(gram, right, 1, open_)
        found[at] = float(square - 2 * right @ x + x @ gram @ x)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """The normal equations, per block: ramps, lags | level, relaxing, factor changes."""

    columns: Floats
    grams: Floats
    rights: Floats
    prior: Floats
    wanted: Floats
    ramps: int
    lags: int
    free: int

    @classmethod
    def of(
        cls,
        grid: PackGrid,
        volts: Floats,
        factor: Floats,
        extra: list[Floats],
        relaxing_v: float,
        all_ohm: float,
    ) -> _Problem:
        fade = np.exp(-(grid.time_s - grid.time_s[0]) / RELAXING_S)
        known = [(fade, 0.0, relaxing_v)]
        if all_ohm:
            bent = grid.bent_current * factor
            known.append((bent, BEND_PART * all_ohm, BEND_SD * all_ohm))
        known += [(column, 0.0, FACTOR_SD) for column in extra]
        columns = np.column_stack(
            [
                -grid.ramps,
                -grid.current_lags * factor[:, None],
                np.ones(fade.size),
                *(column for column, _, _ in known),
            ]
        )
        length = max(int(BLOCK_S / grid.step_s), 5)
        length = max(min(length, columns.shape[0] // LEAST_BLOCKS), 5)
        edges = np.arange(0, columns.shape[0] - length // 2, length)
        grams = np.array([c.T @ c for c in np.split(columns, edges[1:])])
        rights = np.array(
            [
                c.T @ v
                for c, v in zip(
                    np.split(columns, edges[1:]), np.split(volts, edges[1:]), strict=True
                )
            ]
        )
        free = 1 + len(known)
        x, _ = nonneg_normal(grams.sum(axis=0), rights.sum(axis=0), free)
        noise = float(np.var(volts - columns @ x)) * max(KNOWN_EVERY_S / grid.step_s, 1.0)
        weight = np.zeros(columns.shape[1])
        weight[weight.size - len(known) :] = [noise / sd**2 for _, _, sd in known]
        prior, wanted = np.diag(weight), np.zeros(columns.shape[1])
        wanted[weight.size - len(known) :] = [noise * mean / sd**2 for _, mean, sd in known]
        if grid.expected.size:
            slopes = slice(0, grid.expected.size)
            prior[slopes, slopes] = noise * np.linalg.inv(grid.spread)
            wanted[slopes] = prior[slopes, slopes] @ grid.expected
        return cls(
            columns,
            grams,
            rights,
            prior,
            wanted,
            grid.ramps.shape[1],
            grid.current_lags.shape[1],
            free,
        )

    def lag_ohms(self, x: Floats) -> Floats:
        """The lags' resistances out of a solution, those that follow the curve's slope last."""
        return x[..., self.ramps : self.ramps + self.lags]

    def resistances(self, x: Floats) -> Floats:
        """R_k at the mean charge, where the slope is what it is there."""
        ohms = self.lag_ohms(x)
        out = ohms[..., : len(TAUS_S)].copy()
        for k, ohm in zip(SLOPED, np.moveaxis(ohms[..., len(TAUS_S) :], -1, 0), strict=False):
            out[..., k] += ohm
        return out

    def surface_ohms(self, x: Floats) -> Floats:
        """Those of the lags in `SLOPED` that follow the curve's slope; before they are told apart,
        all of these lags."""
        ohms = self.lag_ohms(x)
        return ohms[SLOPED] + (ohms[len(TAUS_S) :] if self.lags > len(TAUS_S) else 0)

    def rest_v(self, x: Floats, ramps: Floats) -> Floats:
        """Rest voltages that a solution gives for rows of the ramps."""
        return np.asarray(x[self.ramps + self.lags] - ramps @ x[: self.ramps], np.float64)

    def solve(self) -> tuple[Floats, Bools]:
        """The fit to the whole ride."""
        gram = self.grams.sum(axis=0) + self.prior
        return nonneg_normal(gram, self.rights.sum(axis=0) + self.wanted, self.free)

    def draws(self, rng: np.random.Generator, start: Bools) -> Floats:
        """`DRAWS` fits to blocks drawn with replacement."""
        blocks = self.grams.shape[0]
        times = rng.multinomial(blocks, np.full(blocks, 1 / blocks), size=DRAWS).astype(float)
        grams = np.tensordot(times, self.grams, axes=1) + self.prior
        rights = times @ self.rights + self.wanted
        return np.array(
            [nonneg_normal(g, b, self.free, start)[0] for g, b in zip(grams, rights, strict=True)]
        )


def _told(
    grid: PackGrid,
    problem: _Problem,
    x: Floats,
    draws: Floats,
    volts: Floats,
    lag: float,
    warm: Floats,
) -> ResistanceFit:
    everything = np.vstack([x, draws])
    ohms = problem.resistances(everything)
    fall = everything[:, piece_at_mean(grid)] * grid.bend * PULSE_S / 3600
    pulse = pulse_ohm(ohms, PULSE_S) + fall
    level = problem.ramps + problem.lags
    ends = [
        everything[:, level] - everything[:, : problem.ramps] @ grid.ramps[at] for at in (0, -1)
    ]
    rest = x[level] - grid.ramps @ x[: problem.ramps]
    modelled = problem.columns @ x
    sag = rest - modelled
    about = volts - rest
    surface_v = grid.current_lags[:, SLOPED] @ problem.surface_ohms(x)
    load = grid.current_lags[:, 0] ** 2
    residual = volts - modelled
    return ResistanceFit(
        resistances_ohm=ohms[0],
        pulse_ohm=float(pulse[0]),
        pulse_sd_ohm=float(pulse[1:].std()),
        surface_part=float(surface_v.std() / np.median(rest)),
        warming=abs(float(np.log(warm) @ load / max(float(load.sum()), 1e-9))),
        instant_ohm=float(ohms[0, 0]),
        instant_sd_ohm=float(ohms[1:, 0].std()),
        total_ohm=float(ohms[0].sum()),
        rest_start_v=float(ends[0][0]),
        rest_start_sd_v=float(ends[0][1:].std()),
        rest_end_v=float(ends[1][0]),
        rest_end_sd_v=float(ends[1][1:].std()),
        time_s=grid.time_s,
        charge_ah=grid.charge_ah,
        rest_v=rest,
        modelled_v=modelled,
        sag_v=sag,
        first=grid.first,
        residual_sd_v=float(residual.std()),
        explained=1 - float(residual.var() / max(about.var(), 1e-30)),
        lag_s=lag,
        step_s=grid.step_s,
    )

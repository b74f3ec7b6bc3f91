"""Non-negative least squares on normal equations, small and warm-started."""

from __future__ import annotations

import numpy as np

from analyzer.quantities import Bools, Floats

TOLERANCE = 1e-10
"""Relative to the largest right-hand side; below it a gradient counts as zero."""


def nonneg_normal(
    gram: Floats, right: Floats, free: int = 0, start: Bools | None = None
) -> tuple[Floats, Bools]:
    """Minimise x'Gx/2 - b'x with x >= 0 but for the last `free` entries, which may be anything.

    Returns x and which entries are off their bound; handing these in as `start` makes a nearby
    problem (a bootstrap draw) a matter of one or two solves. The active-set method of Lawson and
    Hanson on the normal equations, so that neither rows nor a copy of them are needed per draw;
    the tests hold it against `scipy.optimize.nnls`, which takes longer to import than this to run.

    Sources: Lawson and Hanson 1974, Solving Least Squares Problems, ch. 23; Bro and de Jong 1997,
    J. Chemometrics 11, 393 (the form on normal equations).
    """
    size = right.size
    # Scaled to a unit diagonal: columns in Ah and in A differ by orders of magnitude.
    scale = 1 / np.sqrt(np.maximum(np.diag(gram), 1e-300))
    g, b = gram * np.outer(scale, scale), right * scale
    g = g + 1e-11 * np.eye(size)
    open_ = np.zeros(size, np.bool_) if start is None else start.copy()
    open_[size - free :] = True
    bound = np.ones(size, np.bool_)
    bound[size - free :] = False
    x = np.zeros(size)
    x = _settle(g, b, x, open_, bound) if open_.any() else x
    limit = TOLERANCE * max(float(np.abs(b).max()), 1e-300)
    for _ in range(5 * size):
        gradient = np.where(open_, -np.inf, b - g @ x)
        best = int(np.argmax(gradient))
        if gradient[best] <= limit:
            break
        open_[best] = True
        x = _settle(g, b, x, open_, bound)
    return x * scale, open_


def _settle(g: Floats, b: Floats, x: Floats, open_: Bools, bound: Bools) -> Floats:
    """Solve for the open entries, closing (in place) those that would go negative."""
    for _ in range(2 * x.size):
        trial = np.zeros(x.size)
        at = np.flatnonzero(open_)
        trial[at] = np.linalg.solve(g[np.ix_(at, at)], b[at])
        below = open_ & bound & (trial <= 0)
        if not below.any():
            return trial
        fall = x[below] / np.maximum(x[below] - trial[below], 1e-300)
        x = x + float(np.clip(fall.min(), 0, 1)) * (trial - x)
        worst = below & (x <= 1e-15)
        if not worst.any():
            worst = below
        open_ &= ~worst
        x[~open_] = 0.0
    return x

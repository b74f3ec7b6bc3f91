"""How may this pack's rest-voltage curve run beside the setup's, before its rides say more?

What cells of one chemistry differ by is smooth: a curve that holds less near the top holds less
over a third of its length. Bends drawn one by one at each knot would call such a difference all but
impossible, and put it into the capacity instead.
"""

from __future__ import annotations

import numpy as np

from analyzer.quantities import Floats
from analyzer.rest_voltage import cell_volts, charge_pct, family
from importers.setup_types import Setup

KNOT_STEP_PCT = 5.0
KNOTS_PCT = np.arange(KNOT_STEP_PCT, 100.0, KNOT_STEP_PCT)
"""Where the curve may bend away from the setup's [% charge]. Our choice."""
WIDE_SD_PCT, WIDE_LENGTH_PCT = 7.0, 20.0
"""How far a cell may run beside the mean of its chemistry's published curves, one standard
deviation [points], and over which length that stays alike [points]. The three published nmc curves
lie up to 13 points apart, over a third of their length at a time; others of the trade are no closer
to them than they are to each other."""
CLOSE_SD_PCT, CLOSE_LENGTH_PCT = 1.5, 6.0
"""Likewise for the steps that a graphite electrode makes."""
OWN_CURVE_SD_PCT = 1.0
"""How far off a curve of the rider's own may be at each knot. Our choice."""


def bend_prior(setup: Setup | None, *, own_curve: bool) -> tuple[Floats, Floats]:
    """What to expect of the bends at the knots (k), and the k x k root of their covariance: bends
    are the mean plus the root times independent normal numbers."""
    if own_curve:
        return np.zeros(KNOTS_PCT.size), OWN_CURVE_SD_PCT * np.eye(KNOTS_PCT.size)
    cov = WIDE_SD_PCT**2 * _alike(WIDE_LENGTH_PCT) + CLOSE_SD_PCT**2 * _alike(CLOSE_LENGTH_PCT)
    root = np.linalg.cholesky(cov + 1e-6 * np.eye(KNOTS_PCT.size))
    return family_bends(setup).mean(axis=0), np.asarray(root, np.float64)


def _alike(length_pct: float) -> Floats:
    """Covariance of a smooth course over the knots that is nothing at empty and full (squared
    exponential, conditioned on both ends; Rasmussen and Williams 2006, eq. 2.19)."""
    ends = np.array([0.0, 100.0])

    def kernel(a: Floats, b: Floats) -> Floats:
        return np.asarray(np.exp(-((a[:, None] - b) ** 2) / (2 * length_pct**2)), np.float64)

    across = kernel(KNOTS_PCT, ends)
    return np.asarray(
        kernel(KNOTS_PCT, KNOTS_PCT) - across @ np.linalg.solve(kernel(ends, ends), across.T),
        np.float64,
    )


def family_bends(setup: Setup | None) -> Floats:
    """Points by which each published curve of the chemistry runs beside the setup's, curves x k."""
    if setup is None:
        return np.zeros((1, KNOTS_PCT.size))
    at = cell_volts(setup.curve, KNOTS_PCT, setup)
    return np.array([charge_pct(one, at, setup) - KNOTS_PCT for one in family(setup)])

"""What height does a recorded track's road have: the scatter of its readings taken out.

A receiver's heights scatter by metres from point to point; ridden as they stand, a level road would
be a row of walls. The road is what `height_fit` finds most probable.
"""

from __future__ import annotations

import numpy as np

from analyzer.height_fit import Readings, fit_height
from analyzer.quantities import Floats

TRACK_MPS = 5.0
"""Speed at which a track's points are taken to have been passed [m/s]: it only tells which lie far
apart. Our choice."""
LEAST_POINTS = 20
"""A track of fewer points was drawn by hand, and is ridden as it stands. Our choice."""
CELL_M = 10.0
"""Spacing of the smoothed road [m]. Our choice."""


def track_profile(distance_m: Floats, height_m: Floats) -> tuple[Floats, Floats]:
    """Distance and height (rising from 0) of the road under a track's n points; the points
    themselves where they are few or too short a way."""
    if distance_m.size < LEAST_POINTS:
        return distance_m, height_m
    way = distance_m - distance_m[0]
    readings = Readings(way, height_m, np.ones(way.size), way / TRACK_MPS)
    fit = fit_height(readings, float(way[-1]))
    if fit is None:
        return distance_m, height_m
    grid = np.linspace(0.0, float(way[-1]), max(round(float(way[-1]) / CELL_M), 1) + 1)
    return grid, np.asarray(fit.profile.height_at(grid), np.float64)

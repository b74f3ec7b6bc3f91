"""Builds for the forward run of a hill in which nothing is uncertain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from handmade import make_setup

from analyzer.hill_build import draw_build
from importers.setup_types import Drive


def exact_build(**vehicle):
    """A paper build with nothing uncertain: 165 kg, rolling 0.012, drag 0.60 m2."""
    setup = make_setup(
        drives=(Drive("left", battery_drive_a=60.0), Drive("right", battery_drive_a=60.0)),
        vehicle={"mass_kg": 165.0, "rolling_coefficient": 0.012, "drag_area_m2": 0.60} | vehicle,
    )
    build = draw_build(setup, [], np.random.default_rng(0), 4)
    same = np.ones(4)
    return replace(
        build, mass_kg=165.0 * same, rolling=0.012 * same, drag_m2=0.60 * same,
        efficiency=0.80 * same, limit_scale=np.ones((2, 4)), brake_scale=np.ones((2, 4)),
        pack_ohm=np.zeros((7, 4)), rest_offset_v=0.0 * same, unsteady_n=0.0 * same,
        answers_s=0.0 * same, aux_a=0.0, off_pace_mps=0.0 * same, low_rise=0.0 * same,
        pack_j_per_k=1e12 * same,
    )  # fmt: skip

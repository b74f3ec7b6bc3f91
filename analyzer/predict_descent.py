"""What going down asks: braking current, the charge to leave home with, the mechanical brake."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.estimate import Estimate, Note
from analyzer.hill_ahead import HillAhead, HillRun, PerDraw
from analyzer.hill_build import BuildDraws
from analyzer.hill_model import simulate_hill
from analyzer.predict_edge import WORKS_BELOW, edge
from analyzer.predict_limits import BRAKED_A, spread
from analyzer.quantities import Bools, Floats
from importers.setup_types import Setup

DESCENT_CAUTION = (
    "The mechanical brake must hold the loaded vehicle on this grade by itself: motor braking can "
    "end without warning when the pack is full, hot or disconnected. Try it at walking pace first."
)


@dataclass(frozen=True, slots=True)
class Descent:
    """What going down asks."""

    braking_a: tuple[tuple[str, Estimate], ...]
    """Largest braking battery current of each drive."""
    braking_together_a: Estimate
    leave_home_below_pct: Estimate | None
    """Start with no more charge than this, so that no limit of braking is touched; None where no
    limit of braking is set, or none is touched even when full."""
    mechanical_peak_w: Estimate
    mechanical_wh: Estimate
    """What the mechanical brake must take: at most at a time, and in all."""


def descent_ahead(
    setup: Setup, few: BuildDraws, build: BuildDraws, hill: HillAhead, run: HillRun
) -> Descent:
    """Braking currents, the charge to leave home with and the brake's work over all draws (`few`
    of them where it is searched)."""
    names = build.setup.drive_names
    return Descent(
        braking_a=tuple(
            (name, spread(run.battery_brake_peak_a[j])) for j, name in enumerate(names)
        ),
        braking_together_a=spread(run.battery_brake_peak_a.sum(axis=0)),
        leave_home_below_pct=_leave_home(setup, few, hill),
        mechanical_peak_w=spread(run.mechanical_peak_w),
        mechanical_wh=spread(run.mechanical_j / 3600.0),
    )


def _leave_home(setup: Setup, build: BuildDraws, hill: HillAhead) -> Estimate | None:
    """Highest charge at which the pack's voltage stays under full and under every overvoltage."""
    lines = [d.overvoltage_v for d in setup.drives if d.overvoltage_v is not None]
    line = min([setup.full_v, *lines])
    d = build.draws
    same = np.ones(d)

    def works(charge_pct: Floats) -> Bools:
        run = simulate_hill(build, hill, PerDraw(charge_pct, same * hill.temp_c, same))
        braked = run.pack_brake_peak_a > BRAKED_A
        return np.asarray(~braked | (run.highest_v < line))

    if float(works(np.full(d, 100.0)).mean()) > 1.0 - WORKS_BELOW:
        return None
    return edge(works, d, 5.0, 100.0, 0.5) or Estimate(5.0, 0.0, 5.0)


def descent_notes(setup: Setup, descent: Descent | None) -> list[Note]:
    """What a rider is told of a descent."""
    if descent is None:
        return []
    out = []
    if descent.leave_home_below_pct is not None:
        pct = descent.leave_home_below_pct.value
        out.append(
            Note(
                "predict.leave_home_below_pct",
                f"Begin this descent with {pct:.0f} % charge or less, so that braking does not "
                "push the pack to full.",
            )
        )
    peak, energy = descent.mechanical_peak_w, descent.mechanical_wh
    told = (
        f"The mechanical brake takes up to {peak.value:.0f} W ({peak.low:.0f} to "
        f"{peak.high:.0f}), {energy.value:.0f} Wh in all; without motor braking all of it."
        if peak.value >= 0.5
        else "Motor braking alone holds this speed; without it the mechanical brake takes all."
    )
    out.append(Note("predict.mechanical_brake", told))
    if all(d.battery_brake_a is None and d.phase_brake_a is None for d in setup.drives):
        out.append(
            Note("predict.braking", "No brake limit in the setup: motor braking is not counted on.")
        )
    return out

"""On which days did the readings change without the pack: another logger, another scale?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

import numpy as np

from analyzer.ageing_capacity import CapacityAgeing
from analyzer.ageing_parts import BY_HAND, Kept
from analyzer.ageing_resistance import Jump, ResistanceAgeing
from analyzer.ageing_result import Mark
from analyzer.ageing_scale import (
    LEAST_SD,
    ScaleChange,
    maybe_scale,
    on_one_scale,
    scale_changes,
)
from analyzer.estimate import Estimate, Note

SAME_FACTOR = 0.005
"""A factor this near to one is none."""


def one_scale(
    rides: Sequence[Kept], capacity: CapacityAgeing | None
) -> tuple[list[Kept], tuple[Mark, ...]]:
    """The rides on one scale of current, and a mark for each day on which it changed; `capacity` is
    the course before, whose curve the rides learned.

    What is left between two stretches is kept apart as between two loggers.
    """
    known = dict(zip(capacity.used, capacity.each_ah.tolist(), strict=True)) if capacity else None
    changes = scale_changes(rides, known)
    scaled, factors = on_one_scale(rides, changes)
    edges = [0, *(one.first for one in changes), len(rides)]
    for part, factor in enumerate(factors):
        if factor == 1.0:
            continue
        for at in range(edges[part], edges[part + 1]):
            own = scaled[at].summary
            if own is not rides[at].summary:
                origin = f"{own.origin}\nscale {part + 1}"
                scaled[at] = Kept(scaled[at].name, replace(own, origin=origin))
    return scaled, tuple(
        Mark(rides[one.first].start, _scale_text(rides[one.first].start, one, before, after))
        for one, before, after in zip(changes, factors[:-1], factors[1:], strict=True)
    )


def doubtful_jumps(
    rides: Sequence[Kept], capacity: CapacityAgeing | None, resistance: ResistanceAgeing | None
) -> tuple[list[Kept], tuple[Note, ...]]:
    """Jumps that may be the logger's as well as the pack's: a note on each, and the rides as their
    capacity has to be read then, those after it as if another logger had kept them.

    The jump stays told: a contact that heats and is not looked at does more harm than one that is
    looked at for nothing.
    """
    if resistance is None or not resistance.jumps:
        return list(rides), ()
    known = dict(zip(capacity.used, capacity.each_ah.tolist(), strict=True)) if capacity else None
    where = {one.name: at for at, one in enumerate(rides)}
    jumps = {where[resistance.used[one.first]]: one for one in resistance.jumps}
    doubted = maybe_scale(rides, known, {at: _ln(one.step_pct) for at, one in jumps.items()})
    out, notes = list(rides), []
    for (at, jump), doubt in zip(jumps.items(), doubted, strict=True):
        if not doubt:
            continue
        notes.append(Note("resistance.jumps", _doubt_text(jump)))
        for later in range(at, len(out)):
            own = out[later].summary
            if own.origin != BY_HAND:
                origin = f"{own.origin}\nscale from {at}"
                out[later] = Kept(out[later].name, replace(own, origin=origin))
    return out, tuple(notes)


def _ln(step_pct: Estimate) -> tuple[float, float]:
    """A step's ln and its standard deviation."""
    low, high = step_pct.low, step_pct.high
    assert low is not None
    assert high is not None
    sd = float(np.log((100 + high) / (100 + low))) / 3.92
    return float(np.log1p(step_pct.value / 100)), max(sd, LEAST_SD)


def _doubt_text(jump: Jump) -> str:
    return (
        f"The jump of {_day(jump.date)} may be the logger's (its scale, a new firmware) as well as "
        "the pack's: charge and energy stepped with it within what they scatter. Look at the "
        "contacts all the same, and hold a clamp meter against the log."
    )


def _scale_text(day: datetime, change: ScaleChange, before: float, after: float) -> str:
    times = after / before
    half = 196 * change.sd_ln
    how = (
        f"{times:.3g} times" if abs(times - change.ratio) > SAME_FACTOR * change.ratio
        else f"{times:.2f} times (within {half:.0f} %)"
    )  # fmt: skip
    side = "those before" if after == 1.0 else "those from then on"
    return (
        f"From {_day(day)} on the current reads {how} what it read before: resistance, charge and "
        "energy stepped together, which no pack does. It counts as a change of scale (logger, "
        f"firmware, calibration), not as a jump; {side} are brought to the other's scale. Which of "
        "the two is right the rides cannot say: hold a clamp meter against the log."
    )


def logger_marks(rides: Sequence[Kept]) -> tuple[Mark, ...]:
    """Days from which voltage or current come from other columns than before."""
    measured = [
        one
        for one in rides
        if one.summary.kind == "ride" and one.summary.origin not in ("", BY_HAND)
    ]
    marks = []
    for before, after in pairwise(measured):
        if before.summary.origin == after.summary.origin:
            continue
        text = (
            f"From {_day(after.start)} on voltage and current come from {_columns(after)} "
            f"(before: {_columns(before)}): a change of logger, no change of the pack."
        )
        marks.append(Mark(after.start, text))
    return tuple(marks)


def _columns(one: Kept) -> str:
    """The columns' headers as the logs name them."""
    headers = [part.split("<", 1)[-1] for part in one.summary.origin.split("\n") if part]
    return ", ".join(f"'{header}'" for header in headers)


def _day(when: datetime) -> str:
    return f"{when.day} {when:%B %Y}"

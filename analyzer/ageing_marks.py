"""On which days did the readings change without the pack: another logger, another scale?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

from analyzer.ageing_capacity import CapacityAgeing
from analyzer.ageing_parts import BY_HAND, Kept
from analyzer.ageing_result import Mark
from analyzer.ageing_scale import ScaleChange, on_one_scale, scale_changes

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

"""Did the resistance step on a certain day, and in which part: at once (contact, wiring) or slowly
(cells)?"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from analyzer.ageing_parts import Kept, years
from analyzer.ageing_warmth import Columns, contact_shape, regressors, season_sd
from analyzer.quantities import Floats
from analyzer.trend import JUMP_EDGE, MOST_JUMPS, Trend, fit_trend

INSTANT_E_KJ = (12.0, 8.0)
"""Activation energy of the part that answers at once, and its standard deviation [kJ/mol]:
electrolyte conduction has 17 (Ecker 2015, O'Kane 2022), copper none that matters."""
CONTACT_PASSES = 2
"""The shape of a contact's step needs the cells' activation energy, and that the step; more passes
change nothing."""
LEAST_STEP = 0.05
"""Smaller steps of a part are not told, natural logarithm. Our choice: one ride's part is known
within 4 to 5 %."""
LEAST_WHOLE = 0.04
"""Likewise for the whole resistance, which one ride knows within 1 to 2 %. Our choice."""
INSTANT_SD, SLOW_SD = 0.04, 0.05
"""How well one ride knows each part, one standard deviation [relative]. Measured on simulated
rides, benchmarks/tables/pack_truth.py."""
ONE_PART = 0.7
"""A step of which this much is in one part is that part's. Our choice."""
PARTS_LEAST = 0.7
"""Share of the rides that must tell the instant part for jumps to be looked for by part; below it
they are looked for in the whole. Our choice."""


def find_jumps(rides: Sequence[Kept], y: Floats, sd: Floats, columns: Columns) -> dict[int, str]:
    """Places (among `rides`) of the first ride after each jump, and the part that jumped.

    Looked for in each part by itself, where a step of that part stands out, and then in the whole
    (`y` ohms, `sd`), which single rides know best. Near changes of logger none is looked for.
    """
    found = _by_part(rides, columns) if _parts_known(rides) else {}
    while len(found) < MOST_JUMPS:
        at = _next_in_whole(rides, y, sd, columns, found)
        if at is None:
            break
        found[at] = _part_at(rides, at, columns)
    return found


def _next_in_whole(
    rides: Sequence[Kept], y: Floats, sd: Floats, columns: Columns, found: dict[int, str]
) -> int | None:
    """The strongest step not found yet, as a contact's or as the cells'."""
    heat, ones = columns.extra[:, 0], np.ones(len(rides))
    best: tuple[float, int] | None = None
    e_kj = float(columns.mean[0])
    # Only a contact's step looks otherwise when the cells' activation energy is known better.
    shaped = "instant" in found.values()
    begun = None
    for as_contact in (False, True):
        trend = None
        for _ in range(CONTACT_PASSES if shaped or as_contact else 1):
            contact = contact_shape(heat, e_kj)
            trend = fit_trend(
                years(rides),
                y,
                sd,
                regressors=columns.extra,
                prior_mean=columns.mean,
                prior_sd=columns.sd,
                barred=columns.changes,
                at_steps={at: contact if part == "instant" else ones
                          for at, part in found.items()},
                season_sd=season_sd(rides),
                search_shape=contact if as_contact else ones,
                begun=begun,
            )  # fmt: skip
            if trend is None:
                return None
            begun = None if shaped else trend.begun
            e_kj = trend.regressors[0].value
        for step in trend.steps if trend else ():
            fresh = step.first not in found and abs(np.log(step.ratio.value)) >= LEAST_WHOLE
            if fresh and (best is None or step.evidence > best[0]):
                best = (step.evidence, step.first)
    return None if best is None else best[1]


def _part_at(rides: Sequence[Kept], at: int, columns: Columns) -> str:
    """Which part a step at this place is in, by the ohms it adds to each."""
    inside = [i for i, one in enumerate(rides) if _split(one) is not None]
    place = int(np.searchsorted(inside, at))
    if not _parts_known(rides) or not 0 < place < len(inside):
        return "both"
    kept = [rides[i] for i in inside]
    whole = columns if len(kept) == len(rides) else regressors(kept)
    split = np.array([_split(one) for one in kept], np.float64)
    ohms = []
    for column, e_kj, sd in ((0, INSTANT_E_KJ, INSTANT_SD), (1, None, SLOW_SD)):
        part = whole.with_energy(e_kj)
        shape = contact_shape(part.extra[:, 0], part.mean[0]) if column == 0 else np.ones(len(kept))
        own = split[:, column]
        trend = fit_trend(
            years(kept), own, sd * own, regressors=part.extra, prior_mean=part.mean,
            prior_sd=part.sd, at_steps={place: shape}, look_for_jumps=False,
            season_sd=season_sd(kept),
        )  # fmt: skip
        ohms.append(0.0 if trend is None else _step_ohm(trend, place))
    total = abs(ohms[0]) + abs(ohms[1])
    if total == 0 or (ohms[0] * ohms[1] < 0 and min(map(abs, ohms)) > (1 - ONE_PART) * total):
        return "both"
    if abs(ohms[0]) >= ONE_PART * total:
        return "instant"
    return "slow" if abs(ohms[1]) >= ONE_PART * total else "both"


def _step_ohm(trend: Trend, place: int) -> float:
    before = float(trend.fitted[place - 1])
    return before * (trend.steps[0].ratio.value - 1)


def _split(one: Kept) -> tuple[float, float] | None:
    """The instant and the slow part of a ride's resistance [ohm]; None where not both are told."""
    instant, whole = one.summary.resistance_instant_ohm, one.summary.resistance_10s_ohm
    if instant is None or whole is None or not 0 < instant[0] < whole[0]:
        return None
    return instant[0], whole[0] - instant[0]


def _parts_known(rides: Sequence[Kept]) -> bool:
    """Whether enough rides tell the parts apart to look for jumps in each."""
    return sum(_split(one) is not None for one in rides) >= PARTS_LEAST * len(rides)


def _by_part(rides: Sequence[Kept], columns: Columns) -> dict[int, str]:
    """Places (among `rides`) of the first ride after each jump, and the part that jumped. Looked
    for in each part by itself: there a jump stands out most."""
    told = [(i, parts) for i, one in enumerate(rides) if (parts := _split(one)) is not None]
    inside = [i for i, _ in told]
    kept = [rides[i] for i in inside]
    whole = columns if len(kept) == len(rides) else regressors(kept)
    split = np.array([parts for _, parts in told], np.float64)
    barred = tuple(int(np.searchsorted(inside, at)) for at in columns.changes)
    found: dict[int, str] = {}
    for column, part, e_kj, sd in (
        (0, "instant", INSTANT_E_KJ, INSTANT_SD),
        (1, "slow", None, SLOW_SD),
    ):
        own = whole.with_energy(e_kj)
        y = split[:, column]
        look = partial(
            fit_trend,
            years(kept),
            y,
            sd * y,
            regressors=own.extra,
            prior_mean=own.mean,
            prior_sd=own.sd,
            barred=barred,
            season_sd=season_sd(kept),
        )
        trend = look()
        if part == "instant" and trend is not None:
            # Twice: a contact's step has its own shape, for which the cells' part must be known.
            for _ in range(CONTACT_PASSES):
                shape = contact_shape(own.extra[:, 0], trend.regressors[0].value)
                trend = look(search_shape=shape, begun=trend.begun) or trend
        for step in trend.steps if trend else ():
            if abs(np.log(step.ratio.value)) < LEAST_STEP:
                continue
            at = inside[step.first]
            near = next((other for other in found if abs(other - at) < JUMP_EDGE), None)
            if near is None:
                found[at] = part
            else:
                found[near] = "both"
    return found

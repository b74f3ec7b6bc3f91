"""Signs to probabilities: each sign multiplies each cause's odds by its likelihood ratio.

The ratios are what physics says (in the cause modules), corrected by what a fit on simulated rides
found (`fitted.json`, natural logarithms, small where the physics was right).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from analyzer.causes import controller_side, motor_side, pack_side, signal_side, supply
from analyzer.causes.model import CauseModel
from analyzer.causes.told_apart import TWINS, decided, told_apart
from analyzer.quantities import Floats
from analyzer.words import CutoutCause
from importers.setup_types import Ports, Setup

MODELS: tuple[CauseModel, ...] = (
    *pack_side.MODELS,
    *controller_side.MODELS,
    *signal_side.MODELS,
    *motor_side.MODELS,
    *supply.MODELS,
)
PLACES = {model.cause: place for place, model in enumerate(MODELS)}
FLOOR = 0.002
"""No candidate that the setup allows is ever less likely than this: the world holds more than
any table. Our choice."""
AGAIN, DOUBT = 0.6, 0.03
"""How much another loss of the same drives counts, and how little it can rule out. Our choice:
most builds have one thing wrong at a time."""
MOST_OTHERS = 2.0
"""Many other losses count as so many together: what misleads in one may mislead in all. Our
choice."""
CAUTION = 1.1
"""Signs are not independent: their sum is divided by this. By seeds that the corrections had not
seen: from 1.2 to 1.1 log-loss falls on all sets; further down more wrong answers are said
surely."""
ENDED_MOST = 0.6
"""No cause is likelier than this where the log ends with the loss. The trade's (causes.md)."""
ONE_BUILD_ONLY = (CutoutCause.DRIVE_LINK_LOST,)
"""Causes that need two drives."""
DECIDED_MOST = 0.2
"""A cause that something seen decides against is at most so likely as the one it decides for. Our
choice: habits of many small signs may outweigh one that physics ties to a cause, but must not."""
MOST_LOWERED = 3.0
"""So much of its logarithm of odds such a rival can lose. Our choice: a cause that is unlikely for
other reasons must not take its rival along."""
UNDECIDED_MOST = 0.58
"""No cause is likelier than this while nothing was seen that decides it against a rival. Our
choice: under the 0.6 from which an answer is called sure."""
RIVAL_LEAST = 0.01
"""A cause less likely than this is no rival. Our choice."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of one loss."""

    signs: Mapping[str, str]
    codes: Mapping[CutoutCause, float] | None = None
    """What a logged fault code says, as a logarithm."""


def _split(part: Floats, seen: Seen, beside: Sequence[Mapping[str, str]]) -> Floats:
    """The same chances, with the first's excess given to the rivals that nothing seen decides
    against. A fault code that the rider's own table names decides."""
    first = int(part.argmax())
    if part[first] <= UNDECIDED_MOST or seen.codes:
        return part
    open_ones = rivals(part, seen.signs, beside)
    if not open_ones:
        return part
    out = part.copy()
    out[open_ones] *= 1.0 + (part[first] - UNDECIDED_MOST) / part[open_ones].sum()
    out[first] = UNDECIDED_MOST
    return out


def rivals(
    part: Floats, signs: Mapping[str, str], beside: Sequence[Mapping[str, str]] = ()
) -> list[int]:
    """Places of causes that nothing seen tells from the likeliest."""
    first = MODELS[int(part.argmax())].cause
    return [
        i
        for i, model in enumerate(MODELS)
        if (part[i] >= RIVAL_LEAST or (part[i] > 0.0 and (first, model.cause) in TWINS))
        and model.cause is not first
        and not told_apart(first, model.cause, signs, beside)[0]
    ]


@lru_cache(maxsize=1)
def fitted() -> Mapping[str, Mapping[str, float]]:
    """Cause -> `sign=level` (or `prior`) -> correction of the natural logarithm."""
    text = files("analyzer.causes").joinpath("fitted.json").read_text("utf-8")
    table: Mapping[str, Mapping[str, float]] = json.loads(text)
    return table


def ruled_out(setup: Setup) -> frozenset[CutoutCause]:
    """What this build cannot suffer, as its setup says."""
    out = set()
    if setup.bms.ports is Ports.SEPARATE:
        # Braking goes into the discharge port and passes no charge protection.
        out |= {CutoutCause.BMS_OVERCURRENT_CHARGE, CutoutCause.CELL_HIGH_VOLTAGE}
    if len(setup.drives) < 2:
        out |= set(ONE_BUILD_ONLY)
    return frozenset(out)


def log_odds(
    signs: Mapping[str, str], corrections: Mapping[str, Mapping[str, float]]
) -> list[float]:
    """Each model's sum of logarithms of likelihood ratios, in the order of `MODELS`."""
    out = []
    for model in MODELS:
        own = corrections.get(model.cause.value, {})
        total = model.prior + own.get("prior", 0.0)
        for sign, level in signs.items():
            total += model.signs.get(sign, {}).get(level, 0.0) + own.get(f"{sign}={level}", 0.0)
        out.append(total / CAUTION)
    return out


def probabilities(
    signs: Mapping[str, str],
    setup: Setup,
    *,
    codes: Mapping[CutoutCause, float] | None = None,
    corrections: Mapping[str, Mapping[str, float]] | None = None,
) -> dict[CutoutCause, float]:
    """How likely is each cause of one loss? They sum to 1, likeliest first; what the setup rules
    out is left out. `codes` adds what a logged fault code says, as a logarithm."""
    return together([Seen(signs, codes)], setup, corrections=corrections)[0]


def together(
    losses: Sequence[Seen],
    setup: Setup,
    *,
    corrections: Mapping[str, Mapping[str, float]] | None = None,
) -> list[dict[CutoutCause, float]]:
    """The same for all losses of the same drives in one ride, in their order: what is broken stays
    so, and what decides in one of them decides in all."""
    apart = [(PLACES[a], PLACES[b]) for a, b in decided([one.signs for one in losses])]
    every = [_lower(_odds(one, setup, corrections), apart) for one in losses]
    alone = [_chances(odds) for odds in every]
    out = []
    for at, (seen, odds) in enumerate(zip(losses, every, strict=True)):
        others = [i for i in range(len(losses)) if i != at]
        weight = AGAIN * min(1.0, MOST_OTHERS / max(len(others), 1))
        lean = sum((weight * np.log(alone[i] + DOUBT) for i in others), np.zeros(len(MODELS)))
        part = _chances(odds + lean)
        part = np.where(np.isfinite(odds), np.maximum(part, FLOOR / len(MODELS)), 0.0)
        part = _ended(part / part.sum(), seen)
        part = _split(part, seen, [losses[i].signs for i in others])
        order = np.argsort(-part, kind="stable")
        out.append({MODELS[i].cause: float(part[i]) for i in order if part[i] > 0.0})
    return out


def _odds(
    seen: Seen, setup: Setup, corrections: Mapping[str, Mapping[str, float]] | None
) -> Floats:
    """Each model's logarithm of odds by one loss alone; -inf for what the setup rules out."""
    odds = np.array(log_odds(seen.signs, fitted() if corrections is None else corrections))
    gone = ruled_out(setup)
    for place, model in enumerate(MODELS):
        odds[place] += (seen.codes or {}).get(model.cause, 0.0)
        if model.cause in gone:
            odds[place] = -np.inf
    return odds


def _lower(odds: Floats, apart: Sequence[tuple[int, int]]) -> Floats:
    """The same odds with each decided-against rival held under its cause."""
    out = odds.copy()
    for cause, rival in apart:
        if np.isfinite(odds[cause]):
            held = max(odds[cause] + np.log(DECIDED_MOST), odds[rival] - MOST_LOWERED)
            out[rival] = min(out[rival], held)
    return out


def _chances(odds: Floats) -> Floats:
    part = np.exp(odds - odds.max())
    return np.asarray(part / part.sum())


def _ended(part: Floats, seen: Seen) -> Floats:
    """What tripped something may have gone with the log's last block."""
    first = int(part.argmax())
    if seen.signs.get("how") != "log_end" or seen.codes or part[first] <= ENDED_MOST:
        return part
    out = part * ((1.0 - ENDED_MOST) / (part.sum() - part[first]))
    out[first] = ENDED_MOST
    return np.asarray(out)

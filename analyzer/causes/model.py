"""What a cause says must be seen: its signs with likelihood ratios, its sentences, its tests."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analyzer.loss_facts import Around, Facts
from analyzer.words import CutoutCause

Sentences = Callable[[Around, Facts], list[str]]
Levels = Mapping[str, float]

YES, LIKELY, SOME = 3.0, 1.5, 0.7
UNLIKELY, HARDLY, NEVER = -1.5, -3.0, -5.0
"""Steps of the hand-set natural logarithms of likelihood ratios. Our choice, from what physics and
the trade say must be seen (the fitted corrections beside them are data)."""


@dataclass(frozen=True, slots=True)
class CauseModel:
    """One candidate."""

    cause: CutoutCause
    prior: float
    """Natural logarithm of how common it is before anything is seen, against the others."""
    signs: Mapping[str, Levels]
    """Sign -> level -> natural logarithm of the likelihood ratio; what is not named is 0."""
    evidence: Sentences
    confirm: tuple[str, ...]
    """One test, one channel to log."""

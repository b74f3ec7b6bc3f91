"""Which of everything found matters most: the order of the first screen."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.words import Severity


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing worth a sentence on the first screen; the sentence itself is made in reports."""

    subject: str
    """An event kind's word (all events of that kind and flavour together), `limit`, `balance`,
    `setting`, `pack`, `not_tried` or `good`."""
    severity: Severity
    events: tuple[int, ...] = ()
    """Places in `RideResult.events`, the telling one first."""
    limits: tuple[str, ...] = ()
    """Setup keys it is about."""
    drives: tuple[str, ...] = ()

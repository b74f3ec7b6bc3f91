"""What must never be advised (the trade's practice, no source), read in every sentence."""

from __future__ import annotations

import re
from collections.abc import Iterable

NEVER = (
    r"\b(raise|increase|higher|lift)\b[^.]*\b(trip|delay|temperature stop|stop temperature)\b",
    r"\b(widen|lengthen|extend)\b[^.]*\b(delay|trip)\b",
    r"\b(lower|reduce|decrease)\b[^.]*\b(stop_at_v|derate_from_v|(stop|derate|cutoff) voltage)\b",
    r"\b(unplug|disconnect|remove)\b[^.]*\b(sensor|thermometer)\b",
    r"\b(bridge|bypass|short)\b[^.]*\b(bms|management system|protection|switch|interlock|fuse)\b",
    r"\bride on\b(?! until| the| it)",
    r"\b(bigger|larger|stronger) fuse\b",
    r"\bmatch\b[^.]*\bup\b",
)
FORBIDS = re.compile(r"\b(not|never|neither|no|before matching up)\b", re.IGNORECASE)
"""Sentences that forbid it are let through."""


def forbidden(texts: Iterable[str]) -> list[str]:
    """The sentences that advise what is never advised."""
    sentences = [one for text in texts for one in re.split(r"(?<=[.;:])\s", text)]
    return [
        one
        for one in sentences
        if not FORBIDS.search(one) and any(re.search(p, one, re.IGNORECASE) for p in NEVER)
    ]

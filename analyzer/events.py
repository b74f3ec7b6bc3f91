"""What happened in a ride: spans with a kind, a severity and, where a kind has them, causes."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.words import EventKind, Severity


@dataclass(frozen=True, slots=True)
class Cause:
    """One candidate cause of an event with its probability and what speaks for it."""

    cause: str
    """A word of `CutoutCause`, `Governor` or `ImbalanceCause`."""
    probability: float
    evidence: tuple[str, ...] = ()
    """Whole sentences with numbers and units."""
    would_confirm: tuple[str, ...] = ()
    remedy: tuple[str, ...] = ()
    """What to set or do on this build, what it costs, its caution; in that order."""
    consequences: tuple[str, ...] = ()
    """Cause words of what followed from it."""


@dataclass(frozen=True, slots=True)
class Peak:
    """The extreme of the quantity that makes the event, with its sign."""

    quantity: str
    """A channel or derived quantity with its unit at the end (`pack_current_a`)."""
    value: float
    at_least: bool = False
    """True where the channel is updated less than 5 times a second."""


@dataclass(frozen=True, slots=True)
class LimitRef:
    """The setup key that an event is judged against, and its value."""

    name: str
    value: float


@dataclass(frozen=True, slots=True)
class Event:
    """One span of the ride worth telling."""

    kind: EventKind
    start_s: float
    end_s: float
    drives: tuple[str, ...]
    severity: Severity
    peak: Peak | None = None
    limit: LimitRef | None = None
    causes: tuple[Cause, ...] = ()
    """Likeliest first, probabilities sum to 1 with `unknown`; empty where a kind has none."""
    facts: tuple[str, ...] = ()
    """Whole sentences with numbers: what was measured in this span."""
    remedy: tuple[str, ...] = ()
    """For kinds without causes: what to do, what it costs, the caution."""
    flavour: str = ""
    """A finer word where one kind has two sentences: a sag is `empty` or `too_much_current`."""
    measures: tuple[tuple[str, float], ...] = ()
    """Named numbers with their unit in the name (`charge_ah`, `current_left_a`)."""

    def measure(self, name: str) -> float | None:
        """The named number, or None."""
        return dict(self.measures).get(name)


@dataclass(frozen=True, slots=True)
class NotChecked:
    """What could not be judged, and the setup keys or channels it would need."""

    what: str
    missing: tuple[str, ...]

"""What a setup check says: findings with what to set instead, and what could not be judged."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from analyzer.events import NotChecked
from analyzer.words import Severity
from importers.setup_types import Drive, Setup

MARGIN = 0.10
"""In hand between what is set and a rating. The contract's; practice of the trade is 10 to 20 %
(common practice, no source)."""
_EDGE = 1e-9
"""Sums of decimals that should be equal differ by less than this."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A value that would do, and why that one."""

    key: str
    """The key at which the value stands in the file, `same_as` resolved."""
    value: float
    why: str


@dataclass(frozen=True, slots=True)
class SetupFinding:
    """One thing that a setup says will go wrong, or is worth knowing."""

    check: str
    keys: tuple[str, ...]
    """Every setting that went into the check, at the place where it stands in the file."""
    severity: Severity
    value: float | None
    limit: float | None
    message: str
    """What is set against what it is held, with the numbers."""
    why: str = ""
    """Why it matters on the road."""
    suggest: tuple[Suggestion, ...] = ()
    cost: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class SetupCheck:
    """A setup judged on paper."""

    findings: tuple[SetupFinding, ...]
    """The gravest first."""
    not_checked: tuple[NotChecked, ...]
    held: tuple[str, ...] = ()
    """What was judged and is in order, one sentence each."""


@dataclass(slots=True)
class Sheet:
    """Collects what the rules of one check have to say."""

    findings: list[SetupFinding]
    not_checked: list[NotChecked]
    held: list[str]

    @classmethod
    def empty(cls) -> Sheet:
        """A sheet with nothing on it."""
        return cls([], [], [])

    def miss(self, what: str, *missing: str) -> None:
        """Say that something was not judged for want of these keys."""
        self.not_checked.append(NotChecked(what, unique(missing)))


def unique(keys: Iterable[str]) -> tuple[str, ...]:
    """The keys without repeats, in order."""
    return tuple(dict.fromkeys(keys))


def drive_key(setup: Setup, drive: Drive, name: str) -> str:
    """Where a drive's value stands in the file, or, not given, where one would write it: at the
    end of the drives that are `same_as` one another."""
    while getattr(drive, name) is None and drive.same_as is not None:
        drive = setup.drive(drive.same_as)
    return setup.home(f"drives.{drive.name}.{name}")


def who(setup: Setup, drive: Drive, names: Iterable[str]) -> str:
    """The drives that take these values from the same place in the file, to begin a sentence."""
    names = tuple(names)

    def homes(one: Drive) -> list[str]:
        return [drive_key(setup, one, name) for name in names]

    same = [one.name for one in setup.drives if homes(one) == homes(drive)]
    if len(same) == 1:
        return f"Drive {drive.name}"
    return f"Drives {', '.join(same[:-1])} and {same[-1]}"


def above(value: float, limit: float) -> bool:
    """Whether `value` lies above `limit` by more than the dust of adding decimals."""
    return value > limit + _EDGE * max(1.0, abs(limit))


def floor_a(current_a: float) -> float:
    """A current as one sets it, rounded down: to 0.5 A, below 5 A to 0.1 A."""
    step = 0.5 if current_a >= 5.0 else 0.1
    return round(math.floor(current_a / step + 1e-6) * step, 1)


def carried_a(trip_a: float) -> float:
    """What a protection that opens at `trip_a` can be said to carry: a tenth less, as one sets
    it."""
    return floor_a(0.9 * trip_a)


def ceil_v(voltage_v: float) -> float:
    """A voltage as one sets it, rounded up to 0.1 V."""
    return round(math.ceil(voltage_v * 10 - 1e-6) / 10, 1)


def floor_v(voltage_v: float) -> float:
    """A voltage as one sets it, rounded down to 0.1 V."""
    return round(math.floor(voltage_v * 10 + 1e-6) / 10, 1)


def num(value: float, unit: str) -> str:
    """A number of the setup with its unit, to two decimals at most, none of them idle."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return f"{text.replace('-', '−')} {unit}".rstrip()


def pct(part: float) -> str:
    """A part of one as per cent; a small part is never written as none."""
    if 0 < part < 0.01:
        return "under 1 %"
    return f"{100 * part:.0f} %"

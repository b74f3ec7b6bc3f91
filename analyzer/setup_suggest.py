"""A consistent set of limits for this build: each with its reason and its cost.

From ratings, the number of drives, margins and, where rides are given, what they showed. What is
set lower than it could be stays; no protection is ever weakened.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analyzer.cost_of_limit import battery_cost, fade_cost
from analyzer.setup_derive import Derived, derive_voltages, stop_floor_v
from analyzer.setup_evidence import Evidence
from analyzer.setup_finding import (
    SetupFinding,
    Sheet,
    Suggestion,
    above,
    ceil_v,
    drive_key,
    floor_v,
    num,
    pct,
)
from analyzer.setup_sums import each_a, each_why
from analyzer.words import Severity
from importers.setup_types import Drive, Setup

HEAT_BAND_K = 15.0
"""From fading to stopping [K]: enough to notice on a climb. Our choice."""


@dataclass(frozen=True, slots=True)
class Advised:
    """One limit of the consistent set."""

    key: str
    """Where it stands, or would be written, in the file."""
    now: float | None
    value: float
    why: str
    cost: str

    @property
    def changes(self) -> bool:
        """Whether it differs from what is set."""
        return self.now is None or self.now != self.value


def consistent_set(setup: Setup, evidence: Evidence) -> tuple[Advised, ...]:
    """Which limits fit together on this build, and why each? In the file's order, each value once
    where it stands; limits that nothing is known about are left out."""
    derived = derive_voltages(setup, evidence)
    found: dict[str, Advised] = {}
    for drive in setup.drives:
        for one in (
            _phase(setup, drive, "phase_drive_a"),
            _phase(setup, drive, "phase_brake_a"),
            _battery(setup, drive, "drive", evidence),
            _battery(setup, drive, "brake", evidence),
            *_voltages(setup, drive, derived, evidence),
            _overvoltage(setup, drive),
            _heat(setup, drive, "controller"),
            _heat(setup, drive, "motor"),
        ):
            if one is not None:
                found.setdefault(one.key, one)
    return tuple(found.values())


def check_consistent(setup: Setup, evidence: Evidence, sheet: Sheet) -> None:
    """The set as one finding where it changes or adds a value, else a line that all fits."""
    advised = consistent_set(setup, evidence)
    new = [one for one in advised if one.changes]
    if not advised:
        sheet.miss("a consistent set of limits", "bms.discharge_rating_a", "bms.charge_rating_a")
        return
    if not new:
        sheet.held.append("The limits fit together: none of them needs another value.")
        return
    measured = (
        f"{evidence.rides} ride{'s' if evidence.rides > 1 else ''}"
        if evidence.rides
        else "paper alone"
    )
    costs = dict.fromkeys(f"{one.key}: {one.cost}" for one in new if one.cost)
    sheet.findings.append(
        SetupFinding(
            check="consistent_set",
            keys=tuple(one.key for one in advised),
            severity=Severity.NOTE,
            value=None,
            limit=None,
            message=f"A set of limits that fit together on this build, from {measured}: "
            f"{len(new)} of {len(advised)} differ from the file or are not in it.",
            why="Changed one by one, limits drift apart; these leave 10 % under every rating that "
            "is given and fade before anything opens.",
            suggest=tuple(Suggestion(one.key, one.value, one.why) for one in new),
            cost=" ".join(costs),
            caution="Change both sides together, write the values into this file, and try them on "
            "the flat first.",
        )
    )


def _battery(
    setup: Setup, drive: Drive, way: Literal["drive", "brake"], evidence: Evidence
) -> Advised | None:
    overshoot = evidence.drive_overshoot if way == "drive" else evidence.brake_overshoot
    each = each_a(setup, way, overshoot)
    name = f"battery_{way}_a"
    now = getattr(drive, name)
    given = _given(setup, name)
    if each is None and not given:
        return None
    lowest = min([*given, *([] if each is None else [each])])
    key = drive_key(setup, drive, name)
    if each is not None and lowest == each and (now is None or above(now, each)):
        why = each_why(setup, way, each, overshoot)
    elif now is None or above(now, lowest):
        why = f"the lowest of the sides: all carry alike with {num(lowest, 'A')} each"
    else:
        why = "within every rating that is given, with 10 % in hand"
    cost = battery_cost(setup, way, now, lowest, evidence.resistance_ohm.value)
    return Advised(key, now, lowest, why, cost)


def _voltages(
    setup: Setup, drive: Drive, derived: Derived, evidence: Evidence
) -> tuple[Advised, Advised]:
    """Stop and derate: kept where they are in order, derived for this pack where not."""
    stop_key, derate_key = (drive_key(setup, drive, n) for n in ("stop_at_v", "derate_from_v"))
    stop_now, derate_now = _highest(setup, "stop_at_v"), _highest(setup, "derate_from_v")
    if stop_now is not None and not above(stop_floor_v(setup, evidence), stop_now):
        stop_v, stop_why = stop_now, f"clear of empty and of the BMS's line{_of_all(setup)}"
    else:
        stop_v, stop_why = max(derived.stop_v, stop_now or 0.0), derived.stop_why
    band = derived.band_v if evidence.measured else 0.5 * derived.band_v
    if derate_now is not None and not above(stop_v + band, derate_now):
        derate_v, derate_why = derate_now, f"a band above the stop voltage{_of_all(setup)}"
    else:
        derate_v = max(derived.derate_v, ceil_v(stop_v + derived.band_v), derate_now or 0.0)
        derate_why = derived.derate_why
    cost = fade_cost(setup, derived.current_a, derate_v, evidence.resistance_ohm)
    stop_cost = "" if drive.stop_at_v == stop_v else "a little charge stays unused."
    return (
        Advised(stop_key, drive.stop_at_v, stop_v, stop_why, stop_cost),
        Advised(
            derate_key,
            drive.derate_from_v,
            derate_v,
            derate_why,
            "" if drive.derate_from_v == derate_v else cost,
        ),
    )


def _given(setup: Setup, name: str) -> list[float]:
    return [value for one in setup.drives if (value := getattr(one, name)) is not None]


def _highest(setup: Setup, name: str) -> float | None:
    """Of low voltages the highest of the sides is the safer one for all."""
    return max(_given(setup, name), default=None)


def _of_all(setup: Setup) -> str:
    return ", the same on all drives" if len(setup.drives) > 1 else ""


def _overvoltage(setup: Setup, drive: Drive) -> Advised | None:
    """The lowest of the sides that lies between full and the BMS's line, else their middle."""
    high = setup.bms.cell_high_v
    now, key = drive.overvoltage_v, drive_key(setup, drive, "overvoltage_v")
    if high is None:
        return None
    line_v = high * setup.pack.series
    why = (
        f"between full ({num(setup.full_v, 'V')}) and where the BMS closes the charge path "
        f"({num(line_v, 'V')}){_of_all(setup)}"
    )
    fine = [
        one
        for one in _given(setup, "overvoltage_v")
        if above(one, setup.full_v) and above(line_v, one)
    ]
    value = min(fine) if fine else floor_v((setup.full_v + line_v) / 2)
    if not above(value, setup.full_v) or not above(line_v, value):
        return None
    cost = "" if now == value else "braking ends a little earlier on a full pack."
    return Advised(key, now, value, why, cost)


def _phase(setup: Setup, drive: Drive, name: str) -> Advised | None:
    """Phase limits have no rating in a setup: they are only matched down, side to side."""
    given, now = _given(setup, name), getattr(drive, name)
    if now is None:
        return None
    lowest = min(given)
    cost = f"{pct(1 - lowest / now)} less pull at low speed." if above(now, lowest) else ""
    why = f"the lowest of the sides{_of_all(setup)}"
    return Advised(drive_key(setup, drive, name), now, lowest, why, cost)


def _heat(setup: Setup, drive: Drive, part: str) -> Advised | None:
    """Where a stop is known, fading begins well before it."""
    stop, now = getattr(drive, f"{part}_stop_c"), getattr(drive, f"{part}_derate_c")
    if stop is None:
        return None
    key = drive_key(setup, drive, f"{part}_derate_c")
    if now is not None and above(stop, now):
        return Advised(key, now, now, "fades before it stops", "")
    why = f"leaves {HEAT_BAND_K:.0f} K below the stop in which power fades"
    return Advised(key, now, stop - HEAT_BAND_K, why, "power fades earlier on a long climb.")

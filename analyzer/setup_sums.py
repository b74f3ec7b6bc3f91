"""Do the controllers together ask more than BMS, cells and wiring allow? Driving and braking apart.

Battery currents of controllers on one pack add up (Kirchhoff's current law); each controller
limits its own only, so nothing that is set limits the sum.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analyzer.cost_of_limit import climb_cost
from analyzer.setup_evidence import Evidence
from analyzer.setup_finding import (
    MARGIN,
    SetupFinding,
    Sheet,
    Suggestion,
    above,
    carried_a,
    drive_key,
    floor_a,
    num,
    pct,
    unique,
)
from analyzer.words import Severity
from importers.setup_types import Ports, Setup

Direction = Literal["drive", "brake"]
BoundKind = Literal["rating", "wiring", "peak", "trip"]


@dataclass(frozen=True, slots=True)
class Bound:
    """One key that a sum of currents is held against."""

    key: str
    kind: BoundKind
    what: str
    why: str
    """What happens on the road when the sum is above it."""


_OPENS = (
    "Each controller keeps to its own limit and nothing that is set limits the sum: on a long "
    "climb the BMS may open, and every drive, and motor braking with it, is gone at once."
)
_CHARGE_OPENS = (
    "On a firm stop the BMS may close the charge path: motor braking is then gone at once, "
    "and the mechanical brake has to do it alone."
)
_CELLS = "Above it the cells heat up and age fast, and nothing opens, so nothing warns you."
_CELLS_CHARGE = (
    "Charging faster than the cells are rated for plates lithium, which ages and endangers them; "
    "where the BMS allows more, nothing opens and nothing warns you."
)
_FUSE = "A fuse that blows on a climb takes drive and motor braking, and it does not come back."
_CONNECTOR = "A connector above its rating heats up, which makes its contact worse and hotter."

DRIVE_BOUNDS = (
    Bound("bms.discharge_rating_a", "rating", "the BMS's rating", _OPENS),
    Bound("pack.discharge_rating_a", "rating", "the cells' rating", _CELLS),
    Bound("wiring.fuse_a", "wiring", "the fuse's rating", _FUSE),
    Bound("wiring.connector_rating_a", "wiring", "the connector's rating", _CONNECTOR),
    Bound("bms.discharge_peak_a", "peak", "the BMS's short peak", _OPENS),
    Bound("pack.discharge_peak_a", "peak", "the cells' short peak", _CELLS),
    Bound("bms.discharge_trip_a", "trip", "the BMS's trip", _OPENS),
)
BRAKE_BOUNDS = (
    Bound("bms.charge_rating_a", "rating", "the BMS's charge rating", _CHARGE_OPENS),
    Bound("pack.charge_rating_a", "rating", "the cells' charge rating", _CELLS_CHARGE),
    Bound("wiring.fuse_a", "wiring", "the fuse's rating", _FUSE),
    Bound("wiring.connector_rating_a", "wiring", "the connector's rating", _CONNECTOR),
    Bound("bms.charge_peak_a", "peak", "the BMS's short peak", _CHARGE_OPENS),
    Bound("pack.charge_peak_a", "peak", "the cells' short peak", _CELLS_CHARGE),
    Bound("bms.charge_trip_a", "trip", "the BMS's charge trip", _CHARGE_OPENS),
)


@dataclass(frozen=True, slots=True)
class Total:
    """What all drives may draw (push) together, and from which keys that is."""

    direction: Direction
    value: float
    parts: tuple[tuple[str, float, str], ...]
    """(drive, its limit [A], key) of each drive that has one."""
    aux_a: float
    """Counted in when driving; lights take from what braking gives, so there it is left out."""
    missing: tuple[str, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """Every setting that goes into the sum."""
        aux = ("pack.aux_a",) if self.aux_a > 0 else ()
        return unique((*(key for _, _, key in self.parts), *aux))

    @property
    def text(self) -> str:
        """The sum as one writes it by hand."""
        terms = [f"{name} {num(value, 'A')}" for name, value, _ in self.parts]
        if self.aux_a > 0:
            terms.append(f"lights {num(self.aux_a, 'A')}")
        if len(terms) == 1:
            return terms[0]
        return f"{' + '.join(terms)} = {num(self.value, 'A')}"


def total(setup: Setup, direction: Direction) -> Total | None:
    """The sum of all drives' battery limits, lights included when driving; None where no drive
    has one."""
    name = f"battery_{direction}_a"
    parts, missing = [], []
    for drive in setup.drives:
        value = getattr(drive, name)
        if value is None:
            missing.append(drive_key(setup, drive, name))
        else:
            parts.append((drive.name, float(value), drive_key(setup, drive, name)))
    if not parts:
        return None
    aux_a = _aux_a(setup, direction)
    value = sum(part for _, part, _ in parts) + aux_a
    return Total(direction, value, tuple(parts), aux_a, tuple(missing))


def bounds(setup: Setup, direction: Direction) -> list[tuple[Bound, float | None]]:
    """What the sum is held against, and its value where given. With separate ports braking does
    not pass the charge trip."""
    found = []
    for bound in DRIVE_BOUNDS if direction == "drive" else BRAKE_BOUNDS:
        if bound.key == "bms.charge_trip_a" and setup.bms.ports is Ports.SEPARATE:
            continue
        table, name = bound.key.split(".")
        found.append((bound, getattr(getattr(setup, table), name)))
    return found


def allowed_a(
    setup: Setup, direction: Direction, overshoot: float = 1.0
) -> tuple[float, str] | None:
    """The most all drives and lights together should be set to: the lowest rating less the
    margin and less what limits were seen to overshoot, and whose rating that is; None where none
    is given."""
    given = [(_carries(setup, b, v), b.key) for b, v in bounds(setup, direction) if v is not None]
    if not given:
        return None
    lowest, key = min(given)
    aux_a = _aux_a(setup, direction)
    return (lowest * (1 - MARGIN) - aux_a) / overshoot + aux_a, key


def _carries(setup: Setup, bound: Bound, value: float) -> float:
    """What a bound carries for ever: a trip that is not above its rating a tenth less than where
    it opens, as `trip_below_rating` says of the rating."""
    rating = _value(setup, bound.key.replace("trip_a", "rating_a"))
    low = bound.kind == "trip" and rating is not None and not above(value, rating)
    return carried_a(value) if low else value


def _aux_a(setup: Setup, direction: Direction) -> float:
    """Lights take from what braking gives, so they count when driving only."""
    return (setup.pack.aux_a or 0.0) if direction == "drive" else 0.0


def each_a(setup: Setup, direction: Direction, overshoot: float = 1.0) -> float | None:
    """An equal part for every drive of what the lowest rating leaves, as one sets it; None where
    no rating is given or the lights alone use it up."""
    allowed = allowed_a(setup, direction, overshoot)
    if allowed is None:
        return None
    each = floor_a((allowed[0] - _aux_a(setup, direction)) / len(setup.drives))
    return each if each > 0 else None


def each_why(setup: Setup, direction: Direction, each: float, overshoot: float) -> str:
    """Why that part: the sum it makes, the rating it stays under, what was seen to overshoot."""
    allowed = allowed_a(setup, direction, overshoot)
    assert allowed is not None
    aux_a, count = _aux_a(setup, direction), len(setup.drives)
    lights = f" and {num(aux_a, 'A')} for lights" if aux_a > 0 else ""
    times = f"{count} × {num(each, 'A')}" if count > 1 else num(each, "A")
    seen = f", the {pct(overshoot - 1)} that rides overshot included" if overshoot > 1.005 else ""
    return f"{times}{lights} stay 10 % under {allowed[1]}, the lowest rating given{seen}."


def check_sums(setup: Setup, evidence: Evidence, sheet: Sheet) -> None:
    """Hold the sum of limits, driving and braking, against every rating that is given."""
    for direction in ("drive", "brake"):
        _check_sum(setup, direction, evidence, sheet)


def _check_sum(setup: Setup, direction: Direction, evidence: Evidence, sheet: Sheet) -> None:
    verb = "driving" if direction == "drive" else "braking"
    summed = total(setup, direction)
    if summed is None or summed.missing:
        names = [drive_key(setup, one, f"battery_{direction}_a") for one in setup.drives]
        missing = summed.missing if summed else tuple(names)
        sheet.miss(f"the sum of all drives' battery limits, {verb}", *missing)
    peaks = []
    for bound, limit in bounds(setup, direction):
        if limit is None:
            if bound.kind == "peak":
                peaks.append(bound.key)
            else:
                sheet.miss(f"the drives together, {verb}, against {bound.what}", bound.key)
        elif summed is not None:
            _hold(setup, summed, bound, limit, evidence, sheet)
    if peaks:
        sheet.miss(f"the drives together, {verb}, against short peaks", *peaks)


def _hold(
    setup: Setup, summed: Total, bound: Bound, limit: float, evidence: Evidence, sheet: Sheet
) -> None:
    """Hold one sum against one key; a finding where less than the margin is left."""
    opens = bound.kind == "trip" and not above(limit, summed.value)
    over = above(summed.value, limit) or opens
    tight = above(summed.value, limit * (1 - MARGIN)) and bound.kind != "peak"
    if not over and not tight:
        if not summed.missing and bound.kind != "peak":
            left = pct(1 - summed.value / limit)
            sheet.held.append(
                f"{_verb(summed.direction)}: {summed.text}; {bound.what} is "
                f"{num(limit, 'A')}: "
                f"{left} in hand."
            )
        return
    driving = summed.direction == "drive"
    overshoot = evidence.drive_overshoot if driving else evidence.brake_overshoot
    suggest = _suggest(setup, summed, overshoot)
    sheet.findings.append(
        SetupFinding(
            check=f"sum_of_battery_{summed.direction}_limits",
            keys=unique((*summed.keys, bound.key)),
            severity=Severity.ACT if over else Severity.WATCH,
            value=round(summed.value, 6),
            limit=limit,
            message=_message(setup, summed, bound, limit, over)
            + (_bites(setup, summed, limit, evidence) if driving and over else ""),
            why=bound.why,
            suggest=suggest,
            cost=_cost(setup, summed, suggest, evidence),
            caution=_caution(summed.direction),
        )
    )


def _verb(direction: Direction) -> str:
    return "Driving" if direction == "drive" else "Braking"


def _message(setup: Setup, summed: Total, bound: Bound, limit: float, over: bool) -> str:
    already = "at least " if summed.missing else ""
    head = f"{_verb(summed.direction)}: {already}{summed.text}; {bound.what} is {num(limit, 'A')}"
    if above(summed.value, limit):
        tail = f"{num(summed.value - limit, 'A')} too much"
    elif over:
        tail = "it opens there"
    else:
        tail = f"only {pct(1 - summed.value / limit)} in hand, 10 % is the least"
        if not above(limit, summed.value):
            tail = "nothing in hand, 10 % is the least"
    return f"{head}: {tail}.{_peak_words(setup, summed, bound)}"


def _bites(setup: Setup, summed: Total, limit: float, evidence: Evidence) -> str:
    """From which speed on full throttle passes the rating, where rides tell."""
    phases = [one.phase_drive_a for one in setup.drives]
    if evidence.duty is None or summed.missing or None in phases:
        return ""
    each = (limit - summed.aux_a) / len(setup.drives)
    phase_a = sum(one for one in phases if one is not None) / len(phases)
    speed = evidence.duty.speed_mps(each, phase_a) if each > 0 else None
    if speed is None or speed.low is None or speed.high is None:
        return ""
    kmh = [3.6 * one for one in (speed.value, speed.low, speed.high)]
    digits = 0 if kmh[2] - kmh[1] >= 1.0 else 1
    return (
        f" At full throttle it is passed from about {kmh[0]:.{digits}f} km/h on "
        f"({kmh[1]:.{digits}f} to {kmh[2]:.{digits}f})."
    )


def _peak_words(setup: Setup, summed: Total, bound: Bound) -> str:
    """For how long a sum above a continuous rating is still allowed, where that is given."""
    if bound.kind != "rating" or not above(summed.value, _value(setup, bound.key) or 0.0):
        return ""
    peak_key = bound.key.replace("rating_a", "peak_a")
    peak_a, peak_s = _value(setup, peak_key), _value(setup, peak_key[:-2] + "_s")
    if peak_a is None or peak_s is None or above(summed.value, peak_a):
        return ""
    return f" Up to {num(peak_a, 'A')} is allowed for {num(peak_s, 's')} only; climbs last longer."


def _value(setup: Setup, key: str) -> float | None:
    table, name = key.split(".")
    value: float | None = getattr(getattr(setup, table), name)
    return value


def _suggest(setup: Setup, summed: Total, overshoot: float) -> tuple[Suggestion, ...]:
    """An equal part of what the lowest rating leaves, for every drive that is set above it."""
    each = each_a(setup, summed.direction, overshoot)
    if each is None:
        return ()
    why = each_why(setup, summed.direction, each, overshoot)
    found: dict[str, Suggestion] = {}
    for _, value, home in summed.parts:
        if above(value, each):
            found[home] = Suggestion(home, each, why)
    return tuple(found.values())


def lower(
    setup: Setup, direction: Direction, evidence: Evidence
) -> tuple[tuple[Suggestion, ...], str, str]:
    """What to lower the battery limits to, its cost and its caution; empty where they would do."""
    summed = total(setup, direction)
    if summed is None:
        return (), "", ""
    driving = direction == "drive"
    overshoot = evidence.drive_overshoot if driving else evidence.brake_overshoot
    suggest = _suggest(setup, summed, overshoot)
    if not suggest:
        return (), "", ""
    return suggest, _cost(setup, summed, suggest, evidence), _caution(direction)


def _cost(setup: Setup, summed: Total, suggest: tuple[Suggestion, ...], evidence: Evidence) -> str:
    if not suggest:
        return ""
    new = {one.key: one.value for one in suggest}
    before = sum(value for _, value, _ in summed.parts)
    after = sum(new.get(key, value) for _, value, key in summed.parts)
    if summed.direction == "drive":
        told = climb_cost(setup, before, after, evidence.resistance_ohm.value)
        return (
            f"{told[:1].upper()}{told[1:]} The pull from a standstill stays (the phase limit sets "
            "it)."
        )
    return (
        f"About {pct(1 - after / before)} less motor braking from speed: stopping on the motors "
        "alone takes longer, and less energy comes back."
    )


def _caution(direction: Direction) -> str:
    if direction == "drive":
        return "Raising the BMS's trip or bridging it is no remedy: it guards the cells."
    return (
        "The mechanical brake must hold the loaded vehicle on your steepest grade by itself: "
        "try it at walking pace first."
    )

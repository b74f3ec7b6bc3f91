"""Which of everything found matters most: the order of the first screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.balance import CURRENT_LIMITS, Balance, InForce
from analyzer.events import Event
from analyzer.finding_groups import LOSSES, stories
from analyzer.limits import LimitCheck
from analyzer.sensors import CONTROLLER_CURRENT_SHARE
from analyzer.words import BalanceVerdict, EventKind, ImbalanceCause, LimitRole, Severity, Verdict

ORDER = (
    EventKind.BRAKE_LOSS,
    EventKind.CUTOUT,
    EventKind.REGEN_OVER_RATING,
    EventKind.NEAR_TRIP,
    EventKind.OVERVOLTAGE,
    EventKind.DISCHARGE_OVER_RATING,
    EventKind.OVERHEAT,
    EventKind.BRAKE_REDUCED,
    EventKind.POWER_REDUCED,
    EventKind.SAG,
    EventKind.IMBALANCE,
    EventKind.WHEEL_SLIP,
    EventKind.STALL,
    EventKind.LOG_GAP,
)
"""Among findings of one severity, what can hurt comes first. Our choice."""
NOT_IN_FORCE, NOT_IN_FORCE_A = 0.98, 0.4
"""A plateau whose whole interval lies below this part of the setting and that lies this much below
it [A] is not the setting. Our choice: the 2 % a limit in force is known to; small braking limits
are blurred by offsets (0.1 to 0.3 A, common practice, no source)."""
OVERSHOOT_PCT = 110.0
"""A limiter overshooting further than this is worth watching [%]. Our choice: readings are right
within 3 to 5 % (common practice, no source), on top of the contract's 105 %."""
GOOD = (Verdict.WORKS, Verdict.HOLDS)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing worth a sentence on the first screen; the sentence itself is made in reports."""

    subject: str
    """An event kind's word (all events of one story together, `analyzer.finding_groups`), `limit`,
    `balance`, `setting`, `pack`, `not_tried` or `good`."""
    severity: Severity
    events: tuple[int, ...] = ()
    """Places in `RideResult.events`: those of the subject's kind, the telling one first, then what
    belongs to the same story."""
    limits: tuple[str, ...] = ()
    """Setup keys it is about."""
    drives: tuple[str, ...] = ()


def rank_findings(
    events: Sequence[Event],
    limits: Sequence[LimitCheck],
    balance: Balance | None,
    in_force: Sequence[InForce] = (),
) -> tuple[Finding, ...]:
    """Everything found, what matters most first: loss of braking, then what calls for action, what
    to watch, what is worth knowing; what can hurt before what cannot; good news and what was not
    tried last."""
    found = [
        *_from_events(events),
        *_from_limits(limits, events),
        *_from_balance(balance),
        *_from_settings(in_force, limits),
    ]
    found = _one_of_sides(found, balance)
    found.sort(key=_rank)
    return (*found, *_good(limits, found), *_not_tried(limits))


def _rank(one: Finding) -> tuple[int, int, int]:
    kinds = [kind.value for kind in ORDER]
    place = kinds.index(one.subject) if one.subject in kinds else len(kinds)
    return (0 if one.subject == EventKind.BRAKE_LOSS else 1, -one.severity.rank, place)


def _from_events(events: Sequence[Event]) -> list[Finding]:
    found = []
    for places in stories(events):
        told = [events[place] for place in places]
        worst = max((one.severity for one in told), key=lambda one: one.rank)
        keys = tuple(dict.fromkeys(one.limit.name for one in told if one.limit is not None))
        found.append(Finding(told[0].kind.value, worst, tuple(places), keys, told[0].drives))
    return found


_COVERED = {
    "bms.discharge_rating_a": EventKind.DISCHARGE_OVER_RATING,
    "pack.discharge_rating_a": EventKind.DISCHARGE_OVER_RATING,
    "bms.charge_rating_a": EventKind.REGEN_OVER_RATING,
    "pack.charge_rating_a": EventKind.REGEN_OVER_RATING,
    "pack.min_charge_temp_c": EventKind.REGEN_OVER_RATING,
}


def _from_limits(limits: Sequence[LimitCheck], events: Sequence[Event]) -> list[Finding]:
    """Limits reached that no event tells of already: an exceeded rating calls for action, a
    touched one and an overshooting limiter are worth watching."""
    kinds = {event.kind for event in events}
    named = {event.limit.name for event in events if event.limit is not None}
    # A loss at one drive's stop line tells of the other drives' lines, too.
    lost = {
        event.limit.name.rsplit(".", 1)[-1]
        for event in events
        if event.kind in LOSSES and event.limit is not None
    }
    found: dict[tuple[str, Severity], list[LimitCheck]] = {}
    for one in limits:
        last = one.limit.rsplit(".", 1)[-1]
        if one.limit in named or last in lost or _COVERED.get(one.limit) in kinds:
            continue
        severity = _limit_severity(one)
        if severity is not None:
            # The same limit of several drives is told once.
            found.setdefault((last if _drives_of(one) else one.limit, severity), []).append(one)
    return [
        Finding(
            "limit",
            severity,
            limits=tuple(one.limit for one in same),
            drives=tuple(drive for one in same for drive in _drives_of(one)),
        )
        for (_, severity), same in found.items()
    ]


def _limit_severity(one: LimitCheck) -> Severity | None:
    """A trip reached or a rating exceeded for ten seconds calls for action; one second over a
    continuous rating does not, nor does a limiter that overshoots by what its reading is off."""
    used = one.exercised_pct
    if one.verdict is Verdict.OVERSHOOTS:
        far = one.unit == "A" and used is not None and used > OVERSHOOT_PCT
        return Severity.WATCH if far else None
    if one.verdict is Verdict.TOUCHED:
        return Severity.WATCH
    if one.verdict is not Verdict.EXCEEDED:
        return None
    if one.role is not LimitRole.RATING:
        return Severity.WATCH if one.role is LimitRole.HEAT else Severity.ACT
    long = one.seen_10s is not None and one.seen_10s > one.set * (1 + CONTROLLER_CURRENT_SHARE)
    return Severity.ACT if long or one.limit.endswith("_peak_a") else Severity.WATCH


def _drives_of(one: LimitCheck) -> tuple[str, ...]:
    parts = one.limit.split(".")
    return (parts[1],) if parts[0] == "drives" else ()


def _from_balance(balance: Balance | None) -> list[Finding]:
    if balance is None or balance.verdict is not BalanceVerdict.UNEVEN:
        return []
    return [
        Finding(
            "balance",
            balance.severity or Severity.NOTE,
            drives=tuple(share.drive for share in balance.shares),
        )
    ]


def _from_settings(in_force: Sequence[InForce], limits: Sequence[LimitCheck]) -> list[Finding]:
    """A drive that saturates surely below what the setup says while another drive does not, so
    that no power mode shared by all explains it: a change that was not saved there."""
    found = []
    for key in CURRENT_LIMITS:
        set_a = {one.limit: one.set for one in limits}
        part = {
            one.drive: plateau.high / value
            for one in in_force
            if (plateau := getattr(one, key)) is not None
            and plateau.high is not None
            and (value := set_a.get(f"drives.{one.drive}.{key}"))
            and plateau.value < value - NOT_IN_FORCE_A
        }
        low = [drive for drive, ratio in part.items() if ratio < NOT_IN_FORCE]
        alone = len(in_force) > 1 and len(low) < len(in_force)
        found += [
            Finding("setting", Severity.WATCH, limits=(f"drives.{drive}.{key}",), drives=(drive,))
            for drive in low
            if alone
        ]
    return found


def _one_of_sides(found: list[Finding], balance: Balance | None) -> list[Finding]:
    """A side that carries less because a setting is not in force there is told once."""
    setting = any(one.subject == "setting" for one in found)
    why = balance.causes[0].cause if balance is not None and balance.causes else ""
    if not setting or why != ImbalanceCause.SETTING_NOT_IN_FORCE:
        return found
    return [one for one in found if one.subject != "balance"]


def _good(limits: Sequence[LimitCheck], found: Sequence[Finding]) -> list[Finding]:
    """Limiters that were leaned on and work, and ratings that were exercised and hold."""
    blamed = {key for one in found for key in one.limits}
    keys = [
        one.limit
        for one in limits
        if one.verdict in GOOD and one.unit == "A" and one.limit not in blamed
    ]
    return [Finding("good", Severity.NOTE, limits=tuple(keys))] if keys else []


def _not_tried(limits: Sequence[LimitCheck]) -> list[Finding]:
    keys = [one.limit for one in limits if one.verdict is Verdict.NOT_EXERCISED]
    return [Finding("not_tried", Severity.NOTE, limits=tuple(keys))] if keys else []

"""What rides have shown against the setup: limits passed, ratings reached, settings that do not
hold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.balance import CURRENT_LIMITS
from analyzer.setup_evidence import Evidence, same_pack
from analyzer.setup_finding import SetupFinding, Sheet, above, num
from analyzer.setup_sums import Direction, lower
from analyzer.words import LimitRole, Severity, Verdict
from importers.setup_types import Setup

if TYPE_CHECKING:
    from analyzer.limits import LimitCheck
    from analyzer.ride_analysis import RideResult

IN_FORCE_NEAR = 0.05
"""A plateau this near to the setting is the setting. The contract's band for `works`."""


def check_ridden(
    setup: Setup, rides: Sequence[RideResult], evidence: Evidence, sheet: Sheet
) -> None:
    """Hold the settings against what rides of this pack showed, worst ride first."""
    own = [ride for ride in rides if same_pack(setup, ride.setup)]
    if len(own) < len(rides):
        left_out = len(rides) - len(own)
        sheet.miss(
            f"{left_out} of {len(rides)} rides: another pack (name, cells or capacity differ)",
            "pack.name",
        )
    if not own:
        return
    _check_limits(setup, own, evidence, sheet)
    _check_in_force(setup, own, sheet)


def value_of(setup: Setup, key: str) -> float | None:
    """The value of a limit by its key; None where it is not given or the drive is not there."""
    table, name = key.rsplit(".", 1)
    if not table.startswith("drives."):
        return getattr(getattr(setup, table), name, None)
    drive = table.removeprefix("drives.")
    return getattr(setup.drive(drive), name, None) if drive in setup.drive_names else None


def _check_limits(
    setup: Setup, rides: Sequence[RideResult], evidence: Evidence, sheet: Sheet
) -> None:
    """The worst of each limit over all rides, judged by what is set now."""
    worst: dict[str, LimitCheck] = {}
    for ride in rides:
        for one in ride.limits:
            now = value_of(setup, one.limit)
            if now is None or one.seen is None or one.unit != "A":
                continue
            if one.limit not in worst or one.seen > (worst[one.limit].seen or 0.0):
                worst[one.limit] = one
    for key, one in worst.items():
        now = value_of(setup, key)
        assert now is not None
        if one.role is LimitRole.LIMITER:
            _overshoot(setup, key, one, sheet)
        else:
            _rating(setup, key, one, now, len(rides), evidence, sheet)


def _overshoot(setup: Setup, key: str, one: LimitCheck, sheet: Sheet) -> None:
    """Whether a limit was passed in the ride it was set in, whatever is set now."""
    if one.verdict is not Verdict.OVERSHOOTS or one.seen is None:
        return
    sheet.findings.append(
        SetupFinding(
            check="limit_overshot",
            keys=(setup.home(key),),
            severity=Severity.WATCH,
            value=one.seen,
            limit=one.set,
            message=f"{key} was set to {num(one.set, 'A')} and {num(round(one.seen, 1), 'A')} "
            f"flowed for a second, {100 * (one.seen / one.set - 1):.0f} % more.",
            why="The controller does not hold the limit it is given, so sums on paper are too low; "
            "the values suggested here allow for it.",
            caution="Read the setting back from the controller, and check its current reading.",
        )
    )


def _rating(
    setup: Setup,
    key: str,
    one: LimitCheck,
    now: float,
    rides: int,
    evidence: Evidence,
    sheet: Sheet,
) -> None:
    seen = one.seen or 0.0
    if not above(seen, 0.95 * now):
        sheet.held.append(
            f"{key} {num(now, 'A')}: at most {num(round(seen, 1), 'A')} seen in {_rides(rides)}."
        )
        return
    over = above(seen, 1.02 * now)
    way: Direction = "brake" if key.split(".")[-1].startswith("charge") else "drive"
    suggest, cost, caution = lower(setup, way, evidence)
    held = "If limits were lowered since, one ride on the same hill shows that they hold."
    sheet.findings.append(
        SetupFinding(
            check="rating_reached_in_rides",
            keys=(setup.home(key),),
            severity=Severity.ACT if over else Severity.WATCH,
            value=round(seen, 3),
            limit=now,
            message=f"{key} is {num(now, 'A')}; {'at least ' if one.at_least else ''}"
            f"{num(round(seen, 1), 'A')} flowed for a second in {_rides(rides)}.",
            why="What happened once happens again: the same hill, a little steeper or colder.",
            suggest=suggest,
            cost=cost,
            caution=caution or held,
        )
    )


def _rides(count: int) -> str:
    return "one ride" if count == 1 else f"{count} rides"


def _check_in_force(setup: Setup, rides: Sequence[RideResult], sheet: Sheet) -> None:
    """Plateaus that are not where the setting says, in the latest ride that shows one."""
    done: set[str] = set()
    for ride in reversed(sorted(rides, key=lambda r: str(r.ride.start))):
        for drive in ride.in_force:
            for name in CURRENT_LIMITS:
                key = f"drives.{drive.drive}.{name}"
                seen, then, now = (
                    getattr(drive, name),
                    value_of(ride.setup, key),
                    value_of(setup, key),
                )
                if seen is None or then is None or then != now or key in done:
                    continue
                done.add(key)
                low = seen.value if seen.low is None else seen.low
                high = seen.value if seen.high is None else seen.high
                if low <= then * (1 + IN_FORCE_NEAR) and high >= then * (1 - IN_FORCE_NEAR):
                    continue
                sheet.findings.append(_not_in_force(setup, key, then, seen.value, low, high))


def _not_in_force(
    setup: Setup, key: str, then: float, seen: float, low: float, high: float
) -> SetupFinding:
    return SetupFinding(
        check="setting_not_in_force",
        keys=(setup.home(key),),
        severity=Severity.WATCH,
        value=round(seen, 3),
        limit=then,
        message=f"{key} says {num(then, 'A')}, the drive saturates at {num(seen, 'A')} "
        f"({num(low, 'A')} to {num(high, 'A')}).",
        why="What is written here is not what the controller does: a change that was not saved, "
        "another power mode, or a reading that is off.",
        caution="Read the setting back from the controller before changing anything else.",
    )

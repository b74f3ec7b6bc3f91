"""Do the sides carry alike: shares, speeds, verdict over the whole ride?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyzer.balance import Balance, InForce, Share
from analyzer.blocks import Blocks
from analyzer.estimate import Estimate
from analyzer.events import Cause, Event, Peak
from analyzer.imbalance import Sides, imbalance_causes
from analyzer.quantities import Bools, spans_where
from analyzer.rolling import Rolling, find_rolling
from analyzer.shares import Load, common_load, shares_pct
from analyzer.words import BalanceVerdict, EventKind, ImbalanceCause, Severity
from importers.ride import Ride
from importers.setup_types import Setup

UNEVEN_POINTS, WATCH_POINTS = 3.0, 5.0
"""More than this from equal shares is uneven, from this it is worth watching. The contract's."""
HARMFUL = (
    ImbalanceCause.DERATE_ONE_SIDE,
    ImbalanceCause.DRAG_ONE_SIDE,
    ImbalanceCause.ROTOR_SENSOR_ALIGNMENT,
)
"""Causes that heat, brake or steer. The contract asks for one before imbalance is `act`."""
SURE_CAUSE = 0.5
"""A cause this likely counts. Our choice."""
STRETCH_S = 3.0
"""Uneven stretches shorter than this are not listed one by one [s]. Our choice."""


def find_balance(
    ride: Ride,
    setup: Setup,
    in_force: Sequence[InForce],
    *,
    at_fault: Sequence[Event] = (),
    seed: int = 0,
) -> Balance | None:
    """Do the sides carry alike under load? None with one drive or without every drive's battery
    current."""
    names = setup.drive_names
    currents = [ride.get(f"{name}.battery_current_a") for name in names]
    if len(names) < 2 or any(one is None for one in currents):
        return None
    rng = np.random.default_rng(seed)
    blocks = Blocks(ride)
    means = [mean for one in currents if (mean := blocks.mean(one)) is not None]
    matrix = np.column_stack(means)
    fault = _during(at_fault, blocks)
    drive = common_load(names, matrix, blocks, limits_a=_limits_a(setup, "drive"), at_fault=fault)
    brake = common_load(names, -matrix, blocks, limits_a=_limits_a(setup, "brake"), at_fault=fault)
    rolling = find_rolling(ride, setup, blocks, rng)
    shares = _shares(drive, brake, rolling, rng)
    verdict, off = _verdict(shares)
    causes: tuple[Cause, ...] = ()
    severity: Severity | None = None
    if verdict is BalanceVerdict.UNEVEN:
        causes = imbalance_causes(
            Sides(ride, setup, blocks, drive, brake, rolling, tuple(in_force), shares)
        )
        severity = _severity(off, causes)
    return Balance(shares, rolling.ratio, verdict, severity, causes, drive.held_s)


def _limits_a(setup: Setup, word: str) -> float | None:
    given = [getattr(drive, f"battery_{word}_a") for drive in setup.drives]
    return None if any(one is None for one in given) else float(sum(given))


def _during(events: Sequence[Event], blocks: Blocks) -> Bools:
    """Blocks touched by any of these events."""
    found = np.zeros(blocks.size, np.bool_)
    for one in events:
        found |= (blocks.start_s < one.end_s) & (blocks.start_s + blocks.length_s > one.start_s)
    return found


def _shares(
    drive: Load, brake: Load, rolling: Rolling, rng: np.random.Generator
) -> tuple[Share, ...]:
    whole, braking = shares_pct(drive, rng), shares_pct(brake, rng)
    straight = turning = None
    if rolling.straight is not None:
        straight = shares_pct(drive, rng, where=rolling.straight)
        known = np.ones(rolling.straight.size, np.bool_)
        if rolling.ratios is not None:
            known = np.isfinite(rolling.ratios)
        turning = shares_pct(drive, rng, where=~rolling.straight & known)

    def of(found: tuple[Estimate, ...] | None, place: int) -> Estimate | None:
        return None if found is None else found[place]

    return tuple(
        Share(name, of(whole, k), of(braking, k), of(straight, k), of(turning, k))
        for k, name in enumerate(drive.names)
    )


def _verdict(shares: tuple[Share, ...]) -> tuple[BalanceVerdict, float]:
    """The verdict and by how many points the sides are from equal, driving or braking."""
    equal = 100.0 / len(shares)
    known = [one for s in shares for one in (s.drive_pct, s.brake_pct) if one is not None]
    if not known:
        return BalanceVerdict.NOT_ENOUGH_LOAD, 0.0
    off = max((abs(one.value - equal) for one in known if _surely_off(one, equal)), default=0.0)
    return (BalanceVerdict.UNEVEN if off > UNEVEN_POINTS else BalanceVerdict.EVEN), off


def _surely_off(share: Estimate, equal: float) -> bool:
    """Whether the interval leaves equal shares out."""
    return abs(share.value - equal) > share.half_width


def _severity(off: float, causes: tuple[Cause, ...]) -> Severity:
    likely = causes[0]
    if likely.cause in HARMFUL and likely.probability >= SURE_CAUSE:
        return Severity.ACT
    return Severity.WATCH if off >= WATCH_POINTS else Severity.NOTE


def find_imbalance(
    ride: Ride, setup: Setup, balance: Balance | None, *, at_fault: Sequence[Event] = ()
) -> list[Event]:
    """When did one side carry more? Only where the whole ride is uneven: the stretches of common
    load of some seconds in which the share is, or the longest of them."""
    if balance is None or balance.verdict is not BalanceVerdict.UNEVEN:
        return []
    names, blocks = setup.drive_names, Blocks(ride)
    means = [blocks.mean(ride.get(f"{name}.battery_current_a")) for name in names]
    matrix = np.column_stack([one for one in means if one is not None])
    fault = _during(at_fault, blocks)
    equal, rows = 100.0 / len(names), ride.time_s.size
    events: list[Event] = []
    for word, sign in (("drive", 1.0), ("brake", -1.0)):
        shares = [getattr(share, f"{word}_pct") for share in balance.shares]
        if any(s is None for s in shares) or all(
            abs(s.value - equal) <= UNEVEN_POINTS for s in shares
        ):
            continue
        load = common_load(
            names, sign * matrix, blocks, limits_a=_limits_a(setup, word), at_fault=fault
        )
        heavy = int(np.argmax([s.value for s in shares]))
        with np.errstate(invalid="ignore", divide="ignore"):
            part = 100.0 * load.currents_a[:, heavy] / load.sum_a
        uneven = load.together & (part - equal > UNEVEN_POINTS)
        mask = np.asarray(blocks.expand(uneven, rows), np.bool_)
        spans = spans_where(mask, ride)
        long = [one for one in spans if one.length_s >= STRETCH_S]
        if not long and spans:
            long = [max(spans, key=lambda one: one.length_s)]
        by_row = np.asarray(blocks.expand(np.where(uneven, part, np.nan), rows), np.float64)
        for span in long:
            events.append(
                Event(
                    EventKind.IMBALANCE,
                    span.start_s,
                    span.end_s,
                    names,
                    balance.severity or Severity.NOTE,
                    Peak(f"{names[heavy]}.{word}_pct", float(np.nanmax(by_row[span.rows]))),
                    causes=balance.causes,
                    measures=(("length_s", span.length_s),),
                )
            )
    return events

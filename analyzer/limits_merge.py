"""Do the limits hold, over one ride or all: every limit's hardest test so far, and every climb."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analyzer.climbs import Climb
from analyzer.closest import Closest, find_closest, place_name
from analyzer.descents import Descent
from analyzer.estimate import Estimate, Note
from analyzer.events import NotChecked
from analyzer.in_force_told import in_force_notes
from analyzer.limit_keys import limit_keys
from analyzer.limits import OVERSHOOTS_FROM_PCT, LimitCheck, Tried
from analyzer.next_ride import next_rides
from analyzer.restated import RestatedSet, restate
from analyzer.ride_analysis import RideResult
from analyzer.rider_inputs import RiderInputs
from analyzer.tail import tail_level
from analyzer.words import LimitRole, Verdict
from importers.setup_types import Setup

HARDEST = (
    Verdict.NOT_EXERCISED, Verdict.NOT_REACHED, Verdict.HOLDS, Verdict.WORKS, Verdict.TOUCHED,
    Verdict.OVERSHOOTS, Verdict.EXCEEDED,
)  # fmt: skip
"""Verdicts from the mildest test to the hardest."""
EXERCISED = frozenset(HARDEST[2:])
TAIL_CLIMBS = 50
"""Fewer climbs than this carry no statement on the worst to come. The project's own rule."""
AHEAD_CLIMBS = 100
"""... and so many to come are spoken of."""
HOTTER_K = 1.0
"""A ride hotter than the hardest test by more than this is told beside it [K]. Our choice."""


@dataclass(frozen=True, slots=True)
class MergedLimit:
    """A limit's hardest test over all rides with this setting."""

    check: LimitCheck
    ride: str
    """The ride it was seen on."""
    where: str | None
    """The climb or descent of that ride; None between them."""
    rides: int
    """Rides that could judge it at this setting."""
    rides_exercised: int


@dataclass(frozen=True, slots=True)
class RideClimb:
    """A climb and the ride it was ridden on."""

    ride: str
    climb: Climb


@dataclass(frozen=True, slots=True)
class RideDescent:
    """A descent and the ride it was ridden on."""

    ride: str
    descent: Descent


@dataclass(frozen=True, slots=True)
class WorstAhead:
    """The highest pack current to expect of the next climbs."""

    climbs: int
    """How many climbs it rests on."""
    ahead: int
    current_a: Estimate


@dataclass(frozen=True, slots=True, eq=False)
class LimitsResult:
    """Every limit over one ride or many."""

    setup: Setup
    """The newest ride's."""
    rides: tuple[str, ...]
    limits: tuple[MergedLimit, ...]
    not_checked: tuple[NotChecked, ...]
    climbs: tuple[RideClimb, ...]
    next_ride: tuple[str, ...]
    worst_ahead: WorstAhead | None
    restated: RestatedSet
    """Every verdict at another charge, temperature and load."""
    descents: tuple[RideDescent, ...] = ()
    closest: tuple[Closest, ...] = ()
    """How near each protection came to acting, nearest first."""
    inputs: tuple[tuple[str, RiderInputs], ...] = ()
    """The rider's demand as it arrived, by ride; the newest last."""
    in_force: tuple[Note, ...] = ()
    """Where what is really in force differs from the setup, and whether that is a power mode."""
    climbs_as_set: int = 0
    """Climbs under the driving limits of the newest ride: what `worst_ahead` rests on."""


def merge_limits(rides: Sequence[tuple[str, RideResult]], *, seed: int = 0) -> LimitsResult:
    """Every limit of the newest ride's setup over all rides that had it set the same.

    `rides` are names and results in time order.

    Raises
    ------
    ValueError : there is no ride
    """
    if not rides:
        raise ValueError("limits need at least one ride")
    newest = rides[-1][1]
    given = [key for key in limit_keys(newest.setup) if key.value is not None]
    merged = tuple(one for key in given if (one := _merged(key.key, key.value, rides)) is not None)
    climbs = tuple(RideClimb(name, one) for name, result in rides for one in result.climbs)
    descents = tuple(RideDescent(name, one) for name, result in rides for one in result.descents)
    as_set = _as_set_now(climbs, rides)
    checks = tuple(one.check for one in merged)
    judged = tuple(key.what for key in given if any(key.key == one.limit for one in checks))
    restated = restate(checks, [result for _, result in rides], newest.setup, seed=seed)
    return LimitsResult(
        setup=newest.setup,
        rides=tuple(name for name, _ in rides),
        limits=merged,
        not_checked=tuple(
            one for one in newest.not_checked if not judged or not one.what.startswith(judged)
        ),
        climbs=climbs,
        next_ride=next_rides(
            checks,
            newest.setup,
            climbs_of(climbs),
            resistance_ohm=newest.pack.resistance_10s_ohm,
        ),
        worst_ahead=worst_ahead(as_set, governed_most_a(checks, newest.setup)),
        climbs_as_set=len(as_set),
        restated=restated,
        descents=descents,
        closest=find_closest([(one.check, one.ride) for one in merged], rides),
        in_force=in_force_notes(rides),
        inputs=tuple((name, one.inputs) for name, one in rides if one.inputs is not None),
    )


def climbs_of(climbs: Sequence[RideClimb]) -> tuple[Climb, ...]:
    """The climbs without their rides."""
    return tuple(one.climb for one in climbs)


def _merged(
    limit: str, value: float | None, rides: Sequence[tuple[str, RideResult]]
) -> MergedLimit | None:
    """A limit's hardest test on the rides that could judge it at this setting; None without."""
    same = [
        (name, result, one)
        for name, result in rides
        for one in result.limits
        if one.limit == limit and one.set == value
    ]
    if not same:
        return None
    name, result, hardest = max(same, key=lambda each: _hardness(each[2]))
    check = _over_all(hardest, [one for _, _, one in same])
    exercised = sum(one.verdict in EXERCISED for _, _, one in same)
    at = hardest.at_s
    where = None if at is None else place_name(result, at, hot=check.unit == "°C")
    return MergedLimit(check, name, where, len(same), exercised)


def _over_all(hardest: LimitCheck, every: Sequence[LimitCheck]) -> LimitCheck:
    """The hardest test with what all rides say beside it: another ride may have held less for
    longer, or been hotter in warmer air, further from the limit by the way from the air."""
    tried = _tried([one.tried for one in every])
    if hardest.unit == "A":
        ten = [one.seen_10s for one in every if one.seen_10s is not None]
        sixty = [one.seen_60s for one in every if one.seen_60s is not None]
        return replace(
            hardest, tried=tried, seen_10s=max(ten, default=None), seen_60s=max(sixty, default=None)
        )
    text = hardest.text
    seen = [one.seen for one in every if one.seen is not None]
    if hardest.unit == "°C" and hardest.role is LimitRole.HEAT and hardest.seen is not None:
        hottest = max(seen)
        if hottest > hardest.seen + HOTTER_K:
            text += f" The hottest on any ride, in warmer air: {hottest:.0f} °C."
    return replace(hardest, tried=tried, text=text)


def _hardness(one: LimitCheck) -> tuple[int, float, float]:
    seen = one.seen if one.seen is not None else -np.inf
    low = one.limit.endswith(("stop_at_v", "derate_from_v", "cell_low_v", "min_charge_temp_c"))
    used = one.exercised_pct if one.exercised_pct is not None else -1.0
    return HARDEST.index(one.verdict), used, -seen if low else seen


def _tried(all_tried: Sequence[Tried]) -> Tried:
    def widest(name: str) -> tuple[float, float] | None:
        spans = [span for one in all_tried if (span := getattr(one, name)) is not None]
        return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None

    return Tried(
        widest("charge_pct"), widest("pack_temp_c"), widest("mass_kg"),
        sum(one.climbs for one in all_tried),
    )  # fmt: skip


def _as_set_now(
    climbs: Sequence[RideClimb], rides: Sequence[tuple[str, RideResult]]
) -> list[RideClimb]:
    """The climbs ridden with the driving limits of the newest ride: peaks under other limits say
    nothing of those to come."""

    def driving(setup: Setup) -> list[tuple[str, float | None, float | None]]:
        return [(one.name, one.battery_drive_a, one.phase_drive_a) for one in setup.drives]

    now = driving(rides[-1][1].setup)
    same = {name for name, result in rides if driving(result.setup) == now}
    return [one for one in climbs if one.ride in same]


def governed_most_a(checks: Sequence[LimitCheck], setup: Setup) -> float | None:
    """The most that limiters in force let through [A]: all drives' battery limits, as far as one
    may go over and still works, with the lights; None unless each was seen at work."""
    at_work = {one.limit: one.set for one in checks if one.verdict is Verdict.WORKS}
    own = [at_work.get(f"drives.{name}.battery_drive_a") for name in setup.drive_names]
    known = [one for one in own if one is not None]
    if not own or len(known) < len(own):
        return None
    return sum(known) * OVERSHOOTS_FROM_PCT / 100.0 + (setup.pack.aux_a or 0.0)


def worst_ahead(climbs: Sequence[RideClimb], most_a: float | None = None) -> WorstAhead | None:
    """The highest 1 s current to expect of the next 100 climbs, by peaks over threshold; None on
    fewer than 50 climbs. A tail knows of no controller: above `most_a`, what limiters in force let
    through, it says nothing."""
    peaks = np.array(
        [c.climb.peak_pack_current_a for c in climbs if c.climb.peak_pack_current_a is not None]
    )
    if peaks.size < TAIL_CLIMBS:
        return None
    top = float(peaks.max())
    level = tail_level(peaks, AHEAD_CLIMBS)
    if level is None:
        return WorstAhead(peaks.size, AHEAD_CLIMBS, Estimate(top, top, None))
    most = max(top, np.inf if most_a is None else most_a)
    low, high = level.low or level.value, min(level.high or level.value, most)
    value = max(min(level.value, most), top)
    return WorstAhead(peaks.size, AHEAD_CLIMBS, Estimate(value, min(low, value), max(high, value)))

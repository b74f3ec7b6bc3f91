"""The order of the steps: one ride and its setup in, everything the contract shows out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from analyzer.balance import Balance, InForce
from analyzer.beyond import find_overheat, find_overvoltage, find_sags, find_stalls
from analyzer.brake_reduced import find_brake_reduced
from analyzer.climb_load import ride_load
from analyzer.climbs import Climb, find_climbs
from analyzer.conditions import Conditions, conditions
from analyzer.cost_of_limit import hills_of
from analyzer.cutouts import find_losses
from analyzer.descents import Descent, find_descents
from analyzer.estimate import Note
from analyzer.events import Event, NotChecked
from analyzer.findings import Finding, rank_findings
from analyzer.gaps import find_log_gaps
from analyzer.governed import DriveState, govern, governed_over
from analyzer.held import with_slow_channels_held
from analyzer.in_force import find_in_force
from analyzer.left_out import left_out
from analyzer.limit_checks import check_limits
from analyzer.limits import LimitCheck
from analyzer.near_trip import before_acting, find_near_trips
from analyzer.open_path import open_in_losses, path_open, without_open_path
from analyzer.over_rating import find_over_rating
from analyzer.pack_state import PackFit, PackState, estimate_pack
from analyzer.phase_scale import settle_phase_limits
from analyzer.power_reduced import find_power_reduced
from analyzer.quantities import JOIN_S, Span
from analyzer.remedies import balance_with_remedies, with_remedies
from analyzer.rider_inputs import (
    RiderInputs,
    find_free_wheels,
    find_rider_inputs,
    without_free_wheels,
)
from analyzer.road import Road, find_roads
from analyzer.setup_evidence import overshoot_of
from analyzer.sides import find_balance, find_imbalance
from analyzer.slip import find_wheel_slip
from analyzer.totals import Totals, ride_totals
from importers.ride import Ride
from importers.setup_types import Setup


@dataclass(frozen=True, slots=True, eq=False)
class RideResult:
    """Everything found in one ride; machine output and pages are made from this alone."""

    ride: Ride
    setup: Setup
    totals: Totals
    pack: PackState
    pack_fit: PackFit | None
    """None where voltage and current do not let the pack be fitted; `notes` says why."""
    balance: Balance | None
    """None with one drive."""
    in_force: tuple[InForce, ...]
    """One per drive of the setup, in its order."""
    events: tuple[Event, ...]
    """In time order, then by severity."""
    limits: tuple[LimitCheck, ...]
    not_checked: tuple[NotChecked, ...]
    climbs: tuple[Climb, ...]
    findings: tuple[Finding, ...]
    """Ranked, most important first."""
    notes: tuple[Note, ...]
    descents: tuple[Descent, ...] = ()
    inputs: RiderInputs | None = None
    """Whether the rider's demand arrives; None where that was not asked."""
    roads: tuple[Road, ...] = ()
    """The ways and their heights; the pages show them through `climbs`."""

    @property
    def table(self) -> pd.DataFrame:
        """The ride's table: `time_s` and one column per channel."""
        return self.ride.table


def analyse_ride(ride: Ride, setup: Setup, *, seed: int = 0) -> RideResult:
    """What happened in this ride, how near did it come to every limit, and what does it say of the
    pack and the sides? Same ride, setup and seed: same answer. Raises nothing for too little data:
    that is None with a note."""
    pack, fit, notes = estimate_pack(ride, setup, seed=seed)
    as_logged, ride = ride, with_slow_channels_held(ride)
    state = conditions(ride, setup, pack=pack, fit=fit)
    free = find_free_wheels(ride, setup)
    inputs = find_rider_inputs(ride, setup, free)
    whole, ride = ride, without_free_wheels(ride, free)
    on_pack = without_open_path(ride, path_open(ride, setup, fit))
    in_force = find_in_force(ride, setup)
    states = govern(on_pack, setup, in_force)
    hills = _find_hills(on_pack, setup, fit=fit, states=states, state=state, in_force=in_force)
    limits, not_checked = check_limits(on_pack, setup, state, climbs=len(hills.climbs))
    state = replace(
        state,
        hills=hills_of(ride, hills.climbs),
        drive_overshoot=overshoot_of(limits, "battery_drive_a"),
        brake_overshoot=overshoot_of(limits, "battery_brake_a"),
    )
    losses, loss_notes = find_losses(
        whole, setup, pack=pack, fit=fit, state=state, in_force=in_force
    )
    losses = outside(losses, free)
    # A bus that a loss took off the pack says nothing of the pack's limits.
    cut_off = open_in_losses(on_pack, losses)
    if cut_off.any():
        on_pack = without_open_path(on_pack, cut_off)
        limits, not_checked = check_limits(on_pack, setup, state, climbs=len(hills.climbs))
    limits, not_checked, scale_notes = settle_phase_limits(
        ride, setup, in_force, limits, not_checked
    )
    balance = balance_with_remedies(find_balance(ride, setup, in_force, at_fault=losses, seed=seed))
    events = in_order(
        [
            *_beyond_limits(ride, on_pack, setup, state),
            *find_power_reduced(on_pack, setup, states),
            *not_lost(find_brake_reduced(on_pack, setup, in_force), losses),
            *before_acting(find_near_trips(on_pack, setup, state), losses),
            *find_imbalance(ride, setup, balance, at_fault=losses),
            *not_lost(find_wheel_slip(ride, setup), losses),
            *find_log_gaps(whole, setup),
            *losses,
        ]
    )
    events = with_remedies(events, ride, setup, state)
    totals = ride_totals(ride, setup)
    missing = left_out(ride, setup, totals, balance)
    told = tuple(Note(about, text) for about, text in (*ride.notes, *setup.notes))
    return RideResult(
        ride=as_logged,
        setup=setup,
        totals=totals,
        pack=pack,
        pack_fit=fit,
        balance=balance,
        in_force=in_force,
        events=events,
        limits=limits,
        not_checked=not_checked,
        climbs=hills.climbs,
        findings=rank_findings(events, limits, balance, in_force),
        notes=(*told, *notes, *hills.notes, *loss_notes, *missing, *inputs.notes, *scale_notes),
        descents=hills.descents,
        inputs=inputs,
        roads=hills.roads,
    )


@dataclass(frozen=True, slots=True)
class _Hills:
    """The ways ridden, and what went up and down on them."""

    roads: tuple[Road, ...]
    climbs: tuple[Climb, ...]
    descents: tuple[Descent, ...]
    notes: tuple[Note, ...]


def _find_hills(
    ride: Ride,
    setup: Setup,
    *,
    fit: PackFit | None,
    states: dict[str, DriveState],
    state: Conditions,
    in_force: tuple[InForce, ...],
) -> _Hills:
    roads = find_roads(ride, setup)
    load = ride_load(ride, setup, None if fit is None else fit.rest_voltage_v)
    climbs, notes = find_climbs(ride, setup, pack_fit=fit, roads=roads, load=load)
    climbs = tuple(
        replace(one, governed=governed_over(states, ride, one.start_s, one.end_s)) for one in climbs
    )
    descents = find_descents(
        ride, setup, roads, load=load, charge_pct=state.charge_pct, in_force=in_force
    )
    return _Hills(roads, climbs, descents, notes)


def _beyond_limits(ride: Ride, on_pack: Ride, setup: Setup, state: Conditions) -> list[Event]:
    """Spans in which the pack or a drive was beyond a limit; a sag only while the pack was on."""
    return [
        *find_sags(on_pack, setup, state),
        *find_over_rating(ride, setup, state),
        *find_overvoltage(ride, setup, state),
        *find_overheat(ride, setup),
        *find_stalls(ride, setup),
    ]


def outside(events: list[Event], free: Sequence[Span]) -> list[Event]:
    """The events that do not begin while the wheels turn in the air, or as they are set down."""
    return [
        one
        for one in events
        if not any(a.start_s - JOIN_S <= one.start_s <= a.end_s + JOIN_S for a in free)
    ]


def not_lost(events: list[Event], losses: Sequence[Event]) -> list[Event]:
    """The events that are no part of a loss: beside a motor that left the road, the other one looks
    as if it slipped."""
    return [
        one
        for one in events
        if not any(a.start_s < one.end_s and one.start_s < a.end_s for a in losses)
    ]


def in_order(events: list[Event]) -> tuple[Event, ...]:
    """Events by time, those that begin together by severity."""
    return tuple(
        sorted(
            events, key=lambda one: (one.start_s, -one.severity.rank, one.kind.value, one.drives)
        )
    )

"""Where did all drives together draw more, or brake more into the pack, than it is rated for?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.conditions import Conditions
from analyzer.events import Event, LimitRef, Peak
from analyzer.quantities import (
    Floats,
    Quantity,
    Span,
    drives_current_a,
    pack_current_a,
    pack_voltage_v,
    spans_where,
    step_s,
    window_mean,
)
from analyzer.sensors import current_accuracy_share
from analyzer.words import EventKind, Severity
from importers.ride import Ride
from importers.setup_types import Ports, Setup

SHORT_S = 2.0
"""A span below this and below `MILD` is a note [s]. The contract's."""
MILD = 1.3
"""Of the rating. The contract's."""
OFTEN = 0.1
"""More of the driving (braking) time above the rating is worth watching. The contract's."""
MEAN_S = 30.0
"""The mean over this long must stay below a continuous rating [s]. The contract's."""
TRIP_USED = 0.5
"""More of a trip's delay used than this calls for a change. The contract's."""
FULL_PCT = 95.0
"""Braking above the rating is dangerous above this charge [%]. The contract's."""
ACTIVE_A = 1.0
"""All drives together beyond this is driving, or braking [A]. Our choice: above the offset of a
shunt (0.1 to 0.3 A, common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Direction:
    """One direction of the pack's current with what bounds it."""

    kind: EventKind
    sign: int
    rating: LimitRef
    peak: LimitRef | None
    peak_s: float | None
    trip: LimitRef | None
    trip_delay_s: float | None
    current_a: Floats
    """All drives together, positive in this direction."""
    bms_a: Floats
    """What the BMS sees, lights included, positive in this direction."""


def _lowest(refs: list[tuple[str, float | None]]) -> LimitRef | None:
    given = [LimitRef(name, value) for name, value in refs if value is not None]
    return min(given, key=lambda ref: ref.value) if given else None


def _direction(
    setup: Setup, total: Quantity, seen: Quantity, *, charging: bool
) -> Direction | None:
    word = "charge" if charging else "discharge"
    # With separate ports braking goes into the discharge port and passes no charge protection.
    apart = charging and setup.bms.ports is Ports.SEPARATE
    places = (("pack", setup.pack),) if apart else (("bms", setup.bms), ("pack", setup.pack))
    rating = _lowest(
        [(f"{name}.{word}_rating_a", getattr(part, f"{word}_rating_a")) for name, part in places]
    )
    if rating is None:
        return None
    peak = _lowest(
        [(f"{name}.{word}_peak_a", getattr(part, f"{word}_peak_a")) for name, part in places]
    )
    peak_s = None
    if peak is not None:
        owner = setup.bms if peak.name.startswith("bms.") else setup.pack
        peak_s = getattr(owner, f"{word}_peak_s")
    trip = (
        None if apart else _lowest([(f"bms.{word}_trip_a", getattr(setup.bms, f"{word}_trip_a"))])
    )
    delay_s = getattr(setup.bms, f"{word}_trip_delay_s")
    kind = EventKind.REGEN_OVER_RATING if charging else EventKind.DISCHARGE_OVER_RATING
    sign = -1 if charging else 1
    return Direction(
        kind,
        sign,
        rating,
        peak,
        peak_s,
        trip,
        delay_s,
        np.asarray(sign * total.values, np.float64),
        np.asarray(sign * seen.values, np.float64),
    )


def find_over_rating(ride: Ride, setup: Setup, state: Conditions) -> list[Event]:
    """Where were all drives together above the lower of the BMS's and the cells' continuous
    ratings, driving or braking? Every such span is listed; its severity is the contract's."""
    total, seen = drives_current_a(ride, setup), pack_current_a(ride, setup)
    if total is None or seen is None:
        return []
    both = [_direction(setup, total, seen, charging=charging) for charging in (False, True)]
    return [
        event
        for one in both
        if one is not None
        for event in _events_of(one, ride, setup, state, total)
    ]


def _events_of(
    one: Direction, ride: Ride, setup: Setup, state: Conditions, total: Quantity
) -> list[Event]:
    above = one.current_a > one.rating.value
    spans = spans_where(above, ride)
    if not spans:
        return []
    step = step_s(ride)
    active_s = float(step[one.current_a > ACTIVE_A].sum())
    often = float(step[above].sum()) > OFTEN * active_s
    mean = window_mean(one.current_a, ride, MEAN_S)
    voltage = pack_voltage_v(ride, setup)
    accuracy = current_accuracy_share(total.channels)
    events = []
    for span in spans:
        facts = _measure(one, span, ride, state, mean, None if voltage is None else voltage.values)
        severity, why = _severity(one, span, facts, setup, often=often, accuracy=accuracy)
        events.append(
            Event(
                one.kind,
                span.start_s,
                span.end_s,
                setup.drive_names,
                severity,
                Peak("pack_current_a", one.sign * facts["highest_a"], total.at_least),
                one.rating,
                facts=why,
                measures=tuple(facts.items()),
            )
        )
    return events


def _measure(
    one: Direction,
    span: Span,
    ride: Ride,
    state: Conditions,
    mean: Floats,
    voltage: Floats | None,
) -> dict[str, float]:
    part, step = one.current_a[span.rows], step_s(ride)[span.rows]
    held = np.where(np.isfinite(part), part, 0.0) * step
    means = mean[span.rows]
    facts = {
        "highest_a": float(np.nanmax(part)),
        "length_s": span.length_s,
        "mean_a": float(held.sum() / max(step.sum(), 1e-9)),
        "charge_ah": float(held.sum() / 3600.0),
    }
    if np.isfinite(means).any():
        facts["mean_30s_a"] = float(np.nanmax(means))
    if one.trip is not None and one.trip_delay_s:
        facts["trip_held_s"] = _longest_s(one.bms_a > one.trip.value, span, ride)
    if one.peak is not None:
        facts["above_peak_s"] = _longest_s(one.current_a > one.peak.value, span, ride)
    if voltage is not None and np.isfinite(voltage[span.rows]).any():
        edge = np.nanmax if one.sign < 0 else np.nanmin
        facts["highest_v" if one.sign < 0 else "lowest_v"] = float(edge(voltage[span.rows]))
    for name, values in (("charge_pct", state.charge_pct), ("pack_temp_c", state.pack_temp_c)):
        if values is not None and np.isfinite(values[span.rows]).any():
            edge = np.nanmin if name == "pack_temp_c" else np.nanmax
            facts[name] = float(edge(values[span.rows]))
    return facts


def _longest_s(mask: np.ndarray, span: Span, ride: Ride) -> float:
    part, step = mask[span.rows], step_s(ride)[span.rows]
    # A run ends where the mask does; spans have no holes in them.
    held = np.concatenate([[0.0], np.cumsum(np.where(part, step, 0.0))])
    edges = np.flatnonzero(np.diff(np.concatenate([[False], part, [False]]).astype(np.int8)))
    return float((held[edges[1::2]] - held[edges[::2]]).max(initial=0.0))


def _severity(
    one: Direction,
    span: Span,
    facts: dict[str, float],
    setup: Setup,
    *,
    often: bool,
    accuracy: float,
) -> tuple[Severity, tuple[str, ...]]:
    """The contract's rules for a span over a continuous rating, with the reason in words."""
    rating = one.rating.value
    if facts["highest_a"] <= rating * (1 + accuracy):
        worst = Severity.WATCH if span.length_s >= SHORT_S or often else Severity.NOTE
        return worst, (
            f"That is at the rating: an excess within the reading's {accuracy:.0%} accuracy.",
        )
    reasons = _reasons_to_act(one, facts, setup, accuracy)
    if reasons:
        return Severity.ACT, tuple(reasons)
    if span.length_s >= SHORT_S or facts["highest_a"] >= MILD * rating or often:
        return Severity.WATCH, ()
    return Severity.NOTE, ()


def _reasons_to_act(
    one: Direction, facts: dict[str, float], setup: Setup, accuracy: float
) -> list[str]:
    reasons = []
    rating, pack = one.rating.value, setup.pack
    if one.peak is not None and facts["highest_a"] > one.peak.value * (1 + accuracy):
        reasons.append(
            f"The peak rating of {one.peak.value:g} A ({one.peak.name}) was exceeded as well."
        )
    elif one.peak is not None and one.peak_s and facts["above_peak_s"] > one.peak_s:
        reasons.append(
            f"The peak rating of {one.peak.value:g} A allows {one.peak_s:g} s; it was"
            f" {facts['above_peak_s']:.1f} s."
        )
    if facts.get("mean_30s_a", 0.0) > rating * (1 + accuracy):
        reasons.append(f"The mean over 30 s was {facts['mean_30s_a']:.1f} A, above the rating.")
    if one.trip is not None and one.trip_delay_s:
        held = facts["trip_held_s"]
        if held > TRIP_USED * one.trip_delay_s:
            reasons.append(
                f"{held:.1f} s of the {one.trip_delay_s:g} s that the BMS tolerates above"
                f" {one.trip.value:g} A were used."
            )
    if one.sign < 0:
        if facts.get("charge_pct", 0.0) > FULL_PCT:
            reasons.append(f"The pack was at {facts['charge_pct']:.0f} % charge: nearly full.")
        coldest, line = facts.get("pack_temp_c"), pack.min_charge_temp_c
        if coldest is not None and line is not None and coldest < line:
            reasons.append(
                f"The pack was at {coldest:.0f} °C; it may not be charged below {line:g} °C."
            )
    return reasons

"""Simulated losses examined: what was true, what was found, every sign that was read."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[2] / "tests")]

import numpy as np

from analyzer.causes.codes import code_odds
from analyzer.causes.combine import Seen, together
from analyzer.conditions import conditions
from analyzer.cutouts import examine_losses
from analyzer.pack_state import estimate_pack
from importers.setup_types import Setup
from simulator.scenarios import ALL_CASES, make_case
from simulator.words import CAUSES

MATCH_S = 1.0
"""A found loss is a true one when they begin within this [s]. The issue's."""
UNWRITTEN_S = 5.0
"""A log's last block may go with the supply [s]: a loss in it begins where the log ends."""
TAKEN_AWAY = (
    "nothing",
    "no throttle",
    "no BMS current",
    "no temperatures",
    "5 Hz",
    "one controller's log",
    "trip keys absent",
)


@dataclass(frozen=True)
class Found:
    """One loss as the search saw it."""

    begin_s: float
    kind: str
    signs: dict[str, str]
    setup: Setup
    codes: dict[Any, float]
    true: str | None
    """The cause of the true loss it matches; None for a false one."""
    true_kind: str | None
    ambiguous: bool = False
    same: tuple[str, ...] = ()
    """The drives: other losses of the same ones are judged together with it."""


@dataclass
class Case:
    """One ride."""

    cause: str
    seed: int
    seconds: float
    found: list[Found] = field(default_factory=list)
    missed: list[tuple[str, str, float]] = field(default_factory=list)
    """(cause, kind, start s) of true losses that nothing matches."""
    untold: int = 0
    """Further ones, which no log can tell from a hand."""


def _less(sim: Any, what: str) -> tuple[Any, Setup]:
    """The ride and setup with something taken away."""
    sensors, setup = sim.sensors, sim.setup
    if what == "no throttle":
        sim = replace(sim, sensors=sensors.without("demand"))
    elif what == "no BMS current":
        sim = replace(sim, sensors=sensors.without("bms", "cells", "soc"))
    elif what == "no temperatures":
        sim = replace(sim, sensors=sensors.without("temps"))
    elif what == "5 Hz":
        sim = replace(sim, rate_hz=5.0)
    ride = sim.ride
    if what == "one controller's log" and len(ride.drives) > 1:
        gone = ride.drives[0] if _lost_only(sim, ride.drives[1]) else ride.drives[1]
        table = ride.table.drop(columns=[c for c in ride.table if c.startswith(f"{gone}.")])
        ride = replace(ride, table=table, drives=tuple(d for d in ride.drives if d != gone))
    if what == "trip keys absent":
        bare = dict.fromkeys(
            (
                "discharge_trip_a",
                "discharge_trip_delay_s",
                "charge_trip_a",
                "charge_trip_delay_s",
            )
        )
        setup = replace(setup, bms=replace(setup.bms, **bare))
    return ride, setup


def _lost_only(sim: Any, name: str) -> bool:
    losses = sim.truth.losses
    return bool(losses) and losses[0].drives == (name,)


def examine(sim: Any, cause: str, seed: int, what: str = "nothing") -> Case:
    """Search one simulated ride and match what is found with what was true."""
    ride, setup = _less(sim, what)
    pack, fit, _ = estimate_pack(ride, setup)
    state = conditions(ride, setup, pack=pack, fit=fit)
    case = Case(cause, seed, float(ride.time_s[-1]))
    true = [x for x in sim.truth.losses if set(x.drives) & set(ride.drives)]
    open_ones = list(true)
    for loss, here, facts in examine_losses(ride, setup, state):
        begin = float(ride.time_s[loss.begin])
        kind = "cutout" if loss.sign > 0 else "brake_loss"
        match = _nearest(begin, true) or _in_hole(loss, ride, true)
        if match in open_ones:
            open_ones.remove(match)
        span = (begin, float(ride.time_s[loss.last]))
        if match is None and any(a <= span[1] and b >= span[0] for a, b in sim.truth.borderline):
            continue
        case.found.append(
            Found(
                begin,
                kind,
                dict(facts.signs),
                setup,
                code_odds(here),
                None if match is None else match.cause,
                None if match is None else match.kind,
                bool(sim.ambiguous or (match is not None and match.ambiguous)),
                tuple(sorted(loss.drives)),
            )
        )
        # What happens while power is still away is part of the loss that was found.
        end = (
            float(ride.time_s[loss.last]) + 5.0
            if loss.back is None
            else float(ride.time_s[loss.back])
        )
        open_ones = [x for x in open_ones if not (begin + MATCH_S < x.start_s < end)]
    case.missed = [(x.cause, x.kind, x.start_s) for x in open_ones if not x.ambiguous]
    case.untold = sum(x.ambiguous for x in open_ones)
    return case


def _nearest(begin: float, true: list[Any]) -> Any | None:
    near = [x for x in true if abs(x.start_s - begin) <= MATCH_S]
    if near:
        return min(near, key=lambda x: abs(x.start_s - begin))
    inside = [x for x in true if x.start_s - MATCH_S <= begin <= x.end_s]
    return inside[-1] if inside else None


def _in_hole(loss: Any, ride: Any, true: list[Any]) -> Any | None:
    """A loss whose moment the log has no rows of: its last row before the hole is all there is."""
    time_s = ride.time_s
    at_end = loss.first + 1 >= time_s.size
    until = time_s[-1] + UNWRITTEN_S if at_end else time_s[loss.first + 1]
    if until - time_s[loss.first] <= ride.gap_s:
        return None
    inside = [x for x in true if time_s[loss.first] <= x.start_s <= until]
    return inside[0] if inside else None


def told(case: Case, corrections: Any = None) -> list[dict[str, float]]:
    """What each loss of a ride is put down to, in order, as `find_losses` does."""
    series: dict[Any, list[int]] = {}
    for at, one in enumerate(case.found):
        series.setdefault((one.kind, one.same), []).append(at)
    out: dict[int, dict[str, float]] = {}
    for same in series.values():
        seen = [Seen(case.found[at].signs, case.found[at].codes) for at in same]
        every = together(seen, case.found[same[0]].setup, corrections=corrections)
        for at, chances in zip(same, every, strict=True):
            out[at] = {cause.value: p for cause, p in chances.items()}
    return [out[at] for at in range(len(case.found))]


def cases(
    variant: str,
    seeds: range,
    *,
    what: str = "nothing",
    names: tuple[str, ...] = ALL_CASES,
    each: Callable[[Case], None] | None = None,
) -> list[Case]:
    """Every case of every cause for these seeds."""
    out = []
    for cause in names:
        for seed in seeds:
            try:
                sim = make_case(cause, seed, variant)  # type: ignore[arg-type]
            except Exception as error:  # a recipe that finds no ride is counted, not hidden
                print(f"no case: {cause} {seed}: {error}", file=sys.stderr)
                continue
            case = examine(sim, cause, seed, what)
            out.append(case)
            if each is not None:
                each(case)
    return out


__all__ = ["ALL_CASES", "CAUSES", "TAKEN_AWAY", "Case", "Found", "cases", "examine", "np", "told"]

"""One seed of the table of truth (benchmarks/tables/cutout_truth.py): simulated rides, one for each
cause, whose losses are known."""

from __future__ import annotations

import pytest

from analyzer.conditions import conditions
from analyzer.cutouts import find_losses
from analyzer.pack_state import estimate_pack
from analyzer.words import EventKind
from simulator.scenarios import ALL_CASES, CLEAN, make_case

SEED = 3
LOSSES = (EventKind.CUTOUT, EventKind.BRAKE_LOSS)


def _events(sim):
    ride, setup = sim.ride, sim.setup
    pack, fit, _ = estimate_pack(ride, setup)
    state = conditions(ride, setup, pack=pack, fit=fit)
    return find_losses(ride, setup, pack=pack, fit=fit, state=state)[0]


@pytest.fixture(scope="module")
def told():
    """Cause -> (true first loss, the event that meets it or None, all events)."""
    out = {}
    for cause in ALL_CASES:
        if cause in CLEAN:
            continue
        sim = make_case(cause, SEED, "report")
        true, events = sim.truth.losses[0], _events(sim)
        # Within a second of the truth (the issue's); one that faded, within its span.
        meets = [e for e in events if true.start_s - 1.0 <= e.start_s <= true.end_s]
        out[cause] = (true, meets[0] if meets else None, events)
    return out


def test_losses_are_found(told):
    found = [cause for cause, (_, event, _) in told.items() if event is not None]
    assert len(found) >= 0.9 * len(told), sorted(set(told) - set(found))


def test_drive_and_braking_are_told_apart(told):
    for cause, (true, event, _) in told.items():
        if event is not None:
            assert event.kind.value == true.kind, cause


def test_the_right_cause_comes_first_or_second(told):
    first = second = 0
    wrong = {}
    for cause, (_, event, _) in told.items():
        if event is None:
            continue
        names = [one.cause for one in event.causes]
        first += names[0] == cause
        second += cause in names[:2]
        if names[0] != cause:
            wrong[cause] = (names[0], event.causes[0].probability)
    assert first >= 0.8 * len(told), wrong
    assert second >= 0.85 * len(told), wrong


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("cause", CLEAN)
def test_tricky_but_clean_riding_loses_nothing(cause, seed):
    assert _events(make_case(cause, seed, "report")) == []

"""How a motor current is counted. The truth: three windings' sinusoidal currents, sampled."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.balance import InForce
from analyzer.conditions import Conditions
from analyzer.estimate import Estimate
from analyzer.limit_checks import check_limits
from analyzer.phase_scale import phase_scale, settle_phase_limits
from analyzer.words import Verdict
from importers.setup_types import Drive

T = clock(120)
SET_A = 55.0
ANGLE = np.linspace(0, 2 * np.pi, 720, endpoint=False)
WINDINGS = np.array([ANGLE, ANGLE - 2 * np.pi / 3, ANGLE + 2 * np.pi / 3])


def counted(direct_a, way):
    """What a log shows of a current whose battery side is `direct_a` at full modulation.

    Power of the windings, from their instantaneous currents and voltages (full modulation: line
    to line peak equals the bus), held against bus voltage times battery current.
    """
    bus_v = 50.0
    volts = bus_v / np.sqrt(3) * np.sin(WINDINGS)
    battery_a_per_peak_a = float((volts * np.sin(WINDINGS)).sum(axis=0).mean()) / bus_v
    peak = direct_a / battery_a_per_peak_a
    rms_of_one = float(np.sqrt((np.sin(WINDINGS[0]) ** 2).mean()))
    return {"direct": direct_a, "amplitude": peak, "rms": peak * rms_of_one}[way]


def ridden(way, seed=0, *, top_a=SET_A, duty=True, flat=True):
    """A drive that pushes up to its limit again and again while its duty changes."""
    rng = np.random.default_rng(seed)
    want = 45 + 40 * np.sin(2 * np.pi * T / 13)
    direct = np.clip(want, 0, top_a) if flat else top_a * np.clip(want, 0, 85) / 85
    part = 0.5 + 0.35 * np.sin(2 * np.pi * T / 29)
    channels = {
        "left.battery_current_a": 1.02 * part * direct + 0.3 + rng.normal(0, 0.1, T.size),
        "left.phase_current_a": counted(direct, way) + rng.normal(0, 0.2, T.size),
    }
    if duty:
        channels["left.duty_pct"] = np.round(100 * part, 1)
    return make_ride(T, channels, drives=("left",))


def settled(ride, plateau=None):
    setup = make_setup(drives=(Drive("left", phase_drive_a=SET_A),))
    state = Conditions(np.full(T.size, 60.0), np.full(T.size, 18.0), None, 0.08, 20.0, 165.0)
    seat = None if plateau is None else Estimate(plateau, plateau - 1, plateau + 1)
    force = (InForce("left", None, seat, None, None),)
    found = settle_phase_limits(ride, setup, force, *check_limits(ride, setup, state, climbs=0))
    rows, missing, notes = found
    verdict = next((r.verdict for r in rows if r.limit == "drives.left.phase_drive_a"), None)
    told = [m for m in missing if "count alike" in m.what]
    return verdict, told, notes


@pytest.mark.parametrize("way", ["direct", "rms", "amplitude"])
@pytest.mark.parametrize("seed", range(4))
def test_duty_and_battery_current_tell_how_it_is_counted(way, seed):
    scale = phase_scale(ridden(way, seed), "left")
    assert scale is not None
    assert scale.counted == way
    assert scale.settled is (way == "direct")


def test_direct_current_is_judged_and_nothing_is_said():
    verdict, told, notes = settled(ridden("direct"), plateau=SET_A)
    assert (verdict, told, notes) == (Verdict.WORKS, [], ())


@pytest.mark.parametrize("way", ["rms", "amplitude"])
@pytest.mark.parametrize("duty", [True, False])
def test_another_scale_gives_no_verdict_and_the_map_line(way, duty):
    ride = ridden(way, duty=duty)
    verdict, told, notes = settled(ride, plateau=counted(SET_A, way))
    assert verdict is None
    assert told[0].missing == ("left.duty_pct",)
    (note,) = notes
    assert note.about == "left.phase_current_a"
    assert 'channel = "left.phase_current_a", unit = "A rms", sign = 1' in note.text


def test_a_plateau_at_the_limit_hints_that_both_count_alike():
    verdict, told, notes = settled(ridden("direct", duty=False), plateau=SET_A)
    assert (verdict, told) == (Verdict.WORKS, [])
    assert "proves nothing" in notes[0].text


def test_what_is_short_of_the_limit_on_any_scale_is_not_reached():
    for way in ("rms", "direct"):
        ride = ridden(way, duty=False, top_a=0.7 * SET_A, flat=False)
        assert settled(ride)[0] is Verdict.NOT_REACHED


def test_what_a_limit_counted_otherwise_may_have_held_is_not_judged():
    """0.82 of the limit, in rms, is the limit in direct current."""
    assert settled(ridden("rms", duty=False))[0] is None
    assert settled(ridden("direct", duty=False, top_a=0.82 * SET_A))[0] is None
    assert settled(ridden("direct", top_a=0.82 * SET_A))[0] is Verdict.NOT_REACHED


def test_far_below_is_not_reached_on_any_scale_even_at_a_plateau():
    ride = ridden("rms", duty=False, top_a=0.4 * SET_A)
    assert settled(ride, plateau=20.0)[0] is Verdict.NOT_REACHED


def test_an_overshoot_needs_a_settled_scale():
    assert settled(ridden("direct", top_a=1.15 * SET_A))[0] is Verdict.OVERSHOOTS
    assert settled(ridden("direct", top_a=1.15 * SET_A, duty=False))[0] is None

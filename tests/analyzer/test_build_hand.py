"""The hand's wavering and its lateness against sequences and closed forms that are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made.builds import exact_build

from analyzer.build_hand import hand_spread, wavers
from analyzer.hill_ahead import even_hill
from analyzer.hill_model import simulate_hill

SECONDS = 600
"""So many 1 s means of a climb."""


def climb(waver, stops=()):
    """A climb at 20 A and 5 m/s that gets steadily steeper, its current wavering; (from, to) where
    it stands and starts again."""
    amps = np.linspace(18.0, 22.0, SECONDS) * (1.0 + waver)
    pace = np.full(SECONDS, 5.0)
    for begin, end in stops:
        amps[begin:end], pace[begin:end] = 0.0, 0.0
        amps[end : end + 4], pace[end : end + 4] = 45.0, [1.0, 2.0, 3.0, 3.4]
    return amps, pace, np.ones(SECONDS, bool)


def test_a_hand_that_wavers_at_random_is_measured_as_it_is():
    # white seconds with an sd of 4 %; about an 11 s mean sqrt(1 - 1/11) of it is left
    rng = np.random.default_rng(3)
    found = hand_spread([wavers(*climb(0.04 * rng.standard_normal(SECONDS)))])
    assert found == pytest.approx(0.04 * np.sqrt(10 / 11), rel=0.12)


def test_stops_on_a_climb_are_not_the_hands():
    rng = np.random.default_rng(3)
    stops = [(k, k + 12) for k in range(40, 560, 60)]
    found = hand_spread([wavers(*climb(0.04 * rng.standard_normal(SECONDS), stops))])
    assert found == pytest.approx(0.04 * np.sqrt(10 / 11), rel=0.2)


def test_a_hand_that_swings_is_not_taken_for_a_wilder_one():
    # a sine of 6 s: its peaks are 1.41 of its sd, never the 2.5 of as many random seconds
    swing = 0.4 * np.sin(np.arange(SECONDS) * 2 * np.pi / 6.0 + 0.5)
    found = hand_spread([wavers(*climb(swing))])
    assert found is not None
    assert 0.14 < found < 0.25
    assert 0.8 * 0.4 < 2.3 * found < 1.4 * 0.4


def test_too_few_seconds_tell_nothing():
    amps, pace, free = climb(np.zeros(SECONDS))
    assert hand_spread([wavers(amps[:30], pace[:30], free[:30])]) is None
    assert hand_spread([wavers(amps, pace, ~free)]) is None
    assert hand_spread([]) is None


def late(seconds: float):
    """The worked climb's exact build and a hand so late, that does not waver."""
    build = exact_build()
    return replace(build, answers_s=np.full(4, seconds), capacity_ah=np.full(4, 1e6))


def test_a_late_hand_lets_speed_go_and_makes_it_good():
    # The hand lacks a part exp(-t / tau) of the slope's force and makes good the speed lost over
    # T = 2 s: what it gives beyond that force is, as a part of it, tau / (T - tau) *
    # (exp(-t / T) - exp(-t / tau)) - exp(-t / tau); with tau 0.4 s at most 0.0894, after 1.61 s
    hill = replace(even_hill(10.0, 300.0, 50.0, 15.0, 5.0), start_altitude_m=0)
    prompt, tardy = (simulate_hill(late(s), hill).phase_peak_a for s in (0.0, 0.4))
    build = exact_build()
    slope_a = 165.0 * 9.80665 * 0.0995 / (0.80 * build.k_n_per_a.sum(axis=0))
    more = (tardy - prompt) / slope_a
    assert more == pytest.approx(0.0894, rel=0.15)


def test_the_peak_of_a_wavering_hand_is_that_of_as_many_random_seconds():
    # The largest of 100 normal values lies 2.508 sds out (Tippett 1925, Biometrika 17, 364); means
    # over running seconds, two a second, are about twice as many and not independent: up to 2.75
    build = exact_build()
    many = 400
    wide = {
        name: np.repeat(getattr(build, name)[..., :1], many, axis=-1)
        for name in (
            "mass_kg", "rolling", "drag_m2", "efficiency", "return_factor", "k_n_per_a", "ohm",
            "drop_v", "limit_scale", "brake_scale", "overshoot", "brake_overshoot", "pack_ohm",
            "activation_j_per_mol", "rest_offset_v", "answers_s", "curve",
            "off_pace_mps", "low_rise", "pack_j_per_k",
        )
    }  # fmt: skip
    force_sd = 8.0
    build = replace(
        build, **wide, unsteady_n=np.full(many, force_sd), capacity_ah=np.full(many, 1e6), heat=(),
    )  # fmt: skip
    hill = even_hill(8.0, 500.0, 80.0, 15.0, 5.0)  # 100 s
    per_n = 1.0 / (build.efficiency[0] * build.k_n_per_a[:, 0].sum())
    wavering = simulate_hill(build, hill).phase_peak_a[0]
    calm = simulate_hill(replace(build, unsteady_n=np.zeros(many)), hill).phase_peak_a[0]
    sds = (wavering - calm) / (per_n * force_sd)
    assert 2.4 < float(np.mean(sds)) < 2.9

"""Every remedy of every cause against the advice that is never given, and its numbers."""

from __future__ import annotations

import re

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.conditions import Conditions
from analyzer.cutout_remedies import remedy_of
from analyzer.loss_facts import Facts, around
from analyzer.loss_search import Loss, search_losses
from analyzer.losses import DriveLoss
from analyzer.words import CutoutCause
from importers.setup_types import Drive


def _here(setup=None):
    t = clock(60.0)
    on = (t % 10 < 7) * 1.0
    channels = {}
    for side in ("left", "right"):
        channels |= {
            f"{side}.battery_current_a": 24.0 * on,
            f"{side}.battery_voltage_v": 52.0,
            f"{side}.throttle_pct": 80.0 * on,
        }
    ride = make_ride(t, channels)
    setup = setup or _trike()
    _, search = search_losses(ride, setup)
    part = DriveLoss("left", 1, 500, 500, 520, 540, 0.1, "gone")
    state = Conditions(None, None, None, 0.1, None, None)
    facts = Facts(numbers={"pack_current_a": 48.0, "peak_5s_a": 50.0, "charge_pct": 40.0})
    return around(Loss(1, (part,)), search, state), facts


def _trike():
    side = dict(phase_drive_a=60.0, battery_drive_a=25.0, battery_brake_a=8.0, stop_at_v=42.0)
    return make_setup(
        drives=(Drive("left", **side), Drive("right", **side)),
        bms={"discharge_rating_a": 50.0, "charge_rating_a": 20.0},
        pack={"aux_a": 1.0, "charge_rating_a": 12.0},
        vehicle={"mass_kg": 165.0},
    )


@pytest.mark.parametrize("cause", [one for one in CutoutCause if one is not CutoutCause.UNKNOWN])
def test_every_cause_says_what_to_do_its_cost_and_its_caution(cause):
    texts = remedy_of(cause, *_here())
    assert not texts[0].startswith(("Cost:", "Caution:"))
    assert any(text.startswith("Cost:") for text in texts), cause
    assert texts[-1].startswith("Caution:")


def test_the_suggested_limits_keep_a_tenth_and_the_overshoot_in_hand():
    """2 x each + 1 A of lights stays 10 % under 50 A; 48 A of lights-and-limits set, 50 A seen."""
    here, facts = _here()
    text = remedy_of(CutoutCause.BMS_OVERCURRENT_DISCHARGE, here, facts)[0]
    each = float(re.search(r"to ([\d.]+) A or less", text).group(1))
    assert 2 * each + 1.0 <= 0.9 * 50.0 + 1e-9
    assert each > 0.8 * (0.9 * 50.0 - 1.0) / 2


def test_less_braking_always_comes_with_the_mechanical_brake():
    for cause in (CutoutCause.BMS_OVERCURRENT_CHARGE, CutoutCause.OVERVOLTAGE_TRIP):
        texts = remedy_of(cause, *_here())
        assert "mechanical brake must hold the loaded vehicle" in texts[-1]
        assert "stopping distance grows" in texts[-1]
        assert "walking pace" in texts[-1]


def test_without_ratings_no_number_is_invented():
    bare = make_setup()
    text = remedy_of(CutoutCause.BMS_OVERCURRENT_DISCHARGE, *_here(bare))[0]
    assert not re.search(r"\d+ A", text)
    assert np.isfinite(len(text))

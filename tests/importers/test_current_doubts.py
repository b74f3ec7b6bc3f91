"""A made ride that brakes electrically (truth known), its current as logged, cut off, unsigned."""

from __future__ import annotations

import numpy as np
import pytest
from ledger.made_ride import make

from importers.current_doubts import braking_doubts

RIDE = make(3, 1, 6.0, 10.0)
AMPS, SPEED = RIDE.drives[0]["battery_current_a"], RIDE.whole["speed_mps"]


def said(amps: np.ndarray, **more: np.ndarray) -> str:
    return " ".join(
        text for _, text in braking_doubts({"battery_current_a": amps, **more}, RIDE.time_s)
    )


def test_signed_current_raises_no_doubt() -> None:
    assert said(AMPS, speed_mps=SPEED) == ""
    assert said(AMPS) == ""


@pytest.mark.parametrize(
    ("logged", "word"),
    [(np.abs(AMPS), "without sign"), (np.clip(AMPS, 0, None), "cut off or not braked by")],
)
def test_lost_braking_is_told(logged: np.ndarray, word: str) -> None:
    assert word in said(logged, speed_mps=SPEED)
    assert "not checked" in said(logged)


def test_what_lifts_the_voltage_while_braking_came_back_unsigned() -> None:
    """Mostly a mechanical brake slowed the vehicle, so that few braking rows have current. Rest
    60 V, 0.1 ohm: 61 V at 10 A coming back, by Ohm's law."""
    seldom = np.where((AMPS < 0) & (np.arange(AMPS.size) % 5 > 0), 0.0, AMPS)
    volts = 60.0 - 0.1 * seldom
    for logged, word in ((np.abs(seldom), "without sign"), (np.clip(seldom, 0, None), "cut off")):
        assert word in said(logged, speed_mps=SPEED, battery_voltage_v=volts)


def test_too_short_or_empty_says_nothing() -> None:
    assert said(np.full(AMPS.size, np.nan)) == ""
    assert said(np.zeros(AMPS.size)) == ""


@pytest.mark.parametrize("drive", ["front.", ""])
def test_an_axle_that_does_not_brake_is_not_cut_off(drive: str) -> None:
    """Its motor rests while the other axle brakes; where it turns current and the log shows none
    going back, that was cut off (phase current is negative wherever the sent-back current is)."""
    forward = np.clip(AMPS, 0, None)
    columns = {f"{drive}battery_current_a": forward, "speed_mps": SPEED}

    def doubts(phase: np.ndarray) -> str:
        more = columns | {f"{drive}phase_current_a": phase}
        return " ".join(text for _, text in braking_doubts(more, RIDE.time_s))

    assert doubts(2.0 * forward) == ""
    assert "cut off" in doubts(2.0 * AMPS)

"""A logged state of charge that corrects itself. The truth: charge drawn at a known current."""

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup

from analyzer.capacity import capacity_from_counter, charge_jumps, logged_charge_pct

T = clock(3600, 5.0)
SETUP = make_setup()
AMPS = 8 + 6 * np.sin(T / 40)
DRAWN_AH = np.cumsum(AMPS) / 5 / 3600
TRUE_AH = 15.0


def ride(jumps=(), step=1.0, starts_pct=80.0):
    """The counter's own capacity is 15 Ah whatever the setup says; it leaps where told."""
    charge = starts_pct - 100 * DRAWN_AH / TRUE_AH
    for when_s, by in jumps:
        charge = charge + np.where(when_s <= T, by, 0.0)
    logged = np.floor(charge / step) * step
    channels = {"pack_current_a": AMPS, "pack_voltage_v": 50 - 0.1 * AMPS}
    return make_ride(T, channels | {"state_of_charge_pct": logged})


@pytest.mark.parametrize(
    "jumps", [[(1000.0, 9.0)], [(700.0, -12.0)], [(900.0, 6.0), (2500.0, -15)]]
)
@pytest.mark.parametrize("step", [0.1, 1.0])
def test_corrections_are_found_and_the_capacity_is_as_without(jumps, step):
    seen = ride(jumps, step)
    found = charge_jumps(seen, SETUP)
    assert [when for when, _ in found] == pytest.approx([when for when, _ in jumps], abs=0.21)
    assert [by for _, by in found] == pytest.approx([by for _, by in jumps], abs=1.1)
    start, end = logged_charge_pct(seen, T[[0, -1]], found)
    told = capacity_from_counter(float(DRAWN_AH[-1]), 0.05, start - end)
    assert told is not None
    assert told.value == pytest.approx(TRUE_AH, rel=0.05)


@pytest.mark.parametrize("step", [0.1, 0.5, 1.0])
def test_counting_down_is_no_correction(step):
    assert charge_jumps(ride((), step), SETUP) == []


def test_a_reading_once_a_minute_is_no_correction():
    """2 points a minute at a high current are what the current draws."""
    amps = np.full(T.size, 25.0)
    charge = 90 - 100 * np.cumsum(amps) / 5 / 3600 / TRUE_AH
    held = charge[(T // 60 * 60 * 5).astype(int)]
    seen = make_ride(T, {"pack_current_a": amps, "state_of_charge_pct": held})
    assert charge_jumps(seen, SETUP) == []

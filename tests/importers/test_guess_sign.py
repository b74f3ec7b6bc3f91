"""A pack on its charger: the current hardly moves, so the way the charge took the voltage tells.

Truth: charging raises a pack's rest voltage, discharging lowers it (definition), whichever way
round the current was logged.
"""

import numpy as np
import pytest

from importers.guess_sign import charge_sign, sag_sign

TIME_S = np.arange(0.0, 7200.0)


def charge_log(rng):
    """A constant current, then a constant voltage with a falling current; into the pack."""
    into = np.minimum(5.0, 5.0 * np.exp(-(TIME_S - 5600.0) / 900.0))
    volts = 50.0 + 8.4 * np.minimum(np.cumsum(into) / (5.0 * 5600.0), 1.0)
    noise_v, noise_a = rng.normal(0, 0.02, TIME_S.size), rng.normal(0, 0.02, TIME_S.size)
    return volts + noise_v, into + noise_a


@pytest.mark.parametrize("logged", [1, -1])
def test_a_charge_is_seen_whichever_way_it_was_logged(logged):
    volts, into = charge_log(np.random.default_rng(1))
    found = sag_sign(volts, logged * into, TIME_S)
    assert found is None or found.chance < 0.99
    told = charge_sign(volts, logged * into, TIME_S)
    assert told is not None
    assert told.sign * logged == -1
    assert told.chance >= 0.95


def test_a_steady_discharge_stays_a_discharge():
    volts, into = charge_log(np.random.default_rng(2))
    told = charge_sign(108.0 - volts, into, TIME_S)
    assert told is not None
    assert told.sign == 1


def test_a_voltage_that_stays_tells_nothing():
    rng = np.random.default_rng(3)
    volts, amps = 50 + rng.normal(0, 0.05, 600), 3 + rng.normal(0, 1, 600)
    assert charge_sign(volts, amps, np.arange(600.0)) is None


@pytest.mark.parametrize("logged", [1, -1])
def test_a_path_that_opens_does_not_turn_the_sign(logged):
    """A calm ride, logged by its own battery: four moves of the load with 70 mΩ (Ohm's law), then
    the pack's path opens at 20 A and the bus sinks to nothing with the wheels' speed."""
    rng = np.random.default_rng(6)
    time_s = np.arange(0.0, 290.0, 0.05)
    amps = 8 * ((time_s > 10) & (time_s < 20)) + 5.0 * ((time_s > 35) & (time_s < 95))
    amps = amps + 3.0 * ((time_s > 95) & (time_s < 120)) + 20.0 * ((time_s > 180) & (time_s < 245))
    volts = 51.0 - 0.07 * amps - 0.002 * np.cumsum(amps) * 0.05
    after = time_s >= 245
    volts = np.where(after, np.clip(43.5 - 5.0 * (time_s - 245), 0, None), volts)
    volts, amps = volts + rng.normal(0, 0.03, volts.size), amps + rng.normal(0, 0.08, volts.size)
    found = sag_sign(volts, logged * amps, time_s)
    assert found is not None
    assert found.sign == logged

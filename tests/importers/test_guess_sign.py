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

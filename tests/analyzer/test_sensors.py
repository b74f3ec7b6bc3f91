"""Which readings are believed, and how exactly."""

import numpy as np
import pytest
from handmade import clock, make_ride

from analyzer.sensors import believable_temp_c, current_accuracy_share
from importers.scatter import log_step, noise_sd

T = clock(600)
RIDE = make_ride(T, {"left.motor_temp_c": 20.0})


def test_a_warming_motor_is_believed_as_it_is():
    temps = 20 + 60 * (1 - np.exp(-T / 200))
    assert believable_temp_c(temps, RIDE) == pytest.approx(temps)
    # Logged in whole degrees, too.
    assert believable_temp_c(np.round(temps), RIDE) == pytest.approx(np.round(temps))


@pytest.mark.parametrize("constant", [0.0, 25.0, 150.0])
def test_a_constant_is_an_absent_sensor(constant):
    assert believable_temp_c(np.full(T.size, constant), RIDE) is None


def test_what_no_mass_can_do_is_left_out():
    # causes.md: more than about 5 K/s, or beyond 150 °C, is a wire.
    temps = 40 + T / 60
    broken = np.where((T > 300) & (T < 330), 140.0, temps)
    found = believable_temp_c(broken, RIDE)
    assert np.isnan(found[(T > 300) & (T < 330)]).all()
    assert found[T < 300] == pytest.approx(temps[T < 300])
    beyond = np.where(T > 300, 200.0, temps)
    assert np.isnan(believable_temp_c(beyond, RIDE)[T > 300]).all()


def test_resolution_and_noise():
    rng = np.random.default_rng(5)
    signal = 20 * np.sin(T / 30)
    assert log_step(np.round(signal / 0.25) * 0.25) == pytest.approx(0.25)
    assert log_step(np.full(10, 3.0)) == 0.0
    # White noise of a known spread on a slow signal.
    assert noise_sd(signal + rng.normal(0, 0.4, T.size)) == pytest.approx(0.4, rel=0.05)
    assert noise_sd(signal) < 1e-3


def test_a_bms_shunt_is_closer_than_a_controllers_own_figure():
    # Common practice, no source: 1 to 3 % against 3 to 5 %.
    assert current_accuracy_share(("pack_current_a",)) == 0.02
    assert current_accuracy_share(("left.battery_current_a", "right.battery_current_a")) == 0.03

"""Units and what a stated one is held against: a broken wire, a bus that lost its pack."""

import numpy as np
import pytest
from setup_maker import TRIKE, setup_of

from importers.guess_unit import NO_SUCH_PACK, guess_unit
from importers.units import BY_NAME

CELSIUS, VOLT = BY_NAME[("temperature", "°C")], BY_NAME[("voltage", "V")]
SURE = 0.95
"""The contract's."""


def _sure(channel, numbers, unit):
    return guess_unit(channel, np.asarray(numbers), unit, setup_of(TRIKE), electrical=False)


def test_a_thermometer_that_breaks_on_the_way_is_still_one():
    """Heat cannot step beyond 150 °C: that is the wire (causes.md's facts of the trade)."""
    found = _sure("motor_temp_c", [40.0] * 70 + [600.0] * 30, CELSIUS)
    assert found.chance >= SURE
    assert found.name == "°C"


def test_a_column_mostly_beyond_sense_is_no_temperature():
    assert _sure("motor_temp_c", [40.0] * 30 + [600.0] * 70, CELSIUS).chance < SURE


def test_a_pack_that_was_cut_off_for_most_of_the_log_keeps_its_voltage():
    series = setup_of(TRIKE).pack.series
    live, dead = [3.7 * series] * 40, [0.9 * series] * 1000
    assert _sure("battery_voltage_v", live + dead, VOLT).chance >= SURE


@pytest.mark.parametrize("part", [0.3, 2.0])
def test_a_pack_of_far_fewer_or_twice_as_many_cells_is_refused(part):
    series = setup_of(TRIKE).pack.series
    found = _sure("battery_voltage_v", np.full(500, 3.7 * series * part), VOLT)
    assert found.chance < SURE
    assert NO_SUCH_PACK in found.why


@pytest.mark.parametrize(
    ("name", "logged", "celsius"), [("°F", 212.0, 100.0), ("K", 273.15, 0.0), ("°C", 21.5, 21.5)]
)
def test_temperatures_come_to_celsius(name, logged, celsius):
    """ITS-90's definitions: 0 °C is 273.15 K; water boils at 212 °F by Fahrenheit's scale."""
    found = _sure("motor_temp_c", np.full(50, logged), BY_NAME[("temperature", name)])
    assert found.apply(np.array([logged]))[0] == pytest.approx(celsius)

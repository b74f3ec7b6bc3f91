"""Headers run together or cut short. Truth: what the words say, read by a person."""

import numpy as np
import pytest

from importers.guess_name import name_guesses
from importers.guess_side import lettered
from importers.guess_unit import guess_unit
from importers.header_words import read_header


@pytest.mark.parametrize(
    ("header", "side", "channel", "unit"),
    [
        ("leftBatteryCurrent", "left", "battery_current_a", None),
        ("rightMotorTemperature", "right", "motor_temp_c", None),
        ("leftRPM", "left", "motor_rpm", "rpm"),
        ("rightbatterycurrent (A)", "right", "battery_current_a", "A"),
        ("n_Motor in 1/min", None, "motor_rpm", "rpm"),
        ("LEFT CONTROLLER DEG C", "left", "controller_temp_c", "°C"),
        ("battery level [V]", None, "battery_voltage_v", "V"),
        ("restlading [%]", None, "state_of_charge_pct", "%"),
    ],
)
def test_words_are_found(header: str, side: str | None, channel: str, unit: str | None) -> None:
    words = read_header(header)
    assert words.side == side
    assert name_guesses(words)[0].channel == channel
    assert (words.unit.name if words.unit else None) == unit


def test_french_letters_of_front_and_rear_come_in_pairs() -> None:
    """`AR` alone is air in Portuguese; beside `AV` it is the rear."""
    headers = ["I bat AV [A]", "I bat AR [A]", "n AV [tr/min]", "n AR [tr/min]"]
    told = [read_header(one).side for one in lettered(headers, ("front", "rear"))]
    assert told == ["front", "rear", "front", "rear"]
    assert read_header("T ar [°C]").side is None


def test_a_motor_that_is_never_below_154_was_logged_in_tenths() -> None:
    unit = guess_unit("motor_temp_c", np.linspace(154, 168, 500), None, None, electrical=False)
    assert unit.name == "0.1 °C"

"""Headers read word by word. Meanings from dictionaries and the trade; each row stands alone."""

from __future__ import annotations

import pytest

from importers.guess_name import is_foreign, name_guesses
from importers.header_words import read_header


@pytest.mark.parametrize(
    ("header", "cell", "channel", "unit", "side"),
    [
        ("Battery Current [A]", "", "battery_current_a", "A", None),
        ("links Motorstrom (mA)", "", "phase_current_a", "mA", "left"),
        ("Tension batterie, V", "", "battery_voltage_v", "V", None),
        ("temperatura del motor derecho °C", "", "motor_temp_c", "°C", "right"),
        ("Batt. current, 0.1 A", "", "battery_current_a", "dA", None),
        ("accuspanning (rechts)", "V", "battery_voltage_v", "V", "right"),
        ("Electrical speed", "rpm", "motor_rpm", "rpm", None),
        ("cell 7", "mV", "cell_07_v", "mV", None),
        ("Temp 2 battery [C]", "", "cell_temp_02_c", "°C", None),
        ("V batt", "", "battery_voltage_v", None, None),
        ("T motor", "", "motor_temp_c", None, None),
        ("GPS-Geschwindigkeit [km/h]", "", "gps_speed_mps", "km/h", None),
        ("Courant batterie (G) (A)", "", "battery_current_a", "A", "left"),
    ],
)
def test_meaning(header: str, cell: str, channel: str, unit: str | None, side: str | None) -> None:
    words = read_header(header, cell)
    assert name_guesses(words)[0].channel == channel
    assert (words.unit.name.partition("\n")[0] if words.unit else None) == unit
    assert words.side == side


@pytest.mark.parametrize(
    "header",
    [
        "Heater Voltage [V]", "Motor Torque [Nm]", "12V supply voltage [V]", "Target current [A]",
        "Cabin Temperature [°C]", "Energy used [Wh]", "Trip distance [km]", "Cadence [rpm]",
        "Satellites", "State of health [%]", "Cell imbalance [mV]",
    ],
)  # fmt: skip
def test_none_of_our_business(header: str) -> None:
    words = read_header(header)
    assert name_guesses(words) == []
    assert is_foreign(words)


def test_a_drive_of_the_setup_is_a_side() -> None:
    assert read_header("axle two current [A]", "", ("axle one", "axle two")).side == "axle two"

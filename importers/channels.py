"""The one vocabulary of channels: name, what it measures, its plausible range, and which ideas in
a header speak of it.

Ranges are what a self-built light vehicle, or the small car the tool is also tried on, can show;
they are our choice and only tell a column's unit and weed out what cannot be.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Channel:
    """One name of the vocabulary."""

    name: str
    dimension: str
    """As `importers.units` has it; `text` for status."""
    unit: str
    """Unit of the values in the ride's table."""
    per_drive: bool
    low: float
    high: float
    meaning: str


_ROWS = (
    ("time_s", "time", "s", False, -1e12, 1e19, "time of the sample"),
    ("battery_current_a", "current", "A", True, -600, 600, "current between pack and controller"),
    ("battery_voltage_v", "voltage", "V", True, 5, 900, "pack voltage at the controller"),
    ("phase_current_a", "current", "A", True, -1000, 1000, "current in the motor"),
    ("motor_rpm", "rotation", "rpm", True, -60000, 60000, "mechanical motor speed"),
    ("wheel_speed_mps", "speed", "m/s", True, -60, 60, "speed of the driven wheel's rim"),
    ("throttle_pct", "fraction", "%", True, -105, 105, "demand that reaches the controller"),
    ("brake_pct", "fraction", "%", True, -105, 105, "braking demand that reaches the controller"),
    ("duty_pct", "fraction", "%", True, -105, 105, "modulation of the power stage"),
    ("power_w", "power", "W", True, -2e5, 2e5, "battery power of the controller"),
    ("controller_temp_c", "temperature", "°C", True, -40, 160, "power stage temperature"),
    ("motor_temp_c", "temperature", "°C", True, -40, 220, "motor temperature"),
    ("status", "text", "", True, 0, 0, "state or fault code as logged"),
    ("pack_voltage_v", "voltage", "V", False, 5, 900, "pack voltage"),
    ("pack_current_a", "current", "A", False, -1500, 1500, "pack current"),
    ("pack_power_w", "power", "W", False, -3e5, 3e5, "pack power"),
    ("pack_temp_c", "temperature", "°C", False, -40, 90, "pack temperature"),
    ("cell_min_v", "voltage", "V", False, 0.5, 5, "lowest parallel group"),
    ("cell_max_v", "voltage", "V", False, 0.5, 5, "highest parallel group"),
    ("cell_NN_v", "voltage", "V", False, 0.5, 5, "one parallel group"),
    ("cell_temp_NN_c", "temperature", "°C", False, -40, 90, "one cell temperature"),
    ("state_of_charge_pct", "fraction", "%", False, -5, 110, "state of charge as logged"),
    ("speed_mps", "speed", "m/s", False, -70, 70, "vehicle speed"),
    ("gps_speed_mps", "speed", "m/s", False, -1, 70, "speed by satellite"),
    ("latitude_deg", "angle", "°", False, -90, 90, "latitude"),
    ("longitude_deg", "angle", "°", False, -180, 180, "longitude"),
    ("altitude_m", "length", "m", False, -500, 9000, "height above sea level"),
    ("course_deg", "angle", "°", False, -180, 360, "direction of travel"),
    ("acceleration_mps2", "acceleration", "m/s²", False, -60, 60, "acceleration lengthwise"),
    ("ambient_temp_c", "temperature", "°C", False, -50, 60, "air temperature"),
)

CHANNELS: dict[str, Channel] = {row[0]: Channel(*row) for row in _ROWS}
"""name -> channel; `cell_NN_v` and `cell_temp_NN_c` stand for all their numbers."""

COUNTED = "battery_current_a"
"""The channel that a counter of charge may stand for: its rate of change."""
PACK_OF_DRIVE = {
    "battery_current_a": "pack_current_a",
    "battery_voltage_v": "pack_voltage_v",
    "power_w": "pack_power_w",
}
"""What a controller calls the battery's, as the whole pack's."""


def channel_of(name: str) -> Channel | None:
    """The vocabulary's row for a name, drive before it or not, numbered cells included."""
    base = name.rsplit(".", 1)[-1]
    if base in CHANNELS:
        found: Channel | None = CHANNELS[base]
    elif base.startswith("cell_temp_") and base.endswith("_c"):
        found = CHANNELS["cell_temp_NN_c"]
    elif base.startswith("cell_") and base.endswith("_v"):
        found = CHANNELS["cell_NN_v"]
    else:
        found = None
    if found is not None and "." in name and not found.per_drive:
        return None
    return found

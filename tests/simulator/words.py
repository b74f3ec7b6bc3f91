"""Numbers that stand for words inside the compiled loop, and the words themselves."""

CAUSES = (
    "none",
    "bms_overcurrent_discharge",
    "bms_overcurrent_charge",
    "bms_overheat",
    "cell_low_voltage",
    "cell_high_voltage",
    "undervoltage_stop",
    "overvoltage_trip",
    "controller_overheat",
    "motor_overheat",
    "phase_overcurrent",
    "input_signal_lost",
    "interlock_opened",
    "idle_shutdown",
    "drive_link_lost",
    "rotor_sensor_fault",
    "motor_phase_fault",
    "temperature_sensor_fault",
    "mechanical_drive_lost",
    "supply_interrupted",
)
(
    NONE,
    BMS_DISCHARGE,
    BMS_CHARGE,
    BMS_HEAT,
    CELL_LOW,
    CELL_HIGH,
    UNDERVOLTAGE,
    OVERVOLTAGE,
    CONTROLLER_HOT,
    MOTOR_HOT,
    OVERCURRENT,
    SIGNAL_LOST,
    INTERLOCK,
    IDLE,
    LINK_LOST,
    ROTOR_SENSOR,
    MOTOR_PHASE,
    TEMP_SENSOR,
    MECHANICAL,
    SUPPLY,
) = range(len(CAUSES))

GOVERNORS = (
    "rider",
    "battery_limit",
    "phase_limit",
    "voltage_derate",
    "controller_heat_derate",
    "motor_heat_derate",
    "no_voltage_headroom",
    "blocked",
)
(
    BY_RIDER,
    BY_BATTERY,
    BY_PHASE,
    BY_VOLTAGE,
    BY_CONTROLLER_HEAT,
    BY_MOTOR_HEAT,
    BY_HEADROOM,
    BY_BLOCK,
) = range(len(GOVERNORS))

# Kinds of planted faults beyond those of CAUSES.
CONTACT = 100
"""A contact in the supply that adds resistance (`p0` [ohm]) without opening."""
SLIP = 101
"""A slippery patch: a driven wheel can pass at most `p0` newtons to the road."""

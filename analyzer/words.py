"""The words that cross the edge of the tool: kinds, causes, severities, verdicts.

They are the contract's; a change here is a change for users.
"""

from __future__ import annotations

from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters; ordered by `rank`."""

    NOTE = "note"
    WATCH = "watch"
    ACT = "act"

    @property
    def rank(self) -> int:
        """0 for note, 1 for watch, 2 for act."""
        return ("note", "watch", "act").index(self.value)


class EventKind(StrEnum):
    """What happened in a span of the ride."""

    CUTOUT = "cutout"
    BRAKE_LOSS = "brake_loss"
    POWER_REDUCED = "power_reduced"
    BRAKE_REDUCED = "brake_reduced"
    NEAR_TRIP = "near_trip"
    SAG = "sag"
    REGEN_OVER_RATING = "regen_over_rating"
    DISCHARGE_OVER_RATING = "discharge_over_rating"
    OVERVOLTAGE = "overvoltage"
    IMBALANCE = "imbalance"
    OVERHEAT = "overheat"
    WHEEL_SLIP = "wheel_slip"
    STALL = "stall"
    LOG_GAP = "log_gap"


class CutoutCause(StrEnum):
    """First link of the chain that took drive or braking away."""

    BMS_OVERCURRENT_DISCHARGE = "bms_overcurrent_discharge"
    BMS_OVERCURRENT_CHARGE = "bms_overcurrent_charge"
    BMS_OVERHEAT = "bms_overheat"
    CELL_LOW_VOLTAGE = "cell_low_voltage"
    CELL_HIGH_VOLTAGE = "cell_high_voltage"
    UNDERVOLTAGE_STOP = "undervoltage_stop"
    OVERVOLTAGE_TRIP = "overvoltage_trip"
    CONTROLLER_OVERHEAT = "controller_overheat"
    MOTOR_OVERHEAT = "motor_overheat"
    PHASE_OVERCURRENT = "phase_overcurrent"
    INPUT_SIGNAL_LOST = "input_signal_lost"
    INTERLOCK_OPENED = "interlock_opened"
    IDLE_SHUTDOWN = "idle_shutdown"
    DRIVE_LINK_LOST = "drive_link_lost"
    ROTOR_SENSOR_FAULT = "rotor_sensor_fault"
    MOTOR_PHASE_FAULT = "motor_phase_fault"
    TEMPERATURE_SENSOR_FAULT = "temperature_sensor_fault"
    MECHANICAL_DRIVE_LOST = "mechanical_drive_lost"
    SUPPLY_INTERRUPTED = "supply_interrupted"
    UNKNOWN = "unknown"


class Governor(StrEnum):
    """What held a drive's current where it was; the causes of reduced power, and the rider."""

    RIDER = "rider"
    BATTERY_LIMIT = "battery_limit"
    PHASE_LIMIT = "phase_limit"
    VOLTAGE_DERATE = "voltage_derate"
    CONTROLLER_HEAT_DERATE = "controller_heat_derate"
    MOTOR_HEAT_DERATE = "motor_heat_derate"
    NO_VOLTAGE_HEADROOM = "no_voltage_headroom"
    UNKNOWN = "unknown"


class ImbalanceCause(StrEnum):
    """Why one side carries more than the other."""

    BATTERY_LIMIT_DIFFERS = "battery_limit_differs"
    PHASE_LIMIT_DIFFERS = "phase_limit_differs"
    DEMAND_DIFFERS = "demand_differs"
    SETTING_NOT_IN_FORCE = "setting_not_in_force"
    MOTOR_CONSTANT_DIFFERS = "motor_constant_differs"
    GEARING_OR_TYRE_DIFFERS = "gearing_or_tyre_differs"
    ROTOR_SENSOR_ALIGNMENT = "rotor_sensor_alignment"
    DRAG_ONE_SIDE = "drag_one_side"
    DERATE_ONE_SIDE = "derate_one_side"
    CURRENT_SENSOR_GAIN = "current_sensor_gain"
    LOAD_OFF_CENTRE_OR_TURNING = "load_off_centre_or_turning"
    SLIP = "slip"
    LINK_DELAY = "link_delay"
    UNKNOWN = "unknown"


class BalanceVerdict(StrEnum):
    """Whether the sides carry alike."""

    EVEN = "even"
    UNEVEN = "uneven"
    NOT_ENOUGH_LOAD = "not_enough_load"


class LimitRole(StrEnum):
    """What a limit is for: to govern, or never to be reached."""

    LIMITER = "limiter"
    RATING = "rating"
    TRIP = "trip"
    HEAT = "heat"


class Verdict(StrEnum):
    """What the ride says of a limit; the first three are for limiters."""

    WORKS = "works"
    OVERSHOOTS = "overshoots"
    NOT_REACHED = "not_reached"
    EXCEEDED = "exceeded"
    TOUCHED = "touched"
    HOLDS = "holds"
    NOT_EXERCISED = "not_exercised"


class GradeSource(StrEnum):
    """Where a climb's grade comes from."""

    ALTITUDE = "altitude"
    ESTIMATED = "estimated"

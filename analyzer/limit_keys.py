"""Which limits can a setup have, what does each bound, and which channels show it?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from analyzer.words import LimitRole
from importers.setup_types import Setup

Bounds = Literal["current", "low_voltage", "high_voltage", "heat", "cold"]


@dataclass(frozen=True, slots=True)
class LimitKey:
    """One key of the setup that is a limit, given or not."""

    key: str
    value: float | None
    role: LimitRole
    bounds: Bounds
    channel: str
    """What it bounds: a drive's channel with the drive before it, or one of the whole vehicle."""
    sign: int
    """The direction in which the channel runs toward the limit; 0: both directions."""
    what: str
    """The limit in words, for the list of what was not checked."""

    @property
    def unit(self) -> str:
        """The limit's unit, from its name."""
        return {"a": "A", "v": "V", "c": "°C"}[self.key.rsplit("_", 1)[1]]


_LIMITER, _RATING, _TRIP, _HEAT = (
    LimitRole.LIMITER,
    LimitRole.RATING,
    LimitRole.TRIP,
    LimitRole.HEAT,
)
_OF_DRIVE: tuple[tuple[str, LimitRole, Bounds, str, int, str], ...] = (
    ("phase_drive_a", _LIMITER, "current", "phase_current_a", 1, "phase current driving"),
    ("phase_brake_a", _LIMITER, "current", "phase_current_a", -1, "phase current braking"),
    ("battery_drive_a", _LIMITER, "current", "battery_current_a", 1, "battery current driving"),
    ("battery_brake_a", _LIMITER, "current", "battery_current_a", -1, "battery current braking"),
    ("derate_from_v", _LIMITER, "low_voltage", "battery_voltage_v", -1, "voltage derating"),
    ("stop_at_v", _TRIP, "low_voltage", "battery_voltage_v", -1, "the stop voltage"),
    ("overvoltage_v", _TRIP, "high_voltage", "battery_voltage_v", 1, "the overvoltage trip"),
    ("controller_derate_c", _HEAT, "heat", "controller_temp_c", 1, "controller heat"),
    ("controller_stop_c", _HEAT, "heat", "controller_temp_c", 1, "the controller's heat stop"),
    ("motor_derate_c", _HEAT, "heat", "motor_temp_c", 1, "motor heat"),
    ("motor_stop_c", _HEAT, "heat", "motor_temp_c", 1, "the motor's heat stop"),
)
_OF_BUILD: tuple[tuple[str, LimitRole, Bounds, str, int, str], ...] = (
    (
        "bms.discharge_rating_a",
        _RATING,
        "current",
        "pack_current_a",
        1,
        "the BMS's discharge rating",
    ),
    ("bms.charge_rating_a", _RATING, "current", "pack_current_a", -1, "the BMS's charge rating"),
    ("bms.discharge_peak_a", _RATING, "current", "pack_current_a", 1, "the BMS's discharge peak"),
    ("bms.charge_peak_a", _RATING, "current", "pack_current_a", -1, "the BMS's charge peak"),
    ("bms.discharge_trip_a", _TRIP, "current", "pack_current_a", 1, "the BMS's discharge trip"),
    ("bms.charge_trip_a", _TRIP, "current", "pack_current_a", -1, "the BMS's charge trip"),
    ("bms.cell_low_v", _TRIP, "low_voltage", "cell_min_v", -1, "the BMS's low-cell trip"),
    ("bms.cell_high_v", _TRIP, "high_voltage", "cell_max_v", 1, "the BMS's high-cell trip"),
    (
        "pack.discharge_rating_a",
        _RATING,
        "current",
        "pack_current_a",
        1,
        "the cells' discharge rating",
    ),
    ("pack.charge_rating_a", _RATING, "current", "pack_current_a", -1, "the cells' charge rating"),
    ("pack.discharge_peak_a", _RATING, "current", "pack_current_a", 1, "the cells' discharge peak"),
    ("pack.charge_peak_a", _RATING, "current", "pack_current_a", -1, "the cells' charge peak"),
    ("pack.min_charge_temp_c", _HEAT, "cold", "pack_temp_c", -1, "braking into a cold pack"),
    ("wiring.fuse_a", _RATING, "current", "pack_current_a", 0, "the fuse"),
    ("wiring.connector_rating_a", _RATING, "current", "pack_current_a", 0, "the connector"),
)


def limit_keys(setup: Setup) -> Iterator[LimitKey]:
    """Every limit a setup of these drives can have, in the order of the tables above: the whole
    vehicle's first, then each drive's."""
    for key, role, bounds, channel, sign, what in _OF_BUILD:
        table, name = key.split(".")
        yield LimitKey(key, getattr(getattr(setup, table), name), role, bounds, channel, sign, what)
    for drive in setup.drives:
        for name, role, bounds, channel, sign, what in _OF_DRIVE:
            yield LimitKey(
                f"drives.{drive.name}.{name}",
                getattr(drive, name),
                role,
                bounds,
                f"{drive.name}.{channel}",
                sign,
                f"{what}, {drive.name}",
            )

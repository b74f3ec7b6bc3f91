"""What a file is: a drive's, a BMS's, a GPS's, or everything in one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

OTHER_ROLES = ("gps", "bms", "all")
OF_CONTROLLER = frozenset(
    {"phase_current_a", "motor_rpm", "duty_pct", "controller_temp_c", "motor_temp_c"}
)
OF_PACK = ("pack_current_a", "pack_temp_c", "state_of_charge_pct", "cell_")
OF_PLACE = frozenset({"latitude_deg", "longitude_deg", "gps_speed_mps"})


def role_of(
    columns: Iterable[str],
    typed: str | None,
    mapped: str | None,
    drives: Sequence[str],
    long: bool,
) -> tuple[str | None, float]:
    """The file's role and how sure: as typed or mapped, else from its channels."""
    if typed is not None:
        return typed, 1.0
    if mapped is not None:
        return mapped, 1.0
    names = set(columns)
    if long or any("." in one for one in names):
        return "all", 0.97
    controller = names & OF_CONTROLLER
    battery = {one for one in names if one.startswith(("battery_", "pack_", "cell_", "power_"))}
    if names & OF_PLACE and not controller and not battery:
        return "gps", 0.98
    if not controller and any(one.startswith(OF_PACK) for one in names):
        driven = names & {"throttle_pct", "brake_pct", "speed_mps", "wheel_speed_mps"}
        if driven and len(drives) < 2:
            return "all", 0.97
        return "bms", 0.97 if not driven else 0.9
    if len(drives) == 1:
        return "all", 0.97
    return None, 0.0

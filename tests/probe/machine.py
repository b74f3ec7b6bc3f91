"""What is built around the pack: vehicle, controllers with their limits, and a BMS.

Numbers are invented for five classes of small vehicle; every limit is a setup key of
the contract, so that a machine can be written down as a setup file (`setup_text`).
"""

from dataclasses import dataclass, field

from probe.cells import Cells


@dataclass
class Drive:
    """One controller with its motor. `set_*` is what the setup says, else what is in force."""

    phase_drive_a: float
    phase_brake_a: float
    battery_drive_a: float
    battery_brake_a: float
    torque_nm_per_a: float = 0.11
    motor_ohm: float = 0.06
    no_load_a: float = 1.2  # phase current that only turns the motor
    idle_w: float = 2.5
    gain: float = 1.0  # demand as this side hears it
    wheel: float = 1.0  # its wheel against the nominal diameter
    set_battery_drive_a: float | None = None
    set_phase_drive_a: float | None = None
    derate_from_v: float | None = None
    stop_at_v: float | None = None
    overvoltage_v: float | None = None
    controller_derate_c: float | None = None
    controller_stop_c: float | None = None
    motor_derate_c: float | None = None
    motor_stop_c: float | None = None
    follows: str | None = None
    brake_fade_v: float | None = None  # so far below overvoltage braking begins to fade
    motor_k_per_w: float = 1.2  # motor to air
    motor_j_per_k: float = 900.0
    controller_k_per_w: float = 1.5
    controller_j_per_k: float = 250.0


@dataclass
class Bms:
    """What opens, above what, and after how long; None is never."""

    discharge_rating_a: float
    charge_rating_a: float
    discharge_trip_a: float | None = None
    discharge_trip_delay_s: float = 1.0
    charge_trip_a: float | None = None
    charge_trip_delay_s: float = 1.0
    cell_low_v: float | None = None
    cell_high_v: float | None = None
    cell_delay_s: float = 0.5
    heat_open_j: float | None = None  # opens when its smoothed square of current passes this, A²
    heat_s: float = 200.0
    reopen_s: float = 5.0  # closes again after so long without load
    ports: str = "common"


@dataclass
class Machine:
    """A vehicle ready to ride."""

    name: str
    cells: Cells
    drives: dict[str, Drive]
    bms: Bms
    mass_kg: float
    wheel_m: float
    gear: float
    pole_pairs: int
    rolling: float = 0.014
    drag_m2: float = 0.55
    aux_a: float = 0.0
    discharge_rating_a: float | None = None
    charge_rating_a: float | None = None
    fuse_a: float | None = None
    more: dict[str, str] = field(default_factory=dict)  # extra lines by table
    hide: tuple[str, ...] = ()  # keys left out of the setup file


def _line(key: str, value: object) -> str:
    if isinstance(value, str):
        return f'{key} = "{value}"'
    return f"{key} = {value}"


def setup_text(machine: Machine) -> str:
    """The machine as a setup file, less the keys it hides."""
    cells, bms = machine.cells, machine.bms
    tables: dict[str, dict[str, object]] = {
        "vehicle": {
            "name": machine.name,
            "mass_kg": machine.mass_kg,
            "wheel_diameter_m": machine.wheel_m,
            "gear_ratio": machine.gear,
            "pole_pairs": machine.pole_pairs,
        },
        "pack": {
            "chemistry": cells.chemistry,
            "series": cells.series,
            "parallel": cells.parallel,
            "capacity_ah": cells.capacity_ah,
            "cell_full_v": cells.full_v,
            "cell_empty_v": cells.empty_v,
            "discharge_rating_a": machine.discharge_rating_a,
            "charge_rating_a": machine.charge_rating_a,
            "aux_a": machine.aux_a or None,
        },
        "bms": {
            "discharge_rating_a": bms.discharge_rating_a,
            "charge_rating_a": bms.charge_rating_a,
            "discharge_trip_a": bms.discharge_trip_a,
            "discharge_trip_delay_s": bms.discharge_trip_delay_s if bms.discharge_trip_a else None,
            "charge_trip_a": bms.charge_trip_a,
            "charge_trip_delay_s": bms.charge_trip_delay_s if bms.charge_trip_a else None,
            "cell_low_v": bms.cell_low_v,
            "cell_high_v": bms.cell_high_v,
            "ports": bms.ports,
        },
        "wiring": {"fuse_a": machine.fuse_a},
    }
    for name, drive in machine.drives.items():
        tables[f"drives.{name}"] = {
            "phase_drive_a": drive.set_phase_drive_a or drive.phase_drive_a,
            "phase_brake_a": drive.phase_brake_a,
            "battery_drive_a": drive.set_battery_drive_a or drive.battery_drive_a,
            "battery_brake_a": drive.battery_brake_a,
            **{
                key: getattr(drive, key)
                for key in (
                    "derate_from_v",
                    "stop_at_v",
                    "overvoltage_v",
                    "controller_derate_c",
                    "controller_stop_c",
                    "motor_derate_c",
                    "motor_stop_c",
                    "follows",
                )
            },
        }
    text = ""
    for table, keys in tables.items():
        lines = [
            _line(key, value)
            for key, value in keys.items()
            if value is not None
            and f"{table}.{key}" not in machine.hide
            and key not in machine.hide
        ]
        if extra := machine.more.get(table):
            lines.append(extra)
        text += f"[{table}]\n" + "\n".join(lines) + "\n\n"
    return text

"""The setup file as the build's owner would write it."""

from __future__ import annotations

from typing import Any

from importers.setup_file import parse_setup
from importers.setup_types import RestVoltageCurve, Setup
from simulator.build import NEVER, Build, DriveSpec
from simulator.own_curve import own_curve

DRIVE_KEYS = (
    ("phase_drive_a", "phase_drive_a"),
    ("phase_brake_a", "phase_brake_a"),
    ("battery_drive_a", "battery_drive_a"),
    ("battery_brake_a", "battery_brake_a"),
    ("derate_from_v", "derate_from_v"),
    ("stop_at_v", "stop_at_v"),
    ("overvoltage_v", "overvoltage_v"),
    ("controller_derate_c", "controller_derate_c"),
    ("controller_stop_c", "controller_stop_c"),
    ("motor_derate_c", "motor_derate_c"),
    ("motor_stop_c", "motor_stop_c"),
)


def _value(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    return repr(round(float(value), 4))


def _table(name: str, rows: dict[str, Any], silent: frozenset[str]) -> str:
    kept = {
        key: value
        for key, value in rows.items()
        if value is not None
        and not (isinstance(value, float) and value >= NEVER / 2)
        and f"{name}.{key}" not in silent
    }
    if not kept:
        return ""
    return f"[{name}]\n" + "".join(f"{k} = {_value(v)}\n" for k, v in kept.items()) + "\n"


def _drive_rows(spec: DriveSpec) -> dict[str, Any]:
    rows: dict[str, Any] = {}
    for key, field in DRIVE_KEYS:
        if spec.keys is None or key in spec.keys:
            rows[key] = float(spec.said.get(key, getattr(spec.controller, field)))
    if spec.follows is not None:
        rows["follows"] = spec.follows
    return rows


def setup_toml(build: Build, *, own_cells: bool = False) -> str:
    """The file's text. With `own_cells` it names the cells' own curve (`cells.csv`)."""
    c, b, body = build.cells, build.bms, build.body
    text = _table(
        "vehicle",
        dict(
            name=body.name,
            mass_kg=float(body.mass_kg),
            wheel_diameter_m=float(body.wheel_diameter_m),
            gear_ratio=float(body.gear_ratio),
            pole_pairs=build.drives[0].motor.pole_pairs,
        ),
        build.silent,
    )
    text += _table(
        "pack",
        dict(
            chemistry=build.chemistry,
            series=c.series,
            parallel=c.parallel,
            capacity_ah=float(c.rated_ah),
            cell_full_v=float(c.full_v),
            cell_empty_v=float(c.empty_v),
            discharge_rating_a=float(c.discharge_rating_a),
            charge_rating_a=float(c.charge_rating_a),
            min_charge_temp_c=0.0,
            aux_a=float(round(c.aux_a, 1)),
            rest_voltage_curve="cells.csv" if own_cells else None,
        ),
        build.silent,
    )
    text += _table(
        "bms",
        dict(
            discharge_rating_a=float(b.discharge_rating_a),
            charge_rating_a=float(b.charge_rating_a),
            discharge_trip_a=float(b.discharge_trip_a),
            discharge_trip_delay_s=float(b.discharge_trip_delay_s)
            if b.discharge_trip_a < NEVER / 2
            else None,
            charge_trip_a=float(b.charge_trip_a),
            charge_trip_delay_s=float(b.charge_trip_delay_s)
            if b.charge_trip_a < NEVER / 2
            else None,
            cell_low_v=float(b.cell_low_v),
            cell_high_v=float(b.cell_high_v),
            ports="separate" if b.separate_ports else "common",
        ),
        build.silent,
    )
    text += _table("wiring", dict(fuse_a=build.fuse_a), build.silent)
    for spec in build.drives:
        text += _table(f"drives.{spec.name}", _drive_rows(spec), build.silent)
    text += _table("logger", dict(powered_by=build.logger_powered_by), build.silent)
    return text


def owner_setup(build: Build, *, own_cells: bool = False) -> Setup:
    """The setup as the tool reads it; `own_cells` gives it the cells' true rest-voltage curve."""

    def own(name: str) -> RestVoltageCurve:
        soc, volts = own_curve(build.cells.curve, build.cells.empty_v, build.cells.full_v)
        return RestVoltageCurve(soc, volts, name, built_in=False)

    return parse_setup(setup_toml(build, own_cells=own_cells), "setup.toml", read_curve=own)

"""Writes `sample_logs/`: run `python -m simulator.make_samples` from `tests/`."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np

from simulator.build import BmsSpec, Body, Build, Cells, Controller, DriveSpec, Motor
from simulator.loggers import Column, LogFile, logs_of
from simulator.rider import Rider
from simulator.simulate import SimRide, simulate
from simulator.terrain import Terrain, from_pieces, winding

HOME = Path(__file__).resolve().parents[2] / "sample_logs"
ZONE = timezone(timedelta(hours=1))


def trike() -> Build:
    """The sample's build: set too high for its BMS, one side not as the setup says."""
    cells = Cells(
        curve="nmc532_mohtat2020", series=14, parallel=6, rated_ah=18.0, capacity_ah=16.4,
        empty_v=3.0, full_v=4.2, r0=0.043, r1=0.024, r2=0.018, tau1=0.8, tau2=24.0,
        tau_d=850.0, aux_a=1.1, discharge_rating_a=54.0, charge_rating_a=9.0,
        heat_j_k=5600.0, spread_v=0.008, lead_ohm=0.002,
    )  # fmt: skip
    box = Controller(
        phase_drive_a=58.0, phase_brake_a=30.0, battery_drive_a=29.0, battery_brake_a=7.5,
        derate_from_v=49.6, stop_at_v=45.0, overvoltage_v=61.0, motor_derate_c=100.0,
        motor_stop_c=120.0, controller_derate_c=80.0, controller_stop_c=95.0,
    )  # fmt: skip
    motor = Motor(kt=0.118, ohm=0.058, wind_j_k=330.0, case_j_k=1300.0)
    right = replace(box, phase_drive_a=50.0, branch_ohm=0.0016)
    return Build(
        cells=cells,
        drives=(
            DriveSpec("left", motor, box, side_m=0.34),
            DriveSpec(
                "right",
                replace(motor, kt=0.1175),
                right,
                side_m=-0.34,
                said={"phase_drive_a": 58.0},
            ),
        ),
        bms=BmsSpec(
            discharge_rating_a=40.0,
            charge_rating_a=20.0,
            discharge_trip_a=51.0,
            discharge_trip_delay_s=1.0,
            charge_trip_a=30.0,
            charge_trip_delay_s=1.0,
            cell_low_v=2.8,
            cell_high_v=4.30,
            restart_s=7.0,
        ),
        body=Body(name="Heron cargo trike", mass_kg=268.0, gear_ratio=7.8, crr=0.012, cda_m2=0.8),
        fuse_a=60.0,
    )


def road() -> Terrain:
    """Down from home, along the brook, up Kiln Rise, and up Larch Bank, the steep one."""
    pieces = [
        (150.0, -0.3), (230.0, -6.5), (260.0, 0.2), (430.0, 5.6), (240.0, -0.4), (150.0, -3.5),
        (260.0, 0.3), (90.0, 6.0), (260.0, 9.4), (190.0, 0.4), (120.0, -2.0), (140.0, 0.0),
    ]  # fmt: skip
    bare = from_pieces(pieces)
    return replace(
        bare, bend=winding(bare.grade.size, np.random.default_rng(5), 26.0),
        start_altitude_m=412.0, latitude_deg=47.2871, longitude_deg=9.6413, heading_rad=1.1,
    )  # fmt: skip


def hill_ride() -> SimRide:
    """The main ride: a cold morning, pack nearly full, set as the builder thought right."""
    rider = Rider(
        cruise_mps=7.4,
        stops_every_m=820.0,
        rest_s=11.0,
        react_s=1.4,
        brake_mps2=1.2,
        after_loss=0.85,
        paces=((0.0, 7.0), (620.0, 5.6), (1080.0, 6.5), (1740.0, 7.8)),
    )
    return simulate(
        trike(), road(), rider, seed=11, rate_hz=10, soc=0.96, temp_c=7.0, ambient_c=6.0,
        start=datetime(2031, 11, 15, 9, 12, 40, tzinfo=ZONE),
    )  # fmt: skip


def drive_file(name: str, ahead_s: float, drift_ppm: float, extra: bool) -> LogFile:
    columns = [
        Column("Date and time", "clock"),
        Column("Battery current [A]", f"{name}.battery_current_a", 1),
        Column("Battery voltage [V]", f"{name}.battery_voltage_v", 1),
        Column("Motor phase current [A]", f"{name}.phase_current_a", 1),
        Column("Motor speed [rpm]", f"{name}.motor_rpm", 0),
        Column("Demand [%]", f"{name}.throttle_pct", 1),
        Column("Duty [%]", f"{name}.duty_pct", 1),
        Column("Controller temperature [°C]", f"{name}.controller_temp_c", 1),
        Column("Motor temperature [°C]", f"{name}.motor_temp_c", 1),
    ]
    if extra:
        columns.append(Column("Pack temperature [°C]", "pack_temp_c", 1))
    return LogFile(f"hill/{name}.csv", tuple(columns), 10.0, ahead_s, drift_ppm, 0.004)


def hill_files() -> tuple[LogFile, ...]:
    gps = LogFile(
        "hill/gps.csv",
        (
            Column("Date and time", "clock"),
            Column("Latitude [deg]", "latitude_deg", 6),
            Column("Longitude [deg]", "longitude_deg", 6),
            Column("Altitude [m]", "altitude_m", 1),
            Column("Speed [km/h]", "gps_speed_mps", 1, 3.6),
        ),
        1.0,
    )
    return (drive_file("left", 0.0, 0.0, True), drive_file("right", 2.4, 35.0, False), gps)


def gentler() -> Build:
    """The same trike after the first ride: limits lowered, and saved on both sides."""
    said_alike = trike().with_controllers(
        battery_drive_a=17.0, battery_brake_a=4.0, phase_drive_a=58.0
    )
    return said_alike.with_drive("right", said={})


def after_ride() -> SimRide:
    """The same road a week later with the new limits, the pack a little less full."""
    rider = Rider(cruise_mps=7.4, stops_every_m=820.0, brake_mps2=1.0,
        paces=((0.0, 7.0), (620.0, 5.6), (1080.0, 6.5), (1740.0, 7.8)))  # fmt: skip
    return simulate(
        gentler(), road(), rider, seed=23, rate_hz=5, soc=0.91, temp_c=9.0, ambient_c=8.5,
        start=datetime(2031, 11, 22, 10, 3, 5, tzinfo=ZONE),
    )  # fmt: skip


def wide_file() -> LogFile:
    """One logger for everything; pack current counted the charger's way round."""
    columns = [
        Column("Date and time", "clock"),
        Column("Pack voltage [V]", "pack_voltage_v", 2),
        Column("Pack current [A]", "pack_current_a", 1, -1.0),
        Column("Pack temperature [°C]", "pack_temp_c", 1),
        Column("Lowest cell [mV]", "cell_min_v", 0, 1000.0),
        Column("Highest cell [mV]", "cell_max_v", 0, 1000.0),
    ]
    for name in ("left", "right"):
        columns += [
            Column(f"Battery current {name} [A]", f"{name}.battery_current_a", 1),
            Column(f"Phase current {name} [A]", f"{name}.phase_current_a", 1),
            Column(f"Motor speed {name} [rpm]", f"{name}.motor_rpm", 0),
            Column(f"Demand {name} [%]", f"{name}.throttle_pct", 1),
            Column(f"Motor temperature {name} [°C]", f"{name}.motor_temp_c", 1),
            Column(f"Controller temperature {name} [°C]", f"{name}.controller_temp_c", 1),
        ]
    columns.append(Column("Height [m]", "altitude_m", 1))
    top = ("Heron cargo trike", "Logged by the display")
    return LogFile(
        "after/ride.csv", tuple(columns), 5.0, jitter_s=0.01, delimiter=";", decimal=",", top=top
    )


HEAD = {
    "setup.toml": "# The sample trike as first set up; "
    "README.md tells what is hidden in its ride.\n\n",
    "after/setup.toml": "# The same trike a week later: "
    "lower battery limits, saved on both sides.\n\n",
}  # fmt: skip


def samples() -> dict[str, str]:
    """Every generated file of `sample_logs/`, by its name in there."""
    before, after = hill_ride(), after_ride()
    out = logs_of(before, hill_files()) | logs_of(after, (wide_file(),))
    out["setup.toml"] = HEAD["setup.toml"] + before.setup_toml
    out["after/setup.toml"] = HEAD["after/setup.toml"] + after.setup_toml
    return out


def write(home: Path = HOME) -> None:
    """Writes them all."""
    for name, text in samples().items():
        path = home / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.rstrip("\n").encode() + b"\n")


if __name__ == "__main__":
    write()

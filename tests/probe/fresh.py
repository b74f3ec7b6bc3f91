"""More vehicles and loggers, invented after the first five, that nothing was looked at with.

A kart on one motor, a three-motor barrow, a 7s commuter, a 20s board, an lfp quad that brakes on
one axle only, a small bicycle whose motor freewheels, a 24s two-seater.
"""

from dataclasses import replace

import numpy as np
from probe.cases import Case, hilly
from probe.cells import CURVES, Cells, blend
from probe.logger import Style
from probe.machine import Bms, Drive, Machine
from probe.rider import Rider
from probe.run import ride


def _drive(base: dict[str, object], **other: object) -> Drive:
    return Drive(**(base | other))  # type: ignore[arg-type]


def one_kart() -> Machine:
    """14s12p kart, one big motor on the axle."""
    cells = Cells(
        "nmc", 14, 12, 50.4, blend("nmc532", "nmc811", 0.4), 0.02, ((0.006, 4.0), (0.009, 70.0))
    )
    d = dict(
        phase_drive_a=220.0, phase_brake_a=110.0, battery_drive_a=110.0, battery_brake_a=30.0,
        torque_nm_per_a=0.1, motor_ohm=0.012, derate_from_v=46.0, stop_at_v=42.0,
        overvoltage_v=60.5, controller_derate_c=75.0, controller_stop_c=90.0,
        motor_j_per_k=3500.0, controller_j_per_k=900.0, controller_k_per_w=0.12, idle_w=8.0,
    )  # fmt: skip
    guard = Bms(100.0, 40.0, 160.0, 0.8, 70.0, 0.5, 2.8, 4.27)
    return Machine(
        "Bean", cells, {"axle": _drive(d)}, guard, 215.0, 0.27, 3.6, 5, rolling=0.022, drag_m2=0.65,
        discharge_rating_a=120.0, charge_rating_a=25.0, fuse_a=125.0,
    )  # fmt: skip


def barrow() -> Machine:
    """13s6p barrow on three wheels, each driven."""
    cells = Cells(
        "nmc", 13, 6, 19.2, blend("nmc811", "nmc532", 0.6), 0.055, ((0.017, 5.0), (0.02, 45.0)),
        empty_v=2.9,
    )  # fmt: skip
    d = dict(
        phase_drive_a=45.0, phase_brake_a=30.0, battery_drive_a=14.0, battery_brake_a=5.0,
        torque_nm_per_a=0.55, motor_ohm=0.12, derate_from_v=41.6, stop_at_v=39.0,
        overvoltage_v=56.5, motor_derate_c=90.0, motor_stop_c=115.0, no_load_a=0.7,
    )  # fmt: skip
    drives = {"front": _drive(d), "left": _drive(d), "right": _drive(d)}
    return Machine(
        "Badger", cells, drives, Bms(40.0, 15.0, 60.0, 1.0, 25.0, 1.0, 2.75, 4.26), 240.0, 0.36,
        1.0, 12, rolling=0.016, drag_m2=0.8, aux_a=0.7, discharge_rating_a=38.0,
        charge_rating_a=9.6, fuse_a=45.0,
    )  # fmt: skip


def commuter() -> Machine:
    """7s3p scooter with one hub motor."""
    cells = Cells(
        "nmc", 7, 3, 9.6, blend("nmc532", "nmc811", 0.7), 0.05, ((0.015, 3.0), (0.02, 40.0))
    )
    d = _drive(
        dict(
            phase_drive_a=32.0, phase_brake_a=18.0, battery_drive_a=17.0, battery_brake_a=4.0,
            torque_nm_per_a=0.62, motor_ohm=0.11, derate_from_v=22.8, stop_at_v=21.0,
            overvoltage_v=30.5, no_load_a=0.6, idle_w=1.5,
        )
    )  # fmt: skip
    return Machine(
        "Wren", cells, {"hub": d}, Bms(20.0, 6.0, 30.0, 1.0, 12.0, 1.0, 2.8, 4.25), 92.0, 0.21,
        1.0, 15, rolling=0.013, drag_m2=0.5, aux_a=0.3, discharge_rating_a=24.0,
        charge_rating_a=4.8,
    )  # fmt: skip


def fast_board() -> Machine:
    """20s2p board, two belt drives."""
    cells = Cells(
        "nmc", 20, 2, 8.4, blend("nmc811", "nca", 0.4), 0.12, ((0.035, 3.0), (0.045, 40.0))
    )
    d = dict(
        phase_drive_a=60.0, phase_brake_a=45.0, battery_drive_a=18.0, battery_brake_a=6.0,
        torque_nm_per_a=0.065, motor_ohm=0.06, derate_from_v=66.0, stop_at_v=60.0,
        overvoltage_v=86.0, motor_derate_c=85.0, motor_stop_c=105.0, motor_j_per_k=600.0,
    )  # fmt: skip
    return Machine(
        "Swift", cells, {"left": _drive(d), "right": _drive(d)},
        Bms(40.0, 15.0, 55.0, 0.4, 24.0, 0.4, 2.7, 4.27), 98.0, 0.15, 2.9, 7, rolling=0.02,
        drag_m2=0.5, discharge_rating_a=40.0, charge_rating_a=8.4,
    )  # fmt: skip


def quad() -> Machine:
    """16s lfp quad: both axles drive, only the rear one brakes."""
    cells = Cells(
        "lfp", 16, 1, 50.0, CURVES["lfp"].copy(), 0.035, ((0.015, 6.0), (0.02, 100.0)),
        full_v=3.6, empty_v=2.5,
    )  # fmt: skip
    d = dict(
        phase_drive_a=90.0, phase_brake_a=60.0, battery_drive_a=40.0, battery_brake_a=18.0,
        torque_nm_per_a=0.14, motor_ohm=0.03, derate_from_v=45.0, stop_at_v=42.0,
        overvoltage_v=60.0, controller_derate_c=80.0, controller_stop_c=95.0,
        controller_k_per_w=0.7,
    )  # fmt: skip
    drives = {
        "front": _drive(d, phase_brake_a=0.01, battery_brake_a=0.01),
        "rear": _drive(d),
    }
    return Machine(
        "Heron", cells, drives, Bms(75.0, 25.0, 110.0, 1.5, 40.0, 1.0, 2.4, 3.75), 310.0, 0.45,
        7.5, 6, rolling=0.016, drag_m2=0.9, aux_a=1.5, discharge_rating_a=100.0,
        charge_rating_a=25.0, hide=("drives.front.phase_brake_a", "drives.front.battery_brake_a"),
    )  # fmt: skip


def bicycle() -> Machine:
    """10s3p bicycle, one hub behind a freewheel: it never brakes."""
    cells = Cells("nmc", 10, 3, 10.2, CURVES["nmc532"].copy(), 0.075, ((0.025, 4.0), (0.03, 60.0)))
    d = _drive(
        dict(
            phase_drive_a=28.0, phase_brake_a=0.01, battery_drive_a=13.0, battery_brake_a=0.01,
            torque_nm_per_a=1.5, motor_ohm=0.2, derate_from_v=32.0, stop_at_v=30.0, no_load_a=0.4,
            idle_w=1.0,
        )
    )  # fmt: skip
    return Machine(
        "Lark", cells, {"hub": d}, Bms(20.0, 5.0, 30.0, 1.0, None, 1.0, 2.8, 4.25), 105.0, 0.66,
        1.0, 20, rolling=0.008, drag_m2=0.55, aux_a=0.2, discharge_rating_a=24.0,
        charge_rating_a=5.0, hide=("drives.hub.phase_brake_a", "drives.hub.battery_brake_a"),
    )  # fmt: skip


def two_seater() -> Machine:
    """24s10p two-seater with uneven tyres and one side's limit not saved."""
    cells = Cells(
        "nmc", 24, 10, 48.0, blend("nmc532", "nca", 0.3), 0.05, ((0.014, 4.0), (0.018, 80.0))
    )
    d = dict(
        phase_drive_a=140.0, phase_brake_a=70.0, battery_drive_a=45.0, battery_brake_a=14.0,
        torque_nm_per_a=0.2, motor_ohm=0.03, derate_from_v=79.0, stop_at_v=72.0,
        overvoltage_v=104.0, motor_derate_c=100.0, motor_stop_c=120.0, motor_j_per_k=2500.0,
        idle_w=5.0,
    )  # fmt: skip
    drives = {
        "left": _drive(d),
        "right": _drive(d, wheel=0.99, battery_drive_a=38.0, set_battery_drive_a=45.0),
    }
    return Machine(
        "Crane", cells, drives, Bms(85.0, 35.0, 130.0, 1.0, 50.0, 1.0, 2.8, 4.27), 330.0, 0.4,
        6.0, 8, rolling=0.014, drag_m2=0.75, aux_a=1.0, discharge_rating_a=100.0,
        charge_rating_a=24.0,
    )  # fmt: skip


BUILDS = {
    "one_kart": (one_kart, 10.0),
    "barrow": (barrow, 5.0),
    "commuter": (commuter, 6.0),
    "fast_board": (fast_board, 10.0),
    "quad": (quad, 6.5),
    "bicycle": (bicycle, 6.0),
    "two_seater": (two_seater, 9.0),
}
FULL = ("battery_a", "phase_a", "rpm", "demand", "duty", "motor_c", "controller_c")
LOGGERS = [
    Style(channels=FULL, rate_hz=20.0),
    Style(channels=("battery_a", "rpm"), gps="apart", rate_hz=10.0),  # no demand, no phase current
    Style(layout="per_drive", bms="apart", bms_hz=1.0, rate_hz=25.0, time="iso"),
    Style(bms="in", cells=True, rate_hz=10.0, comma=True, gps="none", channels=FULL),
    Style(layout="long", rate_hz=8.0, gps="in", time="ms"),
    Style(channels=("battery_a",), gps="in", rate_hz=5.0),  # battery current and a phone
    Style(channels=FULL, rate_hz=40.0, bms="apart", bms_hz=10.0, gps="apart", clock_apart_s=3.7),
    Style(rate_hz=2.0, channels=FULL),
]


def clean(seed: int) -> Case:
    """A ride on a new build with nothing lost; low charge, cold and heat come in turns."""
    rng = np.random.default_rng(seed)
    kind = list(BUILDS)[seed % len(BUILDS)]
    make, top = BUILDS[kind]
    machine = make()
    road = hilly(top, rng, legs=6)
    rider = Rider(road, stiffness=0.4 + 0.8 * rng.random(), motor_brake=0.3 + 0.7 * rng.random())
    soc = float(rng.choice([rng.uniform(0.2, 0.4), rng.uniform(0.4, 0.97)]))
    run = ride(machine, rider, soc=soc, air_c=float(rng.uniform(0, 32)), seed=seed)
    style = replace(
        LOGGERS[(seed // len(BUILDS) + 3 * seed) % len(LOGGERS)],
        current_gain=1 + 0.01 * rng.standard_normal(),
        voltage_gain=1 + 0.002 * rng.standard_normal(),
    )
    return Case(f"{kind}-{seed}", run, style)

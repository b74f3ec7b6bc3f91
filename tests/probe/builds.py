"""Five classes of small vehicle, invented: board, scooter, trike, kart and an lfp cart."""

from probe.cells import CURVES, Cells, blend
from probe.machine import Bms, Drive, Machine


def board(**bms: object) -> Machine:
    """10s2p board, two motors, no brake limit to speak of."""
    cells = Cells(
        "nmc", 10, 2, 6.0, blend("nmc811", "nmc532", 0.3), 0.075, ((0.022, 2.5), (0.03, 35.0))
    )
    d = dict(
        phase_drive_a=50.0,
        phase_brake_a=40.0,
        battery_drive_a=16.0,
        battery_brake_a=7.0,
        torque_nm_per_a=0.055,
        motor_ohm=0.07,
        derate_from_v=33.0,
        stop_at_v=30.0,
        overvoltage_v=45.0,
        motor_derate_c=85.0,
        motor_stop_c=110.0,
    )
    guard = (
        dict(
            discharge_rating_a=35.0,
            charge_rating_a=12.0,
            discharge_trip_a=45.0,
            discharge_trip_delay_s=0.6,
            charge_trip_a=22.0,
            cell_low_v=2.7,
            cell_high_v=4.28,
        )
        | bms
    )
    return Machine(
        "Plank",
        cells,
        {"left": Drive(**d), "right": Drive(**d)},
        Bms(**guard),
        92.0,
        0.097,
        2.6,
        7,
        rolling=0.018,
        drag_m2=0.45,
        discharge_rating_a=40.0,
        charge_rating_a=8.0,
    )


def scooter(**bms: object) -> Machine:
    """13s4p scooter, front and rear motor."""
    cells = Cells(
        "nmc", 13, 4, 13.6, blend("nmc811", "nmc532", 0.15), 0.062, ((0.02, 4.0), (0.025, 50.0))
    )
    d = dict(
        phase_drive_a=55.0,
        phase_brake_a=35.0,
        battery_drive_a=20.0,
        battery_brake_a=6.0,
        torque_nm_per_a=0.62,
        motor_ohm=0.11,
        derate_from_v=42.0,
        stop_at_v=39.0,
        overvoltage_v=57.0,
        controller_derate_c=80.0,
        controller_stop_c=95.0,
        no_load_a=0.8,
    )
    guard = (
        dict(
            discharge_rating_a=35.0,
            charge_rating_a=10.0,
            discharge_trip_a=60.0,
            discharge_trip_delay_s=1.5,
            charge_trip_a=18.0,
            cell_low_v=2.8,
            cell_high_v=4.27,
        )
        | bms
    )
    return Machine(
        "Tall Tom",
        cells,
        {"front": Drive(**d), "rear": Drive(**d)},
        Bms(**guard),
        118.0,
        0.25,
        1.0,
        15,
        aux_a=0.4,
        discharge_rating_a=40.0,
        charge_rating_a=6.8,
        fuse_a=50.0,
    )


def trike(**bms: object) -> Machine:
    """16s8p loaded trike."""
    cells = Cells(
        "nca",
        16,
        8,
        26.0,
        blend("nca", "nmc811", 0.25),
        0.044,
        ((0.015, 6.0), (0.018, 80.0)),
        empty_v=2.8,
    )
    d = dict(
        phase_drive_a=80.0,
        phase_brake_a=45.0,
        battery_drive_a=32.0,
        battery_brake_a=9.0,
        torque_nm_per_a=0.13,
        motor_ohm=0.045,
        derate_from_v=52.0,
        stop_at_v=47.0,
        overvoltage_v=70.0,
        controller_derate_c=80.0,
        controller_stop_c=95.0,
        motor_derate_c=100.0,
        motor_stop_c=125.0,
    )
    guard = (
        dict(
            discharge_rating_a=60.0,
            charge_rating_a=20.0,
            discharge_trip_a=90.0,
            discharge_trip_delay_s=2.0,
            charge_trip_a=35.0,
            cell_low_v=2.6,
            cell_high_v=4.28,
        )
        | bms
    )
    return Machine(
        "Ox",
        cells,
        {"left": Drive(**d), "right": Drive(**d)},
        Bms(**guard),
        295.0,
        0.508,
        9.0,
        8,
        rolling=0.013,
        drag_m2=0.85,
        aux_a=1.3,
        discharge_rating_a=80.0,
        charge_rating_a=13.0,
        fuse_a=80.0,
    )


def kart(**bms: object) -> Machine:
    """20s10p kart with one big controller per rear wheel."""
    cells = Cells(
        "nmc", 20, 10, 42.0, blend("nmc532", "nmc811", 0.5), 0.036, ((0.012, 3.0), (0.012, 60.0))
    )
    d = dict(
        phase_drive_a=160.0,
        phase_brake_a=90.0,
        battery_drive_a=70.0,
        battery_brake_a=20.0,
        torque_nm_per_a=0.12,
        motor_ohm=0.02,
        derate_from_v=64.0,
        stop_at_v=58.0,
        overvoltage_v=88.0,
        motor_derate_c=110.0,
        motor_stop_c=135.0,
        motor_j_per_k=2500.0,
        idle_w=6.0,
    )
    guard = (
        dict(
            discharge_rating_a=120.0,
            charge_rating_a=50.0,
            discharge_trip_a=180.0,
            discharge_trip_delay_s=1.0,
            charge_trip_a=60.0,
            cell_low_v=2.8,
            cell_high_v=4.25,
        )
        | bms
    )
    return Machine(
        "Beetle",
        cells,
        {"l": Drive(**d), "r": Drive(**d)},
        Bms(**guard),
        260.0,
        0.28,
        4.0,
        4,
        rolling=0.02,
        drag_m2=0.7,
        discharge_rating_a=150.0,
        charge_rating_a=42.0,
    )


def lfp_cart(**bms: object) -> Machine:
    """15s lfp cargo cart with one motor."""
    cells = Cells(
        "lfp",
        15,
        2,
        40.0,
        CURVES["lfp"].copy(),
        0.05,
        ((0.02, 8.0), (0.03, 120.0)),
        full_v=3.6,
        empty_v=2.5,
    )
    d = dict(
        phase_drive_a=90.0,
        phase_brake_a=40.0,
        battery_drive_a=45.0,
        battery_brake_a=15.0,
        torque_nm_per_a=0.12,
        motor_ohm=0.03,
        derate_from_v=42.0,
        stop_at_v=39.0,
        overvoltage_v=57.0,
    )
    guard = (
        dict(
            discharge_rating_a=60.0,
            charge_rating_a=30.0,
            discharge_trip_a=90.0,
            charge_trip_a=40.0,
            cell_low_v=2.4,
            cell_high_v=3.75,
        )
        | bms
    )
    return Machine(
        "Mule",
        cells,
        {"hub": Drive(**d)},
        Bms(**guard),
        340.0,
        0.406,
        8.0,
        10,
        aux_a=0.8,
        discharge_rating_a=80.0,
        charge_rating_a=20.0,
    )


ALL = {"board": board, "scooter": scooter, "trike": trike, "kart": kart, "lfp_cart": lfp_cart}

"""Builds nobody planned: every size drawn at random, all of them rideable."""

from __future__ import annotations

import numpy as np

from simulator.build import (
    BmsSpec,
    Body,
    Build,
    Cells,
    Controller,
    DriveSpec,
    Motor,
)
from simulator.own_curve import own_curve

G = 9.80665
CURVES = (
    *(("nmc811_chen2020", 2.8, 4.2), ("nmc532_mohtat2020", 3.0, 4.2), ("nmc111_bpx2022", 2.9, 4.2)),
    *(("nca_kim2011", 2.9, 4.2), ("lfp_bpx2022", 2.4, 3.6), ("lco_ai2020", 3.1, 4.2)),
)
NAMES = (
    ("left", "right"),
    ("links", "rechts"),
    ("a", "b"),
    ("port", "starboard"),
    ("front", "rear"),
)


def random_cells(rng: np.random.Generator, *, lfp: bool | None = None) -> Cells:
    """A pack of 10 to 20 cells in series."""
    choices = [c for c in CURVES if lfp is None or c[0].startswith("lfp") == lfp]
    curve, empty, full = choices[rng.integers(len(choices))]
    flat = curve.startswith("lfp")
    series = int(rng.integers(12, 21)) if flat else int(rng.integers(10, 17))
    parallel = int(rng.integers(3, 9))
    rated = round(parallel * float(rng.choice([2.5, 2.9, 3.0, 3.4, 5.0])), 1)
    rated = float(np.clip(rated, 9.0, 32.0))
    ten = series * rng.uniform(0.055, 0.105) / rated
    part = rng.dirichlet([9.0, 5.0, 4.5])
    return Cells(
        curve=curve, series=series, parallel=parallel, rated_ah=rated,
        capacity_ah=rated * rng.uniform(0.84, 1.0), empty_v=empty, full_v=full,
        r0=ten * part[0], r1=ten * part[1], r2=ten * part[2] * 1.6,
        tau1=rng.uniform(0.4, 1.6), tau2=rng.uniform(12, 40), tau_d=rng.uniform(350, 1100),
        ea0=rng.uniform(11e3, 19e3), ea1=rng.uniform(24e3, 42e3), ea2=rng.uniform(17e3, 32e3),
        i_bend_c=rng.uniform(3.5, 8.0), low_rise=rng.uniform(0.4, 1.2),
        heat_j_k=rated * series * rng.uniform(18, 26), heat_w_k=rng.uniform(0.6, 1.6),
        lead_ohm=rng.uniform(0.001, 0.004), aux_a=float(round(rng.uniform(0.2, 1.8), 1)),
        spread_v=rng.uniform(0.003, 0.012),
        discharge_rating_a=float(round(rated * rng.uniform(2.6, 4.0))),
        charge_rating_a=float(round(rated * rng.uniform(0.5, 1.0), 1)),
    )  # fmt: skip


def mid_v(cells: Cells) -> float:
    soc, volts = own_curve(cells.curve, cells.empty_v, cells.full_v)
    return cells.series * float(np.interp(0.5, soc, volts))


def random_build(
    rng: np.random.Generator, *, drives: int | None = None, lfp: bool | None = None
) -> Build:
    """A build whose limits fit together: nothing should ever trip on it."""
    cells = random_cells(rng, lfp=lfp)
    volts, count = mid_v(cells), drives or int(rng.choice([1, 2, 2, 2, 2, 2, 2, 2, 3]))
    mass = float(round(rng.uniform(95, 320)))
    top = rng.uniform(8.0, 14.0)
    wheel = float(rng.choice([0.2, 0.254, 0.3, 0.406, 0.508, 0.6]))
    watts = mass * rng.uniform(6.5, 10.0)
    watts = min(watts, 0.95 * volts * cells.discharge_rating_a)
    amps = float(round(watts / volts / count, 1))
    kt = rng.uniform(0.06, 0.16)
    no_load = volts / kt
    gear = float(round(no_load / (top * rng.uniform(1.1, 1.4) / (wheel / 2)), 2))
    pull = mass * G * rng.uniform(0.17, 0.27)
    phase = max(pull * wheel / 2 / (gear * kt * count * 0.95), 1.15 * amps)
    motor = _motor(rng, kt, phase, watts / count)
    box = _controller(rng, cells, float(round(phase)), amps)
    names = NAMES[rng.integers(len(NAMES))][:count] if count < 3 else ("left", "right", "rear")
    sides = [0.0] if count == 1 else [0.33, -0.33, 0.0][:count]
    habits = box
    specs = []
    for name, side in zip(names, sides, strict=True):
        alike = Motor(**{**motor.__dict__, "kt": motor.kt * (1 + rng.normal(0, 0.008)),
                         "ohm": motor.ohm * (1 + rng.normal(0, 0.02))})  # fmt: skip
        specs.append(DriveSpec(name, alike, habits, side_m=side))
    total = count * amps + cells.aux_a
    rating = float(round(total * rng.uniform(1.12, 1.5)))
    return Build(
        cells=cells, drives=tuple(specs),
        bms=_bms(rng, cells, rating, count * box.battery_brake_a),
        body=Body(
            name="test build", mass_kg=mass, wheel_diameter_m=wheel, gear_ratio=gear,
            crr=rng.uniform(0.008, 0.016), cda_m2=rng.uniform(0.45, 0.95),
            mech_brake_n=mass * rng.uniform(2.5, 4.5),
        ),
        fuse_a=float(round(rating * 1.4)) if rng.random() < 0.5 else None,
        logger_powered_by=str(rng.choice(["pack", "own_battery"])) if rng.random() < 0.6 else None,
    )  # fmt: skip


def _motor(rng: np.random.Generator, kt: float, phase: float, watts: float) -> Motor:
    heat = watts * rng.uniform(0.15, 0.32)
    return Motor(
        kt=kt, ohm=heat / phase**2, drag0=rng.uniform(0.006, 0.016) * kt * phase,
        drag1=rng.uniform(0.8, 3.0) * 1e-5 * kt * phase, inertia=rng.uniform(4e-4, 1.5e-3),
        pole_pairs=int(rng.choice([5, 7, 10, 15])), wind_j_k=heat / rng.uniform(0.5, 1.1),
        wind_case_w_k=heat / rng.uniform(45, 80), case_j_k=heat * rng.uniform(4, 9),
        case_air_w_k=heat / rng.uniform(90, 150), case_air_v=heat / rng.uniform(500, 1100),
        eff=rng.uniform(0.92, 0.98),
    )  # fmt: skip


def _controller(rng: np.random.Generator, cells: Cells, phase: float, amps: float) -> Controller:
    flat = cells.curve.startswith("lfp")
    begin = rng.uniform(2.92, 3.05) if flat else rng.uniform(3.2, 3.45)
    band = rng.uniform(0.08, 0.3) if flat else rng.uniform(0.1, 0.4)
    heat = amps * 45 * rng.uniform(0.02, 0.035)
    return Controller(
        phase_drive_a=phase, phase_brake_a=float(round(phase * rng.uniform(0.35, 0.7))),
        battery_drive_a=amps,
        battery_brake_a=float(
            round(min(amps * rng.uniform(0.15, 0.4), 0.4 * cells.charge_rating_a), 1)
        ),
        derate_from_v=float(round(begin * cells.series, 1)),
        stop_at_v=float(round((begin - band) * cells.series, 1)),
        overvoltage_v=float(round((cells.full_v + rng.uniform(0.18, 0.3)) * cells.series, 1)),
        controller_derate_c=float(rng.choice([75, 80, 85])),
        controller_stop_c=float(rng.choice([92, 95, 100])),
        motor_derate_c=float(rng.choice([95, 100, 110])),
        motor_stop_c=float(rng.choice([118, 125, 135])),
        uv_delay_s=rng.uniform(0.02, 0.25), uv_hyst_v=rng.uniform(0.03, 0.1) * cells.series,
        uv_wait_s=rng.uniform(0.3, 2.0), uv_release=bool(rng.random() < 0.7),
        ov_wait_s=rng.uniform(0.1, 1.5), duty_max=rng.uniform(0.92, 0.98),
        slew_up_a_s=phase / rng.uniform(0.15, 0.6), slew_down_a_s=phase / rng.uniform(0.05, 0.25),
        limit_tau_s=rng.uniform(0.02, 0.1), v_tau_s=rng.uniform(0.01, 0.15),
        derate_period_s=float(rng.choice([0.005, 0.02, 0.05, 0.1, 0.2])),
        standby_w=rng.uniform(1.0, 4.0), drop_v=rng.uniform(0.15, 0.5),
        brake_full_mps=rng.uniform(1.3, 2.5), brake_end_mps=rng.uniform(0.4, 1.1),
        dead_v=rng.uniform(9, 18), cap_f=rng.uniform(0.0008, 0.003),
        heat_j_k=heat / rng.uniform(0.06, 0.12), heat_w_k=heat / rng.uniform(22, 38),
        heat_per_a2=0.5 * heat / phase**2, computes_current=bool(rng.random() < 0.5),
    )  # fmt: skip


def _bms(rng: np.random.Generator, cells: Cells, rating: float, braking: float) -> BmsSpec:
    flat = cells.curve.startswith("lfp")
    low = rng.uniform(2.2, 2.4) if flat else rng.uniform(2.5, 2.75)
    high = rng.uniform(3.72, 3.8) if flat else rng.uniform(4.25, 4.32)
    charge = max(braking * rng.uniform(1.2, 2.0), 0.4 * cells.rated_ah)
    return BmsSpec(
        discharge_rating_a=rating, charge_rating_a=float(round(charge)),
        discharge_trip_a=float(round(rating * rng.uniform(1.25, 1.9))),
        discharge_trip_delay_s=float(rng.choice([0.3, 0.5, 1.0, 1.5, 2.0, 3.0])),
        charge_trip_a=float(round(charge * rng.uniform(1.3, 2.0))) + 1.0,
        charge_trip_delay_s=float(rng.choice([0.3, 0.5, 1.0, 2.0])),
        cell_low_v=float(round(low, 2)), cell_low_delay_s=rng.uniform(0.3, 2.0),
        cell_high_v=float(round(high, 2)), cell_high_delay_s=rng.uniform(0.3, 1.5),
        cell_low_rearm_v=low + rng.uniform(0.15, 0.4),
        cell_high_rearm_v=high - rng.uniform(0.04, 0.12),
        current_tau_s=rng.uniform(0.01, 0.08), restart_s=rng.uniform(3.0, 15.0),
        needs_rest=bool(rng.random() < 0.75), opens_both=bool(rng.random() < 0.6),
        timer_resets=bool(rng.random() < 0.6),
    )  # fmt: skip


def steady_grade(build: Build, mps: float, share: float) -> float:
    """The grade (rise over run) that takes `share` of all drives' battery limits at a speed."""
    volts = mid_v(build.cells)
    amps = sum(d.controller.battery_drive_a for d in build.drives)
    motor = build.drives[0].motor
    loss = sum(
        d.motor.ohm * min(d.controller.phase_drive_a, 0.8 * d.controller.phase_drive_a) ** 2
        for d in build.drives
    )
    power = max(volts * amps * share * 0.97 - 0.7 * loss, 100.0) * motor.eff
    body = build.body
    force = power / mps - body.mass_kg * G * body.crr - 0.6 * body.cda_m2 * mps**2
    most = 0.92 * sum(
        d.motor.kt * d.controller.phase_drive_a * body.gear_ratio / (body.wheel_diameter_m / 2)
        for d in build.drives
    )
    return float(
        np.clip(min(force, most - body.mass_kg * G * body.crr) / (body.mass_kg * G), 0.01, 0.2)
    )


def cruising_mps(build: Build) -> float:
    """A speed the build rides well at: two thirds of its no-load speed, 4 to 9 m/s."""
    d = build.drives[0]
    free = mid_v(build.cells) / d.motor.kt / build.body.gear_ratio * build.body.wheel_diameter_m / 2
    return float(np.clip(0.6 * free, 3.5, 9.0))

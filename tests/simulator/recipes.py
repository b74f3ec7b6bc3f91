"""How to bring each cause about: which build, which road, which rider, what goes wrong when.

A recipe may fail (None): the caller draws again. Limits are moved only as far as the cause needs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from simulator import faults
from simulator.build import NEVER, Build
from simulator.own_curve import own_curve
from simulator.random_builds import cruising_mps, mid_v, random_build, steady_grade
from simulator.rider import Rider
from simulator.simulate import Planted, SimRide
from simulator.terrain import Terrain, from_pieces, winding

Rng = np.random.Generator
Plant = Callable[[SimRide, Rng], tuple[Planted, ...] | None]
Lost = Callable[[SimRide, Rng], tuple[tuple[float, float], ...]]


def nothing_lost(sim: SimRide, rng: Rng) -> tuple[tuple[float, float], ...]:
    """The log has no holes of its own."""
    return ()


@dataclass(frozen=True)
class Recipe:
    """Everything `simulate` needs for one case."""

    build: Build
    road: Terrain
    rider: Rider
    soc: float
    temp_c: float
    warm_c: float | None = None
    wind_mps: float = 0.0
    most_s: float | None = 330.0
    rest_first_s: float = 6.0
    plant: Plant | None = None
    ambiguous: bool = False
    lost: Lost = nothing_lost
    spoil: int = 0
    """How many rows of zeros and repeated rows the log has."""
    notes: dict[str, object] = field(default_factory=dict)


def some_rider(rng: Rng, cruise: float) -> Rider:
    return Rider(
        cruise_mps=cruise,
        stops_every_m=float(rng.uniform(250, 900)), stop_s=(2.0, 9.0),
        kp=rng.uniform(0.35, 0.9), ki=rng.uniform(0.06, 0.15),
        ramp_up_s=rng.uniform(0.15, 0.8), ramp_down_s=rng.uniform(0.1, 0.5),
        decide_s=rng.uniform(0.2, 0.6), noise=rng.uniform(0.005, 0.04),
        brake_mps2=rng.uniform(0.7, 1.4), regen_first=rng.uniform(0.5, 0.9),
        mech_from=rng.uniform(0.4, 0.8), react_s=rng.uniform(0.6, 2.5),
        rest_s=rng.uniform(6.0, 16.0),
        cycle_s=float(rng.uniform(2.0, 5.0)) if rng.random() < 0.5 else 0.0,
        leaves_one_side=bool(rng.random() < 0.5), max_demand=float(rng.choice([1.0, 1.0, 0.9])),
        after_loss=rng.uniform(0.75, 0.95), gentle_m=float(rng.choice([0.0, 40.0, 90.0])),
    )  # fmt: skip


def _placed(rng: Rng, pieces: list[tuple[float, float]]) -> Terrain:
    bare = from_pieces(pieces)
    bend = winding(bare.grade.size, rng, 22.0) if rng.random() < 0.8 else bare.bend
    return replace(
        bare, bend=bend, start_altitude_m=float(rng.uniform(20, 900)),
        latitude_deg=float(rng.uniform(45, 54)), longitude_deg=float(rng.uniform(4, 15)),
        heading_rad=float(rng.uniform(0, 6.28)),
    )  # fmt: skip


def climbing(rng: Rng, build: Build, mps: float, share: float, seconds: float = 70.0) -> Terrain:
    """Flat, then a climb that takes `share` of the battery limits at `mps`, then flat again."""
    grade = 100 * steady_grade(build, mps, share)
    length = mps * seconds
    pieces = [
        (rng.uniform(90, 240), rng.uniform(-0.5, 0.8)), (rng.uniform(40, 120), 0.45 * grade),
        (length, grade), (rng.uniform(80, 200), rng.uniform(-1, 0.5)),
        (rng.uniform(60, 160), -0.6 * grade), (rng.uniform(60, 120), 0.0),
    ]  # fmt: skip
    return _placed(rng, pieces)


def falling(
    rng: Rng, build: Build, mps: float, seconds: float = 60.0, extra: float = 1.0
) -> Terrain:
    """Flat, then a descent that asks for all of the drives' braking, then flat."""
    volts = mid_v(build.cells)
    watts = volts * sum(d.controller.battery_brake_a for d in build.drives) * 1.25
    weight = build.body.mass_kg * 9.81
    grade = 100 * (
        watts * extra / mps / weight + build.body.crr + 0.6 * build.body.cda_m2 * mps**2 / weight
    )
    grade = float(np.clip(grade, 2.0, 16.0))
    pieces = [
        (rng.uniform(60, 200), rng.uniform(-0.5, 0.5)), (mps * seconds, -grade),
        (rng.uniform(60, 160), 0.3), (rng.uniform(40, 120), 0.5 * grade), (80.0, 0.0),
    ]  # fmt: skip
    return _placed(rng, pieces)


def mixed(rng: Rng, build: Build, mps: float) -> Terrain:
    """Some of everything, none of it at the limit for long."""
    pieces = [(rng.uniform(80, 160), 0.0)]
    for _ in range(int(rng.integers(2, 4))):
        grade = 100 * steady_grade(build, mps, rng.uniform(0.4, 0.9))
        pieces += [(rng.uniform(60, 200), grade), (rng.uniform(40, 120), 0.2)]
        pieces += [(rng.uniform(60, 200), -0.8 * grade), (rng.uniform(40, 120), -0.2)]
    return _placed(rng, pieces)


def _day(rng: Rng) -> float:
    return float(rng.uniform(0, 33))


def _silent(rng: Rng, build: Build, *keys: str, chance: float = 0.2) -> Build:
    """Sometimes the owner left these keys out."""
    if rng.random() < chance:
        return replace(build, silent=build.silent | set(keys))
    return build


def bms_discharge(rng: Rng) -> Recipe:
    build = random_build(rng, drives=int(rng.choice([1, 2, 2, 2, 3])))
    total = sum(d.controller.battery_drive_a for d in build.drives) + build.cells.aux_a
    trip = float(round(total * rng.uniform(0.78, 0.96), 1))
    build = build.with_bms(
        discharge_trip_a=trip, discharge_rating_a=float(round(trip / rng.uniform(1.1, 1.5))),
        discharge_trip_delay_s=float(rng.choice([0.3, 0.5, 0.8, 1.0, 1.5, 2.0, 3.0])),
    )  # fmt: skip
    build = _silent(rng, build, "bms.discharge_trip_a", "bms.discharge_trip_delay_s")
    mps = cruising_mps(build)
    road = climbing(rng, build, mps, rng.uniform(1.0, 1.2))
    rider = replace(some_rider(rng, mps * 1.1), gentle_m=rng.uniform(80, 180), stops_every_m=900.0)
    return Recipe(build, road, rider, rng.uniform(0.3, 0.95), _day(rng))


def supply(rng: Rng) -> Recipe:
    build = random_build(rng, drives=int(rng.choice([1, 2, 2, 2])))
    mps = cruising_mps(build)
    tricky = rng.random() < 0.15
    if tricky:
        silent = {"bms.discharge_trip_a", "bms.discharge_trip_delay_s"}
        build = replace(build, silent=build.silent | silent)
    road = (
        climbing(rng, build, mps, rng.uniform(0.5, 1.0))
        if rng.random() < 0.7
        else falling(rng, build, mps)
    )
    return Recipe(
        build, road, some_rider(rng, mps), rng.uniform(0.3, 0.95), _day(rng),
        plant=faults.supply_plant(tricky), ambiguous=tricky,
    )  # fmt: skip


def soc_at(build: Build, cell_v: float) -> float:
    """The charge at which the cells rest at a voltage."""
    c = build.cells
    soc, volts = own_curve(c.curve, c.empty_v, c.full_v)
    return float(np.interp(cell_v, volts, soc))


def undervoltage(rng: Rng) -> Recipe:
    """The controllers' own stop: with a derate band it fades, without one it drops."""
    build = random_build(rng)
    cells, kind = build.cells, build.cells.curve[:3]
    low, high = {"lfp": (2.7, 2.9), "lco": (3.3, 3.5)}.get(kind, (3.0, 3.25))
    stop = rng.uniform(low, high)
    total = sum(d.controller.battery_drive_a for d in build.drives)
    spent = total * 0.6 * 110.0 / 3600.0 / cells.capacity_ah
    if rng.random() < 0.6:
        band = rng.uniform(0.06, 0.3)
        soc = soc_at(build, stop) + spent * rng.uniform(0.25, 0.9)
        latch = rng.uniform(0.02, 0.2) if rng.random() < 0.6 else 0.0
    else:
        band, latch = 0.0, 0.0
        soc = soc_at(build, stop + rng.uniform(0.1, 0.35)) + 0.5 * spent
        build = replace(
            build, drives=tuple(replace(d, keys=faults.KEYS_WITHOUT_DERATE) for d in build.drives)
        )
    line = float(round(stop * cells.series, 1))
    build = build.with_controllers(
        stop_at_v=line, derate_from_v=float(round(line + band * cells.series, 1)),
        latch_below_v=latch * cells.series,
    ).with_bms(cell_low_v=float(round(stop - latch - rng.uniform(0.35, 0.6), 2)))  # fmt: skip
    mps = cruising_mps(build)
    road = climbing(rng, build, mps, rng.uniform(0.6, 1.0), 130.0)
    rider = replace(some_rider(rng, mps), gentle_m=90.0, stops_every_m=900.0)
    rest_s = rng.uniform(10, 22)
    return Recipe(build, road, rider, soc, _day(rng), rest_first_s=rest_s)


def cell_low(rng: Rng) -> Recipe:
    build = random_build(rng)
    cells = build.cells
    flat = cells.curve.startswith("lfp")
    low = rng.uniform(2.5, 2.8) if flat else rng.uniform(2.75, 3.1)
    stop = (low - rng.uniform(0.05, 0.25)) * cells.series
    build = build.with_cells(
        weak_cap=rng.uniform(0.82, 0.95),
        weak_r=rng.uniform(1.2, 2.2),
        weak_soc=-rng.uniform(0.03, 0.12),
    )
    build = build.with_bms(
        cell_low_v=float(round(low, 2)), cell_low_rearm_v=low + rng.uniform(0.1, 0.35)
    )
    build = build.with_controllers(
        stop_at_v=float(round(stop, 1)),
        derate_from_v=float(round(stop + rng.uniform(0.0, 0.12) * cells.series, 1)),
    )
    build = _silent(rng, build, "bms.cell_low_v", chance=0.15)
    mps = cruising_mps(build)
    road = climbing(rng, build, mps, rng.uniform(0.5, 1.0), 100.0)
    return Recipe(build, road, some_rider(rng, mps), rng.uniform(0.06, 0.3), _day(rng))


def bms_charge(rng: Rng) -> Recipe:
    build = random_build(rng, drives=int(rng.choice([1, 2, 2, 2])))
    most = build.drives[0].controller.battery_drive_a * rng.uniform(0.35, 0.7)
    build = build.with_controllers(battery_brake_a=float(round(most, 1)))
    total = most * len(build.drives)
    trip = float(round(total * rng.uniform(0.7, 0.92), 1))
    build = build.with_bms(
        charge_trip_a=trip, charge_rating_a=float(round(trip / rng.uniform(1.1, 1.5), 1)),
        charge_trip_delay_s=float(rng.choice([0.3, 0.5, 1.0, 1.5])),
    )  # fmt: skip
    build = _braky(build, rng)
    build = _silent(rng, build, "bms.charge_trip_a", "bms.charge_trip_delay_s")
    mps = cruising_mps(build)
    return Recipe(
        build, falling(rng, build, mps, extra=1.2), _braking_rider(rng, mps),
        rng.uniform(0.25, 0.85), _day(rng),
    )  # fmt: skip


def _braky(build: Build, rng: Rng) -> Build:
    """Phase limits that let braking reach its battery limit at riding speed."""
    d = build.drives[0]
    return build.with_controllers(
        phase_brake_a=float(
            round(max(d.controller.phase_drive_a * 0.9, 2.5 * d.controller.battery_brake_a))
        )
    )


def _braking_rider(rng: Rng, mps: float) -> Rider:
    base = some_rider(rng, mps)
    return replace(base, regen_first=rng.uniform(0.25, 0.5), mech_from=rng.uniform(0.6, 0.9))


def cell_high(rng: Rng) -> Recipe:
    build = random_build(rng, lfp=False if rng.random() < 0.8 else None)
    full = build.cells.full_v
    high = full + rng.uniform(0.015, 0.07)
    build = build.with_bms(
        cell_high_v=float(round(high, 3)), cell_high_rearm_v=full - rng.uniform(0.0, 0.06),
        cell_high_delay_s=rng.uniform(0.2, 1.5), charge_trip_a=NEVER,
    )  # fmt: skip
    if rng.random() < 0.5:
        build = build.with_cells(weak_soc=rng.uniform(0.005, 0.03))
    over = (high + rng.uniform(0.08, 0.2)) * build.cells.series
    build = _braky(build, rng).with_controllers(overvoltage_v=float(round(over, 1)))
    build = _silent(rng, build, "bms.cell_high_v", chance=0.15)
    mps = cruising_mps(build)
    return Recipe(
        build, falling(rng, build, mps), _braking_rider(rng, mps), rng.uniform(0.95, 1.0), _day(rng)
    )


def overvoltage(rng: Rng) -> Recipe:
    build = random_build(rng)
    over = (build.cells.full_v + rng.uniform(0.0, 0.04)) * build.cells.series
    build = _braky(build, rng).with_controllers(overvoltage_v=float(round(over, 1)))
    build = build.with_bms(
        cell_high_v=float(round(over / build.cells.series + rng.uniform(0.06, 0.12), 2)),
        charge_trip_a=NEVER,
    )  # fmt: skip
    mps = cruising_mps(build)
    return Recipe(
        build, falling(rng, build, mps), _braking_rider(rng, mps), rng.uniform(0.93, 1.0), _day(rng)
    )


def _planted(
    plant: Plant, *, drives: tuple[int, ...] = (1, 2, 2, 2), share: float = 0.75
) -> Callable[[Rng], Recipe]:
    def recipe(rng: Rng) -> Recipe:
        build = random_build(rng, drives=int(rng.choice(drives)))
        mps = cruising_mps(build)
        pick = rng.random()
        if pick < 0.6:
            road = climbing(rng, build, mps, rng.uniform(share - 0.3, share + 0.2))
        elif pick < 0.8:
            road = mixed(rng, build, mps)
        else:
            road = falling(rng, build, mps)
        return Recipe(
            build, road, some_rider(rng, mps), rng.uniform(0.3, 0.93), _day(rng), plant=plant
        )

    return recipe


def link(rng: Rng) -> Recipe:
    base = _planted(faults.link_plant, drives=(2,))(rng)
    first, second = base.build.drives
    linked = replace(second, follows=first.name)
    build = replace(base.build, drives=(first, linked))
    build = build.with_drive(
        linked.name, controller=replace(linked.controller, link_tau_s=rng.uniform(0.01, 0.06))
    )
    if rng.random() < 0.15:
        build = build.with_drive(linked.name, follows=None)
    return replace(base, build=build)


def motor_hot(rng: Rng) -> Recipe:
    build = random_build(rng)
    derate = float(rng.choice([90, 95, 100, 110]))
    band = rng.choice([0.5, 5.0, 12.0, 20.0])
    build = build.with_controllers(motor_derate_c=derate, motor_stop_c=derate + float(band))
    only = build.drives[int(rng.integers(len(build.drives)))]
    worse = replace(only.motor, wind_case_w_k=only.motor.wind_case_w_k * rng.uniform(0.4, 0.8))
    build = build.with_drive(only.name, motor=worse)
    mps = cruising_mps(build) * 0.8
    road = climbing(rng, build, mps, rng.uniform(0.9, 1.2), 150.0)
    return Recipe(
        build, road, some_rider(rng, mps), rng.uniform(0.5, 0.95), _day(rng),
        warm_c=derate - rng.uniform(8, 30),
    )  # fmt: skip


def controller_hot(rng: Rng) -> Recipe:
    build = random_build(rng)
    derate = float(rng.choice([70, 75, 80, 85]))
    band = float(rng.choice([0.5, 4.0, 10.0, 15.0]))
    build = build.with_controllers(
        controller_derate_c=derate,
        controller_stop_c=derate + band,
        motor_derate_c=150.0,
        motor_stop_c=170.0,
    )
    only = build.drives[int(rng.integers(len(build.drives)))]
    box = only.controller
    made = box.heat_per_a2 * (0.55 * box.phase_drive_a) ** 2 + box.drop_v * 0.55 * box.phase_drive_a
    warm = derate - rng.uniform(4, 15)
    way = derate + band - warm
    worse = replace(
        box, heat_w_k=made / (way + derate - 20) * rng.uniform(0.3, 0.6),
        heat_j_k=made / way * rng.uniform(15, 45),
    )  # fmt: skip
    build = build.with_drive(only.name, controller=worse)
    mps = cruising_mps(build) * 0.8
    road = climbing(rng, build, mps, rng.uniform(0.9, 1.2), 150.0)
    return Recipe(
        build, road, some_rider(rng, mps), rng.uniform(0.5, 0.95), _day(rng),
        warm_c=warm,
    )  # fmt: skip


def bms_hot(rng: Rng) -> Recipe:
    build = random_build(rng)
    total = sum(d.controller.battery_drive_a for d in build.drives)
    rating = float(round(total * rng.uniform(0.95, 1.15)))
    warm = rng.uniform(18, 33)
    hot = rng.uniform(70, 90)
    # Sized so that the rated current alone would take it to the trip in some minutes.
    ohm = (hot - warm) * 0.8 * rng.uniform(0.35, 0.6) / rating**2 * 4
    build = build.with_bms(
        discharge_rating_a=rating, discharge_trip_a=float(round(rating * 1.7)), hot_c=hot,
        hot_rearm_c=hot - rng.uniform(8, 20), heat_ohm=ohm, heat_w_k=0.35,
        heat_j_k=rng.uniform(35, 80),
        restart_s=rng.uniform(20, 90),
    )  # fmt: skip
    mps = cruising_mps(build)
    road = climbing(rng, build, mps, rng.uniform(0.85, 1.0), 190.0)
    rider = replace(some_rider(rng, mps), stops_every_m=5000.0)
    return Recipe(build, road, rider, rng.uniform(0.6, 0.97), warm, most_s=400.0)


def idle(rng: Rng) -> Recipe:
    build = random_build(rng)
    seconds = float(rng.choice([60, 90, 120]))
    quiet = 0.2 + rng.uniform(0, 0.2)
    build = build.with_cells(aux_a=float(round(quiet, 1))).with_controllers(standby_w=1.5)
    build = build.with_bms(idle_off_s=seconds, idle_below_a=1.2, restart_s=1.0)
    mps = cruising_mps(build)
    rider = replace(
        some_rider(rng, mps), stops_every_m=float(rng.uniform(120, 250)), cycle_s=3.0,
        stop_s=(seconds + 15.0, seconds + 60.0), react_s=rng.uniform(1.0, 2.0),
        rest_s=rng.uniform(6, 12),
    )  # fmt: skip
    road = mixed(rng, build, mps)
    return Recipe(build, road, rider, rng.uniform(0.3, 0.95), _day(rng), most_s=420.0)


def clean(rng: Rng) -> Recipe:
    """Normal riding that looks like trouble: see causes.md, crying wolf."""
    build = random_build(rng)
    mps = cruising_mps(build)
    pick = rng.random()
    road = (
        mixed(rng, build, mps) if pick < 0.4 else climbing(rng, build, mps, rng.uniform(0.8, 1.2))
    )
    if pick > 0.8:
        road = falling(rng, build, mps)
    rider = some_rider(rng, mps * rng.uniform(0.8, 1.15))
    rider = replace(
        rider, stops_every_m=float(rng.uniform(90, 400)), ramp_down_s=rng.uniform(0.06, 0.3)
    )
    soc = float(rng.choice([rng.uniform(0.1, 0.3), rng.uniform(0.3, 0.9), rng.uniform(0.9, 1.0)]))
    if rng.random() < 0.3:
        total = sum(d.controller.battery_drive_a for d in build.drives)
        build = build.with_bms(
            discharge_rating_a=float(round(total * 0.93)),
            discharge_trip_a=float(round(total * 1.25)),
        )
    if rng.random() < 0.3:
        box = build.drives[0].controller
        build = build.with_controllers(
            derate_from_v=float(round(box.derate_from_v + 0.12 * build.cells.series, 1))
        )
    if rng.random() < 0.3 and len(build.drives) > 1:
        d = build.drives[0]
        build = build.with_drive(
            d.name, controller=replace(d.controller, gain=rng.uniform(0.9, 1.0))
        )
    return Recipe(
        build, road, rider, soc, _day(rng), wind_mps=rng.uniform(-2, 3),
        plant=faults.tricky_plant, lost=faults.skipped_rows,
        spoil=int(rng.choice([0, 0, 1, 3])), notes={"tricky": True},
    )  # fmt: skip


def gap(rng: Rng) -> Recipe:
    return replace(clean(rng), lost=faults.riding_gaps)


RECIPES: dict[str, Callable[[Rng], Recipe | None]] = {
    "bms_overcurrent_discharge": bms_discharge,
    "bms_overcurrent_charge": bms_charge,
    "bms_overheat": bms_hot,
    "cell_low_voltage": cell_low,
    "cell_high_voltage": cell_high,
    "undervoltage_stop": undervoltage,
    "overvoltage_trip": overvoltage,
    "controller_overheat": controller_hot,
    "motor_overheat": motor_hot,
    "phase_overcurrent": _planted(faults.overcurrent_plant, share=0.9),
    "input_signal_lost": _planted(faults.signal_plant),
    "interlock_opened": _planted(faults.interlock_plant),
    "idle_shutdown": idle,
    "drive_link_lost": link,
    "rotor_sensor_fault": _planted(faults.rotor_plant),
    "motor_phase_fault": _planted(faults.wire_plant),
    "temperature_sensor_fault": _planted(faults.temperature_plant),
    "mechanical_drive_lost": _planted(faults.belt_plant),
    "supply_interrupted": supply,
    "clean_tricky": clean,
    "log_gap": gap,
}

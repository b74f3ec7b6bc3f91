"""A ride, step by step at 100 Hz: rider, controllers, pack, BMS, road.

Forces: Gillespie, Fundamentals of Vehicle Dynamics, 1992, ch. 2 (rolling, drag, grade). Energy
goes round: what the pack gives is what controllers and lights take, at one voltage.
"""

from dataclasses import dataclass, field
from math import sqrt

import numpy as np
from probe.controller import Side
from probe.guard import Guard
from probe.machine import Machine
from probe.rider import Rider
from probe.trouble import Trouble, Troubles

DT_S = 0.01
HEAT_PAUSE_S = 20.0
AIR_KG_M3 = 1.2
GRAVITY = 9.81


@dataclass
class Run:
    """Everything that was true, one row each 10 ms."""

    machine: Machine
    road: object
    t_s: np.ndarray
    col: dict[str, np.ndarray]  # of the whole ride
    side: dict[str, dict[str, np.ndarray]]  # of each drive
    opened: list[tuple[str, float, float]]  # (why, from s, to s) of the pack's path
    air_c: float
    losses: list[tuple[str, float]] = field(default_factory=list)


def ride(
    machine: Machine,
    rider: Rider,
    *,
    soc: float,
    air_c: float = 20.0,
    faults: tuple[Trouble, ...] = (),
    seed: int = 0,
    longest_s: float = 2400.0,
    lifted: bool = False,
    enter_mps: float = 0.0,
) -> Run:
    """Ride the rider's road once and keep all of it; with `enter_mps` rolling from the start."""
    rng = np.random.default_rng(seed)
    n = int(longest_s / DT_S)
    noise = rng.standard_normal(n)
    rough = np.convolve(rng.standard_normal(n + 99), np.ones(100) / 10.0, "valid")  # 1 s wide
    cells, road = machine.cells, rider.road
    sides = {name: Side(d, motor_c=air_c, controller_c=air_c) for name, d in machine.drives.items()}
    for side in sides.values():
        side.seen_v = cells.rest_v(soc)
    guard = Guard(machine.bms)
    troubles = Troubles(faults)
    slow_v = [0.0] * len(cells.slow)
    t = x = 0.0
    v = enter_mps
    if enter_mps > 0.0:
        rider.standing, rider.demand = False, 0.1
    tremble = 0.0
    temp_c = air_c
    bus_v = pack_v = cells.rest_v(soc)
    keys = [
        "x",
        "v",
        "soc",
        "pack_v",
        "bus_v",
        "pack_a",
        "rest_v",
        "temp_c",
        "demand",
        "low_v",
        "high_v",
        "grade",
        "mech",
    ]
    per = [
        "battery_a",
        "phase_a",
        "motor_c",
        "controller_c",
        "duty",
        "omega",
        "wheel_mps",
        "demand",
        "hear_motor_c",
    ]
    log = {key: np.empty(n) for key in keys}
    out = {name: {key: np.empty(n) for key in per} for name in sides}
    governs: dict[str, list[str]] = {name: [] for name in sides}
    opened: list[tuple[str, float, float]] = []
    open_before: str | None = None
    radius = machine.wheel_m / 2.0
    extra = {name: 0.0 for name in sides}  # wheel speed beyond the road's, m/s
    held = {name: 0.0 for name in sides}
    mass = machine.mass_kg * 1.04 if not lifted else 6.0
    k = 0
    for k in range(n):
        if rider.finished(t):
            k -= 1
            break
        tremble += (noise[k] - tremble) * 0.02
        rider.act(t, DT_S, x, v, 5.0 * tremble)
        warm = cells.warm(temp_c)
        e_v = cells.rest_v(soc) - sum(slow_v)
        r0 = cells.r0_ohm * warm
        supply = troubles.now("supply_interrupted", t)
        is_open = guard.open_for is not None or supply is not None
        watts = 0.0
        force = 0.0
        for name, side in sides.items():
            d = side.spec
            omega = max(v + extra[name], 0.0) / (radius * d.wheel) * machine.gear
            demand = rider.demand * d.gain
            lost = troubles.now("input_signal_lost", t, name)
            if lost is not None:
                demand = lost.value
            demand = min(1.0, demand)
            heard = demand
            if troubles.now("interlock_opened", t, name):
                held[name] += (0.0 - held[name]) * DT_S / 0.15
                heard = held[name]
            else:
                held[name] = demand
            hear = side.motor_c
            wire = troubles.now("temperature_sensor_fault", t, name)
            if wire is not None:
                hear = wire.value
            want, by = side.wanted_phase(heard, bus_v, omega, v, (side.controller_c, hear))
            if (
                by in ("controller_heat_derate", "motor_heat_derate")
                and want <= 0.02 * d.phase_drive_a
            ):
                side.hot_until_s = t + HEAT_PAUSE_S
            if t < side.hot_until_s and demand > 0.0:
                want, by = 0.0, "heat_stop"
            for kind in ("drive_link_lost", "phase_overcurrent", "idle_shutdown"):
                if troubles.now(kind, t, name):
                    want, by = 0.0, "fault"
            wireless = troubles.now("motor_phase_fault", t, name)
            if wireless is not None:
                want, by = want * abs(noise[k]) * 0.5, "fault"
            sensor = troubles.now("rotor_sensor_fault", t, name)
            if sensor is not None:
                want, by = (0.0 if int(t * 9) % 3 else 0.25 * want), "fault"
            ov = d.overvoltage_v
            if ov is not None and bus_v > ov:
                side.stopped_until_s = t + 1.0
            if t < side.stopped_until_s and want < 0.0:
                want, by = 0.0, "overvoltage"
            if is_open:
                want = 0.0
                side.phase_a = 0.0
            spike = troubles.now("phase_overcurrent", t + 0.03, name)
            if spike is not None and not troubles.now("phase_overcurrent", t, name):
                side.phase_a *= 1.5
            side.step(want, bus_v, omega, DT_S)
            if troubles.now("phase_overcurrent", t, name) or (sensor is not None and want == 0.0):
                side.phase_a, side.battery_w = 0.0, d.idle_w
            if is_open:
                side.battery_w = 0.0
            if wireless is not None:  # two wires of three shake and heat, they hardly turn
                side.battery_w = d.motor_ohm * side.phase_a**2 + d.idle_w
                side.torque_nm *= 0.08
            side.warm(air_c, DT_S)
            belt = troubles.now("mechanical_drive_lost", t, name)
            slip = troubles.now("wheel_slip", t, name)
            if belt is not None:  # the motor spins free of the road
                top = max(rider.demand, 0.0) * 0.9 * bus_v / d.torque_nm_per_a
                top = top / machine.gear * radius
                extra[name] += (top - v - extra[name]) * DT_S / 0.3
                side.phase_a = d.no_load_a
                side.battery_w = d.torque_nm_per_a * omega * d.no_load_a + d.idle_w
            elif slip is not None:
                extra[name] += (slip.value - extra[name]) * DT_S / 0.08
            else:
                extra[name] += (0.0 - extra[name]) * DT_S / 0.08
            if belt is None:
                force += side.torque_nm * machine.gear / (radius * d.wheel)
            watts += side.battery_w
            o = out[name]
            o["phase_a"][k] = side.phase_a
            o["motor_c"][k], o["controller_c"][k] = side.motor_c, side.controller_c
            o["hear_motor_c"][k] = hear
            o["duty"][k], o["omega"][k] = side.duty, omega
            o["wheel_mps"][k] = max(v + extra[name], 0.0)
            o["demand"][k] = demand
            governs[name].append(by)
        if is_open:
            pack_a = 0.0
            pack_v = e_v
            emf = max(s.spec.torque_nm_per_a * out[m]["omega"][k] for m, s in sides.items())
            bus_v += (0.93 * emf - bus_v) * DT_S / 0.03
        else:
            add = supply_ohm(troubles, t)
            res = r0 + add
            e_aux = e_v - res * machine.aux_a
            pack_v = 0.5 * (e_aux + sqrt(max(e_aux * e_aux - 4.0 * res * watts, 1.0)))
            pack_a = watts / pack_v + machine.aux_a
            bus_v = pack_v
            pack_v += add * pack_a
        for name, side in sides.items():
            out[name]["battery_a"][k] = side.battery_w / max(bus_v, 1.0)
        for j, (r, tau) in enumerate(cells.slow):
            slow_v[j] += (pack_a * r * warm - slow_v[j]) * DT_S / tau
        soc -= pack_a * DT_S / 3600.0 / cells.capacity_ah
        temp_c += (
            DT_S
            * (pack_a**2 * r0 - 2.5 * (temp_c - air_c))
            / (cells.capacity_ah * cells.series * 60.0)
        )
        mean = pack_v / cells.series
        weak = (
            mean - cells.weak_v - (cells.weak_r - 1.0) * pack_a * cells.r0_ohm * warm / cells.series
        )
        high = mean + 0.006 if pack_a >= 0 else mean + 0.012
        quiet = abs(rider.demand) < 0.05
        guard.step(t, DT_S, pack_a, (weak, high), quiet)
        if guard.open_for != open_before:
            if guard.open_for is not None:
                opened.append((guard.open_for, t, np.inf))
            else:
                opened[-1] = (*opened[-1][:2], t)
            open_before = guard.open_for
        grade = float(np.interp(x, road.x, road.slope)) if not lifted else 0.0
        drag = 0.5 * AIR_KG_M3 * machine.drag_m2 * v * v
        roll = (
            machine.mass_kg * GRAVITY * machine.rolling * (1.0 + 0.15 * rough[k]) * min(v * 10, 1.0)
        )
        if lifted:
            roll, drag = 0.8 * min(v, 1.0), 0.0
        acc = (force - roll - drag - machine.mass_kg * GRAVITY * grade) / mass
        held_still = v < 0.05 and rider.mechanical_mps2 > 0.0
        v += DT_S * (acc - rider.mechanical_mps2 * min(v * 5.0, 1.0))
        if v < 0.0 or (held_still and rider.standing):
            v = 0.0
        for key, value in zip(
            keys,
            (
                x,
                v,
                soc,
                pack_v,
                bus_v,
                pack_a,
                cells.rest_v(soc),
                temp_c,
                rider.demand,
                weak,
                high,
                grade,
                rider.mechanical_mps2,
            ),
            strict=True,
        ):
            log[key][k] = value
        x += v * DT_S
        t += DT_S
    n = k + 1
    col = {key: values[:n] for key, values in log.items()}
    side_cols = {m: {key: values[:n] for key, values in o.items()} for m, o in out.items()}
    for name in sides:
        side_cols[name]["governs"] = np.array(governs[name][:n])
    return Run(machine, road, np.arange(n) * DT_S, col, side_cols, opened, air_c)


def supply_ohm(troubles: Troubles, t_s: float) -> float:
    """A contact that resists before it breaks, ohm."""
    bad = troubles.now("bad_contact", t_s)
    return bad.value if bad is not None else 0.0

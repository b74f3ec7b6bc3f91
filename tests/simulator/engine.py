"""The compiled loop that ties pack, wires, controllers, motors, road, BMS and rider together."""

import numpy as np

from simulator import words as w
from simulator.bms_steps import bms_step
from simulator.bus_steps import closed_bus, floor_v, open_bus
from simulator.compiled import njit
from simulator.drive_steps import drive_step
from simulator.pack_steps import behind_v, instant_ohm, pack_step, weak_extra_ohm
from simulator.records import PER_DRIVE, SHARED
from simulator.rider_steps import rider_step

G = 9.80665
N_SHARED = len(SHARED)
N_PER_DRIVE = len(PER_DRIVE)
GUST_HZ = 10.0
"""How often the noise arrays carry a new value [Hz]."""


@njit()
def table_at(table, ds, s):
    x = max(s, 0.0) / ds
    i = min(int(x), table.size - 2)
    f = min(x - i, 1.0)
    return table[i] + f * (table[i + 1] - table[i])


@njit()
def run(
    dt, every, pack, curve, drives, bms, car, rider, faults,
    grade, bend, road_ds, plan, plan_ds, stop_s, stop_wait, script, script_dt,
    gust, twitch, fine, out,
):  # fmt: skip
    """Fills `out` (rows x columns of SHARED then PER_DRIVE of each drive); returns rows used."""
    n, rows = drives.size, out.shape[0]
    far = (grade.size - 2) * road_ds
    p, b, c, r = pack[0], bms[0], car[0], rider[0]
    pack_step(p, curve, 0.0, dt)
    c.bus_v = p.v_cells
    for k in range(n):
        drives[k].v_a = drives[k].v_f = p.v_cells
        drives[k].lim_f = drives[k].phase_drive
        drives[k].derate = 1.0
        drives[k].alive_t = 1.0
        drives[k].path_t = -1e9
    total = rows * every
    woken = False
    for step in range(total):
        t = step * dt
        slow = min(int(t * GUST_HZ), gust.size - 1)
        if step % every == 0:
            record_row(out[step // every], t, p, b, c, r, drives)
        signal, supply_all, ohm_extra = _plant_shared(faults, t)
        gone = share_gone(drives)
        cycled = rider_step(
            r, dt, t, c.s, c.v, plan, plan_ds, stop_s, stop_wait, gone, twitch[slow]
        )
        at = min(int(t / script_dt), script.size - 1)
        if script.size > 1 and not np.isnan(script[at]):
            r.hand = script[at]
        woken = cycled == 1 or (woken and b.dis > 0)
        if cycled == 1:
            for k in range(n):
                drives[k].uv_latch = drives[k].ov_latch = drives[k].off_until = 0.0
        amps = _electric(dt, t, p, curve, b, c, r, drives, faults, signal, supply_all, ohm_extra,
                         bend, road_ds, fine[step % fine.size])  # fmt: skip
        pack_step(p, curve, amps, dt)
        load_off = abs(r.hand) < 0.02 and c.v < 0.5
        bms_step(b, dt, t, amps, p.cell_min, p.cell_max, p.temp_c, p.ambient_c, load_off, woken)
        _move(dt, c, r, drives, table_at(grade, road_ds, c.s), gust[slow])
        home = r.stop_i >= stop_s.size and r.wait_t <= 0.0 and c.v < 0.1 and c.s > far - 14.0
        if c.s > far or home:
            return step // every + 1
    return rows


@njit()
def share_gone(drives):
    gone = 0.0
    for k in range(drives.size):
        faint = drives[k].governor == w.BY_VOLTAGE and drives[k].derate < 0.05
        if (drives[k].block > 0 or faint) and drives[k].asked != 0:
            gone += 1.0 / drives.size
    return gone


@njit()
def _plant_shared(faults, t):
    """Faults of the whole vehicle that hold now: signal fault index, supply open, added ohms."""
    signal, supply, ohm = -1, False, 0.0
    for f in range(faults.size):
        if not faults[f].t0 <= t < faults[f].t1:
            continue
        if faults[f].kind == w.SIGNAL_LOST and faults[f].drive < 0:
            signal = f
        elif faults[f].kind == w.SUPPLY and faults[f].drive < 0:
            supply = True
        elif faults[f].kind == w.CONTACT and faults[f].drive < 0:
            ohm += faults[f].p0
    return signal, supply, ohm


@njit()
def _demand(d, k, n, dt, t, hand, regen, drives, faults, signal):
    """What this controller receives, and what of that it believes; (cause, ramp) to switch off."""
    asked = hand if hand >= 0.0 else -regen
    d.asked = 1.0 if asked > 0.05 else (-1.0 if asked < -0.05 else 0.0)
    sent = asked
    code, ramp = 0.0, 0.05
    found = signal
    for f in range(faults.size):
        on = faults[f].t0 <= t < faults[f].t1
        if on and faults[f].kind == w.SIGNAL_LOST and faults[f].drive == k:
            found = f
    if found >= 0:
        sent = faults[found].p1 if faults[found].p0 == 0 else d.hold
        if t - faults[found].t0 >= faults[found].p2:
            code = w.SIGNAL_LOST
    else:
        d.hold = sent
    for f in range(faults.size):
        on = faults[f].t0 <= t < faults[f].t1
        mine = faults[f].drive < 0 or faults[f].drive == k
        if on and mine and faults[f].kind == w.INTERLOCK:
            code, ramp = w.INTERLOCK, faults[f].p0
        if on and faults[f].drive == k and faults[f].kind == w.LINK_LOST:
            sent = d.demand
            d.freeze = faults[f].p2
            if t - faults[f].t0 >= faults[f].p0:
                code, ramp = w.LINK_LOST, faults[f].p1
        elif faults[f].drive == k and faults[f].kind == w.LINK_LOST:
            d.freeze = 0.0
    lag = dt / max(d.link_tau, dt)
    d.demand += (sent - d.demand) * min(lag, 1.0)
    seen = d.demand * d.gain + (d.offset if abs(d.demand) > 0.02 else 0.0)
    d.demand_seen = min(max(seen, -1.0), 1.0)
    return code, ramp


@njit()
def _plant_drive(d, k, dt, t, wheel_mps, faults, fine):
    """Faults of one drive: sensors, wires, belt. Returns (cause to switch off, ramp, jerk)."""
    code, ramp, jerk = 0.0, 0.01, 1.0
    d.mot_seen_c += (d.wind_c - d.mot_seen_c) * dt / 4.0
    d.ctrl_seen_c += (d.ctrl_c - d.ctrl_seen_c) * dt / 2.0
    d.branch_open, d.jerk = 0.0, 0.0
    for f in range(faults.size):
        one = faults[f]
        if one.drive >= 0 and one.drive != k:
            continue
        on = one.t0 <= t < one.t1
        if one.kind == w.MECHANICAL and one.drive == k:
            d.loose = 1.0 if on else 0.0
        elif one.kind == w.SLIP and one.drive == k:
            d.grip_n = one.p0 if on else 1e9
        if not on:
            continue
        if one.kind == w.SUPPLY and one.drive == k:
            d.branch_open = 1.0
        elif one.kind == w.TEMP_SENSOR and one.drive == k:
            if one.p1 == 0:
                d.mot_seen_c = one.p0
            else:
                d.ctrl_seen_c = one.p0
        elif one.kind == w.OVERCURRENT and one.drive == k:
            _overcurrent(d, one, t)
        elif one.kind == w.ROTOR_SENSOR and one.drive == k:
            jerk = _rotor(d, one, t, wheel_mps, fine)
        elif one.kind == w.MOTOR_PHASE and one.drive == k:
            jerk = _open_wire(d, one, t)
    return code, ramp, jerk


@njit()
def _overcurrent(d, f, t):
    """Trips at once, waits `p0` s, tries again and trips while load is asked, `p1` times."""
    if f.done == 0 or (t >= d.off_until + f.p2 and d.retries < f.p1 and abs(d.i_a) > 1.0):
        if f.done == 1:
            d.retries += 1
        f.done = 1
        d.i_a *= 1.9
        d.off_code, d.off_until = w.OVERCURRENT, t + f.p0


@njit()
def _rotor(d, f, t, wheel_mps, fine):
    """Below `p0` m/s the controller commutates wrongly: jerks, then stops for `p1` s."""
    if wheel_mps > f.p0:
        return 1.0
    d.jerk = fine
    if t < d.off_until:
        return 0.0
    if f.done == 0 or t - d.attempt_t > f.p2:
        f.done = 1
        d.attempt_t = t + f.p1
        d.off_code, d.off_until = w.ROTOR_SENSOR, t + f.p1
    return 0.25 + 0.5 * fine


@njit()
def _open_wire(d, f, t):
    """One motor wire open: torque beats, then the controller stops for `p1` s, tries for `p2` s."""
    if t < d.off_until:
        return 0.0
    if f.done == 0 or t - d.attempt_t > f.p2:
        f.done = 1
        d.attempt_t = t + f.p1
        d.off_code, d.off_until = w.MOTOR_PHASE, t + f.p1
    angle = d.omega * t * 3.0
    return 0.55 * np.sin(angle) ** 2


@njit()
def _path_state(b, supply_open, net_watts, above):
    """Whether the pack's path is shut for what the drives want now, and the cause."""
    if supply_open:
        return True, float(w.SUPPLY)
    if b.dis > 0 and (net_watts >= 0.0 or b.chg > 0):
        return True, b.dis
    if b.chg > 0 and (net_watts < 0.0 or above):
        return True, b.chg
    return False, 0.0


@njit()
def _electric(
    dt, t, p, curve, b, c, r, drives, faults, signal, supply_open, ohm_extra, bend, road_ds, fine
):
    """Controllers against the bus; returns the pack's current."""
    n = drives.size
    regen = min(max(-r.hand, 0.0) / max(r.regen_first, 0.01), 1.0)
    curve_here = table_at(bend, road_ds, c.s)
    joined, farad, low, _lone_code = 0.0, 0.0, 0.0, 0.0
    for k in range(n):
        d = drives[k]
        wheel = c.v * (1.0 - d.side_m * curve_here)
        code, ramp = _demand(d, k, n, dt, t, r.hand, regen, drives, faults, signal)
        code2, ramp2, jerk = _plant_drive(d, k, dt, t, wheel, faults, fine)
        if code == 0:
            code, ramp = code2, ramp2
        path = c.path_code if d.branch_open == 0 else float(w.SUPPLY)
        if path == 0 and ohm_extra > 0.01:
            path = float(w.SUPPLY)  # a stop for want of volts behind a bad contact
        drive_step(d, dt, t, wheel, path, code, ramp, jerk)
        if d.branch_open == 1:
            d.v_a = open_bus(d.v_a, d.p_w, d.cap_f, floor_v(drives, k), d.ov_v * 1.25, dt)
            d.i_batt = d.computed * d.p_w / max(d.v_a, 8.0)
        else:
            joined += d.p_w
            farad += d.cap_f
            low = max(low, floor_v(drives, k))
    aux_w = p.aux_a * c.bus_v
    above = c.bus_v > behind_v(p, curve) + 0.2
    shut, code = _path_state(b, supply_open, joined + aux_w, above)
    if shut:
        c.bus_v = open_bus(c.bus_v, joined + aux_w, max(farad, 1e-3), low, 1.3 * p.series * 4.3, dt)
        c.path_open, c.path_code = 1.0, code
        amps = 0.0
    else:
        ohm = instant_ohm(p) + weak_extra_ohm(p) + p.lead_ohm + ohm_extra
        c.bus_v, amps = closed_bus(behind_v(p, curve), ohm, joined, p.aux_a + b.drain, c.bus_v)
        c.path_open, c.path_code = 0.0, 0.0
        if low > c.bus_v:
            low = c.bus_v
    for k in range(n):
        d = drives[k]
        if d.branch_open == 0:
            d.i_batt = d.p_w / max(c.bus_v, 8.0)
            if shut and d.computed == 0:
                d.i_batt = 0.0
            d.v_a = c.bus_v - d.branch_ohm * d.i_batt
    return amps


@njit()
def _move(dt, c, r, drives, grade, gust):
    force = 0.0
    for k in range(drives.size):
        force += drives[k].force
    angle = np.arctan(grade)
    air = c.v + gust * c.wind_gain
    resist = 0.5 * c.rho * c.cda * air * abs(air)
    roll = c.mass * G * c.crr * np.cos(angle)
    brake = r.mech * r.mech_max_n
    push = force - c.mass * G * np.sin(angle) - resist
    hold = roll + brake
    if c.v < 0.02 and abs(push) <= hold:
        c.v, c.acc = 0.0, 0.0
        return
    # Nobody rolls backwards here: the rider holds the brake.
    c.acc = (push - hold) / (c.mass + c.rot_mass)
    before = c.v
    c.v = max(c.v + c.acc * dt, 0.0)
    c.acc = (c.v - before) / dt
    c.s += 0.5 * (before + c.v) * dt


@njit()
def record_row(row, t, p, b, c, r, drives):
    row[0], row[1], row[2], row[3] = t, c.s, c.v, c.acc
    row[4], row[5], row[6], row[7] = p.i_a, p.v_cells, c.bus_v, p.z
    row[8], row[9], row[10] = p.temp_c, p.cell_min, p.cell_max
    row[11], row[12], row[13], row[14], row[15] = r.hand, r.mech, b.dis, b.chg, c.path_open
    row[16], row[17], row[18], row[19] = b.acc_d, b.acc_c, b.temp_c, p.zw
    for k in range(drives.size):
        d = drives[k]
        at = N_SHARED + k * N_PER_DRIVE
        row[at], row[at + 1], row[at + 2] = d.i_batt, d.v_a, d.i_shown
        row[at + 3] = d.omega
        row[at + 4] = d.omega / d.gear * d.radius
        row[at + 5], row[at + 6] = d.demand, d.duty
        row[at + 7], row[at + 8] = d.ctrl_seen_c, d.mot_seen_c
        row[at + 9], row[at + 10], row[at + 11] = d.governor, d.block, d.dead
        row[at + 12], row[at + 13] = d.asked, d.torque
        row[at + 14], row[at + 15] = d.derate, d.freeze

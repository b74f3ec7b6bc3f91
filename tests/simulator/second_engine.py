"""The second set of equations: another loop around other pack, drive, BMS, bus and rider.

It shares with `engine` only the records, the road and what a row of truth holds, so that a
classifier that learned one set's habits is found out on the other.
"""

import numpy as np

from simulator import words as w
from simulator.compiled import njit
from simulator.engine import GUST_HZ, record_row, share_gone, table_at
from simulator.second_bms import bms_step2
from simulator.second_drive import drive_step2
from simulator.second_pack import behind_v2, closed_bus2, instant_ohm2, pack_step2

G = 9.80665
OPEN_TAU_S = 0.035
"""How fast an open bus falls to what the motors generate [s]."""


@njit()
def run2(
    dt, every, pack, curve, drives, bms, car, rider, faults,
    grade, bend, road_ds, plan, plan_ds, stop_s, stop_wait, script, script_dt,
    gust, twitch, fine, out,
):  # fmt: skip
    """As `engine.run`."""
    rows, far = out.shape[0], (grade.size - 2) * road_ds
    p, b, c, r = pack[0], bms[0], car[0], rider[0]
    pack_step2(p, curve, 0.0, dt)
    c.bus_v = p.v_cells
    for k in range(drives.size):
        d = drives[k]
        d.v_a = d.v_f = p.v_cells
        d.lim_f = d.derate = d.alive_t = 1.0
        d.path_t = d.hold = -1e9
    woken = False
    for step in range(rows * every):
        t = step * dt
        slow = min(int(t * GUST_HZ), gust.size - 1)
        if step % every == 0:
            record_row(out[step // every], t, p, b, c, r, drives)
        cycled = _rider(
            r, dt, t, c, plan, plan_ds, stop_s, stop_wait, share_gone(drives), twitch[slow]
        )
        at = min(int(t / script_dt), script.size - 1)
        if script.size > 1 and not np.isnan(script[at]):
            r.hand = script[at]
        woken = cycled or (woken and (b.dis > 0 or b.chg > 0))
        if cycled:
            for k in range(drives.size):
                drives[k].uv_latch = drives[k].ov_latch = drives[k].off_until = 0.0
        amps = _bus(dt, t, p, curve, b, c, r, drives, faults, bend, road_ds, fine[step % fine.size])
        pack_step2(p, curve, amps, dt)
        bms_step2(b, dt, t, amps, p.cell_min, p.cell_max, p.temp_c, p.ambient_c, False, woken)
        _roll(dt, c, r, drives, table_at(grade, road_ds, c.s), gust[slow])
        home = r.stop_i >= stop_s.size and r.wait_t <= 0.0 and c.v < 0.1 and c.s > far - 14.0
        if c.s > far or home:
            return step // every + 1
    return rows


@njit()
def _rider(r, dt, t, c, plan, plan_ds, stop_s, stop_wait, gone, noise):
    """Rides by notches: more when too slow, less when too fast. True when power is cycled."""
    lost = gone >= 0.99 or (gone > 0.0 and r.leave_one_side == 1)
    r.lost_t = r.lost_t + dt if lost and abs(r.hand) > 0.1 else 0.7 * r.lost_t
    cycled = False
    if r.mode == 0 and r.lost_t > r.react_s:
        r.mode, r.mode_t = 1.0, 0.0
    if r.mode > 0:
        r.mode_t += dt
        r.target = 0.0
        r.mech = 0.5 if r.mode_t > 0.6 else 0.0
        if c.v < 0.05 and r.mode == 1:
            r.mode, r.mode_t = 2.0, 0.0
        if r.mode == 2 and r.cycle_s > 0.0 and r.cycled == 0 and r.mode_t > r.cycle_s:
            r.cycled, cycled = 1.0, True
        if r.mode == 2 and r.mode_t > r.rest_s and r.tried < r.tries:
            r.tried += 1.0
            r.max_demand *= r.after_loss
            r.mode = r.cycled = r.lost_t = 0.0
    else:
        _notches(r, dt, t, c, plan, plan_ds, stop_s, stop_wait, noise)
    rate = 1.6 * dt / (r.ramp_up if abs(r.target) > abs(r.hand) else r.ramp_down)
    r.hand += max(min((r.target - r.hand) * 9.0 * dt, rate), -rate)
    if abs(r.hand) < 0.004 and r.target == 0.0:
        r.hand = 0.0
    return cycled


@njit()
def _notches(r, dt, t, c, plan, plan_ds, stop_s, stop_wait, noise):
    r.mech = 0.0
    if r.wait_t > 0.0:
        r.wait_t -= dt
        r.target, r.mech = 0.0, 1.0
        return
    k = int(r.stop_i)
    goal = plan[min(int((c.s + 1.5 * c.v) / plan_ds), plan.size - 1)]
    if k < stop_s.size:
        left = stop_s[k] - c.s
        if left < 0.4 or (left < 5.0 and c.v < 0.2):
            r.wait_t = stop_wait[k]
            r.stop_i += 1.0
            r.target = 0.0
            return
        goal = min(goal, np.sqrt(1.6 * r.a_brake * max(left, 0.0)))
    if t >= r.decide_t:
        r.decide_t = t + r.decide_s
        miss = goal - c.v + 0.3 * noise * r.noise / 0.02 * 0.2
        notch = 0.35 if abs(miss) > 1.5 else 0.12
        if miss > 0.25:
            r.target = max(r.target, 0.0) + notch
        elif miss < -0.9:
            r.target = min(r.target, 0.0) - notch
        elif miss < -0.25:
            r.target -= 0.12
        most = r.max_demand if c.s >= r.gentle_m else 0.5 * r.max_demand
        r.target = min(max(r.target, -1.0), most)
    if r.target < -r.mech_from:
        r.mech = min((-r.target - r.mech_from) / max(1.0 - r.mech_from, 0.01), 1.0)
    if goal < 0.5 and c.v < 0.8:
        r.target, r.mech = min(r.target, 0.0), 0.6


@njit()
def _received(d, k, dt, t, hand, regen, faults):
    """Demand as the controller has it (two filters in a row); (cause, ramp) to switch off."""
    asked = hand if hand >= 0.0 else -regen
    d.asked = 1.0 if asked > 0.05 else (-1.0 if asked < -0.05 else 0.0)
    sent, code, ramp, stuck = asked, 0.0, 0.05, False
    d.freeze = 0.0
    for f in range(faults.size):
        one = faults[f]
        if not one.t0 <= t < one.t1 or not (one.drive < 0 or one.drive == k):
            continue
        if one.kind == w.SIGNAL_LOST:
            sent = one.p1 if one.p0 == 0 else d.demand
            if t - one.t0 >= one.p2:
                code = w.SIGNAL_LOST
            stuck = True
        elif one.kind == w.INTERLOCK:
            code, ramp = w.INTERLOCK, 1.3 * one.p0
        elif one.kind == w.LINK_LOST:
            sent, stuck, d.freeze = d.demand, True, one.p2
            if t - one.t0 >= one.p0:
                code, ramp = w.LINK_LOST, one.p1
    d.demand = sent if stuck else d.demand + (sent - d.demand) * dt / (0.02 + d.link_tau + dt)
    d.demand_seen += (min(max(d.demand * d.gain, -1.0), 1.0) - d.demand_seen) * dt / (0.03 + dt)
    return code, ramp


@njit()
def _planted(d, k, dt, t, wheel_mps, faults, fine):
    """Faults of one drive; returns the factor on its phase current."""
    d.mot_seen_c += (d.wind_c - d.mot_seen_c) * dt / 7.0
    d.ctrl_seen_c += (d.ctrl_c - d.ctrl_seen_c) * dt / 1.0
    d.branch_open, d.loose, d.grip_n, jerk = 0.0, 0.0, 1e9, 1.0
    for f in range(faults.size):
        one = faults[f]
        if one.drive != k or not one.t0 <= t < one.t1:
            continue
        if one.kind == w.MECHANICAL:
            d.loose = 1.0
        elif one.kind == w.SLIP:
            d.grip_n = one.p0
        elif one.kind == w.SUPPLY:
            d.branch_open = 1.0
        elif one.kind == w.TEMP_SENSOR:
            if one.p1 == 0:
                d.mot_seen_c += (one.p0 - d.mot_seen_c) * min(dt / 0.05, 1.0)
            else:
                d.ctrl_seen_c += (one.p0 - d.ctrl_seen_c) * min(dt / 0.05, 1.0)
        elif one.kind == w.OVERCURRENT:
            again = (
                d.retries < one.p1 and t > d.off_until + one.p2 and abs(d.i_a) > 0.5 * d.phase_drive
            )
            if one.done == 0 or again:
                d.retries += one.done
                one.done = 1.0
                jerk = 2.4
                d.off_code, d.off_until = w.OVERCURRENT, t + one.p0
        elif one.kind == w.ROTOR_SENSOR and wheel_mps < one.p0:
            jerk = _stutter(d, one, t, w.ROTOR_SENSOR) * (0.5 + 0.5 * np.sin(60.0 * t) * fine)
        elif one.kind == w.MOTOR_PHASE:
            jerk = _stutter(d, one, t, w.MOTOR_PHASE) * abs(np.sin(2.5 * d.omega * t + fine))
    return jerk


@njit()
def _stutter(d, one, t, code):
    """Try for `p2` s, stop for `p1` s, over and over; 1 while trying."""
    if one.done == 0:
        one.done = t
    turn = (t - one.done) % (one.p1 + one.p2)
    if turn < one.p1:
        d.off_code, d.off_until = code, t + 0.02
        return 0.0
    return 1.0


@njit()
def _shared(faults, t):
    supply, ohm = False, 0.0
    for f in range(faults.size):
        if faults[f].drive < 0 and faults[f].t0 <= t < faults[f].t1:
            if faults[f].kind == w.SUPPLY:
                supply = True
            elif faults[f].kind == w.CONTACT:
                ohm += faults[f].p0 * (0.7 + 0.6 * abs(np.sin(37.0 * t)))
    return supply, ohm


@njit()
def _bus(dt, t, p, curve, b, c, r, drives, faults, bend, road_ds, fine):
    """Controllers on the pack, or on their own when its path is open. Returns pack amperes."""
    supply, ohm_extra = _shared(faults, t)
    regen = min(max(-r.hand, 0.0) / max(r.regen_first, 0.01), 1.0)
    here = table_at(bend, road_ds, c.s)
    watts, low, farad = 0.0, 0.0, 0.0
    for k in range(drives.size):
        d = drives[k]
        wheel = c.v * (1.0 - d.side_m * here)
        code, ramp = _received(d, k, dt, t, r.hand, regen, faults)
        jerk = _planted(d, k, dt, t, wheel, faults, fine)
        path = c.path_code if d.branch_open == 0 else float(w.SUPPLY)
        if path == 0 and ohm_extra > 0.01:
            path = float(w.SUPPLY)
        drive_step2(d, dt, t, wheel, path, code, ramp, jerk)
        holds = max(0.97 * d.kt * 1.1547 * abs(d.omega) - 1.6, 0.0) * (1.0 - d.loose)
        if d.branch_open == 1:
            d.v_a = _open(d.v_a, d.p_w, 1.3 * d.cap_f, holds, 1.2 * d.ov_v, dt)
            d.i_batt = d.computed * d.p_w / max(d.v_a, 10.0)
        else:
            watts += d.p_w
            farad += 1.3 * d.cap_f
            low = max(low, holds)
    behind = behind_v2(p, curve)
    code = _path(b, supply, watts + p.aux_a * c.bus_v, c.bus_v > behind + 0.3)
    c.path_code, c.path_open = code, (1.0 if code > 0 else 0.0)
    amps = 0.0
    if code > 0:
        c.bus_v = _open(
            c.bus_v, watts + p.aux_a * c.bus_v, max(farad, 1e-3), low, 1.25 * behind, dt
        )
    else:
        ohm = instant_ohm2(p) + p.lead_ohm + ohm_extra
        c.bus_v, amps = closed_bus2(p, curve, ohm, watts, p.aux_a, c.bus_v)
    for k in range(drives.size):
        d = drives[k]
        if d.branch_open == 0:
            shown = d.p_w / max(c.bus_v, 10.0)
            d.i_batt = shown if code == 0 or d.computed == 1 else 0.0
            d.v_a = c.bus_v - d.branch_ohm * d.i_batt
    return amps


@njit()
def _path(b, supply, watts, above):
    if supply:
        return float(w.SUPPLY)
    if b.dis > 0 and (watts >= 0.0 or b.chg > 0):
        return b.dis
    if b.chg > 0 and (watts < 0.0 or above):
        return b.chg
    return 0.0


@njit()
def _open(v, watts, farad, holds, highest, dt):
    """Charging jumps by what the capacitors take; drawing sinks towards what the motors hold."""
    if watts < 0.0:
        return min(np.sqrt(v * v - 2.0 * watts * dt / farad), highest)
    pull = min(1.0, dt / OPEN_TAU_S * (1.0 + watts / 60.0))
    return v + (holds - v) * pull if v > holds else holds


@njit()
def _roll(dt, c, r, drives, grade, gust):
    force = 0.0
    for k in range(drives.size):
        force += drives[k].force
    up = grade / np.sqrt(1.0 + grade * grade)
    air = c.v + gust * c.wind_gain
    push = force - c.mass * G * up - 0.5 * c.rho * c.cda * air * abs(air)
    hold = c.mass * G * c.crr * (1.0 + 0.004 * c.v) + r.mech * r.mech_max_n
    if c.v < 0.02 and abs(push) <= hold:
        c.v, c.acc = 0.0, 0.0
        return
    before = c.v
    c.v = max(c.v + (push - hold) / (c.mass + c.rot_mass) * dt, 0.0)
    c.acc = (c.v - before) / dt
    c.s += c.v * dt

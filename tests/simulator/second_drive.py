"""The second set's motor and controller: rotating-frame machine, integrating limiters.

Amplitudes are sine peaks: T = 1.5 p λ i, power = T ω + 1.5 R i² + iron. Limits are held by a
regulator that winds a scale down and up, not solved for; derating is smooth; undervoltage counts
slow samples; a stop ends in a soft start.
"""

import numpy as np

from simulator import words as w
from simulator.compiled import njit

SOFT_S = 0.5
"""Soft start after any stop [s]."""
UV_EVERY_S, UV_COUNT = 0.04, 3.0


@njit()
def _smooth(x):
    x = min(max(x, 0.0), 1.0)
    return x * x * (3.0 - 2.0 * x)


@njit()
def _ohm(d):
    return d.r20 / 1.5 * (234.5 + d.wind_c) / 254.5


@njit()
def _watch(d, dt, t, path_code):
    """Latches. `uv_t` counts slow samples, `uv_ok_t` and `ov_ok_t` good time, `hold` soft start."""
    if path_code > 0:
        d.path_was, d.path_t = path_code, t
    root = d.path_was if t - d.path_t < 1.0 else 0.0
    d.v_f += (d.v_a - d.v_f) * dt / (0.012 + dt)
    if t >= d.attempt_t:
        d.attempt_t = t + UV_EVERY_S
        d.uv_t = d.uv_t + 1.0 if d.v_a < d.latch_v else 0.0
    if d.uv_t >= UV_COUNT and d.uv_latch == 0:
        d.uv_latch = root if root > 0 else w.UNDERVOLTAGE
        d.uv_ok_t = 0.0
    if d.uv_latch > 0:
        d.uv_ok_t = d.uv_ok_t + dt if d.v_f > d.stop_v + d.uv_hyst else 0.0
        if d.uv_ok_t > d.uv_wait:
            d.uv_latch, d.hold = 0.0, t
    if d.v_a > d.ov_v and d.ov_latch == 0:
        d.ov_latch, d.ov_ok_t = (root if root > 0 else w.OVERVOLTAGE), 0.0
    if d.ov_latch > 0:
        d.ov_ok_t = d.ov_ok_t + dt if d.v_a < d.ov_v - 0.6 * d.ov_hyst else 0.0
        if d.ov_ok_t > 0.3 + d.ov_wait:
            d.ov_latch, d.hold = 0.0, t
    if d.ctrl_seen_c > d.ctrl_stop:
        d.hot_latch = w.CONTROLLER_HOT if abs(d.ctrl_seen_c - d.ctrl_c) < 15 else w.TEMP_SENSOR
    elif d.mot_seen_c > d.mot_stop:
        d.hot_latch = w.MOTOR_HOT if abs(d.mot_seen_c - d.wind_c) < 15 else w.TEMP_SENSOR
    elif d.mot_seen_c < d.mot_stop - d.hot_hyst and d.ctrl_seen_c < d.ctrl_stop - d.hot_hyst:
        d.hot_latch = 0.0
    if d.v_a < d.dead_v:
        d.dead, d.alive_t = 1.0, 0.0
    else:
        d.alive_t += dt
        d.dead = 0.0 if d.alive_t > 0.8 else d.dead


@njit()
def _block(d, t, path_code):
    for code in (d.uv_latch, d.ov_latch, d.hot_latch):
        if code > 0:
            return code
    if t < d.off_until:
        return d.off_code
    if d.dead == 1:
        root = d.path_was if d.path_was > 0 else float(w.SUPPLY)
        return path_code if path_code > 0 else root
    return 0.0


@njit()
def _heat_factor(seen, begin, stop):
    x = min(max((seen - begin) / max(stop - begin, 1e-6), 0.0), 1.0)
    return 1.0 - x * x


@njit()
def _wish(d, dt, wheel_mps):
    """Phase current wanted before the regulators, and what governs it."""
    hot_c = _heat_factor(d.ctrl_seen_c, d.ctrl_derate, d.ctrl_stop)
    hot_m = _heat_factor(d.mot_seen_c, d.mot_derate, d.mot_stop)
    hot = min(hot_c, hot_m)
    if d.demand_seen >= 0.0:
        wish = d.demand_seen * d.phase_drive
        by = w.BY_PHASE if d.demand_seen > 0.97 else w.BY_RIDER
        if wish > d.phase_drive * hot:
            wish = d.phase_drive * hot
            by = w.BY_CONTROLLER_HEAT if hot_c < hot_m else w.BY_MOTOR_HEAT
        return wish, by
    slow = _smooth((wheel_mps - d.brake_end_mps) / max(d.brake_full_mps - d.brake_end_mps, 0.05))
    wish = max(d.demand_seen, -hot) * d.phase_brake * slow
    return wish, (w.BY_PHASE if d.demand_seen < -0.97 else w.BY_RIDER)


@njit()
def _regulate(d, dt, t, wish, by):
    """Winds `lim_f` (0 to 1) so that the battery current measured stays inside its limit."""
    band = d.from_v - d.stop_v
    target = _smooth((d.v_f - d.stop_v) / band) if band > 0.0 else 1.0
    d.derate += min(max(target - d.derate, -6.0 * dt), 0.8 * dt)
    amps = d.p_w / max(d.v_a, 5.0)
    limit = d.batt_drive * d.derate if wish >= 0.0 else d.batt_brake
    used = amps if wish >= 0.0 else -amps
    over = (limit - used) / max(limit, 0.5)
    rate = 7.0 * over if over < 0.0 else min(4.0 * over, 1.2)
    d.lim_f = min(max(d.lim_f + rate * dt, 0.0), 1.0)
    if d.lim_f < 0.985 and abs(wish) > 1.0:
        by = w.BY_VOLTAGE if d.derate < 0.98 and wish > 0.0 else w.BY_BATTERY
    return wish * d.lim_f * min((t - d.hold) / SOFT_S, 1.0), by


@njit()
def drive_step2(d, dt, t, wheel_mps, path_code, force_off, off_ramp_s, jerk):
    """The drive's phase current, torque and pack power for this step at its bus voltage."""
    road = wheel_mps / d.radius * d.gear
    if d.loose == 0 and (d.freewheel == 0 or d.omega >= road):
        d.omega = road
    _watch(d, dt, t, path_code)
    wish, by = _wish(d, dt, wheel_mps)
    want, by = _regulate(d, dt, t, wish, by)
    block = _block(d, t, path_code)
    ramp = 0.025
    if force_off > 0:
        ramp = ramp if block > 0 else off_ramp_s
        block = force_off
    if block > 0:
        want, by = 0.0, w.BY_BLOCK
        d.lim_f = max(d.lim_f, 0.3)
        d.i_a *= max(1.0 - dt / (0.4 * ramp), 0.0)
    want, by = _headroom(d, want, by)
    if block == 0:
        pace = (0.7 * d.slew_up if abs(want) > abs(d.i_a) else d.slew_down) * dt
        d.i_a += min(max(want - d.i_a, -pace), pace)
    _out(d, dt, jerk)
    d.block, d.governor = block, by
    if d.loose == 1 and block == 0:
        d.block = w.MECHANICAL
    _push(d, dt, road)
    _warm2(d, dt, abs(wheel_mps))


@njit()
def _headroom(d, want, by):
    """Sine modulation ends at V/√3 a phase; the winding's inductance takes its part."""
    most = 0.98 * d.v_a / np.sqrt(3.0)
    emf = d.kt / 1.5 * d.omega
    ohm = _ohm(d)
    across = 0.0016 * ohm * 7.0 * d.omega * want
    need = np.sqrt((emf + ohm * want) ** 2 + across * across)
    if need > most and want > 0.0:
        room = max(most - emf, 0.0) / max(need - emf, 1e-6)
        return want * min(room, 1.0), w.BY_HEADROOM
    return want, by


@njit()
def _out(d, dt, jerk):
    i = 0.0 if d.dead == 1 else d.i_a * jerk
    ohm = _ohm(d)
    iron = 0.6 * d.drag1 * abs(d.omega) ** 1.5
    shaft = d.kt * i * d.omega
    p = shaft + 1.5 * ohm * i * i + 0.5 * d.drop_v * abs(i) + 0.006 * abs(shaft)
    d.p_w = p + (1.3 * d.standby_w if d.dead == 0 else 0.0)
    most = d.v_a / np.sqrt(3.0)
    d.duty = min(abs(d.kt / 1.5 * d.omega + ohm * i) / max(most, 1.0), 1.0) if abs(i) > 0.5 else 0.0
    drag = d.drag0 * np.tanh(d.omega / 0.4) + iron * np.tanh(d.omega)
    d.torque = d.kt * i - drag
    d.i_shown = i


@njit()
def _push(d, dt, road):
    force = d.torque * d.gear / d.radius
    force = force * d.eff if d.torque * d.omega >= 0.0 else force / d.eff
    if d.loose == 1:
        d.omega = max(d.omega + d.torque / d.inertia * dt, 0.0)
        d.force = 0.0
    elif d.freewheel == 1 and (d.omega < road - 0.5 or force < 0.0):
        d.omega = min(max(d.omega + d.torque / d.inertia * dt, 0.0), road)
        d.force = 0.0
    else:
        d.force = min(max(force, -d.grip_n), d.grip_n)


@njit()
def _warm2(d, dt, speed):
    copper = 1.5 * _ohm(d) * d.i_shown * d.i_shown
    iron = 0.6 * d.drag1 * abs(d.omega) ** 2.5
    out = d.wind_case_w_k * (d.wind_c - d.case_c)
    d.wind_c += (copper - out) * dt / (1.2 * d.wind_j_k)
    air = (1.1 * d.case_air_w_k + 0.7 * d.case_air_v * speed) * (d.case_c - d.air_c)
    d.case_c += (out + iron - air) * dt / (0.8 * d.case_j_k)
    made = 1.1 * d.ctrl_per_a2 * d.i_shown**2 + 0.9 * d.drop_v * abs(d.i_shown) + d.standby_w
    d.ctrl_c += (made - d.ctrl_w_k * (d.ctrl_c - d.air_c)) * dt / d.ctrl_j_k

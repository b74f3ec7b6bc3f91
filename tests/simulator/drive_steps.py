"""One motor and its controller, step by step.

Direct-current sense: v = K_t w + R i, pack power = v i + losses. The controller asks for phase
current in proportion to demand and takes the least of its limits; it has its own filters, rates
and latches, so that limits overshoot and derating hunts as real ones do.
"""

import numpy as np

from simulator import words as w
from simulator.compiled import njit

COPPER_PER_K = 0.00393
"""Copper at 20 °C, IEC 60028."""


ROOT_S = 1.0
"""A controller that stops within this of the path's opening stops because of it [s]."""


@njit()
def motor_ohm(d):
    """Winding resistance at today's winding temperature [ohm]."""
    return d.r20 * (1.0 + COPPER_PER_K * (d.wind_c - 20.0))


@njit()
def current_for_power(kt_w, ohm, watts):
    """Phase current that takes `watts` from the bus (negative: gives). Solves R i² + K_t w i = P,
    the branch with the smaller loss; the most braking power where more is asked than there is."""
    root = kt_w * kt_w + 4.0 * ohm * watts
    if root <= 0.0:
        return -kt_w / (2.0 * ohm)
    return (-kt_w + np.sqrt(root)) / (2.0 * ohm)


@njit()
def _latches(d, dt, t, path_code):
    """Protections of the controller itself: what they see, when they act, when they let go."""
    d.v_f += (d.v_a - d.v_f) * min(1.0, dt / max(d.v_tau, dt))
    if path_code > 0:
        d.path_was, d.path_t = path_code, t
    elif t - d.path_t < ROOT_S:
        path_code = d.path_was
    released = d.demand_seen < 0.05
    if d.v_f < d.latch_v:
        d.uv_t += dt
        d.uv_ok_t = 0.0
        if d.uv_t >= d.uv_delay and d.uv_latch == 0:
            d.uv_latch = path_code if path_code > 0 else w.UNDERVOLTAGE
    else:
        d.uv_t = 0.0
        if d.v_f > d.stop_v + d.uv_hyst:
            d.uv_ok_t += dt
            if d.uv_ok_t > d.uv_wait and (d.uv_release == 0 or released):
                d.uv_latch = 0
    if d.v_a > d.ov_v:
        d.ov_t += dt
        d.ov_ok_t = 0.0
        if d.ov_t > 0.004 and d.ov_latch == 0:
            d.ov_latch = path_code if path_code > 0 else w.OVERVOLTAGE
    elif d.v_a < d.ov_v - d.ov_hyst:
        d.ov_t = 0.0
        d.ov_ok_t += dt
        if d.ov_ok_t > d.ov_wait:
            d.ov_latch = 0
    _heat_latch(d)
    if d.v_a < d.dead_v:
        d.dead = 1
        d.alive_t = 0.0
    else:
        d.alive_t += dt
        if d.alive_t > 0.3:
            d.dead = 0


@njit()
def _heat_latch(d):
    if d.ctrl_seen_c > d.ctrl_stop:
        d.hot_latch = w.CONTROLLER_HOT if abs(d.ctrl_seen_c - d.ctrl_c) < 15 else w.TEMP_SENSOR
    elif d.mot_seen_c > d.mot_stop:
        d.hot_latch = w.MOTOR_HOT if abs(d.mot_seen_c - d.wind_c) < 15 else w.TEMP_SENSOR
    elif d.ctrl_seen_c < d.ctrl_stop - d.hot_hyst and d.mot_seen_c < d.mot_stop - d.hot_hyst:
        d.hot_latch = 0


@njit()
def _fade(seen, begin, stop):
    if seen <= begin:
        return 1.0
    if seen >= stop:
        return 0.0
    return (stop - seen) / max(stop - begin, 1e-6)


@njit()
def _voltage_factor(d, t):
    """Derating by voltage, worked out anew every `derate_period` as small controllers do."""
    if t >= d.derate_at:
        d.derate_at = t + d.derate_period
        if d.from_v > d.stop_v:
            d.derate = min(max((d.v_f - d.stop_v) / (d.from_v - d.stop_v), 0.0), 1.0)
        else:
            d.derate = 1.0
    return d.derate


@njit()
def drive_step(d, dt, t, wheel_mps, path_code, force_off, off_ramp_s, jerk):
    """The drive's phase current, torque and pack power for this step at its bus voltage.

    `force_off` is the cause that switches it off from outside (0 none) over `off_ramp_s`.
    """
    road = wheel_mps / d.radius * d.gear
    if d.loose == 0 and d.slip == 0 and (d.freewheel == 0 or d.omega >= road):
        d.omega = road
    _latches(d, dt, t, path_code)
    ohm = motor_ohm(d)
    kt_w = d.kt * d.omega
    want, governor = _wanted(d, dt, t, kt_w, ohm, wheel_mps)
    block = _blocked_by(d, t, path_code)
    ramp = 0.010
    if force_off > 0:
        if block == 0:
            ramp = off_ramp_s
        block = force_off
    if block > 0:
        want, governor = 0.0, w.BY_BLOCK
    _slew(d, dt, want, block, ramp)
    shaken = d.i_a * jerk
    v = kt_w + ohm * shaken
    if d.dead == 1:
        shaken, v = 0.0, kt_w
    p = v * shaken + d.drop_v * abs(shaken)
    d.i_shown = shaken
    d.p_w = p + (d.standby_w if d.dead == 0 else 0.0)
    d.duty = min(abs(v) / max(d.v_a, 1.0), 1.0) if abs(shaken) > 0.3 else 0.0
    drag = np.sign(d.omega) * (d.drag0 + d.drag1 * abs(d.omega))
    if abs(d.omega) < 0.5:
        drag = d.drag0 * d.omega / 0.5
    d.torque = d.kt * shaken - drag
    d.block, d.governor = block, governor
    if d.loose == 1 and block == 0:
        d.block = w.MECHANICAL
    _to_road(d, dt, road)
    _warm(d, dt, ohm, shaken, abs(wheel_mps))
    return p


@njit()
def _wanted(d, dt, t, kt_w, ohm, wheel_mps):
    """The phase current asked for after every limit, and which one governs."""
    heat_c = _fade(d.ctrl_seen_c, d.ctrl_derate, d.ctrl_stop)
    heat_m = _fade(d.mot_seen_c, d.mot_derate, d.mot_stop)
    factor = _voltage_factor(d, t)
    heat = min(heat_c, heat_m)
    if d.demand_seen >= 0.0:
        want = d.demand_seen * d.phase_drive
        governor = w.BY_PHASE if d.demand_seen > 0.97 else w.BY_RIDER
        top = d.phase_drive * heat
        if want > top:
            want = top
            governor = w.BY_CONTROLLER_HEAT if heat_c < heat_m else w.BY_MOTOR_HEAT
        watts = d.v_a * d.batt_drive * factor
        if d.power_cap_w > 0.0:
            watts = min(watts, d.power_cap_w)
        most = current_for_power(kt_w + d.drop_v, ohm, watts)
        d.lim_f += (most - d.lim_f) * min(1.0, dt / max(d.lim_tau, dt))
        if want > d.lim_f:
            want = max(d.lim_f, 0.0)
            governor = w.BY_VOLTAGE if factor < 0.999 else w.BY_BATTERY
        head = (d.duty_max * d.v_a - kt_w) / ohm
        if want > head:
            want = max(head, 0.0)
            governor = w.BY_HEADROOM
        return want, governor
    return _wanted_brake(d, kt_w, ohm, wheel_mps, heat)


@njit()
def _wanted_brake(d, kt_w, ohm, wheel_mps, heat):
    fade = (wheel_mps - d.brake_end_mps) / max(d.brake_full_mps - d.brake_end_mps, 0.01)
    want = d.demand_seen * d.phase_brake * min(max(fade, 0.0), 1.0)
    governor = w.BY_PHASE if d.demand_seen < -0.97 and fade >= 1.0 else w.BY_RIDER
    if want < -d.phase_brake * heat:
        want, governor = -d.phase_brake * heat, w.BY_MOTOR_HEAT
    least = current_for_power(kt_w - d.drop_v, ohm, -d.v_a * d.batt_brake)
    if want < least:
        want, governor = min(least, 0.0), w.BY_BATTERY
    return want, governor


@njit()
def _blocked_by(d, t, path_code):
    if d.dead == 1:
        return path_code if path_code > 0 else (d.uv_latch if d.uv_latch > 0 else w.SUPPLY)
    if t < d.off_until:
        return d.off_code
    if d.uv_latch > 0:
        return d.uv_latch
    if d.ov_latch > 0:
        return d.ov_latch
    if d.hot_latch > 0:
        return d.hot_latch
    return 0.0


@njit()
def _slew(d, dt, want, block, ramp_s):
    up, down = d.slew_up * dt, d.slew_down * dt
    if block > 0:
        down = max(d.phase_drive, abs(d.i_a)) / ramp_s * dt
        up = down
    step = want - d.i_a
    growing = abs(want) > abs(d.i_a) and want * d.i_a >= 0.0
    most = up if growing else down
    d.i_a += min(max(step, -most), most)


@njit()
def _to_road(d, dt, road):
    """Force at the tyre; a loose or slipping drive turns on its own."""
    force = d.torque * d.gear / d.radius * d.eff
    if d.torque * d.omega < 0.0:
        force = d.torque * d.gear / d.radius / d.eff
    if d.loose == 1:
        d.omega = max(d.omega + d.torque / d.inertia * dt, 0.0)
        d.force = 0.0
        return
    if d.freewheel == 1 and (d.omega < road - 0.5 or force < 0.0):
        d.omega = min(max(d.omega + d.torque / d.inertia * dt, 0.0), road)
        d.force = 0.0
        return
    if d.grip_n > 1e8:
        d.slip = 0.0
    if abs(force) > d.grip_n or d.slip == 1:
        held = np.sign(d.omega - road) * d.grip_n if d.slip == 1 else np.sign(force) * d.grip_n
        spare = d.torque - held * d.radius / d.gear
        before = d.omega - road
        d.omega += spare / (4.0 * d.inertia) * dt
        after = d.omega - road
        still = abs(force) > d.grip_n
        d.slip = 1.0 if still or before * after > 0.0 else 0.0
        force = held
    d.force = force


@njit()
def _warm(d, dt, ohm, current, speed):
    """Winding, case and controller, each a heat store with a way out."""
    iron = d.drag1 * d.omega * d.omega
    to_case = d.wind_case_w_k * (d.wind_c - d.case_c)
    d.wind_c += (ohm * current * current + 0.5 * iron - to_case) * dt / d.wind_j_k
    out = (d.case_air_w_k + d.case_air_v * speed) * (d.case_c - d.air_c)
    d.case_c += (to_case + 0.5 * iron - out) * dt / d.case_j_k
    made = d.ctrl_per_a2 * current * current + d.drop_v * abs(current) + d.standby_w
    d.ctrl_c += (made - d.ctrl_w_k * (d.ctrl_c - d.air_c)) * dt / d.ctrl_j_k

"""The rider, step by step: looks ahead, decides a few times a second, moves a hand that takes time.

The hand runs from -1 (brake) to 1 (drive). When power is gone the rider first holds on, then lets
go, stops, waits, perhaps switches off and on, and tries again.
"""

import numpy as np

from simulator.compiled import njit

RIDING, HALTING, RESTING = 0, 1, 2


@njit()
def _goal_mps(r, s, v, plan, plan_ds, stop_s):
    i = min(int(s / plan_ds), plan.size - 1)
    goal = plan[i]
    j = min(int((s + 1.2 * v) / plan_ds), plan.size - 1)
    goal = min(goal, np.sqrt(plan[j] ** 2 + 2.0 * r.a_brake * 0.2 * v))
    k = int(r.stop_i)
    if k < stop_s.size:
        left = max(stop_s[k] - s, 0.0)
        goal = min(goal, np.sqrt(2.0 * r.a_brake * left))
    return goal


@njit()
def rider_step(r, dt, t, s, v, plan, plan_ds, stop_s, stop_wait, gone, noise):
    """Moves `r.hand` and `r.mech`. `gone` is the share of drives that give nothing though asked.
    Returns 1 when the rider switches the power off and on in this step."""
    cycled = 0
    lost = gone >= 0.99 or (gone > 0.0 and r.leave_one_side == 1)
    r.lost_t = r.lost_t + dt if (lost and abs(r.hand) > 0.1) else max(r.lost_t - dt, 0.0)
    if r.mode == RIDING and r.lost_t > r.react_s:
        r.mode, r.mode_t = HALTING, 0.0
    if r.mode == RIDING:
        _ride(r, dt, t, s, v, plan, plan_ds, stop_s, stop_wait, noise)
    else:
        cycled = _recover(r, dt, v)
    _move_hand(r, dt)
    return cycled


@njit()
def _ride(r, dt, t, s, v, plan, plan_ds, stop_s, stop_wait, noise):
    r.mech = 0.0
    if r.wait_t > 0.0:
        r.wait_t -= dt
        r.target, r.mech, r.integ = 0.0, 1.0, 0.0
        return
    k = int(r.stop_i)
    if k < stop_s.size and (s >= stop_s[k] - 0.3 or (s > stop_s[k] - 4.0 and v < 0.25)):
        r.wait_t = stop_wait[k]
        r.stop_i += 1
        r.target = 0.0
        return
    goal = _goal_mps(r, s, v, plan, plan_ds, stop_s)
    error = goal - v
    if t >= r.decide_t:
        r.decide_t = t + r.decide_s
        aim = r.kp * error + r.integ + r.noise * noise
        if abs(aim) < 0.04:
            aim = 0.0
        most = r.max_demand if s >= r.gentle_m else 0.5 * r.max_demand
        r.target = min(max(aim, -1.0), most)
    if abs(r.kp * error + r.integ) < 1.0 or r.integ * error < 0:
        r.integ = min(max(r.integ + r.ki * error * dt, -0.5), 1.0)
    if r.target < -r.mech_from:
        r.mech = min((-r.target - r.mech_from) / max(1.0 - r.mech_from, 0.01), 1.0)
    if goal < 0.4 and v < 1.0:
        r.target, r.mech = min(r.target, 0.0), 0.5


@njit()
def _recover(r, dt, v):
    """Let go, brake by hand to a stop, rest, switch off and on, try again."""
    r.mode_t += dt
    r.target, r.integ, r.lost_t = 0.0, 0.0, 0.0
    cycled = 0
    if r.mode == HALTING:
        r.mech = min(0.25 * r.mode_t, 0.6)
        if v < 0.05:
            r.mode, r.mode_t, r.mech = RESTING, 0.0, 1.0
        return cycled
    r.mech = 1.0
    if r.cycle_s > 0.0 and r.mode_t > r.cycle_s and r.cycled == 0:
        r.cycled = 1
        cycled = 1
    if r.mode_t > r.rest_s:
        r.tried += 1
        r.max_demand *= r.after_loss
        r.cycled = 0
        r.mode, r.mode_t = (RIDING, 0.0) if r.tried < r.tries else (RESTING, -1e9)
    return cycled


@njit()
def _move_hand(r, dt):
    away = abs(r.target) > abs(r.hand)
    rate = dt / (r.ramp_up if away else r.ramp_down)
    r.hand += min(max(r.target - r.hand, -rate), rate)

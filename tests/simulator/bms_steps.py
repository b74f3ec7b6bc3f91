"""The battery management system, step by step: what it measures, when it opens, when it closes."""

from simulator import words as w
from simulator.compiled import njit


@njit()
def bms_step(b, dt, t, i_a, cell_min, cell_max, pack_temp_c, ambient_c, load_off, woken):
    """Moves the timers on; `b.dis` and `b.chg` hold the cause that opened that way, else 0."""
    b.i_f += (i_a - b.i_f) * min(1.0, dt / max(b.i_tau, dt))
    b.temp_c += (
        (b.r_heat * i_a * i_a - b.heat_w_k * (b.temp_c - 0.5 * (ambient_c + pack_temp_c)))
        * dt
        / b.heat_j_k
    )
    _count(b, dt, i_a, cell_min, cell_max)
    if b.dis == 0:
        _open_discharge(b, t, cell_min)
    if b.chg == 0:
        _open_charge(b, t)
    if (b.dis > 0 or b.chg > 0) and t - b.open_t > b.restart_s:
        _close(b, t, cell_min, cell_max, load_off, woken)


@njit()
def _count(b, dt, i_a, cell_min, cell_max):
    if b.i_f > b.trip_d:
        b.acc_d += dt
    elif b.resets == 1:
        b.acc_d = 0.0
    else:
        b.acc_d = max(b.acc_d - dt, 0.0)
    if b.separate == 0 and -b.i_f > b.trip_c:
        b.acc_c += dt
    elif b.resets == 1:
        b.acc_c = 0.0
    else:
        b.acc_c = max(b.acc_c - dt, 0.0)
    b.t_low = b.t_low + dt if cell_min < b.cell_low else 0.0
    b.t_high = b.t_high + dt if cell_max > b.cell_high and b.separate == 0 else 0.0
    b.idle_t = b.idle_t + dt if abs(i_a) < b.idle_a else 0.0


@njit()
def _open_discharge(b, t, cell_min):
    code = 0.0
    if b.acc_d >= b.delay_d:
        code = w.BMS_DISCHARGE
    elif b.t_low >= b.low_delay:
        code = w.CELL_LOW
    elif b.temp_c > b.hot_c:
        code = w.BMS_HEAT
    elif b.idle_t > b.idle_s:
        code = w.IDLE
    if code > 0:
        b.dis, b.open_t = code, t
        if b.opens_both == 1 or code == w.BMS_HEAT or code == w.IDLE:
            b.chg = code
        b.acc_d = 0.0


@njit()
def _open_charge(b, t):
    code = 0.0
    if b.acc_c >= b.delay_c:
        code = w.BMS_CHARGE
    elif b.t_high >= b.high_delay:
        code = w.CELL_HIGH
    if code > 0:
        b.chg, b.open_t = code, t
        if b.opens_both == 1:
            b.dis = code
        b.acc_c = 0.0


@njit()
def _close(b, t, cell_min, cell_max, load_off, woken):
    if b.needs_rest == 1 and not (load_off or woken):
        return
    if b.dis == w.IDLE or b.chg == w.IDLE:
        if woken:
            b.dis = b.chg = b.idle_t = 0.0
        return
    if b.dis > 0 and _may_close(b, b.dis, cell_min, cell_max):
        b.dis, b.idle_t = 0.0, 0.0
    if b.chg > 0 and _may_close(b, b.chg, cell_min, cell_max):
        b.chg, b.idle_t = 0.0, 0.0


@njit()
def _may_close(b, code, cell_min, cell_max):
    if code == w.CELL_LOW:
        return cell_min > b.low_rearm
    if code == w.CELL_HIGH:
        return cell_max < b.high_rearm
    if code == w.BMS_HEAT:
        return b.temp_c < b.hot_rearm
    return True

"""The second set's BMS: slow samples, an inverse-time overload count, reclosing by itself."""

from simulator import words as w
from simulator.compiled import njit

EVERY_S = 0.08
"""How often it measures [s]."""
RECLOSES = 3.0


@njit()
def bms_step2(b, dt, t, i_a, cell_min, cell_max, pack_temp_c, ambient_c, load_off, woken):
    """As `bms_step`, by other rules. `idle_t` counts quiet time, `woke` the recloses so far."""
    b.temp_c += (
        (b.r_heat * i_a * i_a - b.heat_w_k * (b.temp_c - pack_temp_c)) * dt / (1.1 * b.heat_j_k)
    )
    b.i_f += (i_a - b.i_f) * dt / (0.04 + dt)
    if t % EVERY_S >= dt:
        return
    _overload(b)
    b.t_low = b.t_low + EVERY_S if cell_min < b.cell_low else 0.5 * b.t_low
    high = cell_max > b.cell_high and b.separate == 0
    b.t_high = b.t_high + EVERY_S if high else 0.5 * b.t_high
    b.idle_t = b.idle_t + EVERY_S if abs(i_a) < b.idle_a else 0.0
    if b.dis == 0 and b.chg == 0:
        _open(b, t)
    elif woken:
        b.woke = 0.0
        _reclose(b, t, cell_min, cell_max, True)
    elif t - b.open_t > b.restart_s and b.woke < RECLOSES:
        _reclose(b, t, cell_min, cell_max, False)


@njit()
def _overload(b):
    """Time above the level counts by the square of the overload; below it runs off at half."""
    x = b.i_f / b.trip_d
    b.acc_d = b.acc_d + EVERY_S * x * x if x > 1.0 else max(b.acc_d - 0.5 * EVERY_S, 0.0)
    y = -b.i_f / b.trip_c if b.separate == 0 else 0.0
    b.acc_c = b.acc_c + EVERY_S * y * y if y > 1.0 else max(b.acc_c - 0.5 * EVERY_S, 0.0)


@njit()
def _open(b, t):
    code, charge = 0.0, False
    if b.acc_d >= b.delay_d:
        code = w.BMS_DISCHARGE
    elif b.acc_c >= b.delay_c:
        code, charge = w.BMS_CHARGE, True
    elif b.t_low >= b.low_delay:
        code = w.CELL_LOW
    elif b.t_high >= b.high_delay:
        code, charge = w.CELL_HIGH, True
    elif b.temp_c > b.hot_c:
        code = w.BMS_HEAT
    elif b.idle_t > b.idle_s:
        code = w.IDLE
    if code == 0:
        return
    b.open_t, b.acc_d, b.acc_c, b.t_low, b.t_high = t, 0.0, 0.0, 0.0, 0.0
    whole = b.opens_both == 1 or code == w.BMS_HEAT or code == w.IDLE
    if whole or not charge:
        b.dis = code
    if whole or charge:
        b.chg = code


@njit()
def _reclose(b, t, cell_min, cell_max, woken):
    code = max(b.dis, b.chg)
    if code == w.IDLE and not woken:
        return
    if code == w.CELL_LOW and cell_min < b.low_rearm:
        return
    if code == w.CELL_HIGH and cell_max > b.high_rearm:
        return
    if code == w.BMS_HEAT and b.temp_c > b.hot_rearm:
        return
    b.dis, b.chg, b.idle_t = 0.0, 0.0, 0.0
    if not woken:
        b.woke += 1.0

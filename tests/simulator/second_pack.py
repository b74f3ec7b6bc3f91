"""The second set's pack: five lags spread like a fractional element, hysteresis, a polynomial in
temperature. None of it is in `pack_steps`; only the records are shared."""

from simulator.compiled import njit
from simulator.pack_steps import rest_v

LAGS = 5
HYSTERESIS = 5
"""Where the hysteresis state lies in the record's `node` (the lags lie before it)."""


@njit()
def cold(temp_c):
    """How much more the pack resists than at 25 °C."""
    if temp_c < 25.0:
        away = 25.0 - temp_c
        return 1.0 + 0.016 * away + 0.0007 * away * away
    return 1.0 / (1.0 + 0.013 * (temp_c - 25.0))


@njit()
def _empty(p):
    away = max(0.0, (0.22 - p.z) / 0.22)
    return 1.0 + 0.7 * p.low_rise * away * away


@njit()
def instant_ohm2(p):
    """Ohmic resistance of the cells now [ohm]."""
    return p.r0 * (0.6 + 0.4 * cold(p.temp_c))


@njit()
def _rest(p, curve, z):
    flat = rest_v(curve, z + 0.01) - rest_v(curve, z - 0.01) < 0.004
    return rest_v(curve, z) + (0.010 if flat else 0.005) * p.node[HYSTERESIS]


@njit()
def behind_v2(p, curve):
    """Pack volts behind the ohmic part."""
    lost = 0.0
    for k in range(LAGS):
        lost += p.node[k]
    each = lost / p.series
    weak = _rest(p, curve, p.zw) - p.weak_r * each
    return (p.series - 1.0) * (_rest(p, curve, p.z) - each) + weak


@njit()
def pack_step2(p, curve, i_a, dt):
    """Moves the pack on by `dt` at `i_a` and sets its cell voltages."""
    rise = cold(p.temp_c) * _empty(p)
    total = (p.r1 + 1.5 * p.r2) * rise
    tau, weight, lost = 0.12, 1.0, 0.0
    for k in range(LAGS):
        share = weight / 4.66
        p.node[k] += (total * share * i_a - p.node[k]) * dt / (tau + 0.5 * dt)
        lost += p.node[k]
        tau *= 7.2
        weight *= 0.96
    flow = -i_a / (3600.0 * p.cap_ah)
    p.node[HYSTERESIS] += 60.0 * (flow - abs(flow) * p.node[HYSTERESIS]) * dt
    p.z += flow * dt
    p.zw += flow * dt / p.weak_cap
    each = (lost + instant_ohm2(p) * i_a) / p.series
    typical = _rest(p, curve, p.z) - each
    weak = _rest(p, curve, p.zw) - p.weak_r * each
    p.v_cells = (p.series - 1.0) * typical + weak
    p.cell_min = min(typical - p.spread_v, weak)
    p.cell_max = max(typical + p.spread_v, weak)
    p.i_a = i_a
    p.heat_w = abs(i_a * each * p.series)
    p.temp_c += (p.heat_w - p.heat_w_k * (p.temp_c - p.ambient_c)) * dt / p.heat_j_k


@njit()
def pulse_drop2(pack, curve, amps, dt, steps):
    """Volts lost after so many steps of `amps` from rest."""
    p = pack[0]
    pack_step2(p, curve, 0.0, dt)
    before = p.v_cells
    for _ in range(steps):
        pack_step2(p, curve, amps, dt)
    return before - p.v_cells


@njit()
def closed_bus2(p, curve, ohm, watts, amps, v):
    """Two rounds of fixed-point from the last voltage: what a real bus settles to in no time."""
    behind = behind_v2(p, curve)
    bus = max(v, 0.5 * behind)
    for _ in range(3):
        bus = max(behind - ohm * (watts / bus + amps), 0.4 * behind)
    return bus, watts / bus + amps

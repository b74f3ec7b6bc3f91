"""The pack, step by step: rest voltage, three ways to sag, heat, one weak group.

Richer than any straight fit: charge transfer bends with current (Butler-Volmer, as asinh), the
slow part is diffusion into the electrode solved on eight layers and read through the rest-voltage
curve, every part has its own Arrhenius energy, and resistance rises towards empty.
"""

import numpy as np

from simulator.compiled import njit
from simulator.own_curve import HIGH, LOW, POINTS
from simulator.records import NODES

GAS = 8.314462618
T25_K = 298.15


@njit()
def arrhenius(energy_j_mol, temp_c):
    return np.exp(energy_j_mol / GAS * (1.0 / (temp_c + 273.15) - 1.0 / T25_K))


@njit()
def rest_v(curve, z):
    at = (z - LOW) / (HIGH - LOW) * (POINTS - 1)
    at = min(max(at, 0.0), POINTS - 1.000001)
    i = int(at)
    return curve[i] + (at - i) * (curve[i + 1] - curve[i])


@njit()
def _rise(p):
    """How much more the cells resist near empty."""
    return 1.0 + p.low_rise * np.exp(-max(p.z, 0.0) / 0.07)


@njit()
def instant_ohm(p):
    """Ohmic resistance of the cells and their links now [ohm]."""
    return p.r0 * arrhenius(p.ea0, p.temp_c) * (0.5 + 0.5 * _rise(p)) + p.link_ohm


@njit()
def _surface(p):
    return p.node[0]


@njit()
def behind_v(p, curve):
    """Pack volts behind the ohmic part: what an instant change of current starts from."""
    dz = _surface(p)
    common = (p.u1 + p.u2) / p.series
    typical = rest_v(curve, p.z + dz) - common
    weak = rest_v(curve, p.zw + dz / p.weak_cap) - p.weak_r * common
    return (p.series - 1.0) * typical + weak


@njit()
def weak_extra_ohm(p):
    """The weak group's own extra ohmic resistance [ohm]."""
    return (instant_ohm(p) - p.link_ohm) / p.series * (p.weak_r - 1.0)


@njit()
def pack_step(p, curve, i_a, dt):
    """Moves the pack on by `dt` at `i_a` and sets its cell voltages."""
    rise = _rise(p)
    r0, extra = instant_ohm(p), weak_extra_ohm(p)
    bend = p.i_bend_a
    u1_to = p.r1 * arrhenius(p.ea1, p.temp_c) * rise * bend * np.arcsinh(i_a / bend)
    if i_a < 0:
        u1_to *= 0.96
    u2_to = p.r2 * arrhenius(p.ea2, p.temp_c) * rise * i_a
    p.u1 += (u1_to - p.u1) * dt / (p.tau1 + 0.5 * dt)
    p.u2 += (u2_to - p.u2) * dt / (p.tau2 + 0.5 * dt)
    flow = -i_a / (3600.0 * p.cap_ah)
    p.z += flow * dt
    p.zw += flow * dt / p.weak_cap
    _diffuse(p, flow, dt)
    dz = _surface(p)
    common = (p.u1 + p.u2 + r0 * i_a) / p.series
    rest = rest_v(curve, p.z + dz)
    typical = rest - common
    weak = rest_v(curve, p.zw + dz / p.weak_cap) - p.weak_r * common
    p.v_cells = (p.series - 1.0) * typical + weak
    p.cell_min = min(typical - p.spread_v, weak)
    p.cell_max = max(typical + p.spread_v, weak)
    p.i_a = i_a
    sag = rest_v(curve, p.z) * p.series - p.v_cells
    p.heat_w = max(sag * i_a, 0.0) + extra * i_a * i_a
    p.temp_c += (p.heat_w - p.heat_w_k * (p.temp_c - p.ambient_c)) * dt / p.heat_j_k


@njit()
def _diffuse(p, flow, dt):
    """Charge wanders from the surface layer inwards; layers hold the deviation from the mean."""
    speed = arrhenius(-0.6 * p.ea2, p.temp_c) / p.tau_d
    before = flow
    for j in range(NODES):
        after = 0.0
        if j < NODES - 1:
            gap = 0.5 * (p.width[j] + p.width[j + 1])
            after = (p.node[j] - p.node[j + 1]) / gap * speed
        p.node[j] += ((before - after) / p.width[j] - flow) * dt
        before = after


@njit()
def pulse_drop(pack, curve, amps, dt, steps):
    """Volts lost after so many steps of `amps` from rest."""
    p = pack[0]
    pack_step(p, curve, 0.0, dt)
    before = p.v_cells
    for _ in range(steps):
        pack_step(p, curve, amps, dt)
    return before - p.v_cells

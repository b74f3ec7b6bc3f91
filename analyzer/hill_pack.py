"""The pack on a hill, d draws at once: rest voltage, sag behind its lags, warming by its losses.

Warming: the heat of what is lost between rest and terminals, I (U_rest - U), on the pack's heat
capacity (Bernardi et al. 1985, J. Electrochem. Soc. 132, 5, without the entropic part).
"""

from __future__ import annotations

import numpy as np

from analyzer.build_pack import (
    COOLS_S,
    SLOW_TAU_S,
    low_charge_factor,
    slope_part,
    warm_factor,
)
from analyzer.hill_ahead import PerDraw
from analyzer.hill_build import BuildDraws
from analyzer.lags import TAUS_S
from analyzer.quantities import Bools, Floats
from analyzer.rest_voltage import cell_volts, family


class HillPack:
    """A build's pack through one run: `draw` moves it on."""

    def __init__(self, build: BuildDraws, each: PerDraw, step_s: float) -> None:
        self.b, self.each, self.step_s = build, each, step_s
        setup, d = build.setup, build.draws
        self.charge = np.linspace(0.0, 100.0, 201)
        self.curves = [
            cell_volts(one, self.charge, setup) * setup.pack.series for one in family(setup)
        ]
        self.slopes = [slope_part(self.charge, v, build.fitted_charge_pct) for v in self.curves]
        self.slow = np.array(TAUS_S)[:, None] >= SLOW_TAU_S
        self.decay = np.array([0.0 if t == 0 else np.exp(-step_s / t) for t in TAUS_S])
        self.keeps_warm = float(np.exp(-step_s / COOLS_S))
        self.drawn_ah = np.zeros(d)
        self.warmed_k = np.zeros(d)
        self.lag_a = np.zeros((len(TAUS_S), d))
        """The current behind each lag."""
        self.volts = self.rest_v()

    def rest_v(self) -> Floats:
        """What the pack would rest at now (d) [V]."""
        charge = self._charge_pct()
        inside, below = np.zeros(charge.size), np.zeros(charge.size)
        for k, volts in enumerate(self.curves):
            mine = self.b.curve == k
            inside[mine] = np.interp(charge[mine], self.charge, volts)
            below[mine] = np.minimum(charge[mine], 0.0) * (volts[1] - volts[0]) * 2
        return np.asarray(inside + below + self.b.rest_offset_v, np.float64)

    def _charge_pct(self) -> Floats:
        return self.each.charge_pct - 100.0 * self.drawn_ah / self.b.capacity_ah

    def _ohm(self) -> Floats:
        """Resistance behind each lag now (lags, d)."""
        charge = self._charge_pct()
        slope = np.ones(charge.size)
        for k, part in enumerate(self.slopes):
            mine = self.b.curve == k
            slope[mine] = np.interp(charge[mine], self.charge, part)
        warm = warm_factor(self.each.temp_c + self.warmed_k, self.b.activation_j_per_mol)
        low = low_charge_factor(charge, self.b.low_rise)
        return np.asarray(self.b.pack_ohm * warm * low * np.where(self.slow, slope, 1.0))

    def draw(self, watts: Floats, live: Bools) -> Floats:
        """Gives this power (d) and the lights' for a step; the current. Charge and warmth move only
        where the run still lives."""
        ohm, rest = self._ohm(), self.rest_v()
        behind = rest - (ohm[1:] * self.decay[1:, None] * self.lag_a[1:]).sum(axis=0)
        fresh = (ohm[1:] * (1 - self.decay[1:, None])).sum(axis=0)
        inner = np.maximum(ohm[0] + fresh, 1e-6)
        total = watts + self.b.aux_a * self.volts
        root = behind**2 - 4 * inner * total
        volts = 0.5 * (behind + np.sqrt(np.clip(root, 0.0, None)))
        amps = np.where(root > 0, total / np.maximum(volts, 1.0), behind / (2 * inner))
        self.lag_a = self.decay[:, None] * self.lag_a + (1 - self.decay[:, None]) * amps
        lost_k = np.clip(amps * (rest - volts), 0.0, None) * self.step_s / self.b.pack_j_per_k
        self.warmed_k = np.where(live, self.keeps_warm * self.warmed_k + lost_k, self.warmed_k)
        self.drawn_ah = self.drawn_ah + np.where(live, amps * self.step_s / 3600.0, 0.0)
        self.volts = volts
        return np.asarray(amps, np.float64)

"""The current behind first-order lags: how a pack's voltage answers a load over time."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyzer.quantities import Floats
from analyzer.spells import Stretch

TAUS_S = (0.0, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
"""Time constants of the lags [s]; a factor of about three apart tells any pack's relaxation to
well under a per cent between 0.1 and 300 s. Our choice."""


def lagged(current_a: Floats, tau_s: float, step_s: float, start: float) -> Floats:
    """The current behind a first-order lag, exact for a current that runs straight between
    samples; `start` is the lag's state at the first sample."""
    if tau_s == 0.0 or current_a.size == 0:
        return current_a
    a = float(np.exp(-step_s / tau_s))
    held = (1 - a) * tau_s / step_s
    before, now = held - a, 1 - held
    drive = np.empty(current_a.size)
    drive[0] = start
    drive[1:] = (before * current_a[:-1] + now * current_a[1:]) / (1 - a)
    # pandas' exponential mean without adjustment is exactly this recursion.
    out = pd.Series(drive).ewm(alpha=1 - a, adjust=False).mean()
    return np.asarray(out, np.float64)


def lag_columns(stretches: list[Stretch], step_s: float) -> list[Floats]:
    """One m x 7 array per stretch: the current behind each lag, carried through the holes."""
    out: list[Floats] = []
    state = np.zeros(len(TAUS_S))
    for one in stretches:
        decay = np.array([np.exp(-one.hole_s / tau) if tau else 0.0 for tau in TAUS_S])
        state = one.hole_current_a + (state - one.hole_current_a) * decay
        columns = [
            lagged(one.current_a, tau, step_s, float(start))
            for tau, start in zip(TAUS_S, state, strict=True)
        ]
        out.append(np.column_stack(columns))
        state = out[-1][-1]
    return out


def pulse_ohm(resistances_ohm: Floats, time_s: float) -> Floats:
    """Voltage drop over step `time_s` after a step from rest; last axis is the lags."""
    part = np.array([1.0 if tau == 0 else 1 - np.exp(-time_s / tau) for tau in TAUS_S])
    return np.asarray(resistances_ohm @ part)

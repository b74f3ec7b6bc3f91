"""Which rows of a ride show the pack, and whether a fit to them can be believed."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from analyzer.pack_grid import ExpectedRest
from analyzer.quantities import Bools, Floats, Quantity
from analyzer.resistance import ResistanceFit, fit_resistance
from analyzer.rest_voltage import rest_after, shape_sd
from analyzer.spells import Stretch, even_stretches
from analyzer.temperature import resistance_over_mean
from importers.ride import Ride
from importers.setup_types import Setup

BOOTSTRAP_SHORT = 2.1
"""A block bootstrap of one ride sees too little of what changes slowly; its standard deviations
are widened by this, measured likewise."""
LEAST_TIME_S = 60.0
"""Less than this of voltage and current together is not fitted. Our choice."""
POSSIBLE_CELL_V = (2.0, 4.6)
"""Volts per cell in use lie inside this; beyond is a cut-off bus or a bad row. Our choice."""
COLLAPSE_S = 1.0
"""Rows this near to one that is not the pack's are left out, too [s]. Our choice."""
FAR_SPREADS = 8.0
FAR_PART = 0.04
"""A voltage this many spreads and this part of the rest voltage away from the fit is not the
pack's: its path was open. Our choice."""
LEAST_EXPLAINED = 0.4
"""Where load explains less of the voltage than this, the readings do not belong together: a sign,
a column or a clip. Our choice."""
WIDEST_RESISTANCE = 0.6
"""A 95 % half-width wider than this part of the value is no answer. Our choice."""


def fit_pack(
    ride: Ride, setup: Setup, volts: Quantity | None, amps: Quantity | None, seed: int
) -> tuple[ResistanceFit | None, str]:
    """The fit to the rows whose voltage is the pack's, or None and why there is none."""
    if volts is None:
        return None, "No pack or controller voltage was logged."
    if amps is None:
        return None, "The battery current of at least one drive was not logged, nor the pack's."
    cell_v = volts.values / setup.pack.series
    good = (cell_v > POSSIBLE_CELL_V[0]) & (cell_v < POSSIBLE_CELL_V[1])

    def all_belong(fit: ResistanceFit) -> bool:
        return bool(_belongs(fit, ride, volts.values)[good].all())

    fit, why = _fit_rows(ride, setup, volts.values, amps.values, good, seed, worth=all_belong)
    if fit is None:
        return None, why
    fits = _belongs(fit, ride, volts.values)
    if not fits[good].all():
        again, _ = _fit_rows(
            ride, setup, volts.values, amps.values, good & fits, seed, lag_s=fit.lag_s
        )
        if again is None:  # too little is left: all rows count, with their spread
            again, _ = _fit_rows(
                ride, setup, volts.values, amps.values, good, seed, lag_s=fit.lag_s
            )
        fit = again or fit
    return _believable(fit)


def _fit_rows(
    ride: Ride,
    setup: Setup,
    volts: Floats,
    amps: Floats,
    good: Bools,
    seed: int,
    lag_s: float | None = None,
    worth: Callable[[ResistanceFit], bool] | None = None,
) -> tuple[ResistanceFit | None, str]:
    """The fit to the rows that are good."""
    spoilt = ~good & np.isfinite(volts)
    if spoilt.any():  # a collapse begins before it is seen and ends after
        good = good & ~_near(spoilt, ride.time_s)
    step, stretches = even_stretches(
        ride.time_s, np.where(good, volts, np.nan), amps, gap_s=ride.gap_s
    )
    held = sum(one.time_s.size for one in stretches) * step
    if held < LEAST_TIME_S:
        return None, (
            f"Voltage and current were logged together for {held:.0f} s; "
            f"a fit takes at least {LEAST_TIME_S:.0f} s."
        )
    trouble = _no_variation(stretches, setup)
    if trouble:
        return None, trouble
    fit = fit_resistance(
        stretches,
        step,
        rated_ah=setup.pack.capacity_ah,
        series=setup.pack.series,
        curve=ExpectedRest(partial(rest_after, setup), setup.pack.capacity_ah, shape_sd(setup)),
        warmth=partial(resistance_over_mean, ride),
        seed=seed,
        lag_s=lag_s,
        worth=worth,
    )
    return fit, ""


def _near(spoilt: Bools, time_s: Floats) -> Bools:
    """Rows within `COLLAPSE_S` of a spoilt one."""
    at = time_s[spoilt]
    after = np.searchsorted(at, time_s - COLLAPSE_S)
    return np.asarray(after < np.searchsorted(at, time_s + COLLAPSE_S, side="right"))


def _belongs(fit: ResistanceFit, ride: Ride, volts: Floats) -> Bools:
    """Rows whose voltage is the pack's: not that of a bus the pack was cut off from."""
    away = volts - np.interp(ride.time_s, fit.time_s, fit.modelled_v)
    known = away[np.isfinite(away)]
    spread = 1.4826 * float(np.median(np.abs(known - np.median(known))))
    limit = max(FAR_SPREADS * spread, FAR_PART * float(np.median(fit.rest_v)))
    return np.asarray(~(np.abs(away) > limit))


def _no_variation(stretches: list[Stretch], setup: Setup) -> str:
    amps = np.concatenate([one.current_a for one in stretches])
    volts = np.concatenate([one.voltage_v for one in stretches])
    swing = float(np.quantile(amps, 0.98) - np.quantile(amps, 0.02))
    if swing < 0.1 * setup.pack.capacity_ah:
        return (
            f"The pack's current varied by only {swing:.1f} A; without pulling away and letting "
            "go, sag cannot be told from discharge."
        )
    if float(np.ptp(volts)) <= 0:
        return "The voltage reading never changes."
    return ""


def _believable(fit: ResistanceFit) -> tuple[ResistanceFit | None, str]:
    if fit.pulse_ohm <= 0 or fit.explained < LEAST_EXPLAINED:
        return None, (
            f"The load explains only {max(fit.explained, 0):.0%} of how the voltage moved: voltage "
            "and current do not fit together (a sign, a column, a clipped or unsigned current, "
            "or a reading too coarse)."
        )
    if 1.96 * fit.pulse_sd_ohm * BOOTSTRAP_SHORT > WIDEST_RESISTANCE * fit.pulse_ohm:
        return None, "The ride is too short or too even for the resistance to be told."
    return fit, ""

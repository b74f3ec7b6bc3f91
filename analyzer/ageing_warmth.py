"""What a resistance owes to temperature, charge level and logger, as columns of a fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analyzer.ageing_parts import ORIGIN_SD, Kept, origin_columns
from analyzer.quantities import Floats
from analyzer.temperature import (
    DEFAULT_E_J_PER_MOL,
    GAS_J_PER_MOL_K,
    PLAUSIBLE_E_J_PER_MOL,
    ZERO_C_K,
    heat_of,
)
from analyzer.trend_fit import SEASON_SD

CHARGE_SD = 0.3
"""By how much ln R may change from full to empty, one standard deviation. Our choice: most cells
rise by less than half towards empty."""

PARTS_VARIANCE, PARTS_VARIANCE_SD = 30.0, 20.0
"""How far the activation energies of the parts of a pack's resistance lie apart, as their weighted
variance, and its standard deviation [(kJ/mol)^2]. A sum of Arrhenius laws bends upwards in ln R
over 1/T by half of it (the second cumulant). Leads know no temperature, an electrolyte has 10 to
18 kJ/mol, charge transfer and diffusion 25 to 50: 0 to 70, by how much each takes. Our choice."""

LOGGED_SD_C, UNKNOWN_SD_C = 0.4, 8.0
"""How well a ride's mean temperature is known from one ride to another, one standard deviation
[°C]: a sensor's last digit and place (its own error all rides share: it goes into level and
activation energy), and what the seasons do where it is not logged. Our choice."""


def contact_shape(heat: Floats, e_kj: float) -> Floats:
    """What a contact adds does not grow in the cold: in ln R its step shrinks as the cells' part
    rises."""
    return np.asarray(np.exp(-max(e_kj, 0.0) * heat), np.float64)


def season_sd(rides: Sequence[Kept]) -> float:
    """The yearly swing that is left: where no ride knows its temperature, all that seasons do."""
    return float(np.hypot(SEASON_SD, common_sd(rides)))


def common_sd(rides: Sequence[Kept]) -> float:
    """What a temperature that no ride knows adds to ln R of them all: they are brought to 25 °C
    from one assumed value, and are wrong together."""
    unknown = np.array([temperature_sd(one) for one in rides if not one.summary.temperature_logged])
    return float(unknown.size / len(rides) * np.median(unknown)) if unknown.size else 0.0


def temperature_sd(one: Kept) -> float:
    """What the pack's temperature adds to ln R from ride to ride."""
    sd_c = LOGGED_SD_C if one.summary.temperature_logged else UNKNOWN_SD_C
    kelvin = ZERO_C_K + float(one.summary.temperature_c or 0.0)
    return DEFAULT_E_J_PER_MOL / GAS_J_PER_MOL_K / kelvin**2 * sd_c


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """What explains ln R, one row a ride."""

    extra: Floats
    """n x p: temperature, charge level, loggers; last the bend over temperature."""
    mean: Floats
    """p values that the columns are expected to have ..."""
    sd: Floats
    """... and their standard deviations."""
    changes: tuple[int, ...]
    """Places where the logger changes."""

    def with_energy(self, e_kj: tuple[float, float] | None) -> Columns:
        """The same with another activation energy expected, and its sd [kJ/mol]."""
        if e_kj is None:
            return self
        mean, sd = self.mean.copy(), self.sd.copy()
        mean[0], sd[0] = e_kj
        return replace(self, mean=mean, sd=sd)


def regressors(rides: Sequence[Kept]) -> Columns:
    """Columns that explain ln R, with the values they are expected to have."""
    heat = heat_of(np.array([one.summary.temperature_c for one in rides], np.float64))
    levels = []
    for one in rides:
        ends = [e[0] for e in (one.summary.charge_start_pct, one.summary.charge_end_pct) if e]
        levels.append(sum(ends) / len(ends) if ends else 50.0)
    charge = (np.array(levels) - 50.0) / 100.0
    origin, changes = origin_columns(rides)
    spread = (PLAUSIBLE_E_J_PER_MOL[1] - PLAUSIBLE_E_J_PER_MOL[0]) / 3.92 / 1000
    others = origin.shape[1]
    return Columns(
        np.column_stack([heat, charge, origin, 0.5 * heat**2]),
        np.array([DEFAULT_E_J_PER_MOL / 1000, 0.0, *[0.0] * others, PARTS_VARIANCE]),
        np.array([spread, CHARGE_SD, *[ORIGIN_SD] * others, PARTS_VARIANCE_SD]),
        changes,
    )

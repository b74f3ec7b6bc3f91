"""How has the pack's resistance grown, temperature and charge level taken out, and did it jump?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from analyzer.ageing_jumps import CONTACT_PASSES, find_jumps
from analyzer.ageing_parts import Kept, own_sd, widened, years
from analyzer.ageing_warmth import (
    common_sd,
    contact_shape,
    regressors,
    season_sd,
    temperature_sd,
)
from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from analyzer.temperature import heat_of
from analyzer.trend import Step, Trend, fit_trend

COMMON_GAIN_SD = 0.02
"""Scale error of current and voltage that all rides of one logger share [relative]."""
GROWTH_WIDER = 1.15
"""By how much the interval of the growth is wider than the fit says, which takes weights, scatter
and the day of a jump for known. Over 1,300 books of tests/simulator/books.py without ageing the
fit's own missed the truth in 5.5 %; this wide in 3 %, so that no ageing is not said to be some."""
LEAST_OWN_SD = 0.004
"""A ride's own uncertainty is not believed to be less [relative]. Our choice: what rides scatter
beyond theirs is found from the book itself."""


@dataclass(frozen=True, slots=True)
class Jump:
    """A day on which the resistance stepped."""

    date: datetime
    """Start of the first ride after it."""
    before: datetime
    """Start of the last ride before it."""
    step_pct: Estimate
    part: str
    """`instant` (contact, wiring), `slow` (cells) or `both`."""
    first: int
    """Place of the first ride after it among the rides used."""


@dataclass(frozen=True, slots=True, eq=False)
class ResistanceAgeing:
    """The course of the 10 s resistance at 25 °C and mid charge."""

    now_25c_ohm: Estimate
    new_25c_ohm: Estimate
    growth_pct_per_year: Estimate
    jumps: tuple[Jump, ...]
    activation_kj_per_mol: Estimate
    """At 25 °C."""
    parts_variance: Estimate
    """How far the activation energies of its parts lie apart [(kJ/mol)^2]: the bend of ln R over
    1/T (`analyzer.ageing_warmth.PARTS_VARIANCE`)."""
    used: tuple[str, ...]
    """Names of the rides the course rests on, in time order (n)."""
    at_25c_ohm: Floats
    """n values brought to 25 °C and mid charge with this pack's own activation energy."""
    fitted_ohm: Floats
    temperature_c: Floats
    trend: Trend

    def over_25c(self, temperature_c: float, *, today: bool = True) -> Estimate:
        """The resistance at a temperature over that at 25 °C; `today` with the contacts that have
        come loose, which know no temperature."""
        heat = heat_of(temperature_c)
        bend = 0.5 * heat**2
        energy, variance = self.activation_kj_per_mol, self.parts_variance
        half = float(np.hypot(heat * energy.half_width, bend * variance.half_width))
        middle = heat * energy.value + bend * variance.value
        contact = sum(
            np.log1p(one.step_pct.value / 100) for one in self.jumps if one.part == "instant"
        )

        def ratio(ln: float) -> float:
            return float(np.exp(ln + (contact * np.expm1(-ln) if today else 0.0)))

        ends = sorted((ratio(middle - half), ratio(middle + half)))
        return Estimate(ratio(middle), ends[0], ends[1])


def resistance_course(rides: Sequence[Kept]) -> ResistanceAgeing | None:
    """The course over the rides that tell, or None where they are too few."""
    good = [one for one in rides if one.summary.resistance_10s_ohm and _temp_known(one)]
    if not good:
        return None
    y = np.array([_value(one.summary.resistance_10s_ohm) for one in good])
    sd = np.array(
        [own_sd(one.summary.resistance_10s_ohm, COMMON_GAIN_SD, LEAST_OWN_SD) for one in good]  # type: ignore[arg-type]
    )
    sd = np.hypot(sd, y * np.array([temperature_sd(one) for one in good]))
    columns = regressors(good)
    extra = columns.extra
    parts = find_jumps(good, y, sd, columns)
    season = season_sd(good)
    trend, e_kj = None, float(columns.mean[0])
    for _ in range(CONTACT_PASSES if "instant" in parts.values() else 1):
        contact = contact_shape(extra[:, 0], e_kj)
        ones = np.ones(len(good))
        trend = fit_trend(
            years(good),
            y,
            sd,
            regressors=extra,
            prior_mean=columns.mean,
            prior_sd=columns.sd,
            barred=columns.changes,
            at_steps={at: contact if part == "instant" else ones for at, part in parts.items()},
            look_for_jumps=False,
            season_sd=season,
        )
        if trend is None:
            return None
        e_kj = trend.regressors[0].value
    assert trend is not None
    beta = np.array([one.value for one in trend.regressors])
    common = float(np.hypot(COMMON_GAIN_SD, common_sd(good)))
    return ResistanceAgeing(
        now_25c_ohm=widened(trend.now, common),
        new_25c_ohm=widened(trend.new, common),
        growth_pct_per_year=_wider(trend.growth_pct_per_year),
        jumps=tuple(_jump(step, good, parts) for step in trend.steps),
        activation_kj_per_mol=trend.regressors[0],
        parts_variance=trend.regressors[-1],
        used=tuple(one.name for one in good),
        at_25c_ohm=y * np.exp(-extra @ beta),
        fitted_ohm=trend.fitted,
        temperature_c=np.array([one.summary.temperature_c for one in good], np.float64),
        trend=trend,
    )


def _wider(one: Estimate) -> Estimate:
    low, high = (
        None if end is None else one.value + GROWTH_WIDER * (end - one.value)
        for end in (one.low, one.high)
    )
    return Estimate(one.value, low, high)


def _temp_known(one: Kept) -> bool:
    return one.summary.temperature_c is not None


def _value(triple: tuple[float, float | None, float | None] | None) -> float:
    assert triple is not None
    return triple[0]


def _jump(step: Step, rides: Sequence[Kept], parts: Mapping[int, str]) -> Jump:
    ratio = step.ratio
    pct = Estimate(
        100 * (ratio.value - 1),
        None if ratio.low is None else 100 * (ratio.low - 1),
        None if ratio.high is None else 100 * (ratio.high - 1),
    )
    return Jump(
        date=rides[step.first].start,
        before=rides[step.first - 1].start,
        step_pct=pct,
        part=parts.get(step.first, "both"),
        first=step.first,
    )

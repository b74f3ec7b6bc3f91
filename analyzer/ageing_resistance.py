"""How has the pack's resistance grown, temperature and charge level taken out, and did it jump?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from analyzer.ageing_parts import ORIGIN_SD, Kept, origin_columns, own_sd, widened, years
from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from analyzer.temperature import (
    DEFAULT_E_J_PER_MOL,
    GAS_J_PER_MOL_K,
    PLAUSIBLE_E_J_PER_MOL,
    REFERENCE_K,
    ZERO_C_K,
)
from analyzer.trend import JUMP_EDGE, Step, Trend, fit_trend

COMMON_GAIN_SD = 0.02
"""Scale error of current and voltage that all rides of one logger share [relative]."""
LEAST_OWN_SD = 0.015
"""A ride's own uncertainty is not believed to be less [relative]. Our choice."""
CHARGE_SD = 0.3
"""By how much ln R may change from full to empty, one standard deviation. Our choice: most cells
rise by less than half towards empty."""
INSTANT_E_KJ = (12.0, 8.0)
"""Activation energy of the part that answers at once, and its standard deviation [kJ/mol]:
electrolyte conduction has 17 (Ecker 2015, O'Kane 2022), copper none that matters."""
PARTS_LEAST = 0.7
"""Share of the rides that must tell the instant part for jumps to be looked for by part; below it
they are looked for in the whole. Our choice."""


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
    used: tuple[str, ...]
    """Names of the rides the course rests on, in time order (n)."""
    at_25c_ohm: Floats
    """n values brought to 25 °C and mid charge with this pack's own activation energy."""
    fitted_ohm: Floats
    temperature_c: Floats
    trend: Trend


def resistance_course(rides: Sequence[Kept]) -> ResistanceAgeing | None:
    """The course over the rides that tell, or None where they are too few."""
    good = [one for one in rides if one.summary.resistance_10s_ohm and _temp_known(one)]
    if not good:
        return None
    y = np.array([_value(one.summary.resistance_10s_ohm) for one in good])
    sd = np.array(
        [own_sd(one.summary.resistance_10s_ohm, COMMON_GAIN_SD, LEAST_OWN_SD) for one in good]  # type: ignore[arg-type]
    )
    sd = np.hypot(sd, y * np.array([_temperature_sd(one) for one in good]))
    extra, mean, prior, changes = _regressors(good)
    parts = _jumps_by_part(good, changes)
    ones = np.ones(len(good))
    # What a contact adds does not grow in the cold: in ln R its step shrinks as the cells' part
    # rises.
    contact = np.exp(-mean[0] * extra[:, 0])
    trend = fit_trend(
        years(good),
        y,
        sd,
        regressors=extra,
        prior_mean=mean,
        prior_sd=prior,
        barred=changes,
        at_steps={at: contact if part == "instant" else ones for at, part in parts.items()},
        look_for_jumps=not _parts_known(good),
    )
    if trend is None:
        return None
    beta = np.array([one.value for one in trend.regressors])
    return ResistanceAgeing(
        now_25c_ohm=widened(trend.now, COMMON_GAIN_SD),
        new_25c_ohm=widened(trend.new, COMMON_GAIN_SD),
        growth_pct_per_year=trend.growth_pct_per_year,
        jumps=tuple(_jump(step, good, parts) for step in trend.steps),
        activation_kj_per_mol=trend.regressors[0],
        used=tuple(one.name for one in good),
        at_25c_ohm=y * np.exp(-extra @ beta),
        fitted_ohm=trend.fitted,
        temperature_c=np.array([one.summary.temperature_c for one in good], np.float64),
        trend=trend,
    )


def _temp_known(one: Kept) -> bool:
    return one.summary.temperature_c is not None


def _value(triple: tuple[float, float | None, float | None] | None) -> float:
    assert triple is not None
    return triple[0]


def _temperature_sd(one: Kept) -> float:
    """What the pack's temperature adds to ln R: logged within a degree or two, else unknown."""
    sd_c = 1.0 if one.summary.temperature_logged else 8.0
    kelvin = ZERO_C_K + float(one.summary.temperature_c or 0.0)
    return DEFAULT_E_J_PER_MOL / GAS_J_PER_MOL_K / kelvin**2 * sd_c


def _regressors(
    rides: Sequence[Kept], e_kj: tuple[float, float] | None = None
) -> tuple[Floats, Floats, Floats, tuple[int, ...]]:
    kelvin = ZERO_C_K + np.array([one.summary.temperature_c for one in rides], np.float64)
    heat = (1 / kelvin - 1 / REFERENCE_K) * 1000.0 / GAS_J_PER_MOL_K
    levels = []
    for one in rides:
        ends = [e[0] for e in (one.summary.charge_start_pct, one.summary.charge_end_pct) if e]
        levels.append(sum(ends) / len(ends) if ends else 50.0)
    charge = (np.array(levels) - 50.0) / 100.0
    origin, changes = origin_columns(rides)
    spread = (PLAUSIBLE_E_J_PER_MOL[1] - PLAUSIBLE_E_J_PER_MOL[0]) / 3.92 / 1000
    centre, sd = e_kj or (DEFAULT_E_J_PER_MOL / 1000, spread)
    others = origin.shape[1]
    return (
        np.column_stack([heat, charge, origin]),
        np.array([centre, 0.0, *[0.0] * others]),
        np.array([sd, CHARGE_SD, *[ORIGIN_SD] * others]),
        changes,
    )


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


def _split(one: Kept) -> tuple[float, float] | None:
    """The instant and the slow part of a ride's resistance [ohm]; None where not both are told."""
    instant, whole = one.summary.resistance_instant_ohm, one.summary.resistance_10s_ohm
    if instant is None or whole is None or not 0 < instant[0] < whole[0]:
        return None
    return instant[0], whole[0] - instant[0]


def _parts_known(rides: Sequence[Kept]) -> bool:
    """Whether enough rides tell the parts apart to look for jumps in each."""
    return sum(_split(one) is not None for one in rides) >= PARTS_LEAST * len(rides)


def _jumps_by_part(rides: Sequence[Kept], changes: tuple[int, ...]) -> dict[int, str]:
    """Places (among `rides`) of the first ride after each jump, and the part that jumped. Looked
    for in each part by itself: there a jump stands out most."""
    if not _parts_known(rides):
        return {}
    inside = [i for i, one in enumerate(rides) if _split(one) is not None]
    kept = [rides[i] for i in inside]
    split = np.array([_split(one) for one in kept], np.float64)
    barred = tuple(int(np.searchsorted(inside, at)) for at in changes)
    found: dict[int, str] = {}
    for column, part, e_kj, sd in ((0, "instant", INSTANT_E_KJ, 0.04), (1, "slow", None, 0.05)):
        extra, mean, prior, _ = _regressors(kept, e_kj)
        y = split[:, column]
        trend = fit_trend(
            years(kept),
            y,
            sd * y,
            regressors=extra,
            prior_mean=mean,
            prior_sd=prior,
            barred=barred,
        )
        for step in trend.steps if trend else ():
            at = inside[step.first]
            near = next((other for other in found if abs(other - at) < JUMP_EDGE), None)
            if near is None:
                found[at] = part
            else:
                found[near] = "both"
    return found

"""Does a quantity drift over months, how fast, and did it jump on a certain day?

    ln y = level + growth * t + regressors * b + season + sum of steps + error

`t` in years. The regressors (for resistance: 1/T against 25 C) carry priors, so that what the rides
cannot tell comes from the stated default. `season` is a yearly sine and cosine held near zero by a
prior: over little more than a year a season left unexplained looks like a trend, and the interval
has to know that. Weights follow each ride's own uncertainty and a ride-to-ride scatter that is
estimated; outliers are down-weighted as under Student's t.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats
from analyzer.trend_fit import JUMP_EDGE as JUMP_EDGE
from analyzer.trend_fit import SEASON_SD, Fit, TrendProblem

JUMP_EVIDENCE = 20.0
"""Fall of the weighted sum of squares that makes a step believable. Our choice: the 99.9 % point
of the largest such fall over all dates is about 16 (Andrews 1993, Econometrica 61, 821, gives
12.4 for 99 % with 15 % trimming)."""
MOST_JUMPS = 4
SDS_HOLD = 1e9
FEWEST = 5
"""Rides below which no trend is stated. Our choice."""


@dataclass(frozen=True, slots=True)
class Step:
    """A jump between two rides: `first` is the place of the first ride after it."""

    first: int
    t_years: float
    ratio: Estimate
    """Level after over level before."""
    evidence: float
    """Fall of the weighted sum of squares that the step brings."""


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """A fitted course over the rides used (n, in time order)."""

    now: Estimate
    """Fitted value at the last ride, regressors at zero."""
    new: Estimate
    """Fitted value at the first ride."""
    growth_pct_per_year: Estimate
    """In % of `new`, jumps taken out; positive when it grows."""
    steps: tuple[Step, ...]
    regressors: tuple[Estimate, ...]
    fitted: Floats
    """n fitted values at regressors zero, steps included, season left out."""
    scatter: float
    """Ride-to-ride standard deviation of ln y beyond the rides' own uncertainty."""
    span_years: float
    begun: Fit
    """The fit before a step was looked for."""


def fit_trend(
    t_years: Floats,
    values: Floats,
    sds: Floats,
    *,
    regressors: Floats | None = None,
    prior_mean: Floats | None = None,
    prior_sd: Floats | None = None,
    look_for_jumps: bool = True,
    at_steps: Mapping[int, Floats] | None = None,
    barred: tuple[int, ...] = (),
    season_sd: float = SEASON_SD,
    search_shape: Floats | None = None,
    sds_hold: bool = False,
    level: tuple[float, float] | None = None,
    begun: Fit | None = None,
) -> Trend | None:
    """The course of a positive quantity over time, or None with fewer than `FEWEST` rides or no
    span of time.

    Parameters
    ----------
    t_years : n times, rising
    values, sds : n values > 0 and their standard deviations
    regressors : n x p, zero at the reference; `prior_mean`, `prior_sd` have p values
    at_steps : places of jumps that are known already, each with n values that scale the step
        per ride (ones, or less where the rest of the quantity is larger)
    search_shape : n values that scale a step looked for, as in `at_steps`
    season_sd : yearly swing that the regressors may leave, one standard deviation of ln y
    sds_hold : the standard deviations hold what rides share, too: that they scatter less makes
        nothing surer
    level : what the value at the first ride is expected to be, and its standard deviation of ln
    barred : places near which no jump is looked for (a change of logger is none of the pack)
    begun : what the same problem gave before, where only what is looked for differs

    Raises
    ------
    ValueError : lengths differ, or a value is not positive
    """
    n = t_years.size
    if values.size != n or sds.size != n or bool((values <= 0).any()):
        raise ValueError("values and sds must be as many as times, and values positive")
    if n < FEWEST or t_years[-1] - t_years[0] <= 0:
        return None
    extra = np.zeros((n, 0)) if regressors is None else regressors
    mean = np.zeros(extra.shape[1]) if prior_mean is None else prior_mean
    sd = np.full(extra.shape[1], np.inf) if prior_sd is None else prior_sd
    problem = TrendProblem(
        t_years - t_years[0], np.log(values), sds / values, extra, mean, sd, season_sd
    )
    problem.shapes = dict(at_steps or {})
    if search_shape is not None:
        problem.search = search_shape
    if level is not None:
        problem.prior_mean[0], problem.prior_sd[0] = np.log(level[0]), level[1]
    if sds_hold:
        problem.believed = SDS_HOLD
    places = list(problem.shapes)
    evidence = {place: float("nan") for place in places}
    fit = begun = begun or problem.fit(places)
    while look_for_jumps and len(places) < MOST_JUMPS:
        place, fall = problem.best_step(places, fit, barred)
        if place is None or fall < JUMP_EVIDENCE:
            break
        evidence[place] = fall
        if search_shape is not None:
            problem.shapes[place] = search_shape
        places.append(place)
        fit = problem.fit(places)
    return _trend(problem, (begun, fit), places, evidence, t_years)


def _trend(
    problem: TrendProblem,
    fits: tuple[Fit, Fit],
    places: list[int],
    evidence: dict[int, float],
    t_years: Floats,
) -> Trend:
    from scipy.stats import t as student

    begun, fit = fits
    n, p = problem.t.size, problem.extra.shape[1]
    wide = float(student.ppf(0.975, max(fit.free, 2.0)))
    span = float(problem.t[-1])
    columns = fit.beta.size
    steps_at = list(range(4 + p, columns))

    def line(t: float, with_steps: bool) -> Floats:
        row = np.zeros(columns)
        row[0], row[1] = 1.0, t
        if with_steps:
            row[steps_at] = 1.0
        return row

    def level(row: Floats) -> Estimate:
        centre = float(row @ fit.beta)
        sd = float(np.sqrt(row @ fit.cov @ row))
        return Estimate(
            float(np.exp(centre)),
            float(np.exp(centre - wide * sd)),
            float(np.exp(centre + wide * sd)),
        )

    def of_column(at: int) -> tuple[float, float, float]:
        centre, sd = float(fit.beta[at]), float(np.sqrt(fit.cov[at, at]))
        return centre, centre - wide * sd, centre + wide * sd

    growth = [100.0 * float(np.expm1(g * span)) / span for g in of_column(1)]
    found = sorted(zip(places, steps_at, strict=True))
    fitted = fit.beta[0] + fit.beta[1] * problem.t
    for place, at in found:
        fitted = fitted + fit.beta[at] * (np.arange(n) >= place)
    return Trend(
        now=level(line(span, True)),
        new=level(line(0.0, False)),
        growth_pct_per_year=Estimate(*growth),
        steps=tuple(
            Step(
                place,
                float(t_years[place]),
                Estimate(*(float(np.exp(v)) for v in of_column(at))),
                evidence[place],
            )
            for place, at in found
        ),
        regressors=tuple(Estimate(*of_column(2 + k)) for k in range(p)),
        fitted=np.exp(fitted),
        scatter=fit.scatter,
        span_years=span,
        begun=begun,
    )

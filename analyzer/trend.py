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

TAIL = 4.0
"""Degrees of freedom of Student's t in the weights: an outlier at 5 sd counts a sixth. Our choice
(Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84, 881, advise small fixed values)."""
SEASON_SD = 0.010
"""Yearly swing that temperature does not explain, one standard deviation of ln y. Our choice."""
JUMP_EVIDENCE = 16.0
"""Fall of the weighted sum of squares that makes a step believable. Our choice: the 99.9 % point
of the largest such fall over all dates is about 16 (Andrews 1993, Econometrica 61, 821, gives
12.4 for 99 % with 15 % trimming)."""
JUMP_EDGE = 4
"""Rides needed on either side of a jump. Our choice."""
NEIGHBOURS = 3
"""Rides before and after that a ride is held against to tell an outlier from a jump. Our choice."""
LONE = 2.5
"""Standard deviations beyond which a lone ride counts little in the search. Our choice."""
MOST_JUMPS = 4
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


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    beta: Floats
    cov: Floats
    chi2: float
    weights: Floats
    scatter: float


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
    barred : places near which no jump is looked for (a change of logger is none of the pack)

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
    problem = _Problem(t_years - t_years[0], np.log(values), sds / values, extra, mean, sd)
    problem.shapes = dict(at_steps or {})
    places = list(problem.shapes)
    evidence = {place: float("nan") for place in places}
    fit = problem.fit(places)
    while look_for_jumps and len(places) < MOST_JUMPS:
        place, fall = problem.best_step(places, fit, barred)
        if place is None or fall < JUMP_EVIDENCE:
            break
        evidence[place] = fall
        places.append(place)
        fit = problem.fit(places)
    return _trend(problem, fit, places, evidence, t_years)


class _Problem:
    """The rows of the fit, priors included as rows of their own."""

    def __init__(
        self, t: Floats, y: Floats, sd: Floats, extra: Floats, mean: Floats, prior_sd: Floats
    ) -> None:
        self.t, self.y, self.sd, self.extra = t, y, np.maximum(sd, 1e-4), extra
        angle = 2 * np.pi * t
        # A season cannot be told from a line over much less than half a year, and need not be.
        self.season = np.column_stack([np.sin(angle), np.cos(angle) - 1.0])
        self.prior_mean = np.concatenate([[0.0, 0.0], mean, [0.0, 0.0]])
        self.prior_sd = np.concatenate([[np.inf, np.inf], prior_sd, [SEASON_SD, SEASON_SD]])
        self.shapes: dict[int, Floats] = {}

    def design(self, places: list[int]) -> Floats:
        n = self.t.size
        after = [(np.arange(n) >= at) * self.shapes.get(at, np.ones(n)) for at in places]
        steps = np.column_stack(after) if after else np.zeros((n, 0))
        return np.column_stack([np.ones(n), self.t, self.extra, self.season, steps])

    def fit(self, places: list[int], scatter: float | None = None) -> _Fit:
        """Student-t weighted least squares; the scatter is found unless it is given."""
        x = self.design(places)
        mean = np.concatenate([self.prior_mean, np.zeros(len(places))])
        held = np.concatenate([self.prior_sd, np.full(len(places), np.inf)])
        prior = np.diag(np.where(np.isfinite(held), 1.0 / np.minimum(held, 1e9) ** 2, 0.0))
        tau = 0.01 if scatter is None else scatter
        robust = np.ones(self.t.size)
        for _ in range(30):
            weight = robust / (self.sd**2 + tau**2)
            gram = x.T @ (weight[:, None] * x) + prior
            beta = np.linalg.solve(gram, x.T @ (weight * self.y) + prior @ mean)
            rest = self.y - x @ beta
            z2 = rest**2 / (self.sd**2 + tau**2)
            fresh = (TAIL + 1) / (TAIL + z2)
            new_tau = tau if scatter is not None else self._scatter(rest, x.shape[1], fresh)
            settled = abs(new_tau - tau) < 1e-5 and np.abs(fresh - robust).max() < 1e-4
            robust, tau = fresh, new_tau
            if settled:
                break
        weight = robust / (self.sd**2 + tau**2)
        cov = np.linalg.inv(x.T @ (weight[:, None] * x) + prior)
        cov *= _price_of_robustness(rest**2 / (self.sd**2 + tau**2), x.shape[1])
        off = beta - mean
        chi2 = float(weight @ rest**2 + off @ prior @ off)
        return _Fit(beta, cov, chi2, weight, tau)

    def _scatter(self, rest: Floats, parameters: int, robust: Floats) -> float:
        """Scatter beyond the rides' own uncertainty, by weighted moments."""
        n = rest.size
        keep = n / max(n - min(parameters, n - 2), 1)
        excess = float(np.average(rest**2, weights=robust)) * keep - float(
            np.average(self.sd**2, weights=robust)
        )
        return float(np.sqrt(max(excess, 1e-8)))

    def best_step(
        self, places: list[int], now: _Fit, barred: tuple[int, ...]
    ) -> tuple[int | None, float]:
        """The place whose step lowers the sum of squares most, at the weights of `now`."""
        n = self.t.size
        x = self.design(places)
        mean = np.concatenate([self.prior_mean, np.zeros(len(places))])
        held = np.concatenate([self.prior_sd, np.full(len(places), np.inf)])
        prior = np.diag(np.where(np.isfinite(held), 1.0 / np.minimum(held, 1e9) ** 2, 0.0))
        # Not the weights of `now`, to which a jump's far side may be an outlier: only a ride far
        # from its own neighbours counts less.
        scatter = self._core_scatter(now, x)
        weight = self._lone_weights(now, x, scatter) / (self.sd**2 + scatter**2)
        # The fall of the sum of squares by one more column s is (s'W r)^2 / s'W s, s made
        # orthogonal to the others; for steps both are suffix sums, so all places cost one pass.
        gram = x.T @ (weight[:, None] * x) + prior
        beta = np.linalg.solve(gram, x.T @ (weight * self.y) + prior @ mean)
        towards = _suffix(weight * (self.y - x @ beta))
        shared = _suffix(weight[:, None] * x)
        own = _suffix(weight) - np.einsum("ij,ij->i", shared, np.linalg.solve(gram, shared.T).T)
        with np.errstate(invalid="ignore", divide="ignore"):
            falls = np.where(own > 1e-9, towards**2 / own, 0.0)
        falls[:JUMP_EDGE] = falls[n - JUMP_EDGE + 1 :] = 0.0
        for other in (*places, *barred):
            falls[max(other - JUMP_EDGE + 1, 0) : other + JUMP_EDGE] = 0.0
        best = int(np.argmax(falls))
        return (best, float(falls[best])) if falls[best] > 0 else (None, 0.0)

    def _lone_weights(self, now: _Fit, x: Floats, scatter: float) -> Floats:
        """Student weights by each ride's distance from the median of its neighbours."""
        rest = self.y - x @ now.beta
        padded = np.pad(rest, NEIGHBOURS, mode="reflect")
        near = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
        z2 = (rest - np.median(near, axis=1)) ** 2 / (self.sd**2 + scatter**2)
        return np.asarray(np.where(z2 > LONE**2, LONE / np.maximum(z2, LONE), 1.0), np.float64)

    def _core_scatter(self, now: _Fit, x: Floats) -> float:
        """Scatter of neighbouring rides about each other: a jump does not enter it but once."""
        rest = self.y - x @ now.beta
        near = np.diff(rest) / np.sqrt(2.0)
        own = float(np.median(self.sd**2))
        spread = float(1.4826 * np.median(np.abs(near)))
        return float(np.sqrt(max(spread**2 - own, 1e-6)))


def _price_of_robustness(z2: Floats, parameters: int) -> float:
    """By how much the variance of an M-estimate exceeds what its weights alone say.

    Sources: Huber 1981, Robust Statistics, eq. 6.5 in section 7.6: mean(psi^2) / mean(psi')^2,
    with n / (n - p); here with Student's psi(z) = (v + 1) z / (v + z^2).
    """
    weight = (TAIL + 1) / (TAIL + z2)
    slope = (TAIL + 1) * (TAIL - z2) / (TAIL + z2) ** 2
    n = z2.size
    small = n / max(n - parameters, 1)
    return max(
        small
        * float(np.mean(weight))
        * float(np.mean(weight**2 * z2))
        / float(np.mean(slope)) ** 2,
        1.0,
    )


def _suffix(values: Floats) -> Floats:
    """Sums from each row to the last."""
    return np.asarray(np.cumsum(values[::-1], axis=0)[::-1], np.float64)


def _trend(
    problem: _Problem, fit: _Fit, places: list[int], evidence: dict[int, float], t_years: Floats
) -> Trend:
    from scipy.stats import t as student

    n, p = problem.t.size, problem.extra.shape[1]
    wide = float(student.ppf(0.975, max(n - 2 - len(places), 2)))
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
    )

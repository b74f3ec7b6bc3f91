"""The least squares behind a course over months: weights, scatter, the best place of a step.

The model stands in `analyzer.trend`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.quantities import Floats

TAIL = 4.0
"""Degrees of freedom of Student's t in the weights: an outlier at 5 sd counts a sixth. Our choice
(Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84, 881, advise small fixed values)."""
SEASON_SD = 0.010
"""Yearly swing that temperature does not explain, one standard deviation of ln y. Our choice."""
JUMP_EDGE = 4
"""Rides needed on either side of a jump. Our choice."""
NEIGHBOURS = 3
"""Rides before and after that a ride is held against to tell an outlier from a jump. Our choice."""
BELIEVED_AS_RIDES = 60.0
"""What the rides say of their own uncertainty counts as much as what so many rides show of it by
scattering less. Our choice."""
LONE = 2.5
"""Standard deviations beyond which a lone ride counts little in the search. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A solved problem."""

    beta: Floats
    cov: Floats
    chi2: float
    weights: Floats
    scatter: float
    free: float
    """Rows that what was fitted leaves free. What a prior holds takes none of them: of k columns
    count k less the trace of prior times covariance (MacKay 1992, Neural Computation 4, 415)."""


class TrendProblem:
    """The rows of the fit, priors included as rows of their own."""

    def __init__(
        self,
        t: Floats,
        y: Floats,
        sd: Floats,
        extra: Floats,
        mean: Floats,
        prior_sd: Floats,
        season_sd: float = SEASON_SD,
    ) -> None:
        self.t, self.y, self.sd, self.extra = t, y, np.maximum(sd, 1e-4), extra
        angle = 2 * np.pi * t
        # A season cannot be told from a line over much less than half a year, and need not be.
        season = np.column_stack([np.sin(angle), np.cos(angle)])
        # About the rides' own mean: the level is that of all seasons ridden, not the first day's.
        self.season = season - season.mean(axis=0)
        self.prior_mean = np.concatenate([[0.0, 0.0], mean, [0.0, 0.0]])
        self.prior_sd = np.concatenate([[np.inf, np.inf], prior_sd, [season_sd, season_sd]])
        self.shapes: dict[int, Floats] = {}
        self.search = np.ones(t.size)
        """How a step looked for shows in each row."""
        self.believed = BELIEVED_AS_RIDES

    def design(self, places: list[int]) -> Floats:
        """The n x columns matrix with a step from each of the places on."""
        n = self.t.size
        after = [(np.arange(n) >= at) * self.shapes.get(at, np.ones(n)) for at in places]
        steps = np.column_stack(after) if after else np.zeros((n, 0))
        return np.column_stack([np.ones(n), self.t, self.extra, self.season, steps])

    def fit(self, places: list[int], scatter: float | None = None) -> Fit:
        """Student-t weighted least squares; the scatter is found unless it is given."""
        x = self.design(places)
        mean = np.concatenate([self.prior_mean, np.zeros(len(places))])
        held = np.concatenate([self.prior_sd, np.full(len(places), np.inf)])
        prior = np.diag(np.where(np.isfinite(held), 1.0 / np.minimum(held, 1e9) ** 2, 0.0))
        tau = 0.01 if scatter is None else scatter
        robust = np.ones(self.t.size)
        for _ in range(30):
            weight = robust / (self.sd**2 + tau**2)
            cov = np.linalg.inv(x.T @ (weight[:, None] * x) + prior)
            beta = cov @ (x.T @ (weight * self.y) + prior @ mean)
            free = self._free(cov, prior)
            rest = self.y - x @ beta
            z2 = rest**2 / (self.sd**2 + tau**2)
            fresh = (TAIL + 1) / (TAIL + z2)
            new_tau = tau if scatter is not None else self._scatter(rest, free, fresh)
            settled = abs(new_tau - tau) < 1e-5 and np.abs(fresh - robust).max() < 1e-4
            robust, tau = fresh, new_tau
            if settled:
                break
        weight = robust / (self.sd**2 + tau**2)
        cov = np.linalg.inv(x.T @ (weight[:, None] * x) + prior)
        free = self._free(cov, prior)
        cov *= _price_of_robustness(rest**2 / (self.sd**2 + tau**2), free, self.believed)
        off = beta - mean
        chi2 = float(weight @ rest**2 + off @ prior @ off)
        return Fit(beta, cov, chi2, weight, tau, free)

    def _free(self, cov: Floats, prior: Floats) -> float:
        """Rows left free, 1 at least, of a covariance not yet scaled."""
        fitted = cov.shape[0] - float(np.sum(prior * cov))
        return float(max(self.t.size - fitted, 1.0))

    def _scatter(self, rest: Floats, free: float, robust: Floats) -> float:
        """Scatter beyond the rides' own uncertainty, by weighted moments."""
        keep = rest.size / free
        excess = float(np.average(rest**2, weights=robust)) * keep - float(
            np.average(self.sd**2, weights=robust)
        )
        return float(np.sqrt(max(excess, 1e-8)))

    def best_step(
        self, places: list[int], now: Fit, barred: tuple[int, ...]
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
        shaped = weight * self.search
        towards = _suffix(shaped * (self.y - x @ beta))
        shared = _suffix(shaped[:, None] * x)
        own = _suffix(shaped * self.search) - np.einsum(
            "ij,ij->i", shared, np.linalg.solve(gram, shared.T).T
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            falls = np.where(own > 1e-9, towards**2 / own, 0.0)
        falls[:JUMP_EDGE] = falls[n - JUMP_EDGE + 1 :] = 0.0
        for other in (*places, *barred):
            falls[max(other - JUMP_EDGE + 1, 0) : other + JUMP_EDGE] = 0.0
        best = int(np.argmax(falls))
        return (best, float(falls[best])) if falls[best] > 0 else (None, 0.0)

    def _lone_weights(self, now: Fit, x: Floats, scatter: float) -> Floats:
        """Student weights by each ride's distance from the median of its neighbours."""
        rest = self.y - x @ now.beta
        padded = np.pad(rest, NEIGHBOURS, mode="reflect")
        near = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
        z2 = (rest - np.median(near, axis=1)) ** 2 / (self.sd**2 + scatter**2)
        return np.asarray(np.where(z2 > LONE**2, LONE / np.maximum(z2, LONE), 1.0), np.float64)

    def _core_scatter(self, now: Fit, x: Floats) -> float:
        """Scatter of neighbouring rides about each other: a jump does not enter it but once."""
        rest = self.y - x @ now.beta
        near = np.diff(rest) / np.sqrt(2.0)
        own = float(np.median(self.sd**2))
        spread = float(1.4826 * np.median(np.abs(near)))
        return float(np.sqrt(max(spread**2 - own, 1e-6)))


def _price_of_robustness(z2: Floats, free: float, believed: float) -> float:
    """By how much the variance of an M-estimate exceeds what its weights alone say.

    Sources: Huber 1981, Robust Statistics, eq. 6.5 in section 7.6: mean(psi^2) / mean(psi')^2,
    with n / (n - p), the rows over those free; here with Student's psi(z) = (v + 1) z / (v + z^2).
    """
    weight = (TAIL + 1) / (TAIL + z2)
    slope = (TAIL + 1) * (TAIL - z2) / (TAIL + z2) ** 2
    n = z2.size
    price = (
        n
        / free
        * float(np.mean(weight))
        * float(np.mean(weight**2 * z2))
        / float(np.mean(slope)) ** 2
    )
    # Rides that agree better than their own uncertainty says make it smaller, the more the more
    # there are of them.
    return max(price, (believed + n * price) / (believed + n))


def _suffix(values: Floats) -> Floats:
    """Sums from each row to the last."""
    return np.asarray(np.cumsum(values[::-1], axis=0)[::-1], np.float64)

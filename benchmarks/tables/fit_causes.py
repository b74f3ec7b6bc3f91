"""Fits corrections of the likelihood ratios on the tuning set, into analyzer/causes/fitted.json.

    PYTHONPATH=.:tests python benchmarks/tables/fit_causes.py [SEEDS]

A multinomial logistic regression whose weights are pulled toward the hand-set logarithms of the
cause modules: what the simulator does not speak against keeps what physics says. Signs are left out
at random so that missing channels are part of what is learnt.
"""

from __future__ import annotations

import json
import pickle
import sys
from pathlib import Path

from cutout_cases import ALL_CASES, TAKEN_AWAY, Case, cases, np

from analyzer.causes.combine import MODELS

PULL = 0.15
"""Strength of the pull toward the hand-set values, per example. Our choice: a little log-loss on
this simulator's own seeds is given away for rides that other equations made."""
LARGEST = 1.0
"""No correction goes beyond this, and only signs that the cause's own module names are corrected.
Our choice: a simulator's habit must not overrule physics."""
SMALLEST = 0.03
"""Corrections smaller than this are not written."""
PLACE = Path(__file__).parents[2] / "analyzer" / "causes" / "fitted.json"


def examples(found: list[Case]) -> list[tuple[dict[str, str], str]]:
    """(signs, true cause) of every matched loss whose log can tell."""
    return [(one.signs, one.true) for case in found for one in case.found if one.true is not None]


def fit(data: list[tuple[dict[str, str], str]], *, seed: int = 0) -> dict[str, dict[str, float]]:
    """The corrections by cause and `sign=level`."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(seed)
    rows = [*data]
    for signs, true in data:
        keep = {k: v for k, v in signs.items() if rng.random() > 0.25}
        rows.append((keep, true))
    names = sorted({f"{k}={v}" for signs, _ in rows for k, v in signs.items()})
    place = {name: i for i, name in enumerate(names)}
    causes = [one.cause.value for one in MODELS]
    x = np.zeros((len(rows), len(names) + 1))
    x[:, -1] = 1.0
    y = np.array([causes.index(true) for _, true in rows])
    for i, (signs, _) in enumerate(rows):
        for k, v in signs.items():
            x[i, place[f"{k}={v}"]] = 1.0
    base = np.zeros((len(names) + 1, len(causes)))
    for j, model in enumerate(MODELS):
        base[-1, j] = model.prior
        for name, i in place.items():
            sign, level = name.split("=", 1)
            base[i, j] = model.signs.get(sign, {}).get(level, 0.0)
    weight = 1.0 / np.bincount(y, minlength=len(causes))[y]
    weight /= weight.mean()

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        w = base + flat.reshape(base.shape)
        z = x @ w
        z -= z.max(axis=1, keepdims=True)
        p = np.exp(z)
        p /= p.sum(axis=1, keepdims=True)
        # A little of every label is unknown: nothing is ever certain.
        target = np.full(p.shape, 0.01 / p.shape[1])
        target[np.arange(y.size), y] += 0.99
        value = -(weight[:, None] * target * np.log(p + 1e-12)).sum() / y.size
        grad = x.T @ (weight[:, None] * (p - target)) / y.size
        pull = PULL * 20.0 / y.size
        return value + pull * (flat**2).sum(), grad.ravel() + 2 * pull * flat

    free = np.zeros(base.shape, np.bool_)
    free[-1, :] = True
    for j, model in enumerate(MODELS):
        for name, i in place.items():
            free[i, j] = name.split("=", 1)[0] in model.signs
    bound = [(-LARGEST, LARGEST) if on else (0.0, 0.0) for on in free.ravel()]
    best = minimize(loss, np.zeros(base.size), jac=True, method="L-BFGS-B", bounds=bound)
    delta = best.x.reshape(base.shape)
    out: dict[str, dict[str, float]] = {}
    for j, cause in enumerate(causes):
        own = {
            name: round(float(delta[i, j]), 2)
            for name, i in place.items()
            if abs(delta[i, j]) >= SMALLEST
        }
        if abs(delta[-1, j]) >= SMALLEST:
            own["prior"] = round(float(delta[-1, j]), 2)
        out[cause] = dict(sorted(own.items()))
    return out


def main() -> None:
    """Examine the tuning set (or take examined cases from a file), fit, write."""
    if len(sys.argv) > 1 and sys.argv[1].endswith(".pkl"):
        found = pickle.loads(Path(sys.argv[1]).read_bytes())
    else:
        seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 40
        found = cases("tune", range(seeds), names=ALL_CASES)
        for what in TAKEN_AWAY[1:]:
            found += cases("tune", range(seeds, seeds + max(seeds // 8, 1)), what=what)
    data = examples(found)
    PLACE.write_text(json.dumps(fit(data), indent=1, sort_keys=True) + "\n", "utf-8")
    print(f"{len(data)} losses of {len(found)} rides -> {PLACE.name}")


if __name__ == "__main__":
    main()

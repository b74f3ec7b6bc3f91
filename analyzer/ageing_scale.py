"""Did the current's scale change on a day, under the same header or with a new logger?

A reading that says k times what it said before makes the resistance k times smaller, the charge per
point of charge level k times larger, and the energy per kilometre too, all on one day. No pack does
that: a contact or the cells change the resistance alone, ageing changes all of them slowly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analyzer.ageing_parts import BY_HAND, Kept
from analyzer.capacity import LEAST_DEPTH_PCT
from analyzer.quantities import Floats
from analyzer.summary import RideSummary, Triple
from analyzer.temperature import DEFAULT_E_J_PER_MOL, heat_of

WINDOW = 20
"""So many rides before and after a day are looked at. Our choice: months, so that ageing and
seasons are nearly straight."""
QUICK, PEAK = 6, 2
"""The quick look's rides to either side, and how many of its neighbours a place must outdo."""
EDGE = 4
"""Rides needed on either side. Our choice."""
LEAST_LN = 0.06
"""A smaller change of scale is not told, natural logarithm. Our choice: two loggers differ by 3 to
5 % (common practice, no source)."""
SURE_Z, EACH_Z, FALLS_Z, AGREE_Z = 6.0, 4.0, 2.2, 3.0
"""Standard deviations: of what all quantities say together, of each of the two at least that must
show it (where the resistance falls, which packs seldom do in a day, less), and of what they may
differ by. The charge per point alone is enough where the others do
not speak against it: all groups of a pack do not lose or win so much in a day. Our choice."""
NEVER_A_PACK_LN = float(np.log(3.0))
"""A resistance that steps by this needs no second witness. Our choice: no pack that still drives
does that, up or down."""
LEAST_SD = 0.012
"""What a step of any quantity is known to at best, natural logarithm. Our choice."""
QUICK_SDS = 1.5
"""A quick look's step smaller than so many of their usual sd is chance. Our choice: a change that
is sure in the close look is two or more of them."""
ROUNDS = 4
"""Of robust least squares. Our choice: weights settle."""
ROUND_LN = 0.25
"""A factor this near to a power of ten is one: a change of unit. Our choice."""
FITS, UNSURE_LN = 4.0, 0.09
"""The most that a change of scale may leave of the sum of squares for a jump to be doubted (two
degrees of freedom: 86 %), and the largest jump that is: a larger change of scale is sure by itself.
Our choice."""
LEAST_DISTANCE_M = 1000.0


@dataclass(frozen=True, slots=True)
class ScaleChange:
    """From the ride at `first` on the current reads `ratio` times what it read before."""

    first: int
    ratio: float
    sd_ln: float


@dataclass(frozen=True, slots=True, eq=False)
class _Series:
    """What a reading's scale does to a quantity, as ln over the rides that have it, and the warmth
    that explains it."""

    name: str
    place: Floats
    y: Floats
    heat: Floats


def scale_changes(
    rides: Sequence[Kept], capacities_ah: Mapping[str, float] | None = None
) -> list[ScaleChange]:
    """The days (places among `rides`, in time order) from which the current is read on another
    scale. `capacities_ah` are rides' own through the curve that the book learned, by name; else
    the levels each ride was given with count."""
    series = _series(rides, capacities_ah or {})
    found: list[ScaleChange] = []
    places = _candidates(series, len(rides))
    judged = [(at, _judge(own)) for at, own in zip(places, _steps(series, places), strict=True)]
    strong = sorted(
        ((abs(one[0]) / one[1], at, one) for at, one in judged if one is not None), reverse=True
    )
    for _, at, (ln, sd) in strong:
        if all(abs(at - other.first) > WINDOW // 2 for other in found):
            found.append(ScaleChange(at, float(np.exp(ln)), sd))
    return sorted(found, key=lambda one: one.first)


def maybe_scale(
    rides: Sequence[Kept],
    capacities_ah: Mapping[str, float] | None,
    jumps: Mapping[int, tuple[float, float]],
) -> list[bool]:
    """Whether jumps of the resistance (place: ln of its ratio, and the sd) may be of the scale:
    charge and energy stepped the other way by about as much, though not so that it were sure."""
    series = _series(rides, capacities_ah or {})
    steps = _steps(series, list(jumps))
    return [
        _may_be_scale({**own, "ohm": (-ln, sd)})
        for own, (ln, sd) in zip(steps, jumps.values(), strict=True)
    ]


def _may_be_scale(steps: Mapping[str, tuple[float, float]]) -> bool:
    """By the sums of squares of both: all quantities step alike, or the resistance alone."""
    if len(steps) < 2 or abs(steps["ohm"][0]) > UNSURE_LN:
        return False
    value, sd = np.array(list(steps.values())).T
    ln, _ = _together(steps)
    alike = float((((value - ln) / sd) ** 2).sum())
    alone = sum((v / s) ** 2 for name, (v, s) in steps.items() if name != "ohm")
    return alike <= min(FITS, alone)


def _series(rides: Sequence[Kept], capacities_ah: Mapping[str, float]) -> list[_Series]:
    """ln of the resistance, of the charge moved per point and of the energy per kilometre."""
    rows: dict[str, list[tuple[float, float, float]]] = {"ohm": [], "ah": [], "wh": []}
    for place, one in enumerate(rides):
        own = one.summary
        if not _ridden(one):
            continue
        heat = heat_of(25.0 if own.temperature_c is None else own.temperature_c)
        if own.resistance_10s_ohm is not None and own.resistance_10s_ohm[0] > 0:
            rows["ohm"].append((place, own.resistance_10s_ohm[0], heat))
        for name, value in (
            ("ah", capacities_ah.get(one.name) if capacities_ah else _ah_per_point(own)),
            ("wh", _wh_per_km(own)),
        ):
            if value is not None:
                rows[name].append((place, value, heat))
    out = []
    for name, sign in (("ohm", -1.0), ("ah", 1.0), ("wh", 1.0)):
        if len(rows[name]) >= 2 * EDGE:
            place, value, heat = np.array(rows[name]).T.copy()
            out.append(_Series(name, place, sign * np.log(value), heat))
    return out


def _ah_per_point(own: RideSummary) -> float | None:
    if own.charge_start_pct is None or own.charge_end_pct is None or own.charge_out_ah is None:
        return None
    depth = own.charge_start_pct[0] - own.charge_end_pct[0]
    moved = own.charge_out_ah - (own.charge_back_ah or 0.0)
    return moved / depth if depth >= LEAST_DEPTH_PCT and moved > 0 else None


def _wh_per_km(own: RideSummary) -> float | None:
    if own.distance_m is None or own.distance_m < LEAST_DISTANCE_M or own.energy_out_wh is None:
        return None
    net = own.energy_out_wh - abs(own.energy_back_wh or 0.0)
    return 1000 * net / own.distance_m if net > 0 else None


def _candidates(series: Sequence[_Series], rides: int) -> list[int]:
    """Places worth a close look: where the medians of the rides before and after differ, in the
    resistance and, the other way round, in another quantity, more than at their neighbours."""
    falls = np.zeros((len(series), rides))
    for row, one in enumerate(series):
        size = min(QUICK, one.y.size // 2)
        flat = one.y + (DEFAULT_E_J_PER_MOL / 1000 * one.heat if one.name == "ohm" else 0.0)
        middle = _middle(np.lib.stride_tricks.sliding_window_view(flat, size))
        step = middle[size:] - middle[:-size]
        at = np.searchsorted(one.place[size : size + step.size], np.arange(rides))
        falls[row] = step[np.minimum(at, step.size - 1)]
    near: set[int] = set()
    for row in range(len(series)):
        strength = np.abs(falls[row])
        others = np.delete(falls, row, axis=0) * np.sign(falls[row])
        agree = (others > LEAST_LN / 3).any(axis=0) | (strength > 2 * LEAST_LN)
        padded = np.pad(strength, PEAK, mode="edge")
        peak = np.lib.stride_tricks.sliding_window_view(padded, 2 * PEAK + 1).max(axis=1)
        usual = 1.4826 * float(np.median(strength))
        least = max(LEAST_LN / 2, QUICK_SDS * usual)
        good = np.flatnonzero(agree & (strength > least) & (strength >= peak - 1e-12))
        near.update(int(at) for at in good)
    inside = sorted(at for at in near if EDGE <= at <= rides - EDGE)
    # Where the close look sees half of what makes a change sure, the places beside are looked at.
    half = [
        at
        for at, steps in zip(inside, _steps(series, inside), strict=True)
        if steps and np.divide(*np.abs(_together(steps))) >= SURE_Z / 2
    ]
    near = {at + off for at in half for off in range(-PEAK, PEAK + 1)}
    return sorted(at for at in near if EDGE <= at <= rides - EDGE)


def _together(steps: Mapping[str, tuple[float, float]]) -> tuple[float, float]:
    """The weighted mean of the quantities' steps, and its sd."""
    value, sd = np.array(list(steps.values())).T
    weight = 1 / sd**2
    return float((weight * value).sum() / weight.sum()), float(weight.sum() ** -0.5)


def _judge(steps: Mapping[str, tuple[float, float]]) -> tuple[float, float] | None:
    """ln of the scale's change at a place and its standard deviation, from each quantity's own
    step there; None where there is none."""
    if not steps:
        return None
    value, sd = np.array(list(steps.values())).T
    ln, together = _together(steps)
    if abs(ln) < max(LEAST_LN, SURE_Z * together):
        return None
    least = (FALLS_Z if ln > 0 else EACH_Z) * sd
    shown = (np.abs(value) >= least) & (np.sign(value) == np.sign(ln))
    agree = bool((np.abs(value - ln) <= AGREE_Z * np.hypot(sd, LEAST_LN / 3)).all())
    charge = steps.get("ah", (0.0, 1.0))
    enough = shown.sum() >= 2 or abs(charge[0]) >= SURE_Z * charge[1]
    never = "ohm" in steps and abs(steps["ohm"][0]) >= NEVER_A_PACK_LN and len(steps) == 1
    return (ln, together) if never or (agree and enough) else None


def _steps(
    series: Sequence[_Series], places: Sequence[int]
) -> list[dict[str, tuple[float, float]]]:
    """Each quantity's step and its standard deviation at each of these places, where it has rides
    enough on either side."""
    out: list[dict[str, tuple[float, float]]] = [{} for _ in places]
    at = np.asarray(places, np.intp)
    for one in series:
        split = np.searchsorted(one.place, at)
        before, after = np.minimum(split, WINDOW), np.minimum(one.place.size - split, WINDOW)
        told = (before >= EDGE) & (after >= EDGE)
        # Places with as many rides before and after as each other are fitted at once.
        for lengths in {(int(b), int(a)) for b, a in zip(before[told], after[told], strict=True)}:
            mine = np.flatnonzero(told & (before == lengths[0]) & (after == lengths[1]))
            rows = split[mine, None] + np.arange(-lengths[0], lengths[1])
            value, sd = _fitted(one, rows, at[mine], lengths[0])
            for k, place in enumerate(mine):
                out[place][one.name] = (float(value[k]), float(sd[k]))
    return out


def _fitted(
    one: _Series, rows: NDArray[np.intp], at: NDArray[np.intp], before: int
) -> tuple[Floats, Floats]:
    """Steps (n) of the quantity over n windows of `rows` (n, w), `before` of them before the day;
    a straight course and warmth taken out by robust least squares; and their sds."""
    place, y, heat = one.place[rows], one.y[rows], one.heat[rows]
    late = np.broadcast_to(np.arange(rows.shape[1]) >= before, rows.shape)
    # A course is not steeper than 1 a hundred rides, warmth's part not beyond 40 kJ/mol.
    held = np.diag([0.0, (1 / 0.01) ** 2, (1 / 40.0) ** 2, 0.0])
    x = np.stack([np.ones(y.shape), place - at[:, None], heat, late], axis=2)
    weight, scatter = np.ones(y.shape), _scatter_near(y, before)
    for _ in range(ROUNDS):
        weighed = (weight / scatter[:, None] ** 2)[..., None] * x
        gram = weighed.transpose(0, 2, 1) @ x + held
        beta = np.linalg.solve(gram, weighed.transpose(0, 2, 1) @ y[..., None])
        rest = y - (x @ beta)[..., 0]
        scatter = _scatter(rest)
        weight = np.minimum(1.0, 1.5 * scatter[:, None] / np.maximum(np.abs(rest), 1e-9))
    sd = np.hypot(np.sqrt(np.linalg.inv(gram)[:, 3, 3]), LEAST_SD)
    return np.asarray(beta[:, 3, 0], np.float64), np.asarray(sd, np.float64)


def _scatter_near(y: Floats, before: int) -> Floats:
    sides = (y[:, :before], y[:, before:])
    return _scatter(np.concatenate([one - _middle(one)[:, None] for one in sides], axis=1))


def _scatter(rest: Floats) -> Floats:
    """Robust spread of each row."""
    off = np.abs(rest - _middle(rest)[:, None])
    return np.asarray(np.maximum(1.4826 * _middle(off), LEAST_SD), np.float64)


def _middle(rows: Floats) -> Floats:
    """Median of each row; many short rows are sorted ten times faster than `numpy.median` parts
    them."""
    ordered = np.sort(rows, axis=1)
    half = rows.shape[1] // 2
    if rows.shape[1] % 2:
        return np.asarray(ordered[:, half], np.float64)
    return np.asarray((ordered[:, half - 1] + ordered[:, half]) / 2, np.float64)


def on_one_scale(
    rides: Sequence[Kept], changes: Sequence[ScaleChange]
) -> tuple[list[Kept], list[float]]:
    """All rides on the scale of the longest stretch between two changes, and the factor that each
    stretch's current was divided by (one more than changes)."""
    if not changes:
        return list(rides), [1.0]
    edges = [0, *(one.first for one in changes), len(rides)]
    lengths = np.diff(edges)
    factors = np.cumprod([1.0, *(_rounded(one.ratio) for one in changes)])
    factors = factors / factors[int(np.argmax(lengths))]
    stretch = np.repeat(np.arange(lengths.size), lengths)
    ridden = [
        {one.summary.origin for one in rides[a:b] if _ridden(one)} for a, b in pairwise(edges)
    ]  # what a charger's or another's log reads is not changed
    out = [
        Kept(one.name, _divided(one.summary, float(factors[part])))
        if factors[part] != 1.0 and one.summary.origin in ridden[part]
        else one
        for one, part in zip(rides, stretch, strict=True)
    ]
    return out, [float(one) for one in factors]


def _ridden(one: Kept) -> bool:
    return one.summary.kind == "ride" and one.summary.origin != BY_HAND


def _rounded(ratio: float) -> float:
    tens = round(float(np.log10(ratio)))
    near = abs(float(np.log(ratio)) - tens * float(np.log(10.0))) <= ROUND_LN
    return float(10.0**tens) if tens and near else ratio


def _divided(own: RideSummary, by: float) -> RideSummary:
    """A summary as it had been with a current `by` times smaller."""

    def over(value: float | None) -> float | None:
        return None if value is None else value / by

    def times(triple: Triple | None, factor: float) -> Triple | None:
        if triple is None:
            return None
        value, low, high = triple
        return (
            value * factor,
            None if low is None else low * factor,
            None if high is None else high * factor,
        )

    return replace(
        own,
        charge_out_ah=over(own.charge_out_ah),
        charge_back_ah=over(own.charge_back_ah),
        energy_out_wh=over(own.energy_out_wh),
        energy_back_wh=over(own.energy_back_wh),
        charged_cold_ah=own.charged_cold_ah / by,
        resistance_10s_ohm=times(own.resistance_10s_ohm, by),
        resistance_10s_25c_ohm=times(own.resistance_10s_25c_ohm, by),
        resistance_instant_ohm=times(own.resistance_instant_ohm, by),
        capacity_ah=times(own.capacity_ah, 1 / by),
    )

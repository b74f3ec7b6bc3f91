"""Two logs of one ride share no clock: how far one runs ahead, how much faster, and how sure.

Both logs felt the same ride: the same pack voltage, speed, current. First the second log is found
in the first by normalised cross-correlation of whole stretches, drift allowed; then each window
of some tens of seconds votes for its own lag, to a fraction of a sample; a robust line through
the votes is offset and drift, their scatter the interval. Pure.

Sources: normalised cross-correlation with parabolic refinement is common practice in time-delay
estimation (Knapp and Carter, The generalized correlation method for estimation of time delay,
1976); the thresholds are our choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from importers.clock_grids import Grid, Signals, find_stretch, grids
from importers.clock_whole import WholeFit, whole_fit

KINDS = ("voltage", "speed", "current", "demand")
COARSE_STEP_S = 0.25
FINE_STEP_S = (0.02, 0.25)
"""Grids of the two searches; slow channels do not gain from finer ones. Our choice."""
SEGMENT_S = 240.0
WINDOW_S = {"voltage": 40.0, "current": 40.0, "demand": 40.0, "speed": 120.0}
MAX_WINDOWS = 90
USUAL_DRIFT = 60e-6
"""What is known of a clock before any comparison: crystals in loggers and phones are off by some
tens of ppm (datasheets state 20 to 100). Used only where the logs do not say otherwise."""
MAX_DRIFT = 0.01
"""Clocks differ by no more than 1 %: crystals by 0.01 %, bare oscillators by 1 %."""
FALLEN_PART = 0.75
"""A voltage below this part of the usual one is no pack's. Our choice: full to empty is less for
any cell in use."""
JUDGED_S = 60.0
"""Logs shorter than this are never said to be of different rides. Our choice."""
GOOD_MATCH = 0.6
"""Correlation from which a window's vote counts. Our choice."""
COARSE_MATCH = 0.35
MANY_JUDGED, AGREED, AGREED_OF_FEW = 6, 0.35, 0.75
"""Of so many windows of a ride this share must go together, of fewer that, or the logs are of two
rides of which a part is alike. Our choice: 0.9 and more on made rides, a fifth on pairs of other
ones."""
SURELY_WHOLE = 0.9
"""Where windows speak against it, the whole of both logs must be alike so much. Our choice: 0.99
on calm rides with their own logs, at most 0.71 on pairs of other ones."""
SHARED, ALONE_MATCH, ALONE_WHOLE = ("voltage", "current", "demand"), 0.95, 0.995
"""Where all kinds together speak against one ride, one of these alone must be alike so much, window
by window or over the whole. Our choice: 0.98 and 0.999 between the sides of made rides in which one
failed, up to 0.99 between rides that begin alike."""
FIRST_REACH_S = 1.5
"""How far around a first guess a window looks [s]. Our choice: some steps of the coarse grid."""
WINDOWS_TELL, WINDOWS_SPEAK = 12, 4
"""From so many windows on, their scatter tells how well the lag is known; fewer are held against
the whole of both logs, and the surer of the two is taken; fewer still say nothing of scatter. Our
choice."""
FAST_STEP_S = 0.15
"""Of logs faster than this a window holds hundreds of readings, and few of them tell [s]. Our
choice: of slower ones, tens."""
T_95 = 2.1
"""Two-sided 95 % of Student's t at about 20 windows."""


@dataclass(frozen=True, slots=True)
class ClockFit:
    """Reading of the second clock = t + offset + drift · t, at reading t of the first."""

    offset_s: float
    low_s: float
    high_s: float
    drift_ppm: float
    drift_low_ppm: float
    drift_high_ppm: float
    match: float
    """Median correlation of the windows, or of the whole of both, 0 to 1."""
    windows: int
    """So many told; 1 where the whole of both did."""
    kind: str
    """What the two logs were matched by."""


@dataclass(frozen=True, slots=True)
class NoFit:
    """Why two logs could not be matched."""

    active: bool
    """True when both had enough going on, and it did not agree: they are of different rides."""
    why: str
    against: bool = False
    """True when most of what went on in one is not in the other where the rest of it fits."""


def fit_clock(
    first_s: NDArray[np.float64],
    first: Signals,
    second_s: NDArray[np.float64],
    second: Signals,
) -> ClockFit | NoFit:
    """How does the second log's clock run against the first's?

    `first_s` and `second_s` are the logs' times, each on its own clock; the signals have a value
    for each.
    """
    kinds = [one for one in KINDS if one in first and one in second]
    if not kinds:
        return NoFit(active=False, why="they log nothing in common")
    fit = _fit_kinds(first_s, first, second_s, second, kinds)
    if isinstance(fit, ClockFit) or len(kinds) == 1:
        return fit
    # A side that failed is alike in what both read of one bus or one hand, and in nothing else.
    alone = [_fit_kinds(first_s, first, second_s, second, [one]) for one in SHARED if one in kinds]
    sure = [
        one
        for one in alone
        if isinstance(one, ClockFit)
        and one.match >= (ALONE_MATCH if one.windows >= WINDOWS_SPEAK else ALONE_WHOLE)
    ]
    return max(sure, key=lambda one: one.match, default=fit)


def _fit_kinds(
    first_s: NDArray[np.float64],
    first: Signals,
    second_s: NDArray[np.float64],
    second: Signals,
    kinds: list[str],
) -> ClockFit | NoFit:
    """How the clocks run by these kinds of signal together."""
    first, second = ({kind: one[kind] for kind in kinds} for one in (first, second))
    first, second = _of_one_side(first, second), _of_one_side(second, first)
    a, b = (
        grids(first_s, first, kinds, COARSE_STEP_S),
        grids(second_s, second, kinds, COARSE_STEP_S),
    )
    kinds = [one for one in kinds if one in a.values and one in b.values]
    if not kinds:
        return NoFit(active=False, why="what they have in common hardly changes")
    step = float(
        np.clip(min(np.median(np.diff(first_s)), np.median(np.diff(second_s))), *FINE_STEP_S)
    )
    fine = (grids(first_s, first, kinds, step), grids(second_s, second, kinds, step))
    guess = _coarse(a, b, kinds)
    fit = guess if isinstance(guess, NoFit) else _refined(*fine, kinds, guess)
    fast = max(float(np.median(np.diff(one))) for one in (first_s, second_s)) < FAST_STEP_S
    if isinstance(fit, ClockFit) and fit.windows >= (WINDOWS_SPEAK if fast else WINDOWS_TELL):
        return fit
    whole = whole_fit(first_s, first, second_s, second, USUAL_DRIFT)
    if whole is None:
        return fit
    other = _of_whole(whole, first_s, kinds)
    if isinstance(fit, NoFit) and whole.match < SURELY_WHOLE:
        there = (other.offset_s, other.drift_ppm * 1e-6)
        held = fit if fit.against else _vote(*fine, kinds, there, FIRST_REACH_S)
        if isinstance(held, NoFit) and held.against:
            return held
    if isinstance(fit, ClockFit) and fit.windows >= WINDOWS_SPEAK and _width(fit) < _width(other):
        return fit
    return other


def _width(fit: ClockFit) -> float:
    return fit.high_s - fit.low_s


def _of_whole(whole: WholeFit, first_s: NDArray[np.float64], kinds: list[str]) -> ClockFit:
    """The fit of the whole rides, at the first log's start."""
    since = float(first_s[0]) - whole.middle_s
    drift = whole.drift
    at_zero = whole.offset_s - drift * whole.middle_s
    error = T_95 * float(np.hypot(whole.error_s, whole.drift_error * since))
    return ClockFit(
        at_zero, at_zero - error, at_zero + error, drift * 1e6,
        (drift - T_95 * whole.drift_error) * 1e6, (drift + T_95 * whole.drift_error) * 1e6,
        whole.match, 1, " and ".join(kinds),
    )  # fmt: skip


def _refined(
    fine_a: Grid, fine_b: Grid, kinds: list[str], guess: tuple[float, float]
) -> ClockFit | NoFit:
    """Offset and drift around a guess, three times with less and less reach."""
    step = fine_a.step_s
    reach_s = FIRST_REACH_S
    fit: ClockFit | NoFit = NoFit(active=False, why="no window agrees")
    for _ in range(3):
        fit = _vote(fine_a, fine_b, kinds, guess, reach_s)
        if isinstance(fit, NoFit):
            return fit
        guess = (fit.offset_s, fit.drift_ppm * 1e-6)
        reach_s = max(4 * step, 0.3)
    return fit


def _of_one_side(own: Signals, other: Signals) -> Signals:
    """Own signals without the voltage of a bus that fell while the other log's did not: when the
    pack's path opens, the controllers' side collapses and the cells' side recovers."""
    mine, theirs = own.get("voltage"), other.get("voltage")
    if mine is None or theirs is None:
        return own
    fallen = _fallen(mine)
    if not fallen.any() or _fallen(theirs).any():
        return own
    return {**own, "voltage": np.where(fallen, np.nan, mine)}


def _fallen(volts: NDArray[np.float64]) -> NDArray[np.bool_]:
    usual = float(np.nanmedian(volts)) if np.isfinite(volts).any() else 0.0
    return np.asarray(volts < FALLEN_PART * usual, np.bool_)


def _coarse(a: Grid, b: Grid, kinds: list[str]) -> tuple[float, float] | NoFit:
    """Offset and drift to about a second, from long stretches of the shorter log."""
    swap = a.filled.size > b.filled.size
    short, long = (b, a) if swap else (a, b)
    size = min(round(SEGMENT_S / COARSE_STEP_S), max(short.filled.size // 2, 40))
    size = min(size, short.filled.size)
    begins = np.unique(np.linspace(0, short.filled.size - size, 12).astype(np.int64))
    votes = []
    seen = 0
    for begin in begins:
        best = find_stretch(short, long, kinds, int(begin), size)
        if best is None:
            continue
        seen += 1
        lag, match = best
        if match >= COARSE_MATCH:
            middle = short.start_s + (begin + size / 2) * COARSE_STEP_S
            there = long.start_s + (begin + size / 2 + lag) * COARSE_STEP_S
            votes.append((there, middle, match) if swap else (middle, there, match))
    if seen == 0:
        return NoFit(active=False, why="what they have in common hardly changes")
    line = _consensus(np.asarray(votes, np.float64).reshape(-1, 3))
    if line is None or line[2] < max(0.5 * min(seen, len(begins)), 1):
        long_enough = short.filled.size * COARSE_STEP_S >= JUDGED_S
        return NoFit(
            active=seen >= 2 and long_enough, why=f"their {' and '.join(kinds)} do not go together"
        )
    return line[0], line[1]


def _consensus(votes: NDArray[np.float64]) -> tuple[float, float, float] | None:
    """The line second = first + offset + drift · first that most stretches agree on."""
    if not votes.size:
        return None
    x, lag, weight = votes[:, 0], votes[:, 1] - votes[:, 0], votes[:, 2]
    best: tuple[float, float, float] | None = None
    score = 0.0
    for i in range(x.size):
        for j in range(i, x.size):
            far = abs(x[j] - x[i]) > 30.0
            drift = (lag[j] - lag[i]) / (x[j] - x[i]) if far else 0.0
            if (i != j and not far) or abs(drift) > MAX_DRIFT:
                continue
            off = np.abs(lag - (lag[i] + drift * (x - x[i])))
            near = off < 1.0
            mine = float((weight * near).sum()) - 0.1 * (i != j) - 10 * abs(drift)
            if mine > score:
                score = mine
                best = (float(lag[i] - drift * x[i]), float(drift), float(near.sum()))
    return best


def _vote(
    a: Grid, b: Grid, kinds: list[str], guess: tuple[float, float], reach_s: float
) -> ClockFit | NoFit:
    """One round of votes around a guess, and the line through them."""
    longest = min(a.filled.size, b.filled.size) // 3

    def size(kind: str) -> int:
        return max(min(round(WINDOW_S[kind] / a.step_s), longest), 10)

    rows: list[tuple[str, float, float, float, float]] = []
    judged = agreed = 0
    for kind in kinds:
        for begin in _windows(a, kind, size(kind)):
            there = _counterpart(a, b, kind, begin, size(kind), guess, reach_s)
            if there is None:
                continue
            vote = _lag(a, b, kind, begin, size(kind), *there)
            if vote is not None:
                rows.append((kind, *vote))
            if a.busy is not None and a.busy[begin : begin + size(kind)].mean() > 0.5:
                judged += 1
                agreed += vote is not None
    if agreed < judged * (AGREED if judged >= MANY_JUDGED else AGREED_OF_FEW):
        why = f"their {' and '.join(kinds)} go together in {agreed} of {judged} stretches only"
        return NoFit(active=True, why=why, against=True)
    for choice in (("voltage",), ("speed",), ("voltage", "speed"), tuple(kinds)):
        mine = [row for row in rows if row[0] in choice]
        if len(mine) >= 4:
            break
    else:
        mine = rows
    if not mine:
        return NoFit(active=False, why=f"their {' and '.join(kinds)} hardly go together")
    kind = " and ".join(one for one in KINDS if any(row[0] == one for row in mine))
    table = np.asarray([row[1:] for row in mine], np.float64)
    return _line(table, a.start_s, kind, a.step_s)


def _windows(a: Grid, kind: str, size: int) -> list[int]:
    """Begins of the liveliest unbroken windows of `size` rows of the first log."""
    if a.filled.size < size:
        return []
    begins = np.arange(0, a.filled.size - size + 1, max(size // 2, 1))
    whole = np.concatenate([[0], np.cumsum(~a.filled)])
    begins = begins[whole[begins + size] - whole[begins] < 0.1 * size]
    sums = np.concatenate([[0.0], np.cumsum(a.values[kind] ** 2)])
    life = sums[begins + size] - sums[begins]
    return sorted(int(one) for one in begins[np.argsort(-life, kind="stable")[:MAX_WINDOWS]])


def _counterpart(
    a: Grid, b: Grid, kind: str, begin: int, size: int, guess: tuple[float, float], reach_s: float
) -> tuple[NDArray[np.float64], int] | None:
    """What the second log has where this window is to be found, and the row it begins at; None
    where it has a hole or ends."""
    reach = max(round(reach_s / a.step_s), 3)
    middle = a.start_s + (begin + size / 2) * a.step_s
    want = (a.start_s + begin * a.step_s) + guess[0] + guess[1] * middle
    low = round((want - b.start_s) / b.step_s) - reach
    high = low + 2 * reach + size
    if low < 0 or high > b.filled.size or not b.filled[low:high].mean() > 0.9:
        return None
    return b.values[kind][low:high], low


def _lag(
    a: Grid, b: Grid, kind: str, begin: int, size: int, there: NDArray[np.float64], low: int
) -> tuple[float, float, float, float] | None:
    """One window's vote: its middle [s], its lag [s], how sharp it is [s], its correlation."""
    piece = a.values[kind][begin : begin + size]
    middle = a.start_s + (begin + size / 2) * a.step_s
    energy = float(np.sum(piece**2))
    sums = np.concatenate([[0.0], np.cumsum(there**2)])
    around = sums[size:] - sums[:-size]
    if energy <= 0 or around.min() <= 0:
        return None
    match = np.correlate(there, piece, "valid") / np.sqrt(energy * around)
    top = int(np.argmax(match))
    if match[top] < GOOD_MATCH or top in (0, match.size - 1):
        return None
    bend = match[top - 1] - 2 * match[top] + match[top + 1]
    if bend >= 0:
        return None
    part = 0.5 * (match[top - 1] - match[top + 1]) / bend
    begin_there = b.start_s + (low + top + part) * b.step_s
    lag = begin_there - (a.start_s + begin * a.step_s)
    blur = np.sqrt(max(1 - match[top] ** 2, 1e-4) / -bend / size**0.5) * a.step_s
    return middle, float(lag), float(blur), float(match[top])


def _with_usual(slope: float, slope_se: float) -> tuple[float, float]:
    """A drift and its error, weighed against what clocks usually do where the logs allow it."""
    if not np.isfinite(slope_se):
        return 0.0, USUAL_DRIFT
    if abs(slope) > 3.0 * np.hypot(slope_se, USUAL_DRIFT):
        return slope, slope_se
    told, usual = slope_se**-2.0, USUAL_DRIFT**-2.0
    return slope * told / (told + usual), float((told + usual) ** -0.5)


def _line(votes: NDArray[np.float64], start_s: float, kind: str, step_s: float) -> ClockFit | NoFit:
    """Robust weighted line through the votes, its interval from their scatter."""
    x, lag, blur, match = votes.T
    weight = 1.0 / (blur**2 + (0.1 * step_s) ** 2)
    keep = np.ones(x.size, np.bool_)
    center = float(np.average(x, weights=weight))
    slope, base, spread = 0.0, 0.0, 0.0
    free = bool(np.ptp(x) > 120.0 and x.size >= 6)
    for _ in range(15):
        w = weight * keep
        base = float(np.average(lag, weights=w)) if w.sum() > 0 else float(np.median(lag))
        if free:
            mid = float(np.average(x, weights=w))
            var = float(np.average((x - mid) ** 2, weights=w))
            slope = float(np.average((x - mid) * (lag - base), weights=w)) / max(var, 1e-9)
            center = mid
        rest = lag - base - slope * (x - center)
        spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-4
        fresh = np.abs(rest) <= 3.0 * spread + 0.02 * step_s
        if bool(np.all(fresh == keep)):
            break
        keep = fresh
    share = float(keep.mean())
    if share < 0.4 or abs(slope) > MAX_DRIFT:
        return NoFit(active=True, why="their lags jump about")
    w = weight * keep
    rest = lag - base - slope * (x - center)
    used = max(float(w.sum()) ** 2 / float((w**2).sum()), 1.0)
    # half the windows overlap by half: about two thirds of them count as independent
    used = max(used * 0.67, 1.0)
    scatter = np.sqrt(float(np.average(rest**2, weights=w)) * used / max(used - 2, 0.5))
    scatter = max(scatter, 0.02 * step_s)
    var_x = float(np.average((x - center) ** 2, weights=w))
    slope_se = scatter / np.sqrt(used * var_x) if free and var_x > 0 else np.inf
    slope, slope_se = _with_usual(slope, slope_se)
    mean_se = scatter / np.sqrt(used)
    at_start = base + slope * (start_s - center)
    se = float(np.hypot(mean_se, slope_se * (start_s - center))) + 0.02 * step_s
    offset = at_start - slope * start_s
    t = T_95 + 6.0 / max(used - 2.0, 1.0)
    drift = slope * 1e6
    return ClockFit(
        float(offset), float(offset - t * se), float(offset + t * se), float(drift),
        float(drift - t * slope_se * 1e6), float(drift + t * slope_se * 1e6),
        float(np.median(match[keep])), int(keep.sum()), kind,
    )  # fmt: skip

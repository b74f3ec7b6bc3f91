"""Is one group of cells falling behind the others? With cell logs, and from the pack alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

import numpy as np

from analyzer.ageing_parts import BY_HAND, YEAR_S, Kept
from analyzer.estimate import Estimate, Note
from analyzer.quantities import Bools, Floats
from analyzer.summary_cells import Apart
from importers.setup_types import Setup

ABOUT = "cells"
LOOK_V, ACT_V = 0.050, 0.150
"""Groups this far apart at rest are worth a look, and are wrong [V]: common practice, no source
(10 to 20 mV are normal)."""
SAME_PART, SAME_LEAST = 0.8, 4
"""One group is `always` the lowest when it is in this part of at least so many logs. Our choice: a
healthy pack of ten groups does that once in a thousand."""
GREW_V = 0.010
"""A spread that grew by less is the same [V]. Our choice."""
FULL_PCT = 90.0
"""A pack charged to this or more counts as charged full for its rest voltage. Our choice."""
NEAR_TOP_V = 0.012
"""Starts within this of the best of their months began after a full charge [V per cell]. Our
choice: twice what one ride's rest voltage is known to."""
TOP_DAYS = 60.0
FALL_V = 0.008
"""A fall of the full pack's rest voltage over the book worth telling [V per cell]. Our choice."""
MOST_STARTS = 400
LEAST_STARTS, LEAST_DAYS = 8, 120.0
DEEPER_PCT = 5.0
"""A cutout is at a charge that used to be fine when rides went this much lower before [points]."""
NO_CHARGE_PCT = 2.0
"""A next ride that begins no higher than this above the last one's end was not charged between."""
STOOD_DAYS = (0.5, 45.0)
LEAST_STANDS = 6
LOST_PCT_PER_MONTH = 5.0
"""More than this lost standing is not the cells' own [points a month]: 2 to 5 % (common practice,
no source)."""


def weak_group_notes(rides: Sequence[Kept], setup: Setup) -> tuple[Note, ...]:
    """What says that one group is behind, what speaks against it, and what was not logged."""
    told = _with_cells(rides)
    from_pack = [*_full_falls(rides, setup), *_early_cutouts(rides), *_lost_standing(rides)]
    if not told and not from_pack and len(rides) >= LEAST_STARTS:
        told = [
            "No cell was logged. What the pack shows as a whole (its rest voltage after a full "
            "charge, low-cell cutouts, charge lost standing) says nothing of a weak group; that "
            "would find a strong one only. A meter on each group at rest tells more: `book note`."
        ]
    return tuple(Note(ABOUT, text) for text in (*told, *from_pack))


def _with_cells(rides: Sequence[Kept]) -> list[str]:
    logged = [one for one in rides if one.summary.cells is not None]
    told = []
    for state, words in (
        ("full", "at rest nearly full"),
        ("low", "at rest nearly empty"),
        ("load", "under load"),
    ):
        seen = [apart for one in logged if (apart := getattr(one.summary.cells, state)) is not None]
        if seen:
            told.append(_spread(seen, words, at_rest=state != "load"))
    return told


def _spread(seen: Sequence[Apart], words: str, *, at_rest: bool) -> str:
    third = max(len(seen) // 3, 1)
    first, last = (
        float(np.median([one.spread_v for one in part])) for part in (seen[:third], seen[-third:])
    )
    grew = f"{1000 * first:.0f} → " if abs(last - first) > GREW_V else ""
    text = f"Spread {words} {grew}{1000 * last:.0f} mV in {len(seen)} logs"
    lowest = Counter(one.lowest for one in seen if one.lowest is not None)
    same = False
    if lowest:
        group, times = lowest.most_common(1)[0]
        of = sum(lowest.values())
        same = of >= SAME_LEAST and times >= SAME_PART * of
        text += f", group {group} lowest in {times} of {of}"
    if not at_rest:
        return text + (": the same group sags most each time." if same else ".")
    if last >= ACT_V:
        judged = (
            "far too much (10 to 20 mV are normal): have the pack looked at by someone qualified"
        )
    elif last >= LOOK_V:
        judged = "worth a look (10 to 20 mV are normal, from 50 mV look closer)"
    else:
        judged = "not alarming (worth a look from 50 mV)"
    return f"{text}: {judged}{', and always the same group' if same else ''}."


def _full_falls(rides: Sequence[Kept], setup: Setup) -> list[str]:
    """Does the pack's rest voltage after a full charge fall over the months?"""
    origin = Counter(one.summary.origin for one in rides if one.summary.rest_start_v)
    if not origin:
        return []
    usual = origin.most_common(1)[0][0]
    starts = [
        one
        for one in rides
        if one.summary.origin == usual
        and one.summary.rest_start_v is not None
        and one.summary.kind == "ride"
    ]
    days = np.array([one.start.timestamp() / 86400 for one in starts])
    volts = np.array([one.summary.rest_start_v[0] for one in starts if one.summary.rest_start_v])
    cell = volts / setup.pack.series
    level = np.array([(one.summary.charge_start_pct or (0.0,))[0] for one in starts])
    top = _best_near(days, cell)
    full = cell >= top - NEAR_TOP_V
    full = _thinned(full)
    if full.sum() < LEAST_STARTS or np.ptp(days[full]) < LEAST_DAYS:
        return []
    if float(np.quantile(level[full][: LEAST_STARTS // 2], 0.5)) < FULL_PCT:
        return []  # a rider who does not charge full varies where he stops
    slope = _slope_per_year(days[full], cell[full])
    fall = -slope.value * float(np.ptp(days)) * 86400 / YEAR_S
    if slope.high is None or slope.high >= 0 or fall < FALL_V:
        return []
    whole = fall * setup.pack.series
    return [
        f"After a full charge the pack rests {whole:.2f} V lower than at first ({int(full.sum())} "
        "starts): one group that holds less than the others stops the charge early, or the charger "
        "or the charging habit changed. A meter on each group after charging tells which."
    ]


def _thinned(chosen: Bools) -> Bools:
    """No more than `MOST_STARTS` of them, evenly: the slope's interval looks at every pair."""
    places = np.flatnonzero(chosen)
    every = max(int(np.ceil(places.size / MOST_STARTS)), 1)
    out = np.zeros(chosen.size, np.bool_)
    out[places[::every]] = True
    return out


def _best_near(days: Floats, cell: Floats) -> Floats:
    """The second highest within `TOP_DAYS` of each start: one reading too high is no full pack."""
    out = np.empty(days.size)
    first = np.searchsorted(days, days - TOP_DAYS)
    last = np.searchsorted(days, days + TOP_DAYS, side="right")
    for at, (a, b) in enumerate(zip(first, last, strict=True)):
        near = np.sort(cell[a:b])
        out[at] = near[-2] if near.size > 1 else near[-1]
    return out


def _slope_per_year(days: Floats, values: Floats) -> Estimate:
    """Theil's slope with Sen's interval (Sen 1968, J. Am. Stat. Assoc. 63, 1379)."""
    from scipy.stats import theilslopes

    with np.errstate(invalid="ignore"):  # its interval is open where all values are tied
        found = theilslopes(values, days * 86400 / YEAR_S, 0.95)
    low, high = (float(one) if np.isfinite(one) else None for one in found[2:])
    return Estimate(float(found.slope), low, high)


def _early_cutouts(rides: Sequence[Kept]) -> list[str]:
    """Low-cell cutouts at a charge from which rides went on before."""
    out = []
    for at, one in enumerate(rides):
        for level in one.summary.low_cell_cutouts_pct:
            fine = [
                other
                for other in rides[:at]
                if not other.summary.low_cell_cutouts_pct
                and other.summary.kind == "ride"
                and (end := other.summary.charge_end_pct) is not None
                and end[0] < level - DEEPER_PCT
            ]
            if len(fine) < 2:
                continue
            deepest = min(fine, key=lambda each: (each.summary.charge_end_pct or (100.0,))[0])
            assert deepest.summary.charge_end_pct is not None
            out.append(
                f"On {_day(one.start)} a low cell group cut power at {level:.0f} % charge; "
                f"{len(fine)} earlier rides went lower without, to "
                f"{deepest.summary.charge_end_pct[0]:.0f} % on {_day(deepest.start)}: one group "
                "has fallen behind, or that day was colder or harder. Do not ride it low until the "
                "groups were measured."
            )
            break
    return out[-1:]


def _day(when: datetime) -> str:
    return f"{when.day} {when:%B %Y}"


def _lost_standing(rides: Sequence[Kept]) -> list[str]:
    """Charge lost between the end of one ride and the start of the next, per day of standing."""
    days, lost = [], []
    logged = [one for one in rides if one.summary.origin != BY_HAND]
    for one, after in pairwise(logged):
        end, start = one.summary.charge_end_pct, after.summary.charge_start_pct
        if end is None or start is None or one.summary.origin != after.summary.origin:
            continue
        stood = (after.start - one.start).total_seconds() / 86400
        if STOOD_DAYS[0] <= stood <= STOOD_DAYS[1] and start[0] <= end[0] + NO_CHARGE_PCT:
            days.append(stood)
            lost.append(end[0] - start[0])
    if len(days) < LEAST_STANDS or np.ptp(days) < 1.0:
        return []
    some = _thinned(np.ones(len(days), np.bool_))
    slope = _slope_per_year(np.array(days)[some], np.array(lost)[some])
    month, low = (30.4 * 86400 / YEAR_S * (one or 0.0) for one in (slope.value, slope.low))
    if low < LOST_PCT_PER_MONTH:
        return []
    return [
        f"Standing, the pack loses {month:.0f} points of charge a month (at least {low:.0f}, from "
        f"{len(days)} stops without a charge), if no ride between is missing; cells alone lose "
        "2 to 5. A converter or BMS that stays awake does this, or a group that leaks: measure the "
        "groups after a week's rest."
    ]

"""Signs of the course: what the demand did, how power came back, what the log and codes did."""

from __future__ import annotations

import numpy as np

from analyzer.loss_demand import MOVES, TRACKS, flat_until
from analyzer.loss_facts import Around, Facts, level, lowest_of, median_of
from analyzer.quantities import Floats, throttle_pct

SOON_S = 5.0
"""Back within this by itself is a retry [s]. The contract's."""
BLINK_S = 0.8
"""Back within this: a contact, not a protection [s]. Our choice."""
IDLE_S = 50.0
"""So long without current, and something may have switched off [s]. Our choice."""
FLAT_S = 0.8
"""A hand does not hold still to a fraction of a per cent for this long [s]. Our choice."""
BACK_PART, AWAY_PART, WENT_WITHIN_S = 0.9, 0.75, 20.0
"""A bus at this part of its voltage under load has its supply again, under that part has lost it,
and loses it within so long [s], held up by turning motors. Our choice."""
LEAVES_S, LEAVES_LEAST = 0.6, 0.4
"""A demand that goes by this part of its range within so long [s] shows how it goes. Our choice."""
JUMP_PART, HAND_S = 0.85, 0.2
"""A demand that goes by this part of its way in one row jumps; one that takes so long from a tenth
to nine tenths of it [s] is a hand's. Our choice: less may be a filter's."""
ALIVE_S = 0.4
"""A demand that moves so long before current comes back is no frozen signal [s]. Our choice: a
filter and some rows."""
ALIVE_MOVES = 3
"""A hand moves the demand in so many rows or more, a signal that comes back in one or two. Our
choice."""
STUCK_S = 10.0
"""So long no hand holds on for a drive that is gone, even at full [s]. Our choice: riders let go
within some seconds."""
HELD_PART = 0.5
"""A demand that was held still for this part of the time before is held so by its rider. Our
choice."""
PARTS_S, PARTS_PART, MOSTLY = 10.0, 0.1, 0.8
"""Two sides' demands that followed each other part when, within so long after a loss [s], one moves
by more than the second of its range while the other stands; they go on together when they are near
for most of it. Our choice."""
JUMP_SEEN_S = 0.07
"""Slower logs cannot tell a jump from a hand by one fall alone [s]. Our choice."""
OTHER_WITHIN_S, OTHER_SEEN_S = 2.0, 1.5
"""The other way counts when it is asked for so soon after a loss, and is watched for so long [s].
Our choice."""
FLICKER_S = 180.0
"""Forerunners of a bad contact are looked for this far back [s]. Our choice."""


def course_signs(here: Around, facts: Facts) -> None:
    """What did demand, return and log look like?"""
    _demand(here, facts)
    _sides(here, facts)
    _other_way(here, facts)
    _return(here, facts)
    _log(here, facts)
    _idle(here, facts)
    _flicker(here, facts)


def _demand(here: Around, facts: Facts) -> None:
    demand = here.one.demand
    if demand is None:
        facts.put("demand", None, "the throttle demand")
        return
    if here.part.how in ("log_end", "hole", "off"):
        return
    before = median_of(demand, here.pre)
    if before is not None:
        facts.numbers["demand_pct"] = 100.0 * before
        raw = median_of(throttle_pct(here.search.ride, here.one.name), here.pre)
        if raw is not None and before > 0:
            facts.numbers["throttle_pct"] = raw
    if here.part.how == "demand_jump":
        facts.put("demand", "jump")
        return
    later = demand[here.rows(-0.3, FLAT_S)]
    early = demand[here.rows(-0.3 - 2 * FLAT_S, -0.3)]
    later = later[np.isfinite(later)]
    if later.size < 3 or here.part.how == "dead":
        return
    _stands_still(here, facts)
    flat = float(np.ptp(later)) < 0.004 and 0.05 < abs(float(later[0])) < 0.97
    usual = _usually_flat(here)
    facts.put("demand", "frozen" if flat and not usual and early.size else "held")


def _stands_still(here: Around, facts: Facts) -> None:
    """For how long the demand stays what it was when the current went: a hand gives up."""
    demand, first = here.one.demand, here.loss.first
    assert demand is not None
    stop = int(np.searchsorted(here.time_s, here.time_s[first] + 60.0))
    part = demand[first:stop]
    if part.size < 3 or not np.isfinite(part[0]) or abs(part[0]) < 0.05:
        return
    with np.errstate(invalid="ignore"):
        moved = np.flatnonzero(np.abs(part - part[0]) > MOVES)
    last = int(moved[0]) if moved.size else part.size - 1
    still = float(here.time_s[first + last] - here.time_s[first])
    facts.numbers["demand_still_s"] = still
    gone = float(here.time_s[here.loss.last] - here.time_s[first])
    if gone >= ALIVE_S:
        facts.put("alive", _alive(here, part, last))
    names = ((0.5, "no"), (1.3, "short"), (2.5, "some"), (STUCK_S, "long"))
    found = level(still, names, "stuck")
    if abs(float(part[0])) > 0.97:
        # A thumb rests at its stop, and holds on while another drive still pulls.
        found = "stuck" if found == "stuck" and facts.signs.get("who") == "all" else "top"
    elif found in ("long", "stuck") and _holds_so(here, demand, HELD_PART * still):
        found = "usual"
    facts.put("demand_still", found)
    facts.put("demand_leaves", _leaves(here, demand, first + last))


def _alive(here: Around, part: Floats, moved: int) -> str | None:
    """Whether a hand was seen in the demand while current was away; a jump from one value to
    another may be a signal that comes back."""
    end = int(np.searchsorted(here.time_s, here.time_s[here.loss.last] - ALIVE_S))
    rows = part[max(moved - 1, 0) : max(end - here.loss.first, 0)]
    moves = int(np.sum(np.abs(np.diff(rows)) > MOVES))
    return "no" if not moves else "yes" if moves >= ALIVE_MOVES else None


def _holds_so(here: Around, demand: Floats, least_s: float) -> bool:
    """Whether this rider held the demand as still for `least_s` before the loss, off its stop."""
    size = np.nan_to_num(np.abs(demand[: here.loss.begin]), nan=np.inf)
    rows = np.flatnonzero((size > 0.05) & (size < 0.97))
    at = 0
    while at < rows.size:
        begin = int(rows[at])
        last = flat_until(size, begin, MOVES)
        if here.time_s[last] - here.time_s[begin] >= least_s:
            return True
        at = int(np.searchsorted(rows, last + 1))
    return False


def _sides(here: Around, facts: Facts) -> None:
    """Whether this side's demand came apart from the other's, with which it had gone: one hand
    moves both, so the signal on its way to this side is lost."""
    mine = here.one.demand
    if mine is None or facts.signs.get("who") != "one":
        return
    for other in here.search.drives:
        if other.name in here.loss.drives or other.demand is None:
            continue
        found = _parted(here, mine, other.demand)
        if found is not None:
            facts.put("sides", found)
            return


def _parted(here: Around, mine: Floats, its: Floats) -> str | None:
    before, after = here.rows(-3.0, -0.3), here.rows(0.0, PARTS_S)
    known = np.isfinite(mine) & np.isfinite(its)
    was, rows = known[before], known[after]
    if was.sum() < 3 or rows.sum() < 3:
        return None
    if np.median(np.abs(mine[before] - its[before])[was]) > TRACKS:
        return None
    own, theirs = mine[after][rows], its[after][rows]
    if float(np.ptp(theirs)) <= PARTS_PART:
        return None
    if float(np.ptp(own)) < MOVES:
        return "parted"
    return "together" if np.mean(np.abs(own - theirs) < TRACKS) > MOSTLY else None


def _other_way(here: Around, facts: Facts) -> None:
    """Whether driving went on while braking was away, or the other way round: the first time it
    was asked for, before what was lost came back."""
    rows, first = here.search.rows[here.part.drive], here.loss.first
    within = np.searchsorted(here.time_s, here.time_s[here.loss.last] + OTHER_WITHIN_S)
    same = np.flatnonzero(rows.given[first:within] & (rows.asked[first:within] == here.loss.sign))
    stop = first + int(same[0]) if same.size else int(within)
    asked = np.flatnonzero(rows.asked[first:stop] == -here.loss.sign)
    if here.part.how in ("log_end", "hole", "off") or asked.size == 0:
        return
    at = first + int(asked[0])
    spell = slice(at, int(np.searchsorted(here.time_s, here.time_s[at] + OTHER_SEEN_S)))
    other = rows.asked[spell] == -here.loss.sign
    given, gone = int((rows.given[spell] & other).sum()), int((rows.gone[spell] & other).sum())
    if given + gone >= 3:
        facts.put("other_way", "works" if given > gone else "fails")


def _leaves(here: Around, demand: Floats, row: int) -> str | None:
    """How the demand left the value it had while the current went: a signal that was frozen jumps
    to where the hand is, a hand takes its time."""
    rows = demand[max(row - 1, 0) : row + max(round(LEAVES_S / here.step_s), 2) + 1]
    if here.step_s > JUMP_SEEN_S or rows.size < 3 or not np.isfinite(rows).all():
        return None
    steps = np.abs(np.diff(rows))
    total = abs(float(rows[-1] - rows[0]))
    if total < LEAVES_LEAST:
        return None
    if float(steps.max()) >= JUMP_PART * total:
        return "jump"
    gone = np.abs(rows - rows[0]) / total
    took = int(np.argmax(gone >= 0.9)) - int(np.flatnonzero(gone <= 0.1)[-1])
    return "ramp" if took * here.step_s >= HAND_S else None


def _usually_flat(here: Around) -> bool:
    """Whether this rider's demand often stands still for that long."""
    demand = here.one.demand
    assert demand is not None
    n = max(2, round((FLAT_S + 0.3) / here.step_s))
    if demand.size < 10 * n:
        return True
    blocks = demand[: demand.size // n * n].reshape(-1, n)
    middle = (np.abs(blocks[:, 0]) > 0.05) & (np.abs(blocks[:, 0]) < 0.97)
    if int(middle.sum()) < 8:
        return True
    return float(np.mean(np.ptp(blocks[middle], axis=1) < 0.004)) > 0.1


def _return(here: Around, facts: Facts) -> None:
    loss, time_s = here.loss, here.time_s
    facts.numbers["gone_s"] = float(time_s[loss.last] - time_s[loss.first])
    spells = max(one.spells for one in loss.parts)
    facts.numbers["spells"] = float(spells)
    if spells >= 2:
        facts.put("return", "tries")
        return
    edges = ((1.0, "instant"), (SOON_S, "seconds"), (25.0, "tens"), (60.0, "minute"))
    path_s = _path_back_s(here)
    if path_s is not None:
        facts.numbers["path_back_s"] = path_s
        facts.put("away", level(path_s, edges, "minutes"))
    if loss.back is None:
        over = time_s[-1] - time_s[loss.first] < 20.0
        facts.put("return", "later" if path_s is not None else None if over else "never")
        return
    away = float(time_s[loss.back] - time_s[loss.first])
    facts.numbers["back_after_s"] = away
    if path_s is None:
        facts.put("away", level(away, edges, "minutes"))
    speed = here.search.speed
    stood = speed is not None and (
        (lowest_of(np.abs(speed), slice(loss.first, loss.back + 1)) or 0.0) < 0.4
    )
    if stood and facts.signs.get("speed") not in ("still",):
        facts.put("return", "after_rest")
    else:
        facts.put("return", level(away, ((BLINK_S, "blink"), (SOON_S, "soon")), "later"))


def _path_back_s(here: Around) -> float | None:
    """After how long the controllers had their supply again, whether or not anyone rode on [s];
    None where it never went or never came back."""
    volts, first = here.one.voltage_v, here.loss.first
    before = median_of(volts, here.pre)
    if volts is None or before is None:
        return None
    later, dead = volts[first:], here.one.dead[first:]
    with np.errstate(invalid="ignore"):
        up = (later > BACK_PART * before) & ~dead
        away = dead | (later < AWAY_PART * before)
    away[:-1] |= np.diff(here.time_s[first:]) > here.search.ride.gap_s
    if not away.any():
        return None
    gone = int(np.argmax(away))
    if here.time_s[first + gone] - here.time_s[first] > WENT_WITHIN_S:
        return None
    back = np.flatnonzero(up[gone + 1 :])
    return (
        None
        if back.size == 0
        else float(here.time_s[first + gone + 1 + back[0]] - here.time_s[first])
    )


def _log(here: Around, facts: Facts) -> None:
    powered, how = here.search.setup.logger_powered_by, here.part.how
    ended = how in ("log_end", "hole")
    if ended:
        facts.put("log", "ends")
    elif any(one.dead[here.rows(0.0, 3.0)].any() for one in here.lost()):
        facts.put("log", "one_blank")
    elif powered == "pack":
        facts.put("log", "goes_on_pack")
    else:
        facts.put("log", "goes_on")


def _idle(here: Around, facts: Facts) -> None:
    """How long had nothing flowed before this demand?"""
    a = int(np.searchsorted(here.time_s, here.time_s[here.loss.first] - 1800.0))
    latest = None
    for one in here.search.drives:
        if one.work_a is None:
            continue
        with np.errstate(invalid="ignore"):
            busy = np.flatnonzero(one.work_a[a : here.loss.first] > 2.5 * one.floor_a)
        if busy.size:
            at = here.time_s[a + int(busy[-1])]
            latest = at if latest is None else max(latest, at)
    since = here.time_s[here.loss.first] - (here.time_s[a] if latest is None else latest)
    facts.numbers["idle_s"] = float(since)
    facts.put("idle", level(float(since), ((5.0, "no"), (IDLE_S, "short")), "long"))


def _flicker(here: Around, facts: Facts) -> None:
    """Dips of the bus shorter than a hand is, in the minutes before."""
    volts, work = here.one.voltage_v, here.one.work_a
    if volts is None or work is None or here.step_s > 0.13:
        return
    a = int(np.searchsorted(here.time_s, here.time_s[here.full] - FLICKER_S))
    b = int(np.searchsorted(here.time_s, here.time_s[here.full] - 1.0))
    if b - a < 200:
        return
    part = volts[a:b]
    k = max(1, round(0.4 / here.step_s))
    around = np.minimum(part[: -2 * k], part[2 * k :])
    dips = around - part[k:-k]
    line = 0.06 * here.search.setup.pack.series
    usual = float(np.nanquantile(np.abs(dips), 0.98))
    # An earlier loss, a hole and what stands beside them are no forerunners.
    apart = here.search.rows[here.one.name].gone | here.one.dead
    apart[1:] |= np.diff(here.time_s) > here.search.ride.gap_s
    near = np.convolve(apart[a:b], np.ones(4 * k + 1), "same")[k:-k] > 0.5
    with np.errstate(invalid="ignore"):
        count = int(((dips > max(line, 3.0 * usual)) & ~near).sum())
    facts.numbers["dips"] = float(count)
    facts.put("flicker", "yes" if count >= 2 else "no")

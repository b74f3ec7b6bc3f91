"""Signs of the drives: which stopped, how fast, at what speed, at which of their own limits."""

from __future__ import annotations

import numpy as np

from analyzer.loss_facts import Around, Facts, highest_of, level, lowest_of, median_of
from analyzer.loss_signals import DriveSignals
from analyzer.loss_spin import ahead_rows, behind_rows, falls_behind, gains_on_road
from analyzer.quantities import Bools, Floats
from analyzer.sensors import TEMP_HIGH_C, TEMP_LOW_C, TEMP_RATE_K_PER_S

STILL_MPS, SLOW_MPS, JOG_MPS = 0.4, 1.6, 3.0
"""Standing, walking pace, a jog [m/s]. Our choice."""
STEP_K = 8.0
"""A temperature that jumps by more than this between two readings is a wire [K]. Our choice."""
SPIKE_PART, FULL_PART, HALF_PART = 1.25, 0.93, 0.6
"""Of the phase limit: beyond regulation, at it, and so far under it that a controller which
regulates is nowhere near its trip. Our choice."""
ROLLING_S, ROLLING_FROM_S, ROLLING_LEAST_S = 60.0, 3.0, 1.0
"""So long after it stopped a side is watched, from then on, and for so long it must roll asked for
drive [s]: the moments in which any loss shows are over by then. Our choice."""
BEATS_S = 6.0
"""Bursts of current are looked for this far into a loss [s]. Our choice."""
BEATS_PART = 0.01
"""Of the current before: less movement from row to row is the tail of a ramp. Our choice."""
HAND_BENDS, HAND_ROWS = 0.02, 3
"""A demand that bends by more than this part of itself within two rows moves the current this many
rows around. Our choice: above the last digit of a demand in per cent, a controller's ramp long."""
JITTER_FLOOR = 0.002
"""A speed moves from row to row by this part of itself in any log. Our choice: its resolution."""
COLD_C = 50.0
"""Below this neither controllers nor motors are held back by heat, whatever is set [°C]: common
practice, no source (they begin at 70 to 90)."""
SPIKE_SEEN_S = 0.025
"""A spike of some hundredths of a second is missed by slower logs [s]. Our choice."""
AWAY_S, AWAY_PART = 2.5, 0.3
"""A motor leaves the road's speed when it is off it in this part of so many seconds. Our choice."""
SLOWED_S = 0.4
"""... or brakes itself down while the vehicle rolls on for so long [s]: near its top speed a motor
without its belt goes on as fast as before until it is asked to brake. Our choice."""
LEAVES_PART = 1.03
"""A motor without current that gains this on one that pulls is not turned by its wheel, or the
vehicle turns. Our choice."""
ONE_ROW_S = 0.02
"""The reading at the very moment belongs to neither side [s]."""
SILENT_BEFORE_S, SILENT_AFTER_S, SILENT_PART = 4.0, 0.25, 0.5
"""A thermometer falls silent when more than this part of the seconds before had readings and, but
for a logger's delay, none after. Our choice."""
LITTLE, RAMP_ROWS = 0.15, 2
"""A current that goes in a ramp is read so often between this part of what flowed and nearly all of
it. Our choice: a tail of small readings is a filter's, not a ramp."""
UNRESOLVED_S = 0.13
"""Slower logs cannot tell an instant stop from a ramp [s]. Our choice."""


def drive_signs(here: Around, facts: Facts) -> None:
    """Which drives stopped, how, and how near were their own limits?"""
    _who(here, facts)
    _fall(here, facts)
    _own_voltage(here, facts)
    _heat(here, facts)
    _phase(here, facts)
    _speed(here, facts)
    _link(here, facts)


def _who(here: Around, facts: Facts) -> None:
    known, lost = len(here.search.drives), len(here.loss.drives)
    built = len(here.search.setup.drives)
    facts.put("kind", "drive" if here.loss.sign > 0 else "brake")
    if known >= 2:
        facts.put("who", "all" if lost == known else "one")
        starts = [here.time_s[x.first] for x in here.loss.parts]
        if lost >= 2:
            apart = float(max(starts) - min(starts))
            facts.numbers["apart_s"] = apart
            facts.put("order", "together" if apart <= max(0.12, 2.2 * here.step_s) else "apart")
    elif built > 1:
        facts.put("who", None, "the other drive's log")


def _fall(here: Around, facts: Facts) -> None:
    how = here.part.how
    facts.put("how", how)
    if here.part.faded:
        facts.numbers["faded_s"] = float(
            here.time_s[here.part.first] - here.time_s[here.part.begin]
        )
        facts.put("fall", "faded")
        return
    if how in ("log_end", "hole", "frozen", "dead", "off"):
        return
    if here.step_s > UNRESOLVED_S:
        facts.put("fall", "sudden")
        return
    fall = float(here.time_s[here.part.first] - here.time_s[here.full])
    facts.numbers["fall_s"] = fall
    # A reading's own filter takes about a tenth of a second.
    found = level(fall, ((0.22, "instant"), (0.5, "ramp")), "slow")
    facts.put("fall", found if _on_the_way(here) >= RAMP_ROWS else "instant")


def _on_the_way(here: Around) -> int:
    """Readings between most and little of what flowed before."""
    work = here.one.work_a
    before = median_of(work, here.pre)
    if work is None or not before:
        return RAMP_ROWS
    part = work[here.full : here.part.first + 1] / before
    return int(np.sum((part > LITTLE) & (part < 1.0 - LITTLE)))


def _own_voltage(here: Around, facts: Facts) -> None:
    setup = here.search.setup
    for key, sign in (("stop_at_v", 1.0), ("overvoltage_v", -1.0)):
        margins = []
        for one in here.lost():
            line = getattr(setup.drive(one.name), key)
            volts = one.voltage_v
            if volts is None:
                volts = here.search.ride.get("pack_voltage_v")
            window = slice(here.rows(-1.0, 0.0).start, here.full + 1)
            if window.stop <= window.start:
                window = here.pre
            if sign < 0:
                window = slice(window.start, here.rows(0.0, 0.06).stop)
            seen = lowest_of(volts, window) if sign > 0 else highest_of(volts, window)
            if line is not None and seen is not None:
                margins.append((sign * (seen - line), line))
        margin, nearest = min(margins, default=(None, None))
        if margin is not None and nearest is not None:
            facts.numbers[f"to_{key}"], facts.numbers[key] = margin, nearest
        edges = ((0.5, "at"), (1.5, "near"), (3.5, "off"))
        facts.put(key, level(margin, edges, "clear"), f"drives.{here.part.drive}.{key}")
    line = setup.drive(here.part.drive).derate_from_v
    before = facts.at("voltage_before_v")
    if line is not None and before is not None:
        facts.put("band", "in" if before < line else "above")


def _heat(here: Around, facts: Facts) -> None:
    ride, broken, seen_any = here.search.ride, False, False
    for part in ("controller", "motor"):
        found: str | None = None
        for one in here.lost():
            drive = here.search.setup.drive(one.name)
            stop, derate = getattr(drive, f"{part}_stop_c"), getattr(drive, f"{part}_derate_c")
            values = ride.get(f"{one.name}.{part}_temp_c")
            if values is None:
                continue
            seen_any = True
            broken |= _wire(values, here)
            top = highest_of(values, here.rows(-1.5, 1.1))
            if top is None:
                continue
            facts.numbers[f"{part}_c"] = max(top, facts.numbers.get(f"{part}_c", -99.0))
            if stop is not None and top >= stop - 2.5:
                found = "at"
            elif derate is not None and top >= derate and found != "at":
                found = "band"
            elif found is None and (stop is not None or derate is not None or top < COLD_C):
                found = "clear"
        facts.put(f"{part}_heat", found, f"{part} temperature and its stop")
    if seen_any:
        facts.put("temp_wire", "broken" if broken else "fine")


def _wire(values: Floats, here: Around) -> bool:
    """What no mass can do, around the loss, from where it began to fade."""
    since = float(here.time_s[here.loss.begin] - here.time_s[here.loss.first])
    rows = here.rows(min(since, 0.0) - 4.0, 1.5)
    part, at = values[rows], here.time_s[rows]
    good = np.isfinite(part)
    if _falls_silent(good, at, here):
        return True
    part, at = part[good], at[good]
    if part.size < 2:
        return False
    if float(part.max()) > TEMP_HIGH_C or float(part.min()) < TEMP_LOW_C:
        return True
    moved = np.flatnonzero(np.diff(part) != 0)
    if moved.size == 0:
        return False
    jump = np.abs(np.diff(part))[moved]
    gap = np.maximum(np.diff(at, prepend=at[0] - 1.0)[moved], 1.0)
    return bool(np.any((jump > STEP_K) & (jump > TEMP_RATE_K_PER_S * gap)))


def _falls_silent(good: Bools, at: Floats, here: Around) -> bool:
    """Whether a temperature's readings end with the current while the drive's log goes on: what
    is beyond all sense was taken out when it was read."""
    gone_s = here.time_s[here.full]
    before, after = at < gone_s - ONE_ROW_S, at > gone_s + SILENT_AFTER_S
    if not before.any() or not after.any():
        return False
    near = before & (at > gone_s - SILENT_BEFORE_S)
    current = here.one.work_a
    told = current is not None and bool(np.isfinite(current[here.rows(0.0, 1.0)]).all())
    spoke = good[near].mean() > SILENT_PART and good[near][0]
    return bool(told and spoke and not good[after].any())


def _phase(here: Around, facts: Facts) -> None:
    if here.one.phase_a is None:
        facts.put("phase", None, "phase current")
        return
    drive = here.search.setup.drive(here.part.drive)
    limit = drive.phase_drive_a if here.loss.sign > 0 else drive.phase_brake_a
    if limit is None:
        size = np.abs(here.one.phase_a)
        limit = float(np.nanquantile(size, 0.999))
    top = highest_of(np.abs(here.one.phase_a), here.rows(-0.4, 0.12))
    if top is None or limit <= 0:
        return
    facts.numbers["phase_peak_a"] = top
    edges = ((0.3, "light"), (HALF_PART, "half"), (FULL_PART, "below"), (SPIKE_PART, "full"))
    found = level(top / limit, edges, "spike")
    if found == "below" and here.step_s > SPIKE_SEEN_S:
        facts.put("phase", None, "phase current at 50 Hz or faster: a spike falls between readings")
    else:
        facts.put("phase", found)


def _speed(here: Around, facts: Facts) -> None:
    speed = here.one.speed_mps if here.part.how != "spin" else here.search.speed
    if speed is None:
        speed = here.search.speed
    now = median_of(None if speed is None else np.abs(speed), here.pre)
    if now is not None:
        facts.numbers["speed_mps"] = now
    edges = ((STILL_MPS, "still"), (SLOW_MPS, "slow"), (JOG_MPS, "jog"))
    facts.put("speed", level(now, edges, "riding"))
    _road(here, facts)
    facts.put("jitter", _jitter(here, facts))
    facts.put("tries", _tries(here))
    facts.put("beats", _beats(here))
    facts.put("rolling", _rolling(here))


def _road(here: Around, facts: Facts) -> None:
    """Whether this motor keeps step with the road. Beside a hole nobody knows."""
    if here.part.how in ("hole", "log_end"):
        return
    others = [x for x in here.search.drives if x.name != here.part.drive]
    ride, asked = here.search.ride, here.search.rows[here.part.drive].asked
    behind = behind_rows(here.one, others, ride, asked=asked, by_braking=True)
    if here.loss.sign > 0 and here.one.work_a is not None:
        # Without current a motor behind a freewheel runs down; one without its belt races.
        behind &= np.nan_to_num(here.one.work_a) > here.one.floor_a
    away = ahead_rows(here.one, others, ride) | behind
    told = here.one.speed_mps is not None and any(x.speed_mps is not None for x in others)
    if not (told or ride.has("gps_speed_mps") or here.part.how == "spin"):
        return
    rows = here.rows(0.0, AWAY_S)
    slowed_s = float(np.sum(behind[rows])) * here.step_s
    if float(np.mean(away[rows])) > AWAY_PART or slowed_s > SLOWED_S or here.part.how == "spin":
        facts.put("road", "leaves")
    elif falls_behind(here.one, others, ride, rows) > AWAY_PART:
        facts.put("road", None, "a stretch of coasting: has this motor a freewheel?")
    elif gains_on_road(here.one, others, here.rows(-1.0, -0.1), rows) > LEAVES_PART:
        facts.put("road", None, "a larger difference of the motors' speeds: is it a bend?")
    else:
        facts.put("road", "keeps")


def _jitter(here: Around, facts: Facts) -> str | None:
    """Whether the motor's speed jumped about, for its speed, far more than elsewhere."""
    speed, now_mps = here.one.speed_mps, facts.at("speed_mps")
    if speed is None or here.step_s > UNRESOLVED_S or speed.size < 200:
        return None
    if now_mps is None or now_mps > JOG_MPS:
        return None  # above a jog a motor runs without its sensor, and torque that ends shakes all
    size = np.abs(speed)
    with np.errstate(invalid="ignore", divide="ignore"):
        moves = np.abs(np.diff(speed, n=2)) / np.maximum(size[1:-1], 0.3)
    now = slice(max(here.rows(-4.0, 0.0).start - 2, 0), here.rows(0.0, 2.0).stop - 2)
    rolling = size[1:-1] > 0.2
    part = moves[now][rolling[now]]
    like = float(np.nanmedian(size[1:-1][now])) if part.size else 0.0
    base = moves[rolling & (size[1:-1] < max(2.0 * like, 1.5))]
    part, base = part[np.isfinite(part)], base[np.isfinite(base)]
    if part.size < 5 or base.size < 60:
        return None
    usual = max(float(np.quantile(base, 0.5)), JITTER_FLOOR)
    ratio = float(np.quantile(part, 0.8)) / usual
    return level(ratio, ((4.0, "no"), (10.0, "some")), "yes")


def _tries(here: Around) -> str | None:
    """How strong the current was while it came back for moments within the loss."""
    rows = slice(here.part.first, here.part.last + 1)
    expected = here.search.rows[here.part.drive].expected_a
    if here.one.work_a is None or here.part.spells < 2:
        return None
    work, usual = here.one.work_a[rows], expected[rows]
    with np.errstate(invalid="ignore"):
        on = (work > 2 * here.one.floor_a) & np.isfinite(usual) & (usual > 0)
    if int(on.sum()) < 3:
        return None
    part = float(np.median(work[on] / usual[on]))
    share = float(on.mean())
    strong = "weak" if part < 0.6 else "full"
    return f"{strong}_{'long' if share > 0.25 else 'short'}"


def _rolling(here: Around) -> str | None:
    """Whether this side pulls once it rolls faster than a jog, in the minute after it stopped: a
    motor needs its sensor only to start, but always its three wires."""
    speed = here.one.speed_mps
    if speed is None or here.part.how not in ("gone", "no_demand"):
        return None
    after = here.rows(ROLLING_FROM_S, ROLLING_S)
    rows = here.search.rows[here.part.drive]
    with np.errstate(invalid="ignore"):
        fast = (np.abs(speed[after]) > JOG_MPS) & (rows.asked[after] > 0)
    given, gone = int((rows.given[after] & fast).sum()), int((rows.gone[after] & fast).sum())
    if (given + gone) * here.step_s < ROLLING_LEAST_S:
        return None
    part = given / (given + gone)
    return "runs" if part > 0.8 else "fails" if part < 0.2 else None


def _beats(here: Around) -> str | None:
    """Whether the current beat just before the loss, or in bursts while it lasted, far more than
    it does elsewhere in the ride, and not because the hand did."""
    work = here.one.work_a
    if work is None or here.step_s > UNRESOLVED_S:
        return None
    moves = np.abs(np.diff(work, n=2))
    moves[_hand_moves(here.one)[1:-1]] = np.nan
    base = moves[np.isfinite(moves) & (work[1:-1] > 0.05 * np.nanmax(work))]
    if base.size < 100:
        return None
    level_a = highest_of(work, here.rows(-1.0, -0.1)) or 0.0
    usual = max(float(np.quantile(base, 0.75)), BEATS_PART * level_a) + 1e-9
    lasts = min(float(here.time_s[here.part.last] - here.time_s[here.part.first]), BEATS_S)
    spans = [here.rows(-1.0, -0.1)]
    if lasts > 0.5:
        spans.append(here.rows(0.15, lasts))
    if here.part.spells >= 3:
        spans = [here.rows(-1.0, BEATS_S)]
    ratios = []
    for rows in spans:
        part = moves[max(rows.start - 1, 0) : max(rows.stop - 1, 1)]
        part = part[np.isfinite(part)]
        if part.size >= 5:
            ratios.append(float(np.quantile(part, 0.75)) / usual)
    return level(max(ratios, default=None), ((2.5, "no"), (6.0, "some")), "yes")


def _hand_moves(one: DriveSignals) -> Bools:
    """Rows around which the demand itself bends: what the current does there, the rider did."""
    if one.demand is None:
        return np.zeros(one.dead.size, np.bool_)
    with np.errstate(invalid="ignore"):
        bends = np.abs(np.diff(one.demand, n=2)) > HAND_BENDS * np.abs(one.demand[1:-1])
    wide = np.convolve(np.pad(bends, 1), np.ones(2 * HAND_ROWS + 1), "same") > 0
    return np.asarray(wide, np.bool_)


def _link(here: Around, facts: Facts) -> None:
    setup = here.search.setup
    if len(setup.drives) > 1 and facts.signs.get("who") == "one":
        told = any(one.follows for one in setup.drives)
        mine = any(setup.drive(name).follows for name in here.loss.drives)
        facts.put("link", "untold" if not told else "follower" if mine else "leader")
    facts.put("frozen", "yes" if here.part.how == "frozen" or _freezes(here) else "no")


def _freezes(here: Around) -> bool:
    return any(bool(one.frozen[here.rows(-0.5, 2.0)].any()) for one in here.lost())

"""Signs of pack, BMS and bus: which way the voltage went, what each protection had seen."""

from __future__ import annotations

import numpy as np

from analyzer.loss_facts import Around, Facts, highest_of, level, lowest_of, median_of
from analyzer.loss_lines import prompt_current_a
from analyzer.quantities import Floats
from importers.setup_types import Ports

COLLAPSE_V_PER_CELL = 0.12
"""A bus that falls this far under its loaded voltage when the load goes has lost its pack
[V per cell]. Our choice: rest lies above, never below."""
BRAKE_COLLAPSE_V_PER_CELL = 0.35
"""Likewise after braking [V per cell]. Our choice: a full cell relaxes by 0.1 to 0.2 V."""
JUMP_V_PER_CELL = 0.08
"""Beyond what the resistance explains [V per cell]. Our choice."""
USUAL_OHM_PER_CELL = 0.006
"""Resistance where the ride does not tell it [ohm per cell in series]. Common practice, no source:
3 to 8 milliohms for packs of small vehicles."""
TRIP_EDGES = ((0.02, "clear"), (0.4, "begun"), (0.75, "half"))
"""Parts of a trip's delay that were used up. Our choice."""
AT_ONCE_S = 0.4
"""What was asked for a shorter time than this had no time to trip anything [s]. Our choice."""
DIP_S, DIP_V_PER_CELL = 0.5, 0.3
"""A bus that falls by so much more than its load explains within so long [s; V per cell] has a bad
contact. Our choice: the same as for a path that opens."""
TRIES_PART = 0.2
"""More of the current before the loss is a try. Our choice."""
HEAT_S = 240.0
"""A BMS's switches warm up over minutes [s]. Common practice, no source: 2 to 10 min."""
LEAST_HEAT_S = 45.0
"""A shorter history tells nothing of heat [s]. Our choice."""


def power_signs(here: Around, facts: Facts) -> None:
    """Which way did the voltage go, and how much of each pack-side limit was used?"""
    _currents(here, facts)
    _voltage_after(here, facts)
    _trips(here, facts)
    _cells(here, facts)
    _heat_load(here, facts)
    _charge(here, facts)


def _currents(here: Around, facts: Facts) -> None:
    ride, setup = here.search.ride, here.search.setup
    total = prompt_current_a(ride, setup)
    if total is None:
        return
    now = median_of(total, here.pre)
    if now is not None:
        facts.numbers["pack_current_a"] = now
    second = slice(int(np.searchsorted(here.time_s, here.time_s[here.full] - 5.0)), here.full + 2)
    word = highest_of if here.loss.sign > 0 else lowest_of
    peak = word(total, second)
    if peak is not None:
        facts.numbers["peak_5s_a"] = peak
    for one in here.search.drives:
        own = median_of(one.battery_a, here.pre)
        if own is not None:
            facts.numbers[f"{one.name}.battery_a"] = own


def _bus(here: Around) -> tuple[Floats | None, bool]:
    """The voltage at the drive that stopped, and whether it is the controllers' own."""
    if here.one.voltage_v is not None:
        return here.one.voltage_v, True
    for one in here.lost():
        if one.voltage_v is not None:
            return one.voltage_v, True
    return here.search.ride.get("pack_voltage_v"), False


def _ohm(here: Around) -> float:
    known = here.state.resistance_ohm
    return USUAL_OHM_PER_CELL * here.search.setup.pack.series if known is None else known


def _voltage_after(here: Around, facts: Facts) -> None:
    volts, own = _bus(here)
    before = median_of(volts, here.pre)
    if here.part.how == "spin" and volts is not None:
        return
    if volts is None or before is None:
        facts.put("bus", None, "battery voltage of the controllers")
        return
    series = here.search.setup.pack.series
    facts.numbers["voltage_before_v"] = before
    after = here.rows(-0.05, 3.0)
    if not here.part.how.startswith("log"):
        after = slice(after.start, max(min(after.stop, here.loss.last + 2), after.start + 1))
    low, high = lowest_of(_unloaded(here, volts), after), highest_of(volts, _while_going(here))
    late = median_of(volts, here.rows(0.25, 1.2))
    eased = _eased_v(here, facts)
    dead = np.any([one.dead[here.rows(0.0, 3.0)].any() for one in here.lost()])
    if low is not None:
        facts.numbers["voltage_low_v"] = low
    if high is not None:
        facts.numbers["voltage_high_v"] = high
    if here.loss.sign < 0 and high is not None and own:
        jumped = high > before + eased + JUMP_V_PER_CELL * series
        facts.put("jump", "yes" if jumped else "no")
    # Let go of its braking a pack goes back to rest, which lies below, and further in seconds.
    line = COLLAPSE_V_PER_CELL if here.loss.sign > 0 else BRAKE_COLLAPSE_V_PER_CELL
    if low is not None and low < before - line * series and (not _all_alike(here, after)):
        found = "collapse" if own else "pack_low"
    elif dead:
        found = "dead"
    elif here.part.how in ("log_end", "hole"):
        facts.put("bus", None, "rows after the loss")
        return
    elif not own:
        found = "pack_stays"
    elif late is not None:
        facts.numbers["voltage_after_v"] = late
        found = "rebound"
    else:
        return
    facts.put("bus", found)
    if found == "rebound" and own and here.loss.sign > 0:
        _dip(here, facts, volts, before)


def _dip(here: Around, facts: Facts, volts: Floats, before_v: float) -> None:
    """Whether the bus fell, as the loss began, by far more than the pack's resistance explains, and
    rose again: a contact, whatever the controllers then stopped for."""
    rows = slice(here.rows(-DIP_S, 0.0).start, here.rows(0.0, DIP_S).stop)
    low, amps = lowest_of(volts, rows), facts.at("pack_current_a")
    if low is None:
        return
    total = prompt_current_a(here.search.ride, here.search.setup)
    most = highest_of(total, rows)
    more_a = 0.0 if most is None or amps is None else max(most - amps, 0.0)
    fell_v = before_v - low - more_a * _ohm(here)
    dips = fell_v > DIP_V_PER_CELL * here.search.setup.pack.series
    facts.put("dip", "yes" if dips else "no")
    if dips:
        facts.numbers["dip_v"] = before_v - low
        facts.numbers["dip_unexplained_v"] = fell_v


def _unloaded(here: Around, volts: Floats) -> Floats:
    """The same bus, blank where a try draws current: its sag is no path that opened."""
    work, before = here.one.work_a, median_of(here.one.work_a, here.pre)
    if work is None or not before:
        return volts
    with np.errstate(invalid="ignore"):
        return np.where(work > TRIES_PART * before, np.nan, volts)


def _while_going(here: Around) -> slice:
    """From the last rows of current to a little after it was gone."""
    return slice(min(here.full, here.rows(-0.1, 0.0).start), here.rows(0.0, 0.6).stop)


def _eased_v(here: Around, facts: Facts) -> float:
    """How far the pack's resistance lets the voltage rise between what flowed before and the most
    braking up to the loss [V]: a hand that goes from driving to braking gives back the sag, too."""
    current = facts.at("pack_current_a")
    if current is None:
        return 0.0
    total = prompt_current_a(here.search.ride, here.search.setup)
    least = lowest_of(total, slice(here.pre.start, here.rows(0.0, 0.0).stop))
    most_braking = min(current, 0.0, 0.0 if least is None else least)
    return max(current - most_braking, -min(current, 0.0)) * _ohm(here)


def _all_alike(here: Around, rows: slice) -> bool:
    """Whether a side that went on saw the same voltage: then its load pulled the bus down."""
    lost = here.one.voltage_v
    line = 0.5 * COLLAPSE_V_PER_CELL * here.search.setup.pack.series
    for other in here.search.drives:
        if other.name in here.loss.drives or other.voltage_v is None or lost is None:
            continue
        apart = other.voltage_v[rows] - lost[rows]
        apart = apart[np.isfinite(apart)]
        if apart.size and float(apart.max()) < line:
            return True
    return False


def _at_once(here: Around) -> bool:
    """Whether what was lost had hardly been asked for: a path that an earlier loss left open lets
    nothing through, and how little flowed says nothing of what opened it."""
    asked = here.search.rows[here.part.drive].asked
    before = here.rows(-AT_ONCE_S, -AT_ONCE_S).start
    wanted = asked[before : here.loss.first]
    return bool(here.part.how == "gone" and wanted.size and (wanted != here.loss.sign).any())


def _trips(here: Around, facts: Facts) -> None:
    setup, window = here.search.setup, here.rows(-1.0, 0.05)
    at_once = _at_once(here)
    for word in ("discharge", "charge"):
        used = here.search.trip_used.get(word)
        part = highest_of(used, slice(min(window.start, here.pre.start), window.stop))
        if part is not None:
            facts.numbers[f"{word}_trip_part"] = part
            delay_s = getattr(setup.bms, f"{word}_trip_delay_s")
            if delay_s and part > 0.0:
                facts.numbers[f"{word}_trip_s"] = part * delay_s
        mute = at_once and word == _word(here) and (part is None or part < TRIP_EDGES[1][0])
        facts.put(
            f"{word}_trip",
            level(None if mute else part, TRIP_EDGES, "used"),
            f"bms.{word}_trip_a and bms.{word}_trip_delay_s",
        )
    current = facts.at("pack_current_a")
    for word, sign in (("discharge", 1.0), ("charge", -1.0)):
        rating = getattr(setup.bms, f"{word}_rating_a")
        if word == "charge" and setup.bms.ports is Ports.SEPARATE:
            continue
        peak = facts.at("peak_5s_a")
        if rating is None or current is None:
            facts.put(f"{word}_load", None, f"bms.{word}_rating_a")
            continue
        top = max(sign * current, sign * (peak if peak is not None else current))
        facts.numbers[f"{word}_of_rating"] = top / rating
        edges = ((0.3, "light"), (0.8, "below"), (1.05, "at"), (1.5, "above"))
        found = level(top / rating, edges, "far_above")
        mute = at_once and word == _word(here) and found in ("light", "below")
        facts.put(f"{word}_load", None if mute else found)


def _word(here: Around) -> str:
    return "discharge" if here.loss.sign > 0 else "charge"


def _cells(here: Around, facts: Facts) -> None:
    ride, setup = here.search.ride, here.search.setup
    volts, _ = _bus(here)
    window = slice(here.rows(-1.5, 0.0).start, here.full + 1)
    if window.stop <= window.start:
        window = here.pre
    average_low = lowest_of(volts, here.pre)
    average_high = highest_of(volts, here.pre)
    series = setup.pack.series
    low, high = setup.bms.cell_low_v, setup.bms.cell_high_v
    rested = _word(here) if _at_once(here) else ""
    cell = lowest_of(ride.get("cell_min_v"), slice(window.start, here.rows(0.0, 0.25).stop))
    if cell is not None and low is not None:
        facts.numbers["cell_low_seen_v"] = cell
        found = level(cell - low, ((0.04, "at"), (0.15, "near")), "clear")
        facts.put("cell_low", _unrested(found, rested == "discharge"))
    elif average_low is not None:
        line = 2.8 if low is None else low
        facts.numbers["cell_average_v"] = average_low / series
        edges = ((0.2, "mean_at"), (0.45, "mean_near"), (0.7, "mean_above"))
        found = level(average_low / series - line, edges, "mean_clear")
        facts.put("cell_low", _unrested(found, rested == "discharge"))
    cell = highest_of(ride.get("cell_max_v"), slice(window.start, here.rows(0.0, 0.25).stop))
    if cell is not None and high is not None:
        facts.numbers["cell_high_seen_v"] = cell
        found = level(high - cell, ((0.02, "at"), (0.06, "near")), "clear")
        facts.put("cell_high", _unrested(found, rested == "charge"))
    elif average_high is not None:
        line = setup.cell_full_v + 0.07 if high is None else high
        edges = ((0.05, "mean_at"), (0.12, "mean_near"), (0.3, "mean_below"))
        found = level(line - average_high / series, edges, "mean_clear")
        facts.put("cell_high", _unrested(found, rested == "charge"))


def _unrested(found: str | None, rested: bool) -> str | None:
    """What opened the path before this was asked for may have been a cell that has rested since."""
    return None if rested and found in ("clear", "mean_clear") else found


def _heat_load(here: Around, facts: Facts) -> None:
    """Mean square of the pack's current over minutes, as the heat in a BMS's switches follows."""
    ride, setup = here.search.ride, here.search.setup
    rating = setup.bms.discharge_rating_a
    total = prompt_current_a(ride, setup)
    if rating is None or total is None:
        facts.put("heat_load", None, "bms.discharge_rating_a")
        return
    a = int(np.searchsorted(here.time_s, here.time_s[here.full] - HEAT_S))
    part = total[a : here.full + 1]
    part = part[np.isfinite(part)]
    if part.size < 5 or here.time_s[here.full] - here.time_s[a] < LEAST_HEAT_S:
        facts.put("heat_load", "short")
        return
    rms = float(np.sqrt(np.mean(part**2)))
    facts.numbers["heating_current_a"] = rms
    edges = ((0.4, "cool"), (0.6, "mild"), (0.75, "warm"))
    facts.put("heat_load", level(rms / rating, edges, "hot"))


def _charge(here: Around, facts: Facts) -> None:
    charge = here.state.charge_pct
    value = None if charge is None else median_of(charge, here.pre)
    if value is not None:
        facts.numbers["charge_pct"] = value
    facts.put("charge", level(value, ((18.0, "low"), (35.0, "lowish"), (92.0, "middle")), "full"))

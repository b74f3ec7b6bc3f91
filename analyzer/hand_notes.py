"""What a rider measured by hand, as evidence beside the logs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from math import hypot, sqrt

from analyzer.ageing_parts import BY_HAND, Kept, sd_of
from analyzer.estimate import Note
from analyzer.rest_voltage import charge_from_rest
from analyzer.summary import RideSummary, Triple
from importers.book_notes import LEVEL_POINTS, HandNote
from importers.setup_types import Setup

METER_SD = 0.002
"""A meter's reading of the pack's voltage, one standard deviation [relative]: 0.5 % as the 95 %
range of a plain multimeter (common practice, no source), and the last digit beside it."""
METER_DIGIT_V = 0.03
READS_APART_V_PER_CELL = 0.08
"""A rest voltage by hand that lies further from both ends of a ride was not taken at either [V per
cell]. Our choice."""
SPREAD_LOOK_V = 0.050
"""Cells this far apart at rest are worth a look [V]: common practice, no source (10 to 20 mV are
normal)."""


def noon(day: str) -> datetime:
    """The middle of a day (ISO 8601) in this machine's zone."""
    return datetime.fromisoformat(f"{day}T12:00").astimezone()


def charges_by_hand(notes: Sequence[HandNote], rated_ah: float) -> list[Kept]:
    """Charges that a charger counted between two levels, as charges of the book."""
    return [
        Kept(f"note of {one.day}", _charge(one, rated_ah))
        for one in notes
        if one.charged_ah is not None and one.from_pct is not None and one.to_pct is not None
    ]


def _charge(one: HandNote, rated_ah: float) -> RideSummary:
    def level(pct: float | None) -> tuple[float, float, float]:
        value = pct or 0.0
        return value, value - LEVEL_POINTS, value + LEVEL_POINTS

    return RideSummary(
        kind="charge",
        start=noon(one.day).isoformat(),
        origin=BY_HAND,
        rated_ah=rated_ah,
        duration_s=0.0,
        distance_m=None,
        charge_out_ah=0.0,
        charge_back_ah=one.charged_ah,
        energy_out_wh=None,
        energy_back_wh=None,
        temperature_c=None,
        temperature_logged=False,
        resistance_10s_ohm=None,
        resistance_10s_25c_ohm=None,
        resistance_instant_ohm=None,
        charge_start_pct=level(one.from_pct),
        charge_end_pct=level(one.to_pct),
        capacity_ah=None,
        hours_full=0.0,
        hours_hot=0.0,
        charged_cold_ah=0.0,
        share_pct=None,
        speed_ratio=None,
    )


def with_hand_rests(
    rides: Sequence[Kept], notes: Sequence[HandNote], setup: Setup
) -> tuple[list[Kept], tuple[Note, ...]]:
    """The rides with rest voltages by meter counted in, each weighed with its own uncertainty
    against what the ride's log told; and notes on those that fit no ride and on a log that reads
    otherwise than the meter.

    A note belongs to the ride it names, else to those of its day: to the start or the end,
    whichever it is nearer to.
    """
    kept = list(rides)
    told: list[Note] = []
    apart: list[float] = []
    for note in notes:
        if note.rest_voltage_v is None:
            continue
        found = _nearest(kept, note, setup)
        if found is None:
            text = (
                f"{note.rest_voltage_v:g} V by meter on {note.day} fits the start or end of no "
                "ride kept: it is shown, and nothing rests on it."
            )
            told.append(Note("capacity", text))
            continue
        at, last, logged = found
        apart.append(note.rest_voltage_v / logged - 1)
        kept[at] = _weighed(kept[at], last, note.rest_voltage_v, setup)
    if apart:
        off = 100 * sum(apart) / len(apart)
        words = (
            f"{abs(off):.1f} % {'more' if off > 0 else 'less'} than" if abs(off) >= 0.05 else "as"
        )
        times = "once" if len(apart) == 1 else f"{len(apart)} times"
        text = f"Your meter ({times}) reads {words} the log at rest; both are used, weighed."
        told.append(Note("capacity", text))
    return kept, tuple(told)


def _nearest(rides: Sequence[Kept], note: HandNote, setup: Setup) -> tuple[int, bool, float] | None:
    """Place of the ride, whether it is its end, and the volts logged there."""
    assert note.rest_voltage_v is not None
    best: tuple[float, int, bool, float] | None = None
    for at, one in enumerate(rides):
        if one.name != note.about and one.start.date().isoformat() != note.about:
            continue
        for last, rest in ((False, one.summary.rest_start_v), (True, one.summary.rest_end_v)):
            if rest is None:
                continue
            away = abs(rest[0] - note.rest_voltage_v)
            if best is None or away < best[0]:
                best = (away, at, last, rest[0])
    if best is None or best[0] > READS_APART_V_PER_CELL * setup.pack.series:
        return None
    return best[1:]


def _weighed(one: Kept, last: bool, hand_v: float, setup: Setup) -> Kept:
    """The ride with the meter's reading weighed in at its start or end."""
    own = one.summary
    rest = own.rest_end_v if last else own.rest_start_v
    assert rest is not None
    hand_sd, log_sd = hypot(METER_SD * hand_v, METER_DIGIT_V), max(sd_of(rest), 1e-6)
    weight = log_sd**2 / (log_sd**2 + hand_sd**2)
    value = rest[0] + weight * (hand_v - rest[0])
    sd = sqrt(1 / (1 / hand_sd**2 + 1 / log_sd**2))
    level = charge_from_rest(value, sd, setup)
    around: Triple = (value, value - 1.96 * sd, value + 1.96 * sd)
    pct: Triple | None = None if level is None else (level.value, level.low, level.high)
    if last:
        return Kept(one.name, replace(own, rest_end_v=around, charge_end_pct=pct))
    return Kept(one.name, replace(own, rest_start_v=around, charge_start_pct=pct))


def cell_spread_note(notes: Sequence[HandNote]) -> Note | None:
    """How far the cells were apart at rest, first and last time it was measured by hand."""
    spreads = [
        (one.day, one.cell_max_v - one.cell_min_v)
        for one in notes
        if one.cell_min_v is not None and one.cell_max_v is not None
    ]
    if not spreads:
        return None
    (day, last), first = spreads[-1], spreads[0]
    text = f"Cells at rest were {1000 * last:.0f} mV apart on {_words(day)}, measured by hand"
    if len(spreads) > 1:
        text += f" ({1000 * first[1]:.0f} mV on {_words(first[0])})"
    worth = "worth a look" if last >= SPREAD_LOOK_V else "not alarming"
    return Note("cells", f"{text}: {worth} (10 to 20 mV are normal, from 50 mV look closer).")


def _words(day: str) -> str:
    one = date.fromisoformat(day)
    return f"{one.day} {one:%B %Y}"

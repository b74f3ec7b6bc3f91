"""What a rider measured by hand, as evidence beside the logs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from analyzer.ageing_parts import Kept
from analyzer.estimate import Note
from analyzer.summary import RideSummary
from importers.book_notes import HandNote

LEVEL_POINTS = 3.0
"""How well a charge level that a rider reads off is known, half of a 95 % interval [points]. Our
choice: displays show whole per cents and correct themselves now and then."""
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
        origin="by hand",
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
    text = f"Cells at rest were {1000 * last:.0f} mV apart on {day}, measured by hand"
    if len(spreads) > 1:
        text += f" ({1000 * first[1]:.0f} mV on {first[0]})"
    worth = "worth a look" if last >= SPREAD_LOOK_V else "not alarming"
    return Note("cells", f"{text}: {worth} (10 to 20 mV are normal, from 50 mV look closer).")

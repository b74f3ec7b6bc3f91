"""Braking into a full or a cold pack, and how early the pack sags into the derate band: what can
be said before any ride, with intervals as wide as cells of one kind differ."""

from __future__ import annotations

from analyzer.setup_evidence import Evidence
from analyzer.setup_finding import SetupFinding, Sheet, Suggestion, above, drive_key, num, unique
from analyzer.setup_paper import braking_room_pct, fade_from_pct
from analyzer.setup_sums import total
from analyzer.words import Severity
from importers.setup_types import Setup

FADE_WATCH_PCT = 50.0
FADE_NOTE_PCT = 25.0
"""Full power that fades above this state of charge is watched, above the second one told. Our
choice: half a pack, and what riders call nearly empty."""
PLATING_C = 0.0
"""Charging below this plates lithium on graphite: J. Power Sources 594, 233948 (2024), abstract;
JEITA guidance: none below 0 degC."""


def check_braking(setup: Setup, evidence: Evidence, sheet: Sheet) -> None:
    """What braking does to a full pack and to a cold one."""
    summed = total(setup, "brake")
    if summed is None:
        return
    _check_full(setup, summed.value, summed.keys, evidence, sheet)
    _check_cold(setup, summed.value, summed.keys, sheet)


def _high_line(setup: Setup) -> tuple[float, tuple[str, ...], str] | None:
    """The voltage at which braking ends: the lowest of the BMS's line and the drives' own."""
    lines: list[tuple[float, tuple[str, ...], str]] = []
    if setup.bms.cell_high_v is not None:
        value = setup.bms.cell_high_v * setup.pack.series
        lines.append((value, ("bms.cell_high_v", "pack.series"), "the BMS closes the charge path"))
    for drive in setup.drives:
        if drive.overvoltage_v is not None:
            key = drive_key(setup, drive, "overvoltage_v")
            lines.append((drive.overvoltage_v, (key,), f"{drive.name} stops"))
    return min(lines) if lines else None


def _check_full(
    setup: Setup, current_a: float, keys: tuple[str, ...], evidence: Evidence, sheet: Sheet
) -> None:
    line = _high_line(setup)
    if line is None:
        sheet.miss(
            "braking into a full pack",
            "bms.cell_high_v",
            *(drive_key(setup, drive, "overvoltage_v") for drive in setup.drives),
        )
        return
    line_v, line_keys, what = line
    rise = evidence.resistance_ohm
    room = braking_room_pct(setup, current_a, line_v, rise)
    full_key = () if setup.pack.cell_full_v is None else ("pack.cell_full_v",)
    peak_v = setup.full_v + current_a * rise.value
    over = above(setup.full_v + current_a * (rise.low or 0.0), line_v)
    low = 0.0 if room.low is None else room.low
    leave = f"Leave with {low:.0f} % or less" if low < 99.0 else "Leave a few per cent"
    sheet.findings.append(
        SetupFinding(
            check="braking_when_full",
            keys=unique((*keys, *line_keys, "pack.series", *full_key)),
            severity=Severity.WATCH if over else Severity.NOTE,
            value=round(peak_v, 2),
            limit=round(line_v, 6),
            message=f"Braking with {num(current_a, 'A')} into a full pack "
            f"({num(setup.full_v, 'V')}) lifts it to about {num(round(peak_v, 1), 'V')} "
            f"({_span(setup.full_v, current_a, rise.low, rise.high)}, "
            f"{evidence.resistance_from}); {what} at {num(line_v, 'V')}.",
            why="A full pack takes no charge: the voltage climbs until something opens, and "
            "motor braking is gone on the descent."
            if over
            else "A full pack takes no charge for long: on a descent from a full charge the "
            "voltage climbs further, and motor braking fades or ends.",
            cost="Some range.",
            caution=f"{leave} when the way begins downhill; the mechanical brake must hold the "
            "loaded vehicle on its own.",
        )
    )


def _span(full_v: float, current_a: float, low: float | None, high: float | None) -> str:
    return f"{full_v + current_a * (low or 0):.1f} to {full_v + current_a * (high or 0):.1f} V"


def _check_cold(setup: Setup, current_a: float, keys: tuple[str, ...], sheet: Sheet) -> None:
    coldest = setup.pack.min_charge_temp_c
    if coldest is None:
        sheet.miss("braking into a cold pack", "pack.min_charge_temp_c")
        return
    below = above(PLATING_C, coldest)
    sheet.findings.append(
        SetupFinding(
            check="braking_when_cold",
            keys=unique((*keys, "pack.min_charge_temp_c")),
            severity=Severity.WATCH if below else Severity.NOTE,
            value=coldest if below else current_a,
            limit=PLATING_C if below else None,
            message=f"Charging is allowed down to {num(coldest, '°C')}, below freezing."
            if below
            else f"Braking charges with up to {num(current_a, 'A')}; below "
            f"{num(coldest, '°C')} the cells must not be charged, and no limit set here knows the "
            "pack's temperature.",
            why="Charging cells below freezing plates lithium: they age at once and can fail "
            "later.",
            suggest=(
                Suggestion(
                    "pack.min_charge_temp_c",
                    PLATING_C,
                    "the usual floor; a lower one only by the cells' datasheet",
                ),
            )
            if below
            else (),
            cost="Less or no motor braking on frosty days until the pack is warm.",
            caution="Bring the pack in overnight, or set braking to its least on frosty days; the "
            "mechanical brake must do.",
        )
    )


def check_sag(setup: Setup, evidence: Evidence, sheet: Sheet) -> None:
    """At full current, from which state of charge on will power fade? On paper only."""
    summed = total(setup, "drive")
    derates = [d for d in setup.drives if d.derate_from_v is not None]
    if summed is None or not derates:
        return
    first = max(derates, key=lambda d: d.derate_from_v or 0.0)
    derate_v = first.derate_from_v or 0.0
    ohm = evidence.resistance_ohm
    fade = fade_from_pct(setup, summed.value, derate_v, ohm)
    message = (
        f"With {num(summed.value, 'A')} the pack sags by about "
        f"{num(round(summed.value * ohm.value, 1), 'V')}, and power is reduced below about "
        f"{fade.value:.0f} % charge ({fade.low or 0:.0f} to {fade.high or 0:.0f} %, "
        f"{evidence.resistance_from}; derate at {num(derate_v, 'V')})."
    )
    if fade.value < FADE_NOTE_PCT:
        sheet.held.append(message)
        return
    home = drive_key(setup, first, "derate_from_v")
    cell_keys = tuple(
        f"pack.{name}"
        for name in ("series", "capacity_ah", "chemistry", "cell_full_v", "cell_empty_v")
        if getattr(setup.pack, name) is not None
    )
    sheet.findings.append(
        SetupFinding(
            check="sag_into_derate",
            keys=unique((*summed.keys, home, *cell_keys)),
            severity=Severity.WATCH if fade.value > FADE_WATCH_PCT else Severity.NOTE,
            value=round(fade.value, 1),
            limit=FADE_WATCH_PCT if fade.value > FADE_WATCH_PCT else FADE_NOTE_PCT,
            message=message,
            why="On a climb power fades with charge left in the pack, earlier still in the cold.",
            cost="",
            caution="Do not lower the derate voltage to hide it: draw less current, or ride the "
            "climb earlier in the charge. A ride's log measures the pack's own resistance.",
        )
    )

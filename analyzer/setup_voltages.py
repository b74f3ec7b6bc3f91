"""Are the voltages in order, and do they fit this number of cells?

From above: overvoltage, full, derate, stop, empty, and below them all what the BMS opens at.
"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.setup_derive import LEAST_BAND_V, NEAR_BMS_V, Derived, derive_voltages
from analyzer.setup_evidence import Evidence
from analyzer.setup_finding import (
    SetupFinding,
    Sheet,
    Suggestion,
    above,
    ceil_v,
    drive_key,
    floor_v,
    num,
    unique,
    who,
)
from analyzer.words import Severity
from importers.setup_types import Chemistry, Drive, Setup


@dataclass(frozen=True, slots=True)
class CellBand:
    """Volts per cell as one sets them for a chemistry. Common practice, no source, but for
    `highest_v`: IEC 62133-2 annex A gives 4.25 V as upper limit of 4.2 V cells."""

    derate_v: tuple[float, float]
    stop_v: tuple[float, float]
    derate_usual_v: float
    stop_usual_v: float
    full_v: tuple[float, float]
    lowest_v: float
    highest_v: float


_FOUR_VOLT = CellBand((2.9, 3.65), (2.6, 3.4), 3.3, 3.0, (3.9, 4.25), 2.5, 4.30)
BANDS: dict[Chemistry, CellBand] = {
    Chemistry.NMC: _FOUR_VOLT,
    Chemistry.NCA: _FOUR_VOLT,
    Chemistry.LCO: CellBand((3.0, 3.7), (2.7, 3.5), 3.4, 3.1, (3.9, 4.45), 2.5, 4.50),
    Chemistry.LFP: CellBand((2.6, 3.2), (2.2, 3.05), 2.9, 2.6, (3.4, 3.65), 2.0, 3.80),
}
"""Common practice, no source: power starts to be reduced at 3.2 to 3.5 V per cell (LFP 2.9 to
3.0), is gone at 2.9 to 3.2 V (LFP 2.6 to 2.7); the bands are wider, so that only a setup for
another pack falls outside."""
NAMES = ("derate_from_v", "stop_at_v", "overvoltage_v")
"""The voltages that a controller is set to."""
_NEVER_LOWER = (
    "Never lower derate or stop voltage to get further on a charge: that moves the end of the ride "
    "to where the BMS cuts everything at once."
)
_COST_HIGHER = "The ride ends with a little more charge left in the pack."


def check_voltages(setup: Setup, evidence: Evidence, sheet: Sheet) -> None:
    """Every drive's derate, stop and overvoltage against the pack and the BMS; each value once,
    where it stands in the file."""
    derived = derive_voltages(setup, evidence)
    done: set[tuple[str, ...]] = set()
    for drive in setup.drives:
        homes = tuple(drive_key(setup, drive, name) for name in NAMES)
        if homes in done:
            continue
        done.add(homes)
        _check_missing(setup, drive, sheet)
        _check_band(setup, drive, derived, sheet)
        _check_low_end(setup, drive, derived, sheet)
        _check_overvoltage(setup, drive, sheet)
        _check_per_cell(setup, drive, derived, sheet)
    if setup.bms.cell_low_v is None:
        sheet.miss("the stop voltage against the BMS's low line", "bms.cell_low_v")
    if setup.bms.cell_high_v is None:
        sheet.miss("the overvoltage against the BMS's high line", "bms.cell_high_v")


def derate_for(derived: Derived, stop_v: float) -> float:
    """A derate voltage a whole band above this stop voltage, and never under the derived one."""
    return ceil_v(max(derived.derate_v, stop_v + derived.band_v))


def _who(setup: Setup, drive: Drive) -> str:
    return who(setup, drive, NAMES)


def _check_missing(setup: Setup, drive: Drive, sheet: Sheet) -> None:
    for name, what in (
        ("derate_from_v", "where power is reduced"),
        ("stop_at_v", "where power is gone"),
        ("overvoltage_v", "where too high a voltage stops it"),
    ):
        if getattr(drive, name) is None:
            sheet.miss(f"{_who(setup, drive)}: {what}", drive_key(setup, drive, name))


def _check_band(setup: Setup, drive: Drive, derived: Derived, sheet: Sheet) -> None:
    """Between derate and stop power fades; without a band it goes all at once."""
    derate, stop = drive.derate_from_v, drive.stop_at_v
    if derate is None or stop is None:
        return
    series = setup.pack.series
    least = LEAST_BAND_V * series
    if not above(least, derate - stop):
        sheet.held.append(
            f"{_who(setup, drive)}: power fades over {num(derate - stop, 'V')}, from "
            f"{num(derate, 'V')} to {num(stop, 'V')}."
        )
        return
    none = not above(derate, stop)
    key = drive_key(setup, drive, "derate_from_v")
    value = derate_for(derived, stop)
    sheet.findings.append(
        SetupFinding(
            check="derate_above_stop",
            keys=(key, drive_key(setup, drive, "stop_at_v"), "pack.series"),
            severity=Severity.ACT if none else Severity.WATCH,
            value=derate,
            limit=stop,
            message=(
                f"{_who(setup, drive)}: power is reduced from {num(derate, 'V')} and gone at "
                f"{num(stop, 'V')}: "
                + (
                    "there is nothing between the two."
                    if none
                    else f"only {num((derate - stop) / series, 'V')} per cell between the two."
                )
            ),
            why="Power goes like a switch on a climb, comes back as the voltage rebounds, and the "
            "drives may surge; a fade would have told you in time.",
            suggest=(Suggestion(key, value, "leaves 0.2 V per cell or more in which power fades"),),
            cost="Power begins to fade earlier near the end of a charge.",
            caution=_NEVER_LOWER,
        )
    )


def _check_low_end(setup: Setup, drive: Drive, derived: Derived, sheet: Sheet) -> None:
    """Stop (and derate) above empty, stop above what the BMS opens at."""
    series, empty_v = setup.pack.series, setup.empty_v
    empty_keys = ("pack.series", "pack.cell_empty_v")
    if setup.pack.cell_empty_v is None:
        empty_keys = ("pack.series", "pack.chemistry")
    for name, word in (("stop_at_v", "gone"), ("derate_from_v", "reduced")):
        value = getattr(drive, name)
        if value is None:
            continue
        if above(value, empty_v):
            sheet.held.append(
                f"{_who(setup, drive)}: power is {word} at {num(value, 'V')}, empty is "
                f"{num(empty_v, 'V')}."
            )
            continue
        sheet.findings.append(
            _below_empty(setup, drive, name, word, empty_keys, derived),
        )
    low, stop = setup.bms.cell_low_v, drive.stop_at_v
    if low is None or stop is None:
        return
    line_v = low * series
    if above(stop, line_v) and not above(line_v + NEAR_BMS_V * series, stop):
        sheet.held.append(
            f"{_who(setup, drive)}: power is gone at {num(stop, 'V')}, before the BMS opens at "
            f"{num(line_v, 'V')} ({num(low, 'V')} per cell)."
        )
        return
    sheet.findings.append(_near_bms(setup, drive, stop, line_v, derived))


def _below_empty(
    setup: Setup, drive: Drive, name: str, word: str, empty_keys: tuple[str, str], derived: Derived
) -> SetupFinding:
    value, key = getattr(drive, name), drive_key(setup, drive, name)
    set_to = derived.stop_v if name == "stop_at_v" else derived.derate_v
    reason = derived.stop_why if name == "stop_at_v" else derived.derate_why
    verb = "lies at" if not above(setup.empty_v, value) else "lies below"
    return SetupFinding(
        check="stop_above_empty" if name == "stop_at_v" else "derate_above_empty",
        keys=(key, *empty_keys),
        severity=Severity.WATCH,
        value=value,
        limit=round(setup.empty_v, 6),
        message=f"{_who(setup, drive)}: power is {word} at {num(value, 'V')}, which {verb} empty, "
        f"{num(setup.empty_v, 'V')} ({setup.pack.series} × {num(setup.cell_empty_v, 'V')}).",
        why="The controller would go on drawing from a pack that is empty: cells are damaged, or "
        "the BMS opens first and takes all drives at once.",
        suggest=(Suggestion(key, set_to, reason),),
        cost=_COST_HIGHER,
        caution=_NEVER_LOWER,
    )


def _near_bms(
    setup: Setup, drive: Drive, stop: float, line_v: float, derived: Derived
) -> SetupFinding:
    key = drive_key(setup, drive, "stop_at_v")
    first = not above(stop, line_v)
    tail = (
        "the BMS opens first."
        if first
        else f"only {num((stop - line_v) / setup.pack.series, 'V')} per cell apart, and the BMS "
        "goes by the lowest cell."
    )
    value = derived.stop_v
    suggest = [Suggestion(key, value, derived.stop_why)]
    derate = drive.derate_from_v
    if derate is not None and above(value + LEAST_BAND_V * setup.pack.series, derate):
        derate_key = drive_key(setup, drive, "derate_from_v")
        why = "keeps a band above the new stop voltage in which power fades"
        suggest.append(Suggestion(derate_key, derate_for(derived, value), why))
    return SetupFinding(
        check="stop_above_bms_low",
        keys=(key, "bms.cell_low_v", "pack.series"),
        severity=Severity.ACT if first else Severity.WATCH,
        value=stop,
        limit=round(line_v, 6),
        message=f"{_who(setup, drive)}: power is gone at {num(stop, 'V')}, the BMS opens at "
        f"{num(line_v, 'V')} ({setup.pack.series} × {num(setup.bms.cell_low_v or 0.0, 'V')}): "
        f"{tail}",
        why="When the BMS opens, every drive stops at once, without a fade and without braking; "
        "the controllers should have faded long before.",
        suggest=tuple(suggest),
        cost=_COST_HIGHER,
        caution=_NEVER_LOWER,
    )


def _check_overvoltage(setup: Setup, drive: Drive, sheet: Sheet) -> None:
    """Above full, or a full pack stops the drive; below the BMS's line, or the path opens first."""
    over = drive.overvoltage_v
    if over is None:
        return
    key = drive_key(setup, drive, "overvoltage_v")
    high = setup.bms.cell_high_v
    line_v = None if high is None else high * setup.pack.series
    suggest = _overvoltage_between(setup, key, line_v)
    full_keys = unique(("pack.series", "pack.cell_full_v" if setup.pack.cell_full_v else ""))
    if not above(over, setup.full_v):
        sheet.findings.append(
            SetupFinding(
                check="overvoltage_above_full",
                keys=(key, *(k for k in full_keys if k)),
                severity=Severity.ACT,
                value=over,
                limit=round(setup.full_v, 6),
                message=f"{_who(setup, drive)}: overvoltage is {num(over, 'V')}, and full is "
                f"{num(setup.full_v, 'V')} ({setup.pack.series} × {num(setup.cell_full_v, 'V')}).",
                why="With a full pack the controller stops, or drops out at the first touch of "
                "motor braking: braking is lost while moving.",
                suggest=suggest,
                cost="None, when the value stays below what controller and BMS bear.",
                caution="Never set it above the controller's own voltage rating.",
            )
        )
    elif line_v is not None and not above(line_v, over):
        sheet.findings.append(_overvoltage_late(setup, drive, key, over, line_v, suggest))
    else:
        line = "" if line_v is None else f", the BMS's line is {num(line_v, 'V')}"
        sheet.held.append(
            f"{_who(setup, drive)}: overvoltage is {num(over, 'V')}, full is "
            f"{num(setup.full_v, 'V')}{line}."
        )


def _overvoltage_late(
    setup: Setup,
    drive: Drive,
    key: str,
    over: float,
    line_v: float,
    suggest: tuple[Suggestion, ...],
) -> SetupFinding:
    return SetupFinding(
        check="overvoltage_below_bms_high",
        keys=(key, "bms.cell_high_v", "pack.series"),
        severity=Severity.WATCH,
        value=over,
        limit=round(line_v, 6),
        message=f"{_who(setup, drive)}: overvoltage is {num(over, 'V')}, but the BMS closes the "
        f"charge path at {num(line_v, 'V')} ({setup.pack.series} × "
        f"{num(setup.bms.cell_high_v or 0.0, 'V')}): the BMS is first.",
        why="Braking into a path that has just opened makes the voltage jump at the controllers; "
        "their own limit should weaken braking before that.",
        suggest=suggest,
        cost="Motor braking ends a little earlier on a full pack.",
        caution="Leave room in the pack before a long descent; the mechanical brake must hold it.",
    )


def _overvoltage_between(setup: Setup, key: str, line_v: float | None) -> tuple[Suggestion, ...]:
    """A value in the middle between full and the BMS's line, where there is room for one."""
    if line_v is None:
        return ()
    value = floor_v((setup.full_v + line_v) / 2)
    if not above(value, setup.full_v) or not above(line_v, value):
        return ()
    return (Suggestion(key, value, "lies between full and where the BMS closes the charge path"),)


def _check_per_cell(setup: Setup, drive: Drive, derived: Derived, sheet: Sheet) -> None:
    """Volts per cell that no pack of this chemistry is set to: a setup for another pack."""
    band = BANDS.get(setup.pack.chemistry)
    if band is None:
        sheet.miss("volts per cell against the chemistry (other)", "pack.chemistry")
        return
    series = setup.pack.series
    odd: list[tuple[str, float, tuple[float, float]]] = []
    for name, (low, high) in (("derate_from_v", band.derate_v), ("stop_at_v", band.stop_v)):
        value = getattr(drive, name)
        if value is not None and not low <= value / series <= high:
            odd.append((name, value, (low, high)))
    over = drive.overvoltage_v
    most = setup.cell_full_v + 0.35
    if over is not None and over / series > most:
        odd.append(("overvoltage_v", over, (setup.cell_full_v, most)))
    for name, value, (low, high) in odd:
        sheet.findings.append(_odd_cell(setup, drive, name, value, (low, high), derived))


def _odd_cell(
    setup: Setup,
    drive: Drive,
    name: str,
    value: float,
    usual: tuple[float, float],
    derived: Derived,
) -> SetupFinding:
    low, high = usual
    series, key = setup.pack.series, drive_key(setup, drive, name)
    cell_v = value / series
    cells = fitting_cells(setup, drive)
    other = ""
    if cells is not None and cells != series:
        other = f" These values would fit about {cells} cells in series: is this the right setup?"
    if name == "overvoltage_v":
        high_v = setup.bms.cell_high_v
        suggest = _overvoltage_between(setup, key, None if high_v is None else high_v * series)
    else:
        wanted = derived.stop_v if name == "stop_at_v" else derived.derate_v
        reason = derived.stop_why if name == "stop_at_v" else derived.derate_why
        # Lowering a voltage is suggested only where it was plainly meant for a larger pack.
        plainly = cell_v > high + 0.2 or above(wanted, value)
        suggest = (Suggestion(key, wanted, reason),) if plainly else ()
    dead = name != "overvoltage_v" and cell_v >= setup.cell_full_v
    deep = name == "stop_at_v" and cell_v < BANDS[setup.pack.chemistry].lowest_v
    return SetupFinding(
        check="volts_per_cell",
        keys=(key, "pack.series", "pack.chemistry"),
        severity=Severity.ACT if dead or deep else Severity.WATCH,
        value=round(cell_v, 4),
        limit=high if cell_v > high else low,
        message=f"{_who(setup, drive)}: {name} {num(value, 'V')} is {num(cell_v, 'V')} per cell "
        f"with {series} in series; {setup.pack.chemistry.value} is set to {num(low, 'V')} to "
        f"{num(high, 'V')}.{other}",
        why="Too high, and power goes with charge left; too low, and nothing protects the cells "
        "before the BMS opens.",
        suggest=suggest,
        cost="" if not suggest else "Range and protection trade places: see the derate voltage.",
        caution=_NEVER_LOWER if cell_v < low else "",
    )


def fitting_cells(setup: Setup, drive: Drive) -> int | None:
    """For how many cells in series would this drive's voltages be usual? None where for none."""
    band = BANDS.get(setup.pack.chemistry)
    if band is None:
        return None
    ratios = []
    for value, usual in (
        (drive.derate_from_v, band.derate_usual_v),
        (drive.stop_at_v, band.stop_usual_v),
        (drive.overvoltage_v, setup.cell_full_v + 0.05),
    ):
        if value is not None:
            ratios.append(value / usual)
    return round(sum(ratios) / len(ratios)) if ratios else None

"""Do the pack's own values fit its chemistry and its size, and the BMS's lines the pack?"""

from __future__ import annotations

from analyzer.setup_finding import SetupFinding, Sheet, Suggestion, above, num
from analyzer.setup_voltages import BANDS, CellBand
from analyzer.words import Severity
from importers.setup_types import Chemistry, Setup

FULL_V = {Chemistry.NMC: 4.20, Chemistry.NCA: 4.20, Chemistry.LCO: 4.20, Chemistry.LFP: 3.65}
"""What a chemistry is usually charged to [V per cell]. Common practice, no source."""
EMPTY_ABOVE_V, FULL_BELOW_V = 0.10, 0.05
"""Room between empty, or full, and the BMS's line [V per cell]. Our choice: groups of cells differ
by 10 to 50 mV (common practice, no source), more so near empty."""
CELL_AH = (0.5, 100.0)
"""Capacity of one parallel cell [Ah]; the contract's."""
MOST_CHARGE_C = 5.0
MOST_DISCHARGE_C = 40.0
"""Currents over capacity above which a rating is a typo rather than a cell. Common practice."""


def check_cells(setup: Setup, sheet: Sheet) -> None:
    """Full, empty and the BMS's lines per cell against the chemistry; capacity and ratings."""
    band = BANDS.get(setup.pack.chemistry)
    if band is not None:
        _check_full(setup, band, sheet)
        _check_empty(setup, band, sheet)
        _check_lines(setup, band, sheet)
    _check_order_of_lines(setup, sheet)
    _check_capacity(setup, sheet)
    _check_ratings(setup, sheet)


def _check_full(setup: Setup, band: CellBand, sheet: Sheet) -> None:
    full = setup.pack.cell_full_v
    if full is None:
        return
    low, high = band.full_v
    word = setup.pack.chemistry.value
    if low <= full <= high:
        sheet.held.append(f"Full at {num(full, 'V')} per cell fits {word}.")
        return
    swapped = _chemistry_for(full)
    hint = f" It would fit {swapped}." if swapped else ""
    over = full > high
    sheet.findings.append(
        SetupFinding(
            check="full_against_chemistry",
            keys=("pack.cell_full_v", "pack.chemistry"),
            severity=_over_severity(full, band) if over else Severity.NOTE,
            value=full,
            limit=high if over else low,
            message=f"A {word} cell is full at {num(low, 'V')} to {num(high, 'V')}, the setup says "
            f"{num(full, 'V')}.{hint}",
            why="Charging above what the cells are made for can set them on fire."
            if over
            else "Charging less is kind to the cells; the charge shown counts from there.",
            suggest=(
                Suggestion(
                    "pack.cell_full_v",
                    FULL_V[setup.pack.chemistry],
                    "what this chemistry is charged to",
                ),
            )
            if over
            else (),
            cost="Some range, if the cells are really charged further." if over else "",
            caution="The cells' datasheet decides, and the charger's end voltage has to match it."
            if over
            else "",
        )
    )


def _over_severity(full: float, band: CellBand) -> Severity:
    return Severity.ACT if full > band.highest_v else Severity.WATCH


def _chemistry_for(full: float) -> str:
    fits = [c.value for c, b in BANDS.items() if b.full_v[0] <= full <= b.full_v[1]]
    return " or ".join(fits)


def _check_empty(setup: Setup, band: CellBand, sheet: Sheet) -> None:
    empty = setup.pack.cell_empty_v
    if empty is None or not above(band.lowest_v, empty):
        return
    sheet.findings.append(
        SetupFinding(
            check="empty_against_chemistry",
            keys=("pack.cell_empty_v", "pack.chemistry"),
            severity=Severity.WATCH,
            value=empty,
            limit=band.lowest_v,
            message=f"Empty is set to {num(empty, 'V')} per cell; {setup.pack.chemistry.value} "
            f"cells are not taken below {num(band.lowest_v, 'V')} at rest.",
            why="Below it cells lose capacity for good, and charging them again is dangerous.",
            suggest=(Suggestion("pack.cell_empty_v", *_least_empty(setup, band)),),
            cost="A few per cent of charge that should not be used anyway.",
        )
    )


def _least_empty(setup: Setup, band: CellBand) -> tuple[float, str]:
    """Empty for these cells, and before the BMS opens where its line is known."""
    low = setup.bms.cell_low_v
    clear = None if low is None else round(low + EMPTY_ABOVE_V, 2)
    if clear is not None and above(clear, band.lowest_v):
        return clear, "counts empty before the BMS opens"
    return band.lowest_v, "the lowest these cells go to"


def _check_lines(setup: Setup, band: CellBand, sheet: Sheet) -> None:
    low, high = setup.bms.cell_low_v, setup.bms.cell_high_v
    if low is not None and above(band.lowest_v, low):
        sheet.findings.append(
            _line_off(setup, "bms.cell_low_v", low, band.lowest_v, "opens for low cells only at")
        )
    if high is not None and above(high, band.highest_v):
        sheet.findings.append(
            _line_off(setup, "bms.cell_high_v", high, band.highest_v, "stops charging only at")
        )


def _line_off(setup: Setup, key: str, value: float, limit: float, words: str) -> SetupFinding:
    return SetupFinding(
        check="bms_line_against_chemistry",
        keys=(key, "pack.chemistry"),
        severity=Severity.ACT if key.endswith("high_v") else Severity.WATCH,
        value=value,
        limit=limit,
        message=f"The BMS {words} {num(value, 'V')} per cell; for {setup.pack.chemistry.value} the "
        f"last line is {num(limit, 'V')}.",
        why="The BMS is the last thing between a cell and damage; a line set for another chemistry "
        "guards nothing.",
        suggest=(Suggestion(key, limit, "the outermost line for this chemistry"),),
        cost="None, if the charger is right for these cells.",
        caution="If the BMS cannot be set so, it is made for other cells: do not use it here.",
    )


def _check_order_of_lines(setup: Setup, sheet: Sheet) -> None:
    """The BMS's high line above full, its low line not above empty."""
    high, low = setup.bms.cell_high_v, setup.bms.cell_low_v
    full_key = "pack.cell_full_v" if setup.pack.cell_full_v is not None else "pack.chemistry"
    empty_key = "pack.cell_empty_v" if setup.pack.cell_empty_v is not None else "pack.chemistry"
    if high is not None and not above(high, setup.cell_full_v):
        sheet.findings.append(
            SetupFinding(
                check="bms_high_above_full",
                keys=("bms.cell_high_v", full_key),
                severity=Severity.WATCH,
                value=high,
                limit=setup.cell_full_v,
                message=f"The BMS closes the charge path at {num(high, 'V')} per cell, and full is "
                f"{num(setup.cell_full_v, 'V')}.",
                why="The pack never gets full, and motor braking is cut off well before.",
                suggest=(
                    Suggestion(
                        full_key if full_key != "pack.chemistry" else "pack.cell_full_v",
                        round(high - FULL_BELOW_V, 2),
                        "charged to less, braking has room below the BMS's line",
                    ),
                ),
                cost="Some range; set the charger's end voltage to the same.",
                caution="Charge to less rather than moving the BMS's line up; leave room in the "
                "pack before a descent.",
            )
        )
    if low is not None and above(low, setup.cell_empty_v):
        sheet.findings.append(
            SetupFinding(
                check="bms_low_below_empty",
                keys=("bms.cell_low_v", empty_key),
                severity=Severity.WATCH,
                value=low,
                limit=setup.cell_empty_v,
                message=f"The BMS opens at {num(low, 'V')} per cell, above what counts as empty "
                f"({num(setup.cell_empty_v, 'V')}).",
                why="It opens with charge left that the controllers count on.",
                suggest=(
                    Suggestion(
                        "pack.cell_empty_v",
                        round(low + EMPTY_ABOVE_V, 2),
                        "counts empty before it opens",
                    ),
                ),
                cost="The charge shown falls to 0 % earlier; nothing is lost in truth.",
            )
        )


def _check_capacity(setup: Setup, sheet: Sheet) -> None:
    parallel = setup.pack.parallel
    if parallel is None:
        sheet.miss("the capacity of one cell", "pack.parallel")
        return
    cell_ah = setup.pack.capacity_ah / parallel
    low, high = CELL_AH
    if low <= cell_ah <= high:
        sheet.held.append(f"{num(cell_ah, 'Ah')} per parallel cell is a size cells have.")
        return
    sheet.findings.append(
        SetupFinding(
            check="capacity_per_cell",
            keys=("pack.capacity_ah", "pack.parallel"),
            severity=Severity.WATCH,
            value=round(cell_ah, 4),
            limit=high if cell_ah > high else low,
            message=f"{num(setup.pack.capacity_ah, 'Ah')} over {parallel} in parallel is "
            f"{num(cell_ah, 'Ah')} per cell; cells have {num(low, 'Ah')} to {num(high, 'Ah')}.",
            why="Every state of charge and every ageing figure rests on these two.",
            cost="",
            caution="capacity_ah is the whole pack's: one cell's times `parallel`.",
        )
    )


def _check_ratings(setup: Setup, sheet: Sheet) -> None:
    """Ratings that no such pack has: per cell instead of per pack, or the two swapped."""
    pack = setup.pack
    for table, holder in (("pack", pack), ("bms", setup.bms)):
        charge, discharge = holder.charge_rating_a, holder.discharge_rating_a
        if charge is not None and discharge is not None and above(charge, discharge):
            sheet.findings.append(
                SetupFinding(
                    check="charge_rating_above_discharge",
                    keys=(f"{table}.charge_rating_a", f"{table}.discharge_rating_a"),
                    severity=Severity.WATCH,
                    value=charge,
                    limit=discharge,
                    message=f"[{table}] charges with {num(charge, 'A')} but discharges with only "
                    f"{num(discharge, 'A')}: are the two swapped?",
                    why="A charge rating is often a fifth to a half of the discharge rating; the "
                    "checks of braking rest on it.",
                )
            )
    for name, most in (
        ("charge_rating_a", MOST_CHARGE_C),
        ("discharge_rating_a", MOST_DISCHARGE_C),
    ):
        value = getattr(pack, name)
        if value is not None and value > most * pack.capacity_ah:
            sheet.findings.append(
                SetupFinding(
                    check="rating_against_capacity",
                    keys=(f"pack.{name}", "pack.capacity_ah"),
                    severity=Severity.WATCH,
                    value=value,
                    limit=most * pack.capacity_ah,
                    message=f"pack.{name} {num(value, 'A')} is "
                    f"{num(value / pack.capacity_ah, 'times')} the capacity per hour; cells rarely "
                    f"bear more than {num(most, 'times')}.",
                    why="Either the rating or the capacity is off, and the checks rest on both.",
                    caution="The rating is one cell's times `parallel`, from its datasheet.",
                )
            )
    if pack.chemistry is Chemistry.OTHER and pack.cell_full_v is None:
        sheet.miss("full per cell (chemistry other)", "pack.cell_full_v")

"""Are the protections in order: trips above ratings, a fuse that guards, delays with levels?"""

from __future__ import annotations

from analyzer.setup_finding import SetupFinding, Sheet, Suggestion, above, carried_a, num
from analyzer.words import Severity
from importers.setup_types import Ports, Setup

FUSE_MARGIN = 1.25
"""A fuse should carry this much more than what flows for long. Common practice, no source."""
_NO_RAISING = (
    "A trip is not raised to fit the limits: the limits come down until they fit the trip."
)


def check_protection(setup: Setup, sheet: Sheet) -> None:
    """BMS trips and peaks, fuse and connector, and whether braking passes a protection at all."""
    _check_trips(setup, sheet)
    _check_peaks(setup, sheet)
    _check_orphans(setup, sheet)
    _check_bms_guards_cells(setup, sheet)
    _check_wiring(setup, sheet)
    _check_ports(setup, sheet)


def _check_trips(setup: Setup, sheet: Sheet) -> None:
    bms = setup.bms
    for way in ("discharge", "charge"):
        trip, rating = getattr(bms, f"{way}_trip_a"), getattr(bms, f"{way}_rating_a")
        if trip is None or rating is None:
            continue
        if above(trip, rating):
            sheet.held.append(
                f"The BMS opens at {num(trip, 'A')} {way}, above its rating of {num(rating, 'A')}."
            )
            continue
        equal = not above(rating, trip)
        sheet.findings.append(
            SetupFinding(
                check="trip_below_rating",
                keys=(f"bms.{way}_trip_a", f"bms.{way}_rating_a"),
                severity=Severity.NOTE if equal else Severity.WATCH,
                value=trip,
                limit=rating,
                message=f"The BMS opens at {num(trip, 'A')} {way}, "
                + ("exactly" if equal else "below")
                + f" its rating of {num(rating, 'A')}.",
                why="It opens at a current it is said to carry for ever: one of the two is wrong, "
                "and only the lower one counts.",
                suggest=(
                    Suggestion(
                        f"bms.{way}_rating_a",
                        carried_a(trip),
                        "what it carries without opening, 10 % under the trip; look it up",
                    ),
                ),
                cost="Limits that were held against the higher value have to come down.",
                caution=_NO_RAISING,
            )
        )


def _check_peaks(setup: Setup, sheet: Sheet) -> None:
    """A peak has to lie above the continuous rating, and under where the BMS opens."""
    for table, holder in (("bms", setup.bms), ("pack", setup.pack)):
        for way in ("discharge", "charge"):
            peak, rating = getattr(holder, f"{way}_peak_a"), getattr(holder, f"{way}_rating_a")
            if peak is None or rating is None or not above(rating, peak):
                continue
            sheet.findings.append(
                SetupFinding(
                    check="peak_below_rating",
                    keys=(f"{table}.{way}_peak_a", f"{table}.{way}_rating_a"),
                    severity=Severity.WATCH,
                    value=peak,
                    limit=rating,
                    message=f"[{table}] allows {num(peak, 'A')} for a short while but "
                    f"{num(rating, 'A')} for ever ({way}): are the two swapped?",
                    why="Every check of currents rests on these two.",
                )
            )
    peak, trip = setup.bms.discharge_peak_a, setup.bms.discharge_trip_a
    if peak is not None and trip is not None and above(peak, trip):
        sheet.findings.append(
            SetupFinding(
                check="trip_below_peak",
                keys=("bms.discharge_trip_a", "bms.discharge_peak_a"),
                severity=Severity.NOTE,
                value=trip,
                limit=peak,
                message=f"The BMS opens at {num(trip, 'A')}, below the {num(peak, 'A')} it allows "
                "for a short while.",
                why="Only the trip's delay makes room for the peak.",
                caution=_NO_RAISING,
            )
        )


def _check_orphans(setup: Setup, sheet: Sheet) -> None:
    """A time without its current says nothing; a trip without its delay only half."""
    pairs = [("bms", f"{way}_trip_a", f"{way}_trip_delay_s") for way in ("discharge", "charge")]
    pairs += [
        (table, f"{way}_peak_a", f"{way}_peak_s")
        for table in ("bms", "pack")
        for way in ("discharge", "charge")
    ]
    for table, level_name, time_name in pairs:
        holder = setup.bms if table == "bms" else setup.pack
        level, time_s = getattr(holder, level_name), getattr(holder, time_name)
        if level is None and time_s is not None:
            sheet.findings.append(
                SetupFinding(
                    check="time_without_level",
                    keys=(f"{table}.{time_name}",),
                    severity=Severity.NOTE,
                    value=time_s,
                    limit=None,
                    message=f"{table}.{time_name} is given without {table}.{level_name}.",
                    why="Without the current it belongs to it cannot be used.",
                )
            )
            sheet.miss("what this time belongs to", f"{table}.{level_name}")
        elif level is not None and time_s is None:
            what = "how near a ride came to it in time"
            sheet.miss(f"{table}.{level_name}: {what}", f"{table}.{time_name}")


def _check_bms_guards_cells(setup: Setup, sheet: Sheet) -> None:
    """Where the BMS allows more than the cells bear, only the controllers' limits guard them."""
    for way in ("discharge", "charge"):
        bms, cells = (getattr(one, f"{way}_rating_a") for one in (setup.bms, setup.pack))
        if bms is None or cells is None:
            continue
        if not above(bms, cells):
            sheet.held.append(
                f"The BMS's {way} rating {num(bms, 'A')} is within the cells' {num(cells, 'A')}."
            )
            continue
        sheet.findings.append(
            SetupFinding(
                check="bms_above_cells",
                keys=(f"bms.{way}_rating_a", f"pack.{way}_rating_a"),
                severity=Severity.NOTE,
                value=bms,
                limit=cells,
                message=f"The BMS lets {num(bms, 'A')} {way} through, the cells are rated "
                f"{num(cells, 'A')}.",
                why="Between the two nothing opens and nothing warns: only the limits set on the "
                "controllers guard the cells.",
            )
        )


def _check_wiring(setup: Setup, sheet: Sheet) -> None:
    """The fuse guards the connector; the BMS should open before the fuse blows."""
    fuse, connector = setup.wiring.fuse_a, setup.wiring.connector_rating_a
    trip = setup.bms.discharge_trip_a
    if fuse is not None and connector is not None:
        if above(fuse, connector):
            sheet.findings.append(
                SetupFinding(
                    check="fuse_above_connector",
                    keys=("wiring.fuse_a", "wiring.connector_rating_a"),
                    severity=Severity.WATCH,
                    value=fuse,
                    limit=connector,
                    message=f"The fuse carries {num(fuse, 'A')} for ever, the connector behind it "
                    f"{num(connector, 'A')}.",
                    why="The connector can overheat without the fuse noticing.",
                    suggest=(
                        Suggestion("wiring.fuse_a", connector, "guards the connector as well"),
                    ),
                    cost="The limits have to fit under the smaller fuse.",
                    caution="A fuse is chosen by the thinnest part behind it, wires included.",
                )
            )
        else:
            sheet.held.append(
                f"The fuse ({num(fuse, 'A')}) guards the connector ({num(connector, 'A')})."
            )
    if fuse is not None and trip is not None and above(trip, fuse * FUSE_MARGIN):
        sheet.findings.append(
            SetupFinding(
                check="fuse_below_trip",
                keys=("wiring.fuse_a", "bms.discharge_trip_a"),
                severity=Severity.NOTE,
                value=fuse,
                limit=trip,
                message=f"The fuse is {num(fuse, 'A')}, the BMS opens only at {num(trip, 'A')}.",
                why="In an overload that lasts, the fuse blows before the BMS opens, and a fuse "
                "does not come back on the road.",
                caution="A larger fuse is right only if wires and connectors bear it; the limits "
                "are the better place.",
            )
        )


def _check_ports(setup: Setup, sheet: Sheet) -> None:
    """With separate ports braking goes in where nothing watches for too much charge."""
    keys = tuple(
        setup.home(f"drives.{drive.name}.battery_brake_a")
        for drive in setup.drives
        if drive.battery_brake_a is not None
    )
    if not keys:
        return
    if setup.bms.ports is None:
        sheet.miss("whether braking passes the BMS's charge protection", "bms.ports")
    elif setup.bms.ports is Ports.SEPARATE:
        sheet.findings.append(
            SetupFinding(
                check="braking_past_charge_protection",
                keys=("bms.ports", *dict.fromkeys(keys)),
                severity=Severity.WATCH,
                value=None,
                limit=None,
                message="Charging and driving have separate ports: braking flows into the "
                "discharge port, past the charge protection.",
                why="Neither a full cell nor too much charging current opens anything while you "
                "brake; only the controllers' own limits are left.",
                caution="Keep overvoltage_v just above full on every drive, the braking sum under "
                "the cells' charge rating, and never begin a descent with a full pack.",
            )
        )

"""Where was a voltage or a temperature beyond its line: sag, overvoltage, overheat, stall?"""

from __future__ import annotations

import numpy as np

from analyzer.conditions import Conditions
from analyzer.events import Event, LimitRef, Peak
from analyzer.quantities import (
    Bools,
    Floats,
    Span,
    drive_channel,
    pack_current_a,
    pack_voltage_v,
    spans_where,
    step_s,
    wheel_speed_mps,
)
from analyzer.sensors import believable_temp_c
from analyzer.words import EventKind, Severity
from importers.ride import Ride
from importers.setup_types import Drive, Setup

SAG_CURRENT_A = 2.0
"""Below the line with less than this drawn is not sag [A]. The contract's."""
NEAR_REST_V = 0.1
"""Rest voltage this near the line counts as near [V per cell]: the contract's own measure of
"within 0.1 V per cell of rest"."""
LOW_CHARGE_PCT = 20.0
"""Sag below this charge is the low charge's [%]. Our choice: sag at low charge is normal riding."""
OVERVOLTAGE_MIN_S = 0.1
"""Shorter overvoltage is dropped [s]. The contract's."""
VOLTAGE_SHARE = 0.005
"""Two readings of one voltage differ by this much of it: 0.5 to 1 %, common practice, no source."""
OVERCHARGE_V = 0.05
"""This far above full a cell is at the line where management systems open [V]: 4.25 against
4.20 V, common practice, no source."""
STALL_SHARE = 0.7
"""Of the phase limit. The contract's."""
STALL_MIN_S = 1.0
"""The contract's [s]."""
WALKING_MPS = 1.0
"""Walking pace [m/s]: slow walking, 3.6 km/h, so that a firm start is through it in a second."""
STILL_MPS = 0.3
LONG_STALL_S = 3.0
"""Hardly turning for this long heats one winding hard [m/s, s]. Our choice."""
NO_REST = "Nearly empty or too much drawn: without a rest voltage that cannot be told."


def highest_derate(setup: Setup) -> tuple[Drive, float] | None:
    """The drive that reduces power first, and from which pack voltage [V]."""
    given = [(d, d.derate_from_v) for d in setup.drives if d.derate_from_v is not None]
    return max(given, key=lambda pair: pair[1]) if given else None


def _extreme(values: Floats, span: Span, *, lowest: bool) -> tuple[float, int]:
    part = values[span.rows]
    at = int(np.nanargmin(part) if lowest else np.nanargmax(part))
    return float(part[at]), span.first + at


def current_left_a(ride: Ride, setup: Setup, state: Conditions) -> Floats | None:
    """How much more current could the pack have given at each moment before power is reduced [A]?
    (rest voltage - line) / resistance after 10 s, less what was drawn; negative below the line."""
    line, current = highest_derate(setup), pack_current_a(ride, setup)
    if line is None or current is None or state.rest_v is None or not state.resistance_ohm:
        return None
    return (state.rest_v - line[1]) / state.resistance_ohm - current.values


def find_sags(ride: Ride, setup: Setup, state: Conditions) -> list[Event]:
    """Where did the pack sink below the voltage where power is reduced, while more than 2 A was
    drawn: because it was nearly empty, or because too much current was asked of it?"""
    line, voltage, current = (
        highest_derate(setup),
        pack_voltage_v(ride, setup),
        pack_current_a(ride, setup),
    )
    if line is None or voltage is None or current is None:
        return []
    drive, line_v = line
    mask = (voltage.values < line_v) & (current.values > SAG_CURRENT_A)
    key = f"drives.{drive.name}.derate_from_v"
    events = []
    for span in spans_where(mask, ride):
        lowest_v, at = _extreme(voltage.values, span, lowest=True)
        peak = Peak("pack_voltage_v", lowest_v, voltage.at_least)
        flavour, facts, measures = _sag_story(
            span, at, lowest_v, line_v, current.values, setup, state
        )
        events.append(
            Event(
                EventKind.SAG,
                span.start_s,
                span.end_s,
                setup.drive_names,
                Severity.WATCH if flavour == "too_much_current" else Severity.NOTE,
                peak,
                LimitRef(key, line_v),
                facts=facts,
                flavour=flavour,
                measures=measures,
            )
        )
    return events


def _sag_story(
    span: Span,
    at: int,
    lowest_v: float,
    line_v: float,
    current: Floats,
    setup: Setup,
    state: Conditions,
) -> tuple[str, tuple[str, ...], tuple[tuple[str, float], ...]]:
    drawn = float(np.nanmax(current[span.rows]))
    measures = [("length_s", span.length_s), ("highest_current_a", drawn)]
    rest_v = _value(state.rest_v, at)
    charge = _value(state.charge_pct, at)
    if charge is not None:
        measures.append(("charge_pct", charge))
    if rest_v is None:
        return "", (NO_REST,), tuple(measures)
    above = rest_v - line_v
    measures += [("rest_voltage_v", rest_v), ("rest_above_line_v", above)]
    facts = [
        f"Rest voltage was {rest_v:.1f} V, {abs(above):.1f} V"
        f" {'above' if above >= 0 else 'below'} the line."
    ]
    if state.resistance_ohm:
        # A long pull sags by more than the 10 s resistance says: the moment itself tells.
        seen_ohm = (rest_v - lowest_v) / current[at] if current[at] > SAG_CURRENT_A else 0.0
        carries = max(above / max(state.resistance_ohm, float(seen_ohm)), 0.0)
        measures += [("current_to_line_a", carries), ("current_left_a", carries - drawn)]
        carried = f"{carries:.1f} A" if carries >= 0.05 else "nothing more"
        facts.append(f"The pack carries {carried} down to the line; {drawn:.1f} A was drawn.")
    low = charge is not None and charge < LOW_CHARGE_PCT
    near = low or above <= NEAR_REST_V * setup.pack.series
    return ("empty" if near else "too_much_current"), tuple(facts), tuple(measures)


def _value(values: Floats | None, at: int) -> float | None:
    if values is None or not np.isfinite(values[at]):
        return None
    return float(values[at])


def find_overvoltage(ride: Ride, setup: Setup, state: Conditions) -> list[Event]:
    """Where did the pack rise above what full cells read?"""
    voltage = pack_voltage_v(ride, setup)
    if voltage is None or setup.pack.cell_full_v is None:
        return []
    full_v = setup.full_v
    events = []
    for span in spans_where(voltage.values > full_v, ride, min_s=OVERVOLTAGE_MIN_S):
        highest_v, at = _extreme(voltage.values, span, lowest=False)
        over_v = highest_v - full_v
        severity = Severity.WATCH if over_v > VOLTAGE_SHARE * full_v else Severity.NOTE
        if over_v >= OVERCHARGE_V * setup.pack.series:
            severity = Severity.ACT
        measures = [("length_s", span.length_s), ("over_v", over_v)]
        charge = _value(state.charge_pct, at)
        if charge is not None:
            measures.append(("charge_pct", charge))
        events.append(
            Event(
                EventKind.OVERVOLTAGE,
                span.start_s,
                span.end_s,
                setup.drive_names,
                severity,
                Peak("pack_voltage_v", highest_v, voltage.at_least),
                LimitRef("pack.cell_full_v", full_v),
                facts=(f"{highest_v:.2f} V is {over_v:.2f} V above full ({full_v:.1f} V).",),
                measures=tuple(measures),
            )
        )
    return events


def find_overheat(ride: Ride, setup: Setup) -> list[Event]:
    """Where was a controller or motor above the temperature where power is reduced (or, where that
    is not given, stopped)?"""
    events = []
    for drive in setup.drives:
        for part in ("controller", "motor"):
            derate, stop = getattr(drive, f"{part}_derate_c"), getattr(drive, f"{part}_stop_c")
            word = "derate" if derate is not None else "stop"
            line = derate if derate is not None else stop
            values = drive_channel(ride, drive.name, f"{part}_temp_c")
            if line is None or values is None:
                continue
            good = believable_temp_c(values, ride)
            if good is None:
                continue
            for span in spans_where(good > line, ride):
                top, _ = _extreme(good, span, lowest=False)
                beyond_stop = stop is not None and top > stop
                events.append(
                    Event(
                        EventKind.OVERHEAT,
                        span.start_s,
                        span.end_s,
                        (drive.name,),
                        Severity.ACT if beyond_stop else Severity.WATCH,
                        Peak(f"{drive.name}.{part}_temp_c", top),
                        LimitRef(f"drives.{drive.name}.{part}_{word}_c", line),
                        measures=(("length_s", span.length_s),),
                    )
                )
    return events


def find_stalls(ride: Ride, setup: Setup) -> list[Event]:
    """Where did a drive push hard, for a second or longer, while hardly turning?"""
    events = []
    for drive in setup.drives:
        phase = drive_channel(ride, drive.name, "phase_current_a")
        speed = wheel_speed_mps(ride, setup, drive.name)
        if drive.phase_drive_a is None or phase is None or speed is None:
            continue
        mask: Bools = (np.abs(phase) > STALL_SHARE * drive.phase_drive_a) & (
            np.abs(speed.values) < WALKING_MPS
        )
        size = np.abs(phase)
        for span in spans_where(mask, ride, min_s=STALL_MIN_S):
            top, _ = _extreme(size, span, lowest=False)
            still = np.abs(speed.values[span.rows]) < STILL_MPS
            still_s = float(step_s(ride)[span.rows][still].sum())
            events.append(
                Event(
                    EventKind.STALL,
                    span.start_s,
                    span.end_s,
                    (drive.name,),
                    Severity.WATCH if still_s >= LONG_STALL_S else Severity.NOTE,
                    Peak(f"{drive.name}.phase_current_a", top),
                    LimitRef(f"drives.{drive.name}.phase_drive_a", drive.phase_drive_a),
                    measures=(("length_s", span.length_s), ("still_s", still_s)),
                )
            )
    return events

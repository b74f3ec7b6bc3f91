"""What to do about each cause of a loss, with this build's numbers, what it costs, its caution.

Texts come in the order do, "Cost: …", "Caution: …". Never advised: raising a trip or its delay,
lowering a derate or stop voltage, raising a temperature stop, unplugging a sensor, bridging a BMS,
riding on after a contact may have grown hot.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analyzer import cutout_remedies_drive as drive
from analyzer.less_current import FREE, Way, less_current
from analyzer.loss_facts import Around, Facts
from analyzer.setup_finding import num
from analyzer.words import CutoutCause

LEAVE_PCT = 90
"""Charge to leave home with when the way begins downhill [%]. Our choice."""
FLAT_FIRST = "Try the new limit on the flat first."
BRAKE_CAUTION = (
    "Caution: stopping distance grows; the mechanical brake must hold the loaded vehicle on this "
    "grade alone. Try it at walking pace first."
)
BMS_CAUTION = (
    "Caution: a BMS that opens does its job and stays as it is. Motor braking is gone too while it "
    f"is open: the mechanical brake must hold the loaded vehicle by itself. {FLAT_FIRST}"
)
CONTACT_CAUTION = (
    "Caution: do not ride on until the contact is found: one that breaks under current burns. "
    "Work on it only with the pack disconnected; ask someone qualified if it browned or melted."
)

Remedy = Callable[[Around, Facts], list[str]]


def remedy_of(cause: CutoutCause, here: Around, facts: Facts) -> tuple[str, ...]:
    """What to set or do, what it costs here, the caution; in that order."""
    return tuple(_REMEDIES[cause](here, facts))


def _less(here: Around, facts: Facts, way: Way) -> list[str]:
    peak = facts.at("peak_5s_a")
    seen_a = None if peak is None else abs(peak)
    time_s, rest_v = here.time_s, here.state.rest_v
    at = here.full
    return less_current(
        here.search.setup,
        way,
        here.state,
        seen_a=seen_a,
        start_s=float(time_s[at]),
        end_s=float(time_s[at]),
        rest_v=None if rest_v is None or not np.isfinite(rest_v[at]) else float(rest_v[at]),
    ) or [
        "The limits as set keep 10 % under every rating that the setup gives: hold the ratings "
        "there against the labels of BMS and cells.",
        f"Cost: {FREE}",
    ]


def _discharge(here: Around, facts: Facts) -> list[str]:
    return [*_less(here, facts, "drive"), BMS_CAUTION]


def _charge(here: Around, facts: Facts) -> list[str]:
    return [*_less(here, facts, "brake"), BRAKE_CAUTION]


def _bms_heat(here: Around, facts: Facts) -> list[str]:
    return [
        *_less(here, facts, "drive"),
        "Give the BMS air and let it cool before the next climb; it heats with the square of the "
        "current over minutes.",
        BMS_CAUTION,
    ]


def _cell_low(here: Around, facts: Facts) -> list[str]:
    charge = facts.at("charge_pct")
    at = f" This one came at about {charge:.0f} %." if charge is not None else ""
    return [
        "Do: turn back earlier and charge fully, then measure every cell group at rest: one far "
        f"under the others limits the whole pack.{at}",
        "Set the controllers' derate and stop voltages high enough that power fades before a cell "
        f"reaches the BMS's line; `setup check` works them out for {here.search.setup.pack.series} "
        "cells in series.",
        "Cost: less usable charge per ride.",
        "Caution: a cell taken below its limit may be damaged: no charging unattended, and a "
        "swollen, hot or smelling pack is out of use.",
    ]


def _cell_high(here: Around, facts: Facts) -> list[str]:
    return [
        f"Do: leave home with {LEAVE_PCT} % charge or less when the way begins downhill, and let "
        "the cells balance at the charger now and then.",
        "Set the controllers' overvoltage below the BMS's line, so that braking fades before the "
        "path opens.",
        "Cost: less motor braking and less range on a full pack.",
        BRAKE_CAUTION,
    ]


def _undervoltage(here: Around, facts: Facts) -> list[str]:
    stop_v = here.search.setup.drive(here.part.drive).stop_at_v
    current, ohm = facts.at("pack_current_a"), here.state.resistance_ohm
    sag = ""
    if current is not None and ohm is not None and current > 1.0:
        sag = (
            f" {num(round(current, 1), 'A')} through {1000 * ohm:.0f} mΩ take "
            f"{num(round(current * ohm, 1), 'V')} off the voltage."
        )
    stop = f" of {stop_v:g} V" if stop_v is not None else ""
    return [
        f"Climb with less current or with a fuller pack: the stop voltage{stop} stays where it is."
        f"{sag}",
        "Set the derate voltage well above the stop voltage, so that power fades and warns first.",
        "Cost: slower at low charge; a little charge stays unused.",
        "Caution: an empty pack takes motor drive and, below the BMS's line, everything: keep a "
        "reserve for the way home.",
    ]


def _overvoltage(here: Around, facts: Facts) -> list[str]:
    return [
        f"Do: leave home with {LEAVE_PCT} % charge or less when the way begins downhill.",
        *_less(here, facts, "brake"),
        BRAKE_CAUTION,
    ]


def _supply(here: Around, facts: Facts) -> list[str]:
    fuse = here.search.setup.wiring.fuse_a
    fused = f" ({fuse:g} A)" if fuse is not None else ""
    return [
        "Do: power off, then look at and feel main connector, fuse"
        f"{fused}, switch and crimps: warm, browned, loose? Re-make what is; a blown fuse is "
        "replaced by the same rating after its reason is found.",
        "Cost: none but the time and the part.",
        CONTACT_CAUTION,
    ]


def _unknown(here: Around, facts: Facts) -> list[str]:
    return [
        "Do: before riding on, check connectors for warmth, the fuse, belt or chain, and that the "
        "mechanical brake holds the loaded vehicle; first metres on the flat at low power.",
        "Log demand, both sides' currents and voltages and the pack's current at 10 Hz or faster: "
        "the next loss then tells more.",
        "Caution: what stopped once without a known reason can stop again: keep the mechanical "
        "brake ready.",
    ]


def _controller_heat(here: Around, facts: Facts) -> list[str]:
    return drive.heat(here, facts, "controller")


def _motor_heat(here: Around, facts: Facts) -> list[str]:
    return drive.heat(here, facts, "motor")


_REMEDIES: dict[CutoutCause, Remedy] = {
    CutoutCause.BMS_OVERCURRENT_DISCHARGE: _discharge,
    CutoutCause.BMS_OVERCURRENT_CHARGE: _charge,
    CutoutCause.BMS_OVERHEAT: _bms_heat,
    CutoutCause.CELL_LOW_VOLTAGE: _cell_low,
    CutoutCause.CELL_HIGH_VOLTAGE: _cell_high,
    CutoutCause.UNDERVOLTAGE_STOP: _undervoltage,
    CutoutCause.OVERVOLTAGE_TRIP: _overvoltage,
    CutoutCause.CONTROLLER_OVERHEAT: _controller_heat,
    CutoutCause.MOTOR_OVERHEAT: _motor_heat,
    CutoutCause.PHASE_OVERCURRENT: drive.phase_overcurrent,
    CutoutCause.INPUT_SIGNAL_LOST: drive.signal,
    CutoutCause.INTERLOCK_OPENED: drive.interlock,
    CutoutCause.IDLE_SHUTDOWN: drive.idle,
    CutoutCause.DRIVE_LINK_LOST: drive.link,
    CutoutCause.ROTOR_SENSOR_FAULT: drive.rotor_sensor,
    CutoutCause.MOTOR_PHASE_FAULT: drive.motor_phase,
    CutoutCause.TEMPERATURE_SENSOR_FAULT: drive.temperature_sensor,
    CutoutCause.MECHANICAL_DRIVE_LOST: drive.mechanical,
    CutoutCause.SUPPLY_INTERRUPTED: _supply,
    CutoutCause.UNKNOWN: _unknown,
}

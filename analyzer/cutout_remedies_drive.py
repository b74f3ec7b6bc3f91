"""What to do about causes in one drive or in what steers it: texts with this build's numbers."""

from __future__ import annotations

from analyzer.loss_facts import Around, Facts
from analyzer.setup_finding import floor_a, num

STAND = "With the wheels off the ground"
TRY = "Caution: try it at walking pace first, away from traffic; the side may stop again."
BRAKE_ALONE = (
    "Caution: with one side gone the vehicle may pull to a side when driving or braking; the "
    "mechanical brake must hold the loaded vehicle by itself."
)
PART = 0.8
"""Of the motor-current limit, to try whether a side still trips. Our choice."""


def heat(here: Around, facts: Facts, part: str) -> list[str]:
    """Less current into what got hot."""
    drive = here.search.setup.drive(here.part.drive)
    limit = drive.phase_drive_a
    lower = (
        f"lower the motor-current limit from {num(limit, 'A')} to about "
        f"{num(floor_a(PART * limit), 'A')} on all drives alike"
        if limit is not None
        else "lower the motor-current limit by a fifth on all drives alike"
    )
    return [
        f"Let the {part} cool, then {lower}, or take the climb faster at less current: heat goes "
        "with the square of motor current, not with speed.",
        "Cost: about a fifth less pull from a standstill and on the steepest part.",
        "Caution: a temperature stop is never raised; what is hot is not touched.",
    ]


def phase_overcurrent(here: Around, facts: Facts) -> list[str]:
    """Less motor current, matched down."""
    drive = here.search.setup.drive(here.part.drive)
    limit = drive.phase_drive_a
    lower = (
        f"Set the motor-current limit of all drives from {num(limit, 'A')} to about "
        f"{num(floor_a(PART * limit), 'A')}"
        if limit is not None
        else "Lower the motor-current limit of all drives by a fifth"
    )
    return [
        f"{lower}, the sides matched, and look at that motor's plug and wires for a chafed spot.",
        "Cost: about a fifth less pull from a standstill.",
        TRY,
    ]


def signal(here: Around, facts: Facts) -> list[str]:
    """Plug and cable of the throttle or remote."""
    return [
        f"{STAND} move throttle, its plug and cable (or the remote at a distance) and watch the "
        "demand; re-make the plug, tie the cable down.",
        "Cost: none but the time.",
        "Caution: a demand that can vanish can also jump: do not ride until it stays steady.",
    ]


def interlock(here: Around, facts: Facts) -> list[str]:
    """The switch that opened."""
    return [
        f"{STAND} press brake lever, seat and stand switch one by one; adjust or replace the one "
        "that opens by itself.",
        "Cost: none but the time.",
        "Caution: the switch stays in use: it is there to stop the motors.",
    ]


def idle(here: Around, facts: Facts) -> list[str]:
    """The sleep timer."""
    since = facts.at("idle_s")
    after = f" (here after {since:.0f} s)" if since is not None else ""
    return [
        f"After a long stop{after} switch on anew before you pull away; set the sleep timer "
        "longer than your stops if the device has one.",
        "Cost: a little standby current from the pack.",
        "Caution: pull away on the flat before you trust it on a slope; motor braking is off too.",
    ]


def link(here: Around, facts: Facts) -> list[str]:
    """Plug and cable between the controllers."""
    return [
        "Re-make the plug between the controllers, keep its cable away from motor wires and tie "
        "it down.",
        "Cost: none but the time.",
        BRAKE_ALONE,
    ]


def rotor_sensor(here: Around, facts: Facts) -> list[str]:
    """The sensor's plug, cable, magnet."""
    return [
        f"{STAND} pull away gently ten times and watch that side; re-make the sensor's plug, look "
        "at its cable where it enters the motor.",
        "Cost: none but the time; a new sensor if it stays.",
        BRAKE_ALONE,
    ]


def motor_phase(here: Around, facts: Facts) -> list[str]:
    """The three motor wires."""
    return [
        "With the pack disconnected look at that motor's three plugs for browning and looseness, "
        "and re-make them.",
        "Cost: none but the time.",
        "Caution: a motor wire that opens under current arcs and heats: do not ride on it.",
    ]


def temperature_sensor(here: Around, facts: Facts) -> list[str]:
    """The thermometer's wire."""
    return [
        "Re-make that thermometer's plug or replace it; its reading must follow the case's warmth.",
        "Cost: none but the time.",
        "Caution: it stays connected and in use: without it nothing guards the motor from heat.",
    ]


def mechanical(here: Around, facts: Facts) -> list[str]:
    """Belt, chain, coupling."""
    return [
        "Look at belt or chain, its tension, pulley keys, coupling and wheel nuts on that side.",
        "Cost: none but the time and the part.",
        "Caution: that side neither drives nor brakes; do not ride downhill on the other alone.",
    ]

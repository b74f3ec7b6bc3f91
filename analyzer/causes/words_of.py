"""Numbers of a loss as parts of sentences."""

from __future__ import annotations

from analyzer.loss_facts import Around, Facts
from analyzer.words import CutoutCause as C

NAMES = {
    C.BMS_OVERCURRENT_DISCHARGE: "too much current for the management system",
    C.BMS_OVERCURRENT_CHARGE: "too much charging current for the management system",
    C.BMS_OVERHEAT: "heat in the management system",
    C.CELL_LOW_VOLTAGE: "a low cell group",
    C.CELL_HIGH_VOLTAGE: "a full cell group",
    C.UNDERVOLTAGE_STOP: "the controllers' own stop voltage",
    C.OVERVOLTAGE_TRIP: "the controllers' own overvoltage stop",
    C.CONTROLLER_OVERHEAT: "heat in a controller",
    C.MOTOR_OVERHEAT: "heat in a motor",
    C.PHASE_OVERCURRENT: "too much motor current",
    C.INPUT_SIGNAL_LOST: "a lost throttle signal",
    C.INTERLOCK_OPENED: "an interlock switch",
    C.DRIVE_LINK_LOST: "a lost link between the controllers",
    C.ROTOR_SENSOR_FAULT: "a motor's rotor sensor",
    C.MOTOR_PHASE_FAULT: "a motor's wire",
    C.MECHANICAL_DRIVE_LOST: "a lost belt, chain or coupling",
    C.SUPPLY_INTERRUPTED: "a connector, fuse or switch",
}
"""Causes within a sentence."""


def num(value: float, unit: str, places: int = 1) -> str:
    """A number with its unit."""
    return f"{value:.{places}f} {unit}".replace("-", "−")


def who(here: Around) -> str:
    """The drives that stopped."""
    names = here.loss.drives
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"


def drew(here: Around, facts: Facts) -> list[str]:
    """What flowed just before, all drives together and each."""
    total = facts.at("pack_current_a")
    if total is None:
        return []
    each = [
        f"{one.name} {num(value, 'A')}"
        for one in here.search.drives
        if (value := facts.at(f"{one.name}.battery_a")) is not None
    ]
    parts = f" ({', '.join(each)})" if len(each) > 1 else ""
    word = "drew" if total >= 0 else "pushed back"
    peak = facts.at("peak_5s_a")
    top = "" if peak is None else f", at most {num(abs(peak), 'A')} in the seconds before"
    return [f"Just before, the build {word} {num(abs(total), 'A')}{parts}{top}."]


def bus_course(here: Around, facts: Facts) -> list[str]:
    """Which way the voltage went."""
    before, low = facts.at("voltage_before_v"), facts.at("voltage_low_v")
    found = facts.signs.get("bus")
    if before is None:
        return ["No voltage was logged that tells whether the pack was disconnected."]
    if found in ("collapse", "pack_low") and low is not None:
        return [
            f"The voltage fell from {num(before, 'V')} to {num(low, 'V')} although the load was "
            "gone: the pack was disconnected, the controllers did not stop by themselves."
        ]
    if found == "dead":
        return [
            f"The controllers' readings stopped at {num(before, 'V')} while others went on: they "
            "lost their supply."
        ]
    after = facts.at("voltage_after_v")
    if found == "rebound" and after is not None:
        return [
            f"The voltage went from {num(before, 'V')} to {num(after, 'V')} and stayed: the pack "
            "was connected all along."
        ]
    if found == "pack_stays":
        return [
            f"The pack's own voltage stood at {num(before, 'V')}; the controllers' was not logged, "
            "so it cannot be told which side opened."
        ]
    return []


def jumped(facts: Facts) -> list[str]:
    """Whether the bus jumped while braking."""
    before, high = facts.at("voltage_before_v"), facts.at("voltage_high_v")
    if before is None or high is None:
        return []
    if facts.signs.get("jump") == "yes":
        return [
            f"The voltage jumped from {num(before, 'V')} to {num(high, 'V')}, more than the pack's "
            "resistance explains: braking pushed into an open path."
        ]
    if facts.signs.get("jump") == "no":
        return [f"The voltage rose no higher than {num(high, 'V')}, without a jump."]
    return []


def not_empty(here: Around, facts: Facts) -> list[str]:
    """How far the voltage was from the stop line."""
    margin, line = facts.at("to_stop_at_v"), facts.at("stop_at_v")
    if margin is None or line is None or facts.signs.get("stop_at_v") == "at":
        return []
    return [
        f"Under load it stood at {num(line + margin, 'V')}, above the controllers' stop voltage of "
        f"{num(line, 'V')}: not empty."
    ]


def not_hot(facts: Facts) -> list[str]:
    """Controllers' and motors' temperatures."""
    parts = [
        f"{part}s at most {num(value, '°C', 0)}"
        for part in ("controller", "motor")
        if (value := facts.at(f"{part}_c")) is not None and facts.signs.get(f"{part}_heat") != "at"
    ]
    text = " and ".join(parts)
    return [f"{text[:1].upper()}{text[1:]}."] if parts else []


def came_back(here: Around, facts: Facts) -> list[str]:
    """How power came back."""
    found, after = facts.signs.get("return"), facts.at("back_after_s")
    path = facts.at("path_back_s")
    if after is None and path is not None and found != "tries":
        return [f"The voltage came back {num(path, 's')} later; nobody asked for drive again."]
    if found == "tries":
        return [
            f"It tried again: {num(facts.numbers['spells'], 'times', 0)} without current in "
            f"{num(facts.numbers['gone_s'], 's')}."
        ]
    if after is not None and found == "after_rest":
        return [f"Current came back {num(after, 's')} later, after standing."]
    if after is not None:
        return [f"Current came back after {num(after, 's', 2 if after < 1 else 1)}."]
    if found == "never":
        return ["It did not come back in this log."]
    return []


def together(here: Around, facts: Facts) -> list[str]:
    """Whether the sides stopped as one."""
    found = facts.signs.get("who")
    if found == "all":
        apart = facts.numbers.get("apart_s", 0.0)
        if apart < here.step_s:
            return ["All drives stopped in the same row of the log."]
        return [f"All drives stopped within {num(apart, 's', 2)}."]
    if found == "one":
        return [f"Only {who(here)} stopped; the other side went on."]
    return []


def missing(facts: Facts, *signs: str) -> list[str]:
    """What was not logged or set that would tell more."""
    wants = [facts.unseen[sign] for sign in signs if sign in facts.unseen]
    return [f"Not known: {', '.join(dict.fromkeys(wants))}."] if wants else []

"""The evidence for each cause, in whole sentences with the numbers of this loss."""

from __future__ import annotations

from analyzer.causes.words_of import (
    bus_course,
    came_back,
    drew,
    jumped,
    missing,
    not_empty,
    not_hot,
    num,
    together,
    who,
)
from analyzer.loss_facts import Around, Facts


def _trip(here: Around, facts: Facts, word: str) -> list[str]:
    bms = here.search.setup.bms
    level, delay = getattr(bms, f"{word}_trip_a"), getattr(bms, f"{word}_trip_delay_s")
    rating, part = getattr(bms, f"{word}_rating_a"), facts.at(f"{word}_trip_part")
    out = []
    if level is not None and part is not None:
        if delay:
            out.append(
                f"The BMS opens above {level:g} A after {delay:g} s; within the reading's accuracy "
                f"it was at or above that level for {num(part * delay, 's')}."
            )
        else:
            out.append(f"The BMS opens at once above {level:g} A.")
    of = facts.at(f"{word}_of_rating")
    if rating is not None and of is not None:
        out.append(
            f"Its rating is {rating:g} A: the seconds before reached {of * 100:.0f} % of it."
        )
    return out


def overcurrent_discharge(here: Around, facts: Facts) -> list[str]:
    """Level times delay, both sides, an open path, power back after rest."""
    return [
        *drew(here, facts),
        *_trip(here, facts, "discharge"),
        *bus_course(here, facts),
        *not_empty(here, facts),
        *not_hot(facts),
        *together(here, facts),
        *came_back(here, facts),
        *missing(facts, "discharge_trip", "bus", "who"),
    ]


def overcurrent_charge(here: Around, facts: Facts) -> list[str]:
    """The same for braking."""
    return [
        *drew(here, facts),
        *_trip(here, facts, "charge"),
        *jumped(facts),
        *together(here, facts),
        *missing(facts, "charge_trip", "cell_high"),
    ]


def bms_heat(here: Around, facts: Facts) -> list[str]:
    """Current over minutes."""
    rating, rms = here.search.setup.bms.discharge_rating_a, facts.at("heating_current_a")
    out = []
    if rating is not None and rms is not None:
        out.append(
            f"Over the minutes before, the heating mean of the pack's current was "
            f"{num(rms, 'A')} of the {rating:g} A that the BMS is rated for."
        )
    return [*out, *bus_course(here, facts), *came_back(here, facts), *missing(facts, "heat_load")]


def _cells(here: Around, facts: Facts, word: str) -> list[str]:
    line = getattr(here.search.setup.bms, f"cell_{word}_v")
    seen, mean = facts.at(f"cell_{word}_seen_v"), facts.at("cell_average_v")
    edge = "lowest" if word == "low" else "highest"
    if seen is not None and line is not None:
        return [f"The {edge} cell group stood at {num(seen, 'V', 2)}; the BMS acts at {line:g} V."]
    if mean is not None and word == "low":
        end = f"; the BMS opens at {line:g} V for the lowest one" if line is not None else ""
        series = here.search.setup.pack.series
        return [
            f"Single cells were not logged; on average they stood at {num(mean, 'V', 2)} "
            f"({num(mean * series, 'V')} over {series}){end}."
        ]
    return ["Single cells were not logged."]


def cell_low(here: Around, facts: Facts) -> list[str]:
    """One group at its line, the path opens, the pack's average well above."""
    charge = facts.at("charge_pct")
    return [
        *_cells(here, facts, "low"),
        *([f"The pack held about {charge:.0f} % charge."] if charge is not None else []),
        *drew(here, facts),
        *bus_course(here, facts),
        *not_empty(here, facts),
    ]


def cell_high(here: Around, facts: Facts) -> list[str]:
    """A full group closes the charge path at small currents, too."""
    charge = facts.at("charge_pct")
    return [
        *_cells(here, facts, "high"),
        *([f"The pack held about {charge:.0f} % charge."] if charge is not None else []),
        *drew(here, facts),
        *jumped(facts),
        *missing(facts, "charge_trip"),
    ]


def undervoltage(here: Around, facts: Facts) -> list[str]:
    """Fading, the stop line, the rebound."""
    line, margin = facts.at("stop_at_v"), facts.at("to_stop_at_v")
    out = []
    if margin is not None and line is not None:
        out.append(
            f"Under load the voltage was down to {num(line + margin, 'V')}; the controllers stop "
            f"at {line:g} V."
        )
    if (faded := facts.at("faded_s")) is not None:
        out.append(f"Power faded for {num(faded, 's')} before it was gone.")
    return [*out, *drew(here, facts), *bus_course(here, facts), *missing(facts, "stop_at_v")]


def overvoltage(here: Around, facts: Facts) -> list[str]:
    """The controllers' own value, reached without a jump."""
    line, margin = facts.at("overvoltage_v"), facts.at("to_overvoltage_v")
    out = []
    if line is not None and margin is not None:
        out.append(
            f"The voltage reached {num(line - margin, 'V')}; the controllers stop at {line:g} V."
        )
    return [*out, *drew(here, facts), *jumped(facts), *missing(facts, "overvoltage_v")]


def _heat(here: Around, facts: Facts, part: str) -> list[str]:
    drive = here.search.setup.drive(here.part.drive)
    stop, seen = getattr(drive, f"{part}_stop_c"), facts.at(f"{part}_c")
    out = []
    if seen is not None:
        end = f"; the stop is set at {stop:g} °C" if stop is not None else ""
        out.append(f"The {part} of {who(here)} read {num(seen, '°C', 0)}{end}.")
    if (faded := facts.at("faded_s")) is not None:
        out.append(f"Power faded for {num(faded, 's')} before it was gone.")
    return [*out, *together(here, facts), *missing(facts, f"{part}_heat")]


def controller_heat(here: Around, facts: Facts) -> list[str]:
    """The controller's temperature at its stop."""
    return _heat(here, facts, "controller")


def motor_heat(here: Around, facts: Facts) -> list[str]:
    """The motor's temperature at its stop."""
    return _heat(here, facts, "motor")


def temperature_sensor(here: Around, facts: Facts) -> list[str]:
    """A step no mass can do."""
    out = _heat(here, facts, "motor") if facts.signs.get("motor_heat") else []
    if facts.signs.get("temp_wire") == "broken":
        out.append("A temperature stepped faster than any mass warms, or read beyond 150 °C.")
    return out


def phase_overcurrent(here: Around, facts: Facts) -> list[str]:
    """A spike or the full limit, one side, an instant stop, retries."""
    drive, peak = here.search.setup.drive(here.part.drive), facts.at("phase_peak_a")
    out = []
    if peak is not None:
        end = f" (limit {drive.phase_drive_a:g} A)" if drive.phase_drive_a is not None else ""
        out.append(f"Motor current on {here.part.drive} peaked at {num(peak, 'A')}{end}.")
    return [*out, *_one_side(here, facts), *missing(facts, "phase")]


def _one_side(here: Around, facts: Facts) -> list[str]:
    speed = facts.at("speed_mps")
    return [
        *together(here, facts),
        *([f"It happened at {num(3.6 * speed, 'km/h')}."] if speed is not None else []),
        *came_back(here, facts),
        *bus_course(here, facts)[:1],
        *missing(facts, "who"),
    ]


def signal_lost(here: Around, facts: Facts) -> list[str]:
    """A demand that jumps, or stands still."""
    found, asked = facts.signs.get("demand"), facts.at("throttle_pct")
    out = []
    if found == "jump" and asked is not None:
        out.append(
            f"The demand fell from {num(asked, '%', 0)} in one sample; a hand takes a tenth of a "
            "second at least."
        )
    elif found == "frozen":
        out.append("The demand stood still to the last digit around the loss.")
        if facts.signs.get("demand_leaves") == "jump":
            out.append("It then jumped to another value, as no hand does.")
    elif found == "held":
        out.append("The logged demand went on as before.")
    return [*out, *bus_course(here, facts), *came_back(here, facts), *missing(facts, "demand")]


def interlock(here: Around, facts: Facts) -> list[str]:
    """The demand stays, the currents ramp down."""
    fall = facts.at("fall_s")
    out = ["The demand stayed."] if facts.signs.get("demand") == "held" else []
    if fall is not None:
        out.append(f"The current went down within {num(fall, 's', 2)}.")
    return [
        *out,
        *together(here, facts),
        *bus_course(here, facts),
        *not_hot(facts),
        *missing(facts, "demand"),
    ]


def idle(here: Around, facts: Facts) -> list[str]:
    """Minutes without current before."""
    since = facts.at("idle_s")
    out = [f"Nothing had flowed for {num(since, 's', 0)} before."] if since is not None else []
    return [*out, *bus_course(here, facts)]


def link_lost(here: Around, facts: Facts) -> list[str]:
    """The side that follows, without a spike."""
    out = []
    if facts.signs.get("link") == "follower":
        out.append(f"{who(here)} gets its demand over the link.".capitalize())
    if facts.signs.get("frozen") == "yes":
        out.append("Its readings stood still while the others went on.")
    if facts.signs.get("road") == "keeps":
        out.append("Its motor kept step with the road.")
    return [*out, *_one_side(here, facts)]


def rotor_sensor(here: Around, facts: Facts) -> list[str]:
    """Low speed, jerks, retries."""
    out = []
    if facts.signs.get("jitter") == "yes":
        out.append("Its motor speed jittered far more than elsewhere in the ride.")
    return [*out, *_one_side(here, facts)]


def motor_phase(here: Around, facts: Facts) -> list[str]:
    """Any speed, worse with load."""
    out = []
    if facts.signs.get("beats") in ("yes", "some"):
        out.append("Its current beat far more than elsewhere in the ride.")
    return [*out, *_one_side(here, facts)]


def mechanical(here: Around, facts: Facts) -> list[str]:
    """The motor's speed leaves the road's."""
    out = []
    if facts.signs.get("road") == "leaves":
        out.append("Its motor turned faster than the road by more than a quarter, and stayed so.")
    elif facts.signs.get("road") == "keeps":
        out.append("Its motor kept step with the road.")
    return [*out, *together(here, facts), *drew(here, facts)]


def supply(here: Around, facts: Facts) -> list[str]:
    """No limit near, forerunners, a bump."""
    out = []
    if (dips := facts.at("dips")) is not None and facts.signs.get("flicker") == "yes":
        out.append(f"In the 3 minutes before, the voltage dipped {dips:.0f} times for an instant.")
    if facts.signs.get("dip") == "yes":
        out.append(
            f"As it began, the bus fell by {facts.numbers['dip_v']:.1f} V and rose again; the load "
            f"explains {facts.numbers['dip_v'] - facts.numbers['dip_unexplained_v']:.1f} V of it."
        )
    return [
        *bus_course(here, facts),
        *out,
        *drew(here, facts),
        *came_back(here, facts),
        *missing(facts, "bus"),
    ]


def unknown(here: Around, facts: Facts) -> list[str]:
    """What was missing."""
    wants = list(dict.fromkeys(facts.unseen.values()))
    return [f"Not logged or not set: {', '.join(wants)}."] if wants else []

"""How a pack has aged, in the rider's words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from analyzer.ageing_ahead import TELLS_PCT_PER_YEAR
from analyzer.ageing_hills import HillAhead
from analyzer.ageing_result import AgeingResult
from analyzer.estimate import Estimate
from analyzer.forecast import DatedAhead
from reports.numbers import fixed
from reports.sentences import counted

if TYPE_CHECKING:
    from rich.console import Console


HEALTH = {
    "share": ("First drive's share", "pct"),
    "speed_ratio": ("Speed, first drive over second", ""),
    "wheel_circumference": ("Wheel circumference", "m"),
    "rolling": ("Rolling coefficient", ""),
    "heat_per_watt": ("Motor heat, kelvin per watt of copper loss", ""),
    "demand_rest": ("Demand at rest", "pct"),
}
"""What else may change on a vehicle: its name, and the ending that says its unit."""
MOST_HILLS = 3
"""Climbs told of, the most ridden; the JSON has all. Our choice."""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph with the word that opens it; the text may have lines."""

    word: str
    text: str


def spread(one: Estimate, digits: int, scale: float = 1.0) -> str:
    """`19.4 (18.9 to 20.1)`; an open side is said."""
    low = "open" if one.low is None else fixed(one.low * scale, digits)
    high = "open" if one.high is None else fixed(one.high * scale, digits)
    return f"{fixed(one.value * scale, digits)} ({low} to {high})"


def headline(result: AgeingResult) -> str:
    """One sentence that says what matters most."""
    contact = [one for one in result.jumps if one.part == "instant" and one.step_pct.value > 0]
    fade = result.capacity.fade_pct_per_year if result.capacity else None
    growth = result.resistance.growth_pct_per_year if result.resistance else None
    aged = any(one is not None and one.low is not None and one.low > 0 for one in (fade, growth))
    if contact:
        day = f"{contact[-1].date:%d %B %Y}".lstrip("0")
        return (
            f"Find a contact first: the resistance jumped on {day}, in the part cells do not make."
        )
    if result.jumps:
        return f"The resistance jumped on {result.jumps[-1].date:%d %B %Y}; see what was done then."
    if aged:
        sure = [
            f"{what} by {one.value:.1f} % a year"
            for what, one in (("capacity falls", fade), ("resistance grows", growth))
            if one is not None and one.low is not None and one.low > 0
        ]
        return f"The pack has aged, as packs do: {' and '.join(sure)}."
    if fade is None and growth is None:
        what = kept(result)
        if len(result.per_ride) == 1:
            return f"{what[0].upper()}{what[1:]} is too few to say how the pack ages."
        return f"{what} are too few, or too alike, to say how the pack ages."
    most = [
        f"{one.high:.1f} % a year in {name}"
        for name, one in (("capacity", fade), ("resistance", growth))
        if one is not None and one.high is not None and one.high <= TELLS_PCT_PER_YEAR
    ]
    if not most:
        return (
            "No ageing seen, but these rides could not show it yet: too few, or too short a time."
        )
    return f"No ageing seen yet; at most {' and '.join(most)}."


def paragraphs(result: AgeingResult) -> list[Paragraph]:
    """The text of the ageing report, most important first."""
    out = [Paragraph("Numbers.", _numbers(result))]
    if result.jumps:
        out.append(Paragraph("Jumps.", " ".join(_jumps(result))))
    when = _when(result)
    if when:
        out.append(Paragraph("When.", when))
    hills = _hills(result)
    if hills:
        out.append(Paragraph("On your hills.", hills))
    out += [Paragraph("Cells.", one.text) for one in result.notes if one.about == "cells"]
    out.append(Paragraph("Use.", _use(result)))
    left = [one for one in result.per_ride if not one.used]
    if left:
        why = sorted({one.why_not or "" for one in left})
        out.append(Paragraph("Left out.", f"{len(left)} of {kept(result)} ({'; '.join(why)})."))
    out += _not_known(result)
    out.append(Paragraph("Basis.", result.basis))
    out.append(Paragraph("Caution.", CAUTION))
    return out


CAUTION = (
    "An aged or uneven pack can fail suddenly: no charging unattended, none below 0 °C, and a "
    "swollen, hot or smelling pack is out of use: ask someone qualified."
)


def _numbers(result: AgeingResult) -> str:
    told = [
        f"{kept(result)} over {counted(round(result.span_days), 'day')}, "
        f"{result.rides_used} usable."
    ]
    told += _alone(result)
    if result.capacity is not None and result.of_rated_pct is not None:
        fade = result.capacity.fade_pct_per_year
        told.append(
            f"Capacity {spread(result.capacity.now_ah, 1)} Ah, "
            f"{spread(result.of_rated_pct, 0)} % of rated; " + _fade(fade)
        )
    if result.resistance is not None:
        told.append(
            f"Resistance at 25 °C {spread(result.resistance.new_25c_ohm, 0, 1000)} mΩ at first, "
            f"{spread(result.resistance.now_25c_ohm, 0, 1000)} mΩ now; jumps taken out it grows "
            f"by {spread(result.resistance.growth_pct_per_year, 1)} % a year."
        )
    return " ".join(told)


def kept(result: AgeingResult) -> str:
    """`12 rides and 3 charges`: what the book holds of this pack."""
    kinds = [one.kept.summary.kind for one in result.per_ride]
    counts = [(kinds.count(one), one) for one in ("ride", "charge")]
    return " and ".join(counted(number, one) for number, one in counts if number) or "0 rides"


def _alone(result: AgeingResult) -> list[str]:
    """Where no course could be fitted: what the newest that tells it says by itself."""
    told = []
    for known, name, unit, scale, digits in (
        (result.resistance, "resistance_10s_25c_ohm", "mΩ at 25 °C", 1000, 0),
        (result.capacity, "capacity_ah", "Ah", 1, 1),
    ):
        each = [(one.kept, getattr(one.kept.summary, name)) for one in result.per_ride]
        own = [(one, triple) for one, triple in each if triple is not None]
        if known is None and own:
            one, triple = own[-1]
            about = name.split("_")[0].capitalize()
            told.append(
                f"{about} by the {one.summary.kind} of {one.start.day} {one.start:%B %Y} alone: "
                f"{spread(Estimate(*triple), digits, scale)} {unit}."
            )
    return told


def _fade(fade: Estimate | None) -> str:
    if fade is None:
        return "fade not known."
    if fade.half_width > TELLS_PCT_PER_YEAR:
        return "fade not told yet: longer rides from full to low, or a charge log a month, tell it."
    return f"fade {spread(fade, 1)} % a year."


def _jumps(result: AgeingResult) -> list[str]:
    told = []
    for one in result.jumps:
        where = {
            "instant": "nearly all in the part that answers at once: a connector, a crimp or a "
            "weld. With the pack disconnected, look at the main connector first; stop riding if "
            "it browns or gets hot",
            "slow": "in the part that answers slowly: the cells",
            "both": "in both parts",
        }[one.part]
        note = f" You noted: {one.note}." if one.note else ""
        told.append(f"{one.date:%d %B %Y}: {spread(one.step_pct, 1)} %, {where}.{note}".lstrip("0"))
    return told


def _month(day: datetime) -> str:
    return f"{day:%B %Y}"


def _day(one: DatedAhead) -> str:
    if one.value is None:
        return f"not before {_month(one.low)}"
    early = _month(one.low)
    within = f"not before {early}" if one.high is None else f"{early} to {_month(one.high)}"
    text = f"about {_month(one.value)} ({within})"
    if one.straight is not None and one.slowing is not None and one.straight != one.slowing:
        text += (
            f": a straight line says {_month(one.straight)}, a slowing one {_month(one.slowing)}, "
            "and these rides cannot tell which"
        )
    return text


def _when(result: AgeingResult) -> str:
    told = []
    if result.capacity_80 is not None:
        told.append(f"80 % of the rated capacity: {_day(result.capacity_80)}.")
    if result.resistance_150 is not None:
        told.append(f"150 % of the first resistance: {_day(result.resistance_150)}.")
    return " ".join(told)


def _hills(result: AgeingResult) -> str:
    """A line a climb: the most ridden in full, the others as short as can be."""
    told = [
        _other_hill(one, result) if place else _hill(one, result)
        for place, one in enumerate(result.hills[:MOST_HILLS])
    ]
    now, new = result.usable_ah, result.usable_new_ah
    if result.hills and now is not None and new is not None:
        told[0] += (
            f" From full down to there it leaves {spread(now, 1)} Ah today; "
            f"{spread(new, 1)} Ah at the first rides."
        )
    return "\n".join(told)


def _hill(one: HillAhead, result: AgeingResult) -> str:
    return (
        f"{_hill_name(one)} reaches the voltage where power is reduced at "
        f"{spread(one.reached_now_pct, 0)} % charge and 25 °C today, at the first rides at "
        f"{one.reached_new_pct.value:.0f} %; at 5 °C start it with {_more(one.reached_cold_pct)}. "
        f"{_hill_ahead(one, result)}"
    )


def _other_hill(one: HillAhead, result: AgeingResult) -> str:
    return (
        f"{_hill_name(one)}: {spread(one.reached_now_pct, 0)} % today, "
        f"{one.reached_new_pct.value:.0f} % at first; at 5 °C {_more(one.reached_cold_pct)}. "
        f"{_hill_ahead(one, result)}"
    )


def _hill_name(one: HillAhead) -> str:
    return f"{one.hill[0].upper()}{one.hill[1:]} (ridden {one.times} times)"


def _hill_ahead(one: HillAhead, result: AgeingResult) -> str:
    ahead = one.ahead
    at = f"{one.charge_pct:.0f} % charge"
    if ahead is None:
        return f"At {at} no date can be said."
    if ahead.value is not None and ahead.value <= _newest(result):
        return f"At {at} it does so already."
    return f"At {at} it will do so {_day(ahead)}."


def _more(one: Estimate) -> str:
    if one.value >= 99.5:
        return "a full pack, and even that may not do"
    return f"more than {spread(one, 0)} %"


def _newest(result: AgeingResult) -> datetime:
    return result.per_ride[-1].kept.start


def _not_known(result: AgeingResult) -> list[Paragraph]:
    """What could not be told, shortly; the page's table says what each of the vehicle's takes."""
    plain = [
        one.text
        for one in result.notes
        if one.about != "cells" and not one.about.startswith("drive_health")
    ]
    told = []
    if plain:
        told.append(Paragraph("Not known.", " ".join(dict.fromkeys(plain))))
    unknown = [HEALTH[one.quantity][0] for one in result.health if one.first is None]
    if unknown:
        names = "; ".join(one[0].lower() + one[1:] for one in unknown)
        told.append(Paragraph("The vehicle.", f"These rides do not tell: {names}."))
    return told


def _use(result: AgeingResult) -> str:
    use = result.use
    far = "" if use.distance_km is None else f"{use.distance_km:.0f} km, "
    return (
        f"{far}{use.charge_out_ah:.0f} Ah given out, {use.equivalent_full_cycles:.1f} full cycles "
        f"(charge out over rated), {use.hours_full:.1f} h above 95 % charge, "
        f"{use.hours_hot:.1f} h above 40 °C, {use.charged_cold_ah:.2f} Ah charged below 0 °C."
    )


def print_ageing(result: AgeingResult, console: Console) -> None:
    """The ageing report's text on the terminal."""
    console.print(headline(result), style="bold", markup=False)
    for one in paragraphs(result):
        console.print(f"{one.word} {one.text}", markup=False)

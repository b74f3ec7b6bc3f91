"""Numbers as text: rounded by what is known, with their unit, never surer than they are.

The only place that rounds. "Nearly" never becomes "exactly": 99.97 % is not printed as 100 %,
0.02 % not as 0 %, and a value beside its limit keeps the digits that tell the two apart.
"""

from __future__ import annotations

import math
from datetime import datetime

from analyzer.estimate import Estimate

MINUS = "−"
UNKNOWN = "not known"
NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"

UNITS: dict[str, tuple[str, int]] = {
    "v": ("V", 1),
    "a": ("A", 1),
    "ohm": ("Ω", 3),
    "ah": ("Ah", 2),
    "wh": ("Wh", 0),
    "c": ("°C", 0),
    "w": ("W", 0),
    "m": ("m", 0),
    "s": ("s", 1),
    "mps": ("m/s", 1),
    "rpm": ("rpm", 0),
    "pct": ("%", 1),
    "kg": ("kg", 0),
    "hz": ("Hz", 1),
    "ppm": ("ppm", 0),
    "km": ("km", 1),
    "kmh": ("km/h", 1),
    "mps2": ("m/s²", 1),
    "deg": ("°", 1),
}
"""Suffix of a name -> (unit as printed, usual decimals). Our choice: what a rider's meter shows."""

CELL_V = 6.0
"""Voltages below this are a cell's, and carry one more decimal [V]. Our choice."""
MOST_DECIMALS = 4
"""No printed number has more decimals than this. Our choice."""


def unit_suffix(name: str) -> str:
    """The unit at the end of a name: `pack_current_a` -> `a`; empty where there is none."""
    tail = name.rsplit("_", 1)[-1].rsplit(".", 1)[-1]
    return tail if tail in UNITS else ""


def fixed(value: float, decimals: int) -> str:
    """A number with so many decimals, thousands parted, with a true minus; never "−0"."""
    text = f"{abs(value):,.{decimals}f}".replace(",", NARROW_SPACE)
    zero = not any(digit in text for digit in "123456789")
    return text if zero or value >= 0 else MINUS + text


def scaled(value: float, suffix: str) -> tuple[float, str, int]:
    """Value, unit and decimals as a rider reads them: resistances in mΩ, long ways in km."""
    unit, decimals = UNITS.get(suffix, ("", 2))
    if suffix == "ohm" and abs(value) < 1.0:
        return value * 1e3, "mΩ", 1
    if suffix == "m" and abs(value) >= 2000.0:
        return value / 1e3, "km", 2
    return value, unit, decimals


def quantity(value: float | None, suffix: str, *, decimals: int | None = None) -> str:
    """A measured value with its unit (`52.6 A`); `not known` for None or what is not finite."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    number, unit, usual = scaled(value, suffix)
    if suffix == "pct":
        return percent(number, decimals=usual if decimals is None else decimals)
    return f"{fixed(number, usual if decimals is None else decimals)} {unit}".rstrip()


def percent(value: float, *, decimals: int = 1) -> str:
    """A percentage; below 100 it never prints 100, above 0 it never prints 0."""
    for places in range(decimals, MOST_DECIMALS + 1):
        text = fixed(value, places)
        exact = {"0": 0.0, "100": 100.0}.get(text.rstrip("0").rstrip(".") if "." in text else text)
        if exact is None or exact == value:
            return f"{text} %"
    return "under 0.0001 %" if abs(value) < 1 else "just under 100 %"


def chance(probability: float) -> str:
    """A probability in whole per cent: `93 %`, but `over 99 %` and `under 1 %` at the ends."""
    if probability >= 0.995:
        return "certain" if probability >= 1.0 else "over 99 %"
    if probability < 0.005:
        return "0 %" if probability <= 0.0 else "under 1 %"
    return f"{round(100 * probability)} %"


def decimals_for(width: float, most: int = MOST_DECIMALS) -> int:
    """How many decimals an interval of this width carries: two figures of its half width below
    3, else one (the usual rule of the GUM, JCGM 100:2008, 7.2.6: at most two figures)."""
    half = width / 2
    if not math.isfinite(half) or half <= 0:
        return most
    place = math.floor(math.log10(half))
    figures = 1 if half / 10**place < 3 else 0
    return min(max(figures - place, 0), most)


def estimate(one: Estimate | None, suffix: str) -> str:
    """An estimate with its 95 % interval: `79.0 mΩ (77.0 to 81.0)`, open sides said."""
    if one is None or not math.isfinite(one.value):
        return UNKNOWN
    value, interval, unit = estimate_parts(one, suffix)
    if one.low == one.value == one.high:
        return f"{value} {unit}".rstrip()
    return f"{value} {unit} ({interval})".replace("  ", " ")


def estimate_parts(one: Estimate, suffix: str) -> tuple[str, str, str]:
    """Value, interval and unit of an estimate as three texts, for tables."""
    number, unit, usual = scaled(one.value, suffix)
    factor = number / one.value if one.value else 1.0
    low = None if one.low is None else one.low * factor
    high = None if one.high is None else one.high * factor
    digits = usual if low is None or high is None or low == high else decimals_for(high - low)
    value = fixed(number, digits)
    if low is None and high is None:
        return value, "no interval", unit
    if low == high:
        return value, "no spread", unit
    if low is None:
        return value, f"at most {fixed(high or 0.0, digits)}", unit
    if high is None:
        return value, f"at least {fixed(low, digits)}", unit
    return value, f"{fixed(low, digits)} to {fixed(high, digits)}", unit


def beside(value: float, limit: float, suffix: str) -> tuple[str, str]:
    """A value and its limit, with as many decimals as it takes to tell the two apart."""
    number, unit, decimals = scaled(value, suffix)
    if suffix == "v" and max(abs(value), abs(limit)) < CELL_V:
        decimals = 2
    factor = number / value if value else scaled(limit, suffix)[0] / limit if limit else 1.0
    other = limit * factor
    while fixed(number, decimals) == fixed(other, decimals) and number != other:
        if decimals >= MOST_DECIMALS:
            break
        decimals += 1
    return f"{fixed(number, decimals)} {unit}".rstrip(), f"{as_given(other)} {unit}".rstrip()


def as_given(value: float) -> str:
    """A value from the setup with the decimals it was given, never rounded to another value."""
    for places in range(MOST_DECIMALS):
        # 14 cells of 4.2 V are 58.800000000000004 V to the machine and 58.8 V to everyone else.
        if math.isclose(round(value, places), value, rel_tol=1e-12):
            return fixed(value, places)
    return fixed(value, MOST_DECIMALS)


def duration(seconds: float) -> str:
    """A length of time as a rider says it: `0.06 s`, `9.0 s`, `4 min 12 s`, `1 h 03 min`."""
    if seconds < 1:
        return f"{fixed(seconds, 2)} s"
    if seconds < 60:
        return f"{fixed(min(seconds, 59.9), 1)} s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def moment(at_s: float, start: datetime | None) -> str:
    """A moment of the ride: by the clock where the log has one, else since the ride's start."""
    if start is not None:
        from datetime import timedelta

        return f"{start + timedelta(seconds=at_s):%H:%M:%S}"
    whole = int(abs(at_s))
    sign = MINUS if at_s < 0 else ""
    hours, rest = divmod(whole, 3600)
    clock = f"{rest // 60:02d}:{rest % 60:02d}"
    return f"{sign}{hours}:{clock} into the ride" if hours else f"{sign}{clock} into the ride"


def day(start: datetime | None) -> str:
    """The date and time a ride began, with its zone; empty where the log has none."""
    if start is None:
        return ""
    text = f"{start:%Y-%m-%d %H:%M}"
    return f"{text} (UTC{start.isoformat()[-6:]})" if start.tzinfo else text

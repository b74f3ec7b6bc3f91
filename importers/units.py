"""Unit words as headers write them, and what turns the logged number into SI.

SI value = logged x factor + offset. Factors follow the BIPM's "The International System of Units",
9th edition (2019), tables 1 to 8; mile, foot and nautical mile their definitions (1609.344 m,
0.3048 m, 1852 m); degrees Fahrenheit NIST SP 811 appendix B.8.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache

ELECTRICAL_RPM = "electrical rpm"
PHASE_SCALES = {"A dc": 1.0, "A rms": math.sqrt(1.5), "A peak": math.sqrt(0.75)}
"""What a map may say of a phase current, and what takes it to the direct current that the drive's
limits count (`analyzer.phase_scale` derives the factors); plain `A` leaves that open."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit a column may be logged in."""

    name: str
    """As `look` shows it and a map file writes it."""
    dimension: str
    factor: float = 1.0
    offset: float = 0.0


def _row(dimension: str, name: str, factor: float, words: str, offset: float = 0.0) -> list[Unit]:
    return [Unit(name, dimension, factor, offset)] + [
        Unit(f"{name}\n{word}", dimension, factor, offset) for word in words.split("|") if word
    ]


_ROWS: tuple[list[Unit], ...] = (
    _row("voltage", "V", 1, "v|volt|volts|voltios|voltio|vdc|v dc|vcc|volt dc"),
    _row("voltage", "mV", 1e-3, "mv|millivolt|millivolts|milivolt|milivolts|milivoltios"),
    _row("voltage", "cV", 1e-2, "cv|centivolt|centivolts|10mv|10 mv"),
    _row("voltage", "dV", 1e-1, "dv|decivolt|decivolts|100mv|100 mv"),
    _row("voltage", "kV", 1e3, "kv"),
    _row("voltage", "µV", 1e-6, "uv|microvolt|microvolts"),
    _row(
        "current",
        "A",
        1,
        "a|amp|amps|ampere|amperes|ampère|ampères|amperios|amperio|adc|a dc|a rms|arms|a peak|apk",
    ),
    _row("current", "mA", 1e-3, "ma|milliamp|milliamps|milliampere|milliamperes|miliamperios"),
    _row("current", "cA", 1e-2, "ca|centiamp|centiamps|centiampere|centiamperes|10ma|10 ma"),
    _row("current", "dA", 1e-1, "da|deciamp|deciamps|deciampere|deciamperes|100ma|100 ma"),
    _row("power", "W", 1, "w|watt|watts|vatios|va"),
    _row("power", "kW", 1e3, "kw|kilowatt|kilowatts"),
    _row("power", "mW", 1e-3, "mw|milliwatt|milliwatts"),
    _row("power", "dW", 1e-1, "dw|deciwatt|deciwatts"),
    _row("power", "hp", 745.69987, "bhp"),
    _row(
        "temperature",
        "°C",
        1,
        "c|degc|deg c|deg. c|celsius|degree c|degrees c|degrees celsius|degree celsius|grad celsius"
        "|grad c|grad|°celsius|° c|oc|\ufffdc|℃|centigrade|graden celsius|gradi celsius"
        "|grados celsius|graus celsius|degrés celsius|° celsius",
    ),
    _row(
        "temperature",
        "°F",
        5 / 9,
        "f|degf|deg f|deg. f|fahrenheit|degree f|degrees f|degrees fahrenheit|°fahrenheit|° f"
        "|\ufffdf|℉|° fahrenheit",
        offset=-32 * 5 / 9,
    ),
    _row("temperature", "K", 1, "kelvin|degk|deg k|°k|kelvins", offset=-273.15),
    _row(
        "speed",
        "km/h",
        1 / 3.6,
        "kmh|kph|kmph|km h|kilometers per hour|kilometres per hour|km per hour|stundenkilometer"
        "|km/hr|km/u|km/std|km h-1|km·h-1|kmh-1|km*h-1",
    ),
    _row(
        "speed",
        "m/s",
        1,
        "mps|m s|meters per second|metres per second|m/sec|m s-1|m·s-1|ms-1|m*s-1",
    ),
    _row("speed", "mph", 1609.344 / 3600, "mi/h|miles per hour|mile/h|miles/h|mi/hr"),
    _row("speed", "kn", 1852 / 3600, "kt|kts|knot|knots|knoten|nœuds|noeuds|nudos|nodi|nós|knopen"),
    _row("speed", "mm/s", 1e-3, "mm/sec"),
    _row("speed", "cm/s", 1e-2, "cm/sec"),
    _row(
        "rotation",
        "rpm",
        1,
        "1/min|min-1|min^-1|/min|u/min|upm|tr/min|giri/min|omw/min|omwentelingen/min|r/min|rev/min"
        "|revs/min|rpms|rot/min|umin|umdr/min|t/min|revolutions per minute|rot min|g/min|rev min"
        "|vueltas/min|umdrehungen/min|min⁻¹|mech rpm|mechanical rpm|rpm mech",
    ),
    _row(
        "rotation",
        ELECTRICAL_RPM,
        math.nan,
        "erpm|e-rpm|e rpm|el rpm|el. rpm|elec rpm|electric rpm|rpm el|rpm elec|rpm electrical"
        "|rpm_e|rpm e|rpm(e)|elektrische u/min|el. u/min|u/min el|u/min el.|el 1/min|erpms",
    ),
    _row("rotation", "rps", 60, "rev/s|r/s|1/s|u/s|tr/s|giri/s|s-1|revs/s|rot/s"),
    _row("rotation", "rad/s", 30 / math.pi, "rad s|rads|rad/sec|rad s-1"),
    _row("rotation", "krpm", 1e3, "1000 rpm|1000/min|x1000 rpm|rpm x1000"),
    _row(
        "fraction", "%", 1, "percent|pct|prozent|per cent|pourcent|por ciento|percento|procent|％"
    ),
    _row(
        "fraction",
        "0-1",
        100,
        "0..1|0–1|0…1|-1..1|-1-1|−1–1|-1…1|0 to 1|-1 to 1|0 bis 1|fraction|ratio|pu|p.u.",
    ),
    _row("fraction", "‰", 0.1, "permille|per mille|promille"),
    _row("charge", "Ah", 1, "ah|amp hours|amp-hours|amphours|ampere hours|amperestunden|a h|a·h"),
    _row("charge", "mAh", 1e-3, "mah|milliamp hours|ma h"),
    _row("charge", "C (coulomb)", 1 / 3600, "coulomb|coulombs|as|a s"),
    _row("energy", "Wh", 1, "wh|watt hours|watt-hours|wattstunden|w h|w·h"),
    _row("energy", "kWh", 1e3, "kwh|kilowatt hours"),
    _row("energy", "mWh", 1e-3, "mwh"),
    _row("energy", "J", 1 / 3600, "joule|joules|ws"),
    _row(
        "length",
        "m",
        1,
        "meter|meters|metre|metres|mètres|metros|metri|asl m|m asl|m a.s.l.|müm|m ü. m.|m msl",
    ),
    _row("length", "ft", 0.3048, "feet|foot|fuß|pieds|pies|piedi|pés|voet"),
    _row("length", "km", 1e3, "kilometer|kilometers|kilometre|kilometres"),
    _row("length", "cm", 1e-2, "centimeter|centimeters"),
    _row("length", "mm", 1e-3, "millimeter|millimeters"),
    _row("length", "mi", 1609.344, "mile|miles"),
    _row(
        "angle",
        "°",
        1,
        "deg|degree|degrees|dd|degrés|grados|gradi|graus|graden|\ufffd|decimal degrees|° n|° e"
        "|deg n|deg e|°n|°e|dec deg",
    ),
    _row(
        "angle",
        "1e-7 °",
        1e-7,
        "1e7 deg|deg e7|deg*1e7|deg x1e7|deg*10^7|°*1e7|e7|degrees e7|1e-7 deg|1e7 °|1e7 degrees|deg 1e7|10^-7 deg|1e-7 degrees|degrees 1e7|degrees x 1e7|degrees * 1e7|deg x 1e7|deg * 1e7|° x 1e7",
    ),
    _row(
        "angle", "1e-6 °", 1e-6, "1e6 deg|deg e6|deg*1e6|1e-6 deg|microdegrees|microdeg|µdeg|udeg"
    ),
    _row("angle", "rad", 180 / math.pi, "radian|radians"),
    _row("acceleration", "m/s²", 1, "m/s2|m/s^2|m/s/s|m s-2|mps2|m/s**2|m/sec2|m/sec^2|m s^-2"),
    _row("acceleration", "g", 9.80665, "g-force|gforce|gs"),
    _row("acceleration", "mg", 9.80665e-3, ""),
    _row(
        "time",
        "s",
        1,
        "sec|secs|second|seconds|sek|sekunden|sekunde|segundos|secondi|secondes|seconden|segundo|seconde",
    ),
    _row(
        "time",
        "ms",
        1e-3,
        "msec|millis|millisecond|milliseconds|millisekunden|milisegundos|millisecondes|millisecondi|milliseconden|msecs",
    ),
    _row(
        "time",
        "µs",
        1e-6,
        "us|usec|micros|microsecond|microseconds|mikrosekunden|microsegundos|microsecondes|μsec|µsec|usecs",
    ),
    _row("time", "ns", 1e-9, "nsec|nanoseconds|nanos"),
    _row("time", "min", 60, "mins|minute|minutes|minuten|minutos|minuti"),
    _row("time", "h", 3600, "hr|hrs|hour|hours|std|stunden|horas|ore|heures|uur"),
    _row("pulse", "µs", 1, "us|usec|microseconds|µsec|μsec"),
    _row("torque", "Nm", 1, "n m|n·m|newton meter|newton metres|newton meters|n-m|n*m"),
    _row("resistance", "ohm", 1, "Ω|ohms"),
    _row("resistance", "mohm", 1e-3, "mΩ|milliohm|mohms"),
    _row("frequency", "Hz", 1, "hz|hertz"),
    _row("pressure", "Pa", 1, "hpa|kpa|bar|mbar|psi|mmhg"),
    _row("other", "count", 1, "counts|cnt|#|raw|adc|lsb|l/h|l/min|ppm|db|dbm|lx|kg|n"),
)
"""One row per unit: dimension, name, factor to SI and the words for it."""

UNIT_CASE: dict[str, str] = {"mW": "mW", "MW": ""}

_SCALE = re.compile(
    r"(?P<scale>0[.,]1|0[.,]01|0[.,]001|1/10+|1e-[1-7]|10\^-[1-7]|tenths? of(?: an?)?|tenths?"
    r"|hundredths? of(?: an?)?|hundredths?|thousandths? of(?: an?)?|zehntel|hundertstel|dixièmes? de"
    r"|centièmes? de|décimas? de|centésimas? de|decimi di|centesimi di)"
    r"\s*[*x×·]?\s*(?P<unit>.+)"
)
_MULTIPLE = re.compile(r"(?P<times>10|100|1000) ?(?P<unit>[^\d\s]\S*)")
_TIMES = re.compile(r"(?P<unit>.+?)\s*[*x×·]\s*(?P<times>10+|10\^\d|1e\d)")
_WORD_SCALE = {
    "tenth": 0.1,
    "zehntel": 0.1,
    "dixi": 0.1,
    "décima": 0.1,
    "decimi": 0.1,
    "hundredth": 0.01,
    "hundertstel": 0.01,
    "centi": 0.01,
    "centé": 0.01,
    "centesimi": 0.01,
    "thousandth": 0.001,
}


def _table() -> dict[str, list[Unit]]:
    table: dict[str, list[Unit]] = {}
    for row in _ROWS:
        unit = row[0]
        for one in row:
            word = one.name.split("\n")[-1]
            table.setdefault(word if word == unit.name else word.lower(), []).append(unit)
            low = word.lower()
            if low not in table or unit not in table[low]:
                table.setdefault(low, []).append(unit)
    return table


_UNITS = _table()
BY_NAME: dict[tuple[str, str], Unit] = {(row[0].dimension, row[0].name): row[0] for row in _ROWS}
"""(dimension, name) -> unit."""


@lru_cache(maxsize=4096)
def parse_unit(text: str, dimension: str | None = None) -> Unit | None:
    """What unit a word is, of that dimension where one is given; None where it is none."""
    found = units_of(text)
    if dimension is not None:
        found = tuple(one for one in found if one.dimension == dimension)
    return found[0] if found else None


@lru_cache(maxsize=4096)
def units_of(text: str) -> tuple[Unit, ...]:
    """All units a word may mean, the likeliest first: `C` is degrees or coulombs."""
    word = " ".join(text.strip().strip("[](){}<>").replace("º", "°").replace("˚", "°").split())
    word = word.replace("μ", "µ").strip("[](){} .:")
    if not word:
        return ()
    exact = (
        _UNITS.get(word) or _UNITS.get(word.lower()) or _UNITS.get(word.lower().replace("µ", "u"))
    )
    if exact:
        same = [one for one in exact if one.name == word]
        return tuple(same + [one for one in exact if one not in same])
    if times := _TIMES.fullmatch(word):
        scale = 1.0 / _power(times["times"])
        return tuple(_scaled(one, scale) for one in units_of(times["unit"]))
    if multiple := _MULTIPLE.fullmatch(word):  # `10 ms`: what a clock's tick lasts
        own = [one for one in units_of(multiple["unit"]) if one.dimension == "time"]
        return tuple(_scaled(one, float(multiple["times"])) for one in own)
    if scaled := _SCALE.fullmatch(word.lower()):
        at = word.lower().index(scaled["unit"], len(scaled["scale"]))
        return tuple(_scaled(one, _fraction(scaled["scale"])) for one in units_of(word[at:]))
    return ()


def _power(text: str) -> float:
    return 10.0 ** int(text[-1]) if ("^" in text or "e" in text) else float(text)


def _fraction(text: str) -> float:
    for word, scale in _WORD_SCALE.items():
        if text.startswith(word):
            return scale
    if text.startswith("1/"):
        return 1.0 / float(text[2:])
    if text.startswith("10^"):
        return 10.0 ** int(text[3:])
    return float(text.replace(",", "."))


_PREFIX = {0.1: "d", 0.01: "c", 0.001: "m"}


def _scaled(unit: Unit, scale: float) -> Unit:
    prefix = _PREFIX.get(round(scale, 6), "")
    name = f"{prefix}{unit.name}" if unit.name in ("V", "A", "W") and prefix else ""
    if scale == 1e-7 and unit.dimension == "angle":
        name = "1e-7 °"
    return replace(unit, name=name or f"{scale:g} {unit.name}", factor=unit.factor * scale)


def looks_like_unit(cell: str) -> bool:
    """Whether a cell under a header is a unit, and not a name."""
    return bool(units_of(cell)) or cell.strip() in ("-", "[-]", "()", "[]", "1", "bool", "0/1")

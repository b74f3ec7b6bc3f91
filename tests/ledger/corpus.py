"""Made logs in many spellings, units, languages, signs and layouts, with the truth of each column.

The words here are chosen independently of the reader's vocabulary, as people write them: a word
that the reader does not know is a fair miss. The data are a small drive model: phase current makes
force, duty follows speed, battery current is duty times phase current, the pack sags.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

GEAR, WHEEL_M, PAIRS, SERIES = 9.5, 0.508, 7, 16
RATE_HZ = 5.0


@dataclass(frozen=True)
class Cell:
    """One column of a made log: its header, its values as text, and what it truly is."""

    header: str
    texts: list[str]
    channel: str | None
    unit: str
    sign: int


@dataclass(frozen=True)
class MadeLog:
    """A made log: file content and the truth, column by column."""

    name: str
    data: bytes
    cells: list[Cell]
    layout: str
    traits: dict[str, object] = field(default_factory=dict)


@lru_cache(maxsize=24)
def physics(seed: int, drives: int) -> dict[str, np.ndarray]:
    """Channels of a ride of 8 min in SI, discharge and forwards positive."""
    rng = np.random.default_rng(seed)
    n = int(480 * RATE_HZ)
    dt = 1 / RATE_HZ
    out: dict[str, np.ndarray] = {"time_s": np.arange(n) * dt}
    asked = _asked(rng, n)
    speed, soc, lag = 0.0, rng.uniform(50, 90), 0.0
    grade = np.interp(np.arange(n), np.linspace(0, n, 9), rng.uniform(-0.03, 0.07, 9))
    rows = {key: np.zeros(n) for key in ("v", "phase", "duty", "batt", "volt", "soc", "acc")}
    resistance, full_v = rng.uniform(0.06, 0.12), 66.0
    for at in range(n):
        lag += (asked[at] - lag) * dt / 0.4
        phase = lag * 70.0 if (lag > 0 or speed > 0.8) else 0.0
        force = drives * phase * 3.2 - 3.5 * (speed > 0.05) * 9.81 - 0.5 * speed**2
        force -= 260 * 9.81 * grade[at] * (speed > 0.05)
        acc = force / 280
        if speed <= 0.05 and phase <= 0:
            acc = 0.0
        speed = float(np.clip(speed + acc * dt, 0.0, 11.5))
        duty = min(0.97, speed / 12.5 + 0.0012 * abs(phase) * (speed > 0 or phase > 0))
        batt = duty * phase + 0.08
        total = drives * batt + 0.8
        soc -= total * dt / 3600 / 21 * 100
        volt = 50 + (full_v - 50) * (soc / 100) ** 0.7 - resistance * total
        for key, value in (("v", speed), ("phase", phase), ("duty", duty * 100), ("batt", batt),
                           ("volt", volt), ("soc", soc), ("acc", acc)):  # fmt: skip
            rows[key][at] = value
    out |= rows
    out["throttle"] = np.clip(asked, 0, 1) * 100
    out["brake"] = np.clip(-asked, 0, 1) * 100
    heat = np.cumsum(np.abs(rows["phase"])) * dt
    out["motor_c"] = 24 + 40 * heat / heat[-1] + rng.normal(0, 0.05, n)
    out["ctrl_c"] = 26 + 22 * heat / heat[-1] + 3 * np.sin(np.arange(n) / 300)
    out["pack_c"] = 19 + 5 * heat / heat[-1]
    out["climb"] = 430 + np.cumsum(rows["v"] * grade) * dt
    out["way"] = np.cumsum(rows["v"]) * dt
    return out


def _asked(rng: np.random.Generator, n: int) -> np.ndarray:
    """Demand from -1 to 1: pulls, coasts, brakings, stops."""
    out = np.zeros(n)
    at = 0
    while at < n:
        for level, low, high in (
            (rng.uniform(0.4, 1.0), 6, 25), (rng.uniform(0.15, 0.4), 5, 30),
            (0.0, 1, 6), (-rng.uniform(0.3, 1.0), 2, 6), (0.0, 1, 8 if rng.random() < 0.3 else 2),
        ):  # fmt: skip
            size = int(rng.uniform(low, high) * RATE_HZ)
            out[at : at + size] = level
            at += size
    return out[:n]


# quantity -> language -> ways to write it; {m} takes the drive's word where a language puts it
WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "batt": {
        "en": ("battery current", "Battery Current", "batt current", "input current", "I_batt",
               "current battery", "batteryCurrent", "battery amps", "I battery"),
        "de": ("Batteriestrom", "Akkustrom", "Strom Batterie", "Batterie Strom", "Akku-Strom"),
        "fr": ("courant batterie", "Courant de batterie", "intensité batterie"),
        "es": ("corriente batería", "Corriente de batería"),
        "it": ("corrente batteria", "Corrente della batteria"),
        "pt": ("corrente bateria", "Corrente da bateria"),
        "nl": ("accustroom", "batterijstroom", "stroom accu"),
    },
    "volt": {
        "en": ("battery voltage", "Battery Voltage", "batt voltage", "input voltage", "U_batt",
               "voltage battery", "batteryVoltage", "V battery", "battery volts"),
        "de": ("Batteriespannung", "Akkuspannung", "Spannung Batterie", "Akku-Spannung"),
        "fr": ("tension batterie", "Tension de la batterie"),
        "es": ("voltaje batería", "Tensión de batería"),
        "it": ("tensione batteria", "Tensione della batteria"),
        "pt": ("tensão bateria", "Tensão da bateria"),
        "nl": ("accuspanning", "batterijspanning", "spanning accu"),
    },
    "phase": {
        "en": ("phase current", "Phase Current", "motor phase current", "I_phase", "phaseCurrent",
               "phase amps"),
        "de": ("Phasenstrom", "Strom Phase", "Motor-Phasenstrom"),
        "fr": ("courant de phase", "courant phase"),
        "es": ("corriente de fase", "corriente fase"),
        "it": ("corrente di fase", "corrente fase"),
        "pt": ("corrente de fase",),
        "nl": ("fasestroom", "fase stroom"),
    },
    "rpm": {
        "en": ("motor speed", "motor rpm", "Motor RPM", "rpm", "motorRpm", "rotor speed"),
        "de": ("Motordrehzahl", "Drehzahl", "Drehzahl Motor"),
        "fr": ("régime moteur", "vitesse moteur"),
        "es": ("régimen motor", "velocidad del motor"),
        "it": ("regime motore", "velocità motore"),
        "pt": ("rotação do motor", "rotação motor"),
        "nl": ("motortoerental", "toerental"),
    },
    "v": {
        "en": ("wheel speed", "Wheel Speed", "wheelSpeed"),
        "de": ("Radgeschwindigkeit", "Geschwindigkeit Rad"),
        "fr": ("vitesse roue", "vitesse de la roue"),
        "es": ("velocidad rueda",),
        "it": ("velocità ruota",),
        "pt": ("velocidade da roda",),
        "nl": ("wielsnelheid",),
    },
    "throttle": {
        "en": ("throttle", "Throttle", "accelerator", "throttle position", "throttle demand"),
        "de": ("Gas", "Gasgriff", "Gashebel"),
        "fr": ("accélérateur", "gaz"),
        "es": ("acelerador",),
        "it": ("acceleratore",),
        "pt": ("acelerador",),
        "nl": ("gashendel", "gas"),
    },
    "duty": {
        "en": ("duty cycle", "duty", "Duty Cycle", "PWM duty"),
        "de": ("Tastgrad", "Tastverhältnis"),
        "fr": ("rapport cyclique",),
        "es": ("ciclo de trabajo",),
        "it": ("duty cycle",),
        "pt": ("ciclo de trabalho",),
        "nl": ("duty cycle",),
    },
    "ctrl_c": {
        "en": ("controller temperature", "Controller Temp", "controller temp", "ESC temperature",
               "MOSFET temperature", "FET temp", "temp controller"),
        "de": ("Reglertemperatur", "Temperatur Regler", "Controller-Temperatur"),
        "fr": ("température contrôleur",),
        "es": ("temperatura controlador",),
        "it": ("temperatura controllore", "temperatura controller"),
        "pt": ("temperatura do controlador",),
        "nl": ("regelaartemperatuur", "temperatuur controller"),
    },
    "motor_c": {
        "en": ("motor temperature", "Motor Temp", "motor temp", "temp motor", "T_motor"),
        "de": ("Motortemperatur", "Temperatur Motor"),
        "fr": ("température moteur", "temp. moteur"),
        "es": ("temperatura motor", "temperatura del motor"),
        "it": ("temperatura motore",),
        "pt": ("temperatura do motor",),
        "nl": ("motortemperatuur",),
    },
}  # fmt: skip
SHARED: dict[str, dict[str, tuple[str, ...]]] = {
    "soc": {
        "en": ("state of charge", "SoC", "State of Charge", "battery level"),
        "de": ("Ladezustand", "SoC", "Akkustand"),
        "fr": ("état de charge",),
        "es": ("estado de carga",),
        "it": ("stato di carica",),
        "pt": ("estado de carga",),
        "nl": ("laadtoestand",),
    },
    "pack_c": {
        "en": ("battery temperature", "pack temperature", "Battery Temp"),
        "de": ("Batterietemperatur", "Akkutemperatur"),
        "fr": ("température batterie",),
        "es": ("temperatura batería",),
        "it": ("temperatura batteria",),
        "pt": ("temperatura da bateria",),
        "nl": ("accutemperatuur",),
    },
    "climb": {
        "en": ("altitude", "Altitude", "elevation", "height above sea level"),
        "de": ("Höhe", "Höhe über NN"),
        "fr": ("altitude",),
        "es": ("altitud",),
        "it": ("altitudine", "quota"),
        "pt": ("altitude",),
        "nl": ("hoogte",),
    },
}
FOREIGN: tuple[tuple[str, str], ...] = (
    ("cabin temperature", "°C"), ("trip", "km"), ("heater power", "W"), ("humidity", "%"),
    ("sequence", ""), ("signal strength", "dBm"), ("tyre pressure", "bar"), ("torque", "Nm"),
)  # fmt: skip
TIMES: dict[str, tuple[str, ...]] = {
    "en": ("time", "Time", "elapsed time", "timestamp"), "de": ("Zeit", "Laufzeit", "Zeitstempel"),
    "fr": ("temps",), "es": ("tiempo",), "it": ("tempo",), "pt": ("tempo",), "nl": ("tijd",),
}  # fmt: skip
SIDES: dict[str, tuple[tuple[str, str], ...]] = {
    "en": (("left", "right"), ("L", "R"), ("Left", "Right")),
    "de": (("links", "rechts"), ("linker", "rechter")),
    "fr": (("gauche", "droite"),), "es": (("izquierda", "derecha"), ("izq", "der")),
    "it": (("sinistra", "destra"), ("sx", "dx")), "pt": (("esquerda", "direita"),),
    "nl": (("links", "rechts"),),
}  # fmt: skip
CHANNEL = {
    "batt": "battery_current_a", "volt": "battery_voltage_v", "phase": "phase_current_a",
    "rpm": "motor_rpm", "v": "wheel_speed_mps", "throttle": "throttle_pct", "duty": "duty_pct",
    "ctrl_c": "controller_temp_c", "motor_c": "motor_temp_c", "soc": "state_of_charge_pct",
    "pack_c": "pack_temp_c", "climb": "altitude_m",
}  # fmt: skip
# (unit name, ways to write it, factor from SI, offset)
UNITS: dict[str, tuple[tuple[str, tuple[str, ...], float, float], ...]] = {
    "batt": (("A", ("A", "A", "amps"), 1, 0), ("mA", ("mA",), 1e3, 0)),
    "volt": (("V", ("V", "V", "volts"), 1, 0), ("mV", ("mV",), 1e3, 0)),
    "phase": (("A", ("A", "A"), 1, 0), ("mA", ("mA",), 1e3, 0)),
    "rpm": (("rpm", ("rpm", "1/min", "RPM"), 1, 0), ("electrical rpm", ("erpm", "ERPM"), PAIRS, 0)),
    "v": (
        ("km/h", ("km/h", "kmh", "km/h"), 3.6, 0), ("m/s", ("m/s",), 1, 0),
        ("mph", ("mph",), 1 / 0.44704, 0),
    ),
    "throttle": (("%", ("%", "%", "pct"), 1, 0),),
    "duty": (("%", ("%",), 1, 0),),
    "ctrl_c": (("°C", ("°C", "C", "degC"), 1, 0), ("°F", ("°F",), 1.8, 32), ("K", ("K",), 1, 273.15)),  # noqa: E501
    "motor_c": (("°C", ("°C", "C"), 1, 0), ("°F", ("°F",), 1.8, 32)),
    "soc": (("%", ("%",), 1, 0),),
    "pack_c": (("°C", ("°C", "degC"), 1, 0), ("°F", ("°F",), 1.8, 32)),
    "climb": (("m", ("m",), 1, 0), ("ft", ("ft",), 1 / 0.3048, 0)),
}  # fmt: skip
DIGITS = {"batt": 2, "volt": 2, "phase": 1, "rpm": 0, "v": 2, "throttle": 0, "duty": 1, "ctrl_c": 1,
          "motor_c": 1, "soc": 1, "pack_c": 0, "climb": 1}  # fmt: skip


def made_log(seed: int) -> MadeLog:
    """The log of that number; the same every time."""
    return _Maker(seed).log()


class _Maker:
    """Throws the dice for one log."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.language = str(
            self.rng.choice(["en"] * 5 + ["de"] * 3 + ["fr", "es", "it", "pt", "nl"])
        )
        self.layout = str(self.rng.choice(["wide", "wide", "one", "long"]))
        self.base = physics(int(self.rng.integers(0, 12)), 2)
        self.style = int(self.rng.integers(0, 5))
        self.battery_sign = -1 if self.rng.random() < 0.3 else 1
        self.mirrored = {side: self.rng.random() < 0.25 for side in ("left", "right")}
        self.delimiter = str(self.rng.choice([",", ",", ";", "\t"]))
        comma = self.language not in ("en",) and self.delimiter != "," and self.rng.random() < 0.6
        self.decimal = "," if comma else "."
        self.words = {key: self._pick(WORDS[key]) for key in WORDS}
        self.units = {key: self._unit(key) for key in UNITS}
        self.sides = self._pick(SIDES)

    def _pick(self, table: dict):
        ways = table[self.language]
        return ways[int(self.rng.integers(len(ways)))]

    def _unit(self, key: str):
        rows = UNITS[key]
        at = 0 if self.rng.random() < 0.7 else int(self.rng.integers(len(rows)))
        name, ways, factor, offset = rows[at]
        return name, str(self.rng.choice(list(ways))), factor, offset

    def log(self) -> MadeLog:
        keys = [key for key in WORDS if key in ("batt", "volt") or self.rng.random() < 0.75]
        self.rng.shuffle(keys)
        if self.layout == "wide":
            cells = [cell for side in (0, 1) for cell in self._drive(keys, side)]
        elif self.layout == "one":
            cells = self._drive(keys, None)
        else:
            return self._long(keys)
        cells += self._shared() + self._foreign()
        order = self.rng.permutation(len(cells))
        cells = [self._time(), *(cells[at] for at in order)]
        return MadeLog("log.csv", self._text(cells), cells, self.layout, self._traits())

    def _traits(self) -> dict[str, object]:
        return {"language": self.language, "style": self.style, "sign": self.battery_sign}

    def _drive(self, keys: list[str], side: int | None) -> list[Cell]:
        name = ("left", "right")[side or 0]
        word = "" if side is None else self.sides[side]
        return [self._cell(key, self._named(self.words[key], word), name, side) for key in keys]

    def _named(self, text: str, side: str) -> str:
        if not side:
            return text
        if self.language == "en":
            return f"{side} {text}" if self.style % 2 else f"{text} {side}"
        return f"{text} {side}"

    def _cell(self, key: str, text: str, drive: str, side: int | None) -> Cell:
        unit, written, factor, offset = self.units[key]
        sign = 1
        if key == "batt":
            sign = self.battery_sign
        elif key in ("rpm", "phase", "v") and self.mirrored[drive]:
            sign = -1 if key != "v" else 1
        values = self._values(key, drive)
        logged = (values * factor + offset) * sign
        prefix = "" if side is None else f"{drive}."
        header = self._header(text, written)
        return Cell(header, self._texts(logged, key, factor), prefix + CHANNEL[key], unit, sign)

    def _values(self, key: str, drive: str) -> np.ndarray:
        share = 1.0 if drive == "left" else 1.06
        n = self.base["v"].size
        noise = self.rng.normal(0, 1, n)
        if key == "rpm":
            return self.base["v"] / (np.pi * WHEEL_M) * 60 * GEAR + noise * (self.base["v"] > 0.1)
        if key in ("batt", "phase"):
            return self.base[key] * share + 0.05 * noise
        if key == "volt":
            return self.base["volt"] + 0.02 * noise
        if key == "motor_c":
            return self.base[key] + (3.0 if drive == "left" else 0.0)
        if key == "ctrl_c":
            return self.base[key] + (2.0 if drive == "left" else 0.0)
        return self.base[key]

    def _header(self, text: str, unit: str) -> str:
        if not unit:
            return text
        if self.style == 0:
            return f"{text} [{unit}]"
        if self.style in (1, 4):
            return f"{text} ({unit})"
        if self.style == 2:
            return (
                f"{text.replace(' ', '_').lower()}_{unit.lower()}"
                if unit.isalpha()
                else f"{text} [{unit}]"
            )
        return f"{text} {unit}" if not unit.isalpha() or len(unit) > 1 else f"{text} in {unit}"

    def _texts(self, values: np.ndarray, key: str, factor: float) -> list[str]:
        digits = max(0, DIGITS[key] - (3 if factor >= 1000 else 0))
        texts = [f"{one:.{digits}f}" for one in values]
        return [one.replace(".", ",") for one in texts] if self.decimal == "," else texts

    def _time(self) -> Cell:
        time_s = self.base["time_s"]
        word = self._pick(TIMES)
        kind = int(self.rng.integers(0, 4))
        if kind == 0:
            texts = [f"{one:.2f}".replace(".", self.decimal) for one in time_s]
            return Cell(self._header(word, "s"), texts, "time_s", "", 1)
        if kind == 1:
            return Cell(
                self._header(word, "ms"), [f"{one * 1e3:.0f}" for one in time_s], "time_s", "", 1
            )
        begin = datetime(2031, 5, 14, 9, 12)
        if kind == 2:
            texts = [
                (begin + timedelta(seconds=float(one))).isoformat(timespec="milliseconds")
                for one in time_s
            ]
            return Cell(word, texts, "time_s", "", 1)
        texts = [
            (begin + timedelta(seconds=float(one))).strftime("%d.%m.%Y %H:%M:%S.%f")[:-3]
            for one in time_s
        ]
        return Cell(word, texts, "time_s", "", 1)

    def _shared(self) -> list[Cell]:
        out = []
        for key in SHARED:
            if self.rng.random() < 0.4:
                unit, written, factor, offset = self.units[key]
                texts = self._texts(self.base[key] * factor + offset, key, factor)
                header = self._header(self._pick(SHARED[key]), written)
                out.append(Cell(header, texts, CHANNEL[key], unit, 1))
        return out

    def _foreign(self) -> list[Cell]:
        out = []
        for word, unit in FOREIGN:
            if self.rng.random() < 0.15:
                level = self.rng.uniform(5, 60)
                values = level + np.cumsum(self.rng.normal(0, 0.05, self.base["v"].size))
                texts = [f"{one:.1f}".replace(".", self.decimal) for one in values]
                out.append(Cell(self._header(word, unit), texts, None, "", 1))
        return out

    def _long(self, keys: list[str]) -> MadeLog:
        """Rows of both drives in turn, with an id column that names them."""
        pairs = [self._drive(keys, None), []]
        second = self.mirrored["right"]
        self.mirrored["right"] = self.mirrored["left"]
        for cell, key in zip(pairs[0], keys, strict=True):
            one = self._cell(key, self.words[key], "right", None)
            pairs[1].append(Cell(cell.header, one.texts, cell.channel, cell.unit, cell.sign))
        self.mirrored["right"] = second
        clock = self._time()
        ids = {"en": "motor id", "de": "Motor-ID"}.get(self.language, "id")
        names = ("left", "right")
        cells = [Cell(clock.header, _zipped(clock.texts, clock.texts), "time_s", "", 1)]
        cells.append(Cell(ids, [names[at % 2] for at in range(2 * len(clock.texts))], None, "", 1))
        for a, b in zip(*pairs, strict=True):
            cells.append(Cell(a.header, _zipped(a.texts, b.texts), a.channel, a.unit, a.sign))
        return MadeLog("log.csv", self._text(cells), cells, "long", self._traits())

    def _text(self, cells: list[Cell]) -> bytes:
        rows = [self.delimiter.join(_quoted(cell.header, self.delimiter) for cell in cells)]
        rows += [self.delimiter.join(row) for row in zip(*(c.texts for c in cells), strict=True)]
        text = ("\r\n" if self.style == 1 else "\n").join(rows) + "\n"
        encoding = str(self.rng.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"]))
        return text.encode(encoding)


def _zipped(one: list[str], two: list[str]) -> list[str]:
    return [text for pair in zip(one, two, strict=True) for text in pair]


def _quoted(text: str, delimiter: str) -> str:
    return f'"{text}"' if delimiter in text or '"' in text else text

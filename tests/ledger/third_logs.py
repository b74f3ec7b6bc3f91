"""The third corpus: one true ride of `tests/probe`, written down by one of twenty hands.

`third_ride(seed)` gives the files as bytes, what every column really is, the setup and the run.
Signs, clocks, subsets, layouts and wrappings are drawn from the seed; the physics is the probe's.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from ledger.third_text import written
from ledger.third_words import HANDS, SIDES, Hand
from numpy.typing import NDArray
from probe.builds import ALL
from probe.cases import TOP_MPS, hilly
from probe.machine import setup_text
from probe.rider import Rider
from probe.run import Run, ride

Floats = NDArray[np.float64]
EARTH_M_PER_DEG = 111_320.0
PER_DRIVE = {
    "battery_a": "battery_current_a",
    "voltage_v": "battery_voltage_v",
    "phase_a": "phase_current_a",
    "rpm": "motor_rpm",
    "erpm": "motor_rpm",
    "wheel": "wheel_speed_mps",
    "demand": "throttle_pct",
    "duty": "duty_pct",
    "power": "power_w",
    "motor_c": "motor_temp_c",
    "controller_c": "controller_temp_c",
    "status": "status",
}
WHOLE = {
    "pack_v": "pack_voltage_v",
    "pack_a": "pack_current_a",
    "pack_c": "pack_temp_c",
    "soc": "state_of_charge_pct",
    "low_v": "cell_min_v",
    "high_v": "cell_max_v",
    "lat": "latitude_deg",
    "lon": "longitude_deg",
    "alt": "altitude_m",
    "speed": "gps_speed_mps",
    "course": "course_deg",
}
SI = {
    "mV": 1e-3,
    "dV": 0.1,
    "cV": 0.01,
    "mA": 1e-3,
    "dA": 0.1,
    "cA": 0.01,
    "kW": 1e3,
    "mph": 0.44704,
    "km/h": 1 / 3.6,
    "kn": 1852 / 3600,
    "mm/s": 1e-3,
    "cm/s": 1e-2,
    "0-1": 100.0,
    "0.1 %": 0.1,
    "1e-7 °": 1e-7,
    "ft": 0.3048,
    "mm": 1e-3,
    "cm": 1e-2,
    "0.1 °C": 0.1,
}
"""What one of it is in the channel's own unit: SI prefixes, mile and knot by definition."""
DECIMALS = {
    "V": 2,
    "A": 2,
    "%": 1,
    "0-1": 3,
    "km/h": 1,
    "mph": 1,
    "m/s": 2,
    "kn": 2,
    "°": 7,
    "m": 1,
    "kW": 3,
    "°C": 1,
    "°F": 1,
}
MIRRORED = ("phase_a", "rpm", "erpm", "duty")
STATUS = {
    "en": "status",
    "de": "Status",
    "fr": "état",
    "es": "estado",
    "it": "stato",
    "pt": "estado",
    "nl": "status",
}
JUNK = {
    "count": "row",
    "version": "firmware",
    "signal": "rssi dBm",
    "lap": "lap",
    "memory": "free kB",
    "pulse": "heart rate bpm",
}


@dataclass
class Column:
    """One column: what it really is, and its numbers or texts as logged."""

    header: str
    channel: str | None
    unit: str
    sign: int
    enough: bool
    values: Floats | NDArray[np.str_]
    decimals: int = 0


@dataclass
class File:
    """One log file."""

    name: str
    role: str | None
    seconds: Floats
    columns: list[Column]
    data: bytes = b""
    offset_s: float = 0.0
    readable: bool = True
    """Whether columns can be held against the reader's (a GPX has none)."""


@dataclass
class ThirdRide:
    """A ride as somebody would hand it over."""

    label: str
    run: Run
    setup: str
    files: list[File]
    layout: str
    told: bool
    """True where files' names say nothing, so that the command line must."""
    has_bms: bool
    bms_hz: float
    traits: dict[str, object] = field(default_factory=dict)


@lru_cache(maxsize=16)
def true_run(kind: str, number: int) -> Run:
    """A ride of one class of vehicle, sides a little different."""
    rng = np.random.default_rng(91_000 + 17 * number + len(kind))
    machine = ALL[kind]()
    drives = {
        name: replace(d, gain=1.0 - 0.03 * i, wheel=1.0 + 0.004 * i)
        for i, (name, d) in enumerate(machine.drives.items())
    }
    machine = replace(machine, drives=drives)
    road = hilly(TOP_MPS[kind], rng, legs=4)
    rider = Rider(road, stiffness=0.5 + 0.6 * rng.random(), motor_brake=0.5 + 0.5 * rng.random())
    soc, air_c = 0.4 + 0.45 * rng.random(), float(rng.uniform(5, 28))
    return ride(machine, rider, soc=soc, air_c=air_c, seed=number)


def third_ride(seed: int) -> ThirdRide:
    """The ride and files of a seed: every hand in turn."""
    return _Maker(seed).made()


class _Maker:
    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(500_000 + seed)
        self.hand: Hand = HANDS[seed % len(HANDS)]
        kinds = list(ALL)
        kind = kinds[int(self.rng.integers(len(kinds)))]
        self.run = true_run(kind, seed // 1000 * 10 + int(self.rng.integers(3)))
        self.seed = seed
        self.layout = self._one(self.hand.layouts)
        drives = list(self.run.side)
        if len(drives) == 1 and self.layout == "long":
            self.layout = "sides"
        self.rate_hz = float(self._one((5.0, 10.0, 20.0, 25.0)))
        self.time = self._one(self.hand.times)
        self.mirrored = drives[-1] if len(drives) > 1 and self.rng.random() < 0.3 else None
        self.flipped = self.rng.random() < 0.12
        self.bms = self._one(("in", "apart", "none", "none"))
        self.gps = self._one(("in", "apart", "gpx", "none"))
        self.status = self.rng.random() < 0.3
        left_out = [
            k
            for k in ("power", "duty", "motor_c", "controller_c", "demand", "voltage_v")
            if self.rng.random() < 0.2
        ]
        self.keys = [k for k in self.hand.words if k != "time" and k not in left_out]
        if self.bms == "none" and "voltage_v" not in self.keys:
            self.keys.insert(1, "voltage_v")

    def _one(self, of):
        return of[int(self.rng.integers(len(of)))]

    def _word(self, text: str, key: str) -> tuple[str, str, int, bool]:
        """Header, unit, sign, and whether the log says enough; one spelling per ride."""
        ways = text.split(" / ") if text.count("|") > 1 else [text]
        pick = ways[(self.seed // len(HANDS) + len(key)) % len(ways)]
        header, unit = pick.rsplit("|", 1)
        return header, unit.rstrip("?!"), -1 if "!" in unit else 1, "?" not in unit

    def _side_word(self, drive: str) -> str:
        whole = {"l": "left", "r": "right", "hub": ""}.get(drive, drive)
        return SIDES[self.hand.sides].get(whole, "")

    def _column(
        self, key: str, text: str, values: Floats, drive: str | None, alone: bool
    ) -> Column:
        header, unit, sign, enough = self._word(text, key)
        word = "" if alone or drive is None else self._side_word(drive)
        header = " ".join(header.replace("{s}", word).split()).strip(" _,").replace(" ,", ",")
        header = header.removeprefix("_").replace("__", "_").replace("_ ", " ")
        if self.flipped and key in ("battery_a", "power"):
            sign = -sign
        if drive == self.mirrored and drive is not None and key in MIRRORED:
            sign = -sign
        logged = values * 9 / 5 + 32 if unit == "°F" else values / SI.get(unit, 1.0)
        channel = WHOLE.get(key) or PER_DRIVE[key]
        if drive is not None and self.layout != "long":
            channel = f"{drive}.{channel}"
        return Column(header, channel, unit, sign, enough, sign * logged, DECIMALS.get(unit, 0))

    def _drive(self, drive: str, rows: NDArray[np.int64], alone: bool) -> list[Column]:
        side, rng, n = self.run.side[drive], self.rng, len(rows)
        rpm = side["omega"][rows] * 30 / np.pi
        volts = self.run.col["bus_v"][rows]
        amps = side["battery_a"][rows]
        si = {
            "battery_a": amps + 0.04 * rng.standard_normal(n),
            "voltage_v": volts + 0.02 * rng.standard_normal(n),
            "phase_a": side["phase_a"][rows] + 0.2 * rng.standard_normal(n),
            "rpm": rpm,
            "erpm": rpm * self.run.machine.pole_pairs,
            "wheel": side["wheel_mps"][rows],
            "demand": 100 * side["demand"][rows],
            "duty": 100 * side["duty"][rows],
            "power": amps * volts,
            "motor_c": side["motor_c"][rows],
            "controller_c": side["controller_c"][rows],
        }
        columns = [
            self._column(key, self.hand.words[key], si[key], drive, alone) for key in self.keys
        ]
        if self.status:
            word = "" if alone else self._side_word(drive)
            texts = np.where(
                side["demand"][rows] > 0.02,
                "drive",
                np.where(side["demand"][rows] < -0.02, "brake", "idle"),
            )
            channel = "status" if self.layout == "long" else f"{drive}.status"
            header = f"{STATUS[self.hand.sides[:2]]} {word}".strip()
            columns.append(Column(header, channel, "", 1, True, texts.astype(str)))
        return columns

    def _bms(self, rows: NDArray[np.int64]) -> list[Column]:
        col, rng, n = self.run.col, self.rng, len(rows)
        series = self.run.machine.cells.series
        si = {
            "pack_v": col["pack_v"][rows] + 0.01 * rng.standard_normal(n),
            "pack_a": col["pack_a"][rows] + 0.05 * rng.standard_normal(n),
            "pack_c": col["temp_c"][rows],
            "soc": 100 * col["soc"][rows],
            "low_v": col["low_v"][rows],
            "high_v": col["high_v"][rows],
        }
        columns = []
        for key, text in self.hand.bms.items():
            if key != "cells":
                columns.append(self._column(key, text, si[key], None, True))
                continue
            for k in range(series):
                mean = col["pack_v"][rows] / series
                value = {3: si["low_v"], 5: si["high_v"]}.get(k, mean)
                noisy = value + 0.001 * rng.standard_normal(n)
                header, unit, _, _ = self._word(text, key)
                columns.append(
                    Column(
                        header.replace("{n}", f"{k + 1:02d}"),
                        f"cell_{k + 1:02d}_v",
                        unit,
                        1,
                        True,
                        noisy * 1000,
                    )
                )
        return columns

    def place(self, rows: NDArray[np.int64]) -> dict[str, Floats]:
        """Where the vehicle is and how fast, as a receiver says it."""
        x, rng, n = self.run.col["x"][rows], self.rng, len(rows)
        every = np.arange(0.0, self.run.col["x"][-1] + 1.0, 1.0)
        angle = 0.6 + 0.25 * np.sin(every / 180.0)
        east = np.interp(x, every, np.concatenate([[0.0], np.cumsum(np.sin(angle))[:-1]]))
        north = np.interp(x, every, np.concatenate([[0.0], np.cumsum(np.cos(angle))[:-1]]))
        speed = np.maximum(self.run.col["v"][rows] + 0.05 * rng.standard_normal(n), 0.0)
        wander = np.cumsum(rng.standard_normal((2, n)), axis=1) * 0.02 / EARTH_M_PER_DEG
        return {
            "lat": 46.7 + north / EARTH_M_PER_DEG + wander[0],
            "lon": 7.9 + east / (EARTH_M_PER_DEG * np.cos(np.radians(46.7))) + wander[1],
            "alt": self.run.road.height_at(x) + np.cumsum(rng.standard_normal(n)) * 0.05,
            "speed": speed,
            "course": np.degrees(np.interp(x, every, angle)),
        }

    def _gps(self, rows: NDArray[np.int64]) -> list[Column]:
        si = self.place(rows)
        return [self._column(k, text, si[k], None, True) for k, text in self.hand.gps.items()]

    def _junk(self, n: int) -> list[Column]:
        rng = self.rng
        made = {
            "count": np.arange(n) + 0.0,
            "signal": np.round(-60 + 4 * rng.standard_normal(n)),
            "lap": np.floor(np.arange(n) / max(1, n // 3)) + 1,
            "memory": np.round(180 + 3 * rng.random(n)),
            "pulse": np.round(95 + np.cumsum(rng.standard_normal(n)) * 0.3),
            "version": np.full(n, 3.0),
        }
        return [Column(JUNK[k], None, "", 1, True, made[k]) for k in self.hand.junk]

    def _rows(self, rate_hz: float) -> NDArray[np.int64]:
        t = np.arange(0.0, self.run.t_s[-1], 1.0 / rate_hz)
        return np.minimum(np.round(t * 100).astype(np.int64), len(self.run.t_s) - 1)

    def _file(self, stem: str, role: str | None, rows, columns: list[Column], apart: bool) -> File:
        absolute = self.time not in ("s", "ms", "us", "wrap_ms")
        spread = 1.2 if absolute else 25.0
        offset = float(self.rng.uniform(-spread, spread)) if apart else 0.0
        return File(stem, role, self.run.t_s[rows], columns, offset_s=round(offset, 2))

    def made(self) -> ThirdRide:
        rows = self._rows(self.rate_hz)
        drives = list(self.run.side)
        told = self.layout == "sides" and self.rng.random() < 0.35
        files: list[File] = []
        slow_hz = float(self._one((1.0, 2.0, 5.0)))
        slow = self._rows(slow_hz)
        fix = self._rows(float(self._one((1.0, 1.0, 5.0))))
        beside = self._junk(len(rows))
        beside = (self._gps(rows) if self.gps == "in" else []) + beside
        beside = (self._bms(rows) if self.bms == "in" else []) + beside
        if self.layout == "wide":
            own = [c for d in drives for c in self._drive(d, rows, len(drives) == 1)]
            files.append(self._file("ride", None, rows, own + beside, False))
        elif self.layout == "sides":
            for i, d in enumerate(drives):
                columns = self._drive(d, rows, True) + (beside if i == 0 else [])
                stem = f"A{self.seed:04d}_{i}" if told else f"log {self._side_word(d)}".strip()
                files.append(self._file(stem, d, rows, columns, i > 0))
        else:
            files.append(self._long(drives, rows, beside))
        if self.bms == "apart":
            stem = f"B{self.seed:04d}" if told else self._one(("bms", "battery", "pack"))
            files.append(self._file(stem, "bms", slow, self._bms(slow), True))
        if self.gps in ("apart", "gpx"):
            stem = f"C{self.seed:04d}" if told else self._one(("gps", "track", "watch"))
            file = self._file(stem, "gps", fix, self._gps(fix) if self.gps == "apart" else [], True)
            file.readable = self.gps == "apart"
            files.append(file)
        for file in files:
            written(file, self)
        label = f"{self.seed} {self.hand.who}, {self.layout}, {self.time}, "
        label += f"bms {self.bms}, gps {self.gps}"
        return ThirdRide(
            label,
            self.run,
            setup_text(self.run.machine),
            files,
            self.layout,
            told,
            self.bms != "none",
            self.rate_hz if self.bms == "in" else slow_hz,
            {
                "mirrored": self.mirrored,
                "flipped": self.flipped,
                "rate_hz": self.rate_hz,
                "dated": self.time not in ("s", "ms", "us", "wrap_ms", "clock"),
            },
        )

    def _long(self, drives: list[str], rows, beside: list[Column]) -> File:
        """Rows of the drives in turn, told apart by an id column."""
        per = [self._drive(d, rows, True) for d in drives]
        n, k = len(rows), len(drives)
        ids = self._one(("name", "name", "number", "hex"))
        texts = {
            "name": [self._side_word(d) or d for d in drives],
            "number": [str(i + 1) for i in range(k)],
            "hex": [f"0x{16 + i:02X}" for i in range(k)],
        }[ids]
        header = self._one(self.hand.id_header.split(" / "))
        columns = [Column(header, None, "", 1, True, np.tile(np.array(texts), n))]
        for parts in zip(*per, strict=True):
            mixed = np.stack([c.values for c in parts], axis=1).reshape(-1)
            signs = {c.sign for c in parts}
            columns.append(
                replace(parts[0], values=mixed, enough=parts[0].enough and len(signs) == 1)
            )
        columns += [replace(c, values=np.repeat(c.values, k)) for c in beside]
        return replace(
            self._file("bus", None, rows, columns, False), seconds=np.repeat(self.run.t_s[rows], k)
        )

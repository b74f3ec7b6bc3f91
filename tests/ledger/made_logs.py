"""Log files for the recognition corpus: layouts, units, signs, orders, ways of writing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from ledger.made_headers import FOREIGN, LANGUAGES, TIME_NAMES, UNITS, pick
from ledger.made_ride import Made, make

DIMENSION = {
    "battery_current_a": "current", "battery_voltage_v": "voltage", "phase_current_a": "current",
    "motor_rpm": "rotation", "wheel_speed_mps": "speed", "duty_pct": "fraction",
    "throttle_pct": "fraction", "brake_pct": "fraction", "power_w": "power",
    "controller_temp_c": "temperature", "motor_temp_c": "temperature", "status": "status",
    "pack_voltage_v": "voltage", "pack_current_a": "current", "pack_power_w": "power",
    "pack_temp_c": "temperature", "cell_min_v": "voltage", "cell_max_v": "voltage",
    "state_of_charge_pct": "fraction", "speed_mps": "speed", "gps_speed_mps": "speed",
    "latitude_deg": "angle", "longitude_deg": "angle", "altitude_m": "length",
    "course_deg": "angle", "acceleration_mps2": "acceleration", "ambient_temp_c": "temperature",
}  # fmt: skip
PER_DRIVE = (
    "battery_current_a", "battery_voltage_v", "phase_current_a", "motor_rpm", "duty_pct",
    "throttle_pct", "power_w", "controller_temp_c", "motor_temp_c", "status", "wheel_speed_mps",
    "brake_pct",
)  # fmt: skip
SIGNED = {"battery_current_a", "phase_current_a", "motor_rpm", "duty_pct", "pack_current_a"}
DECIMALS = {
    "current": 2, "voltage": 2, "power": 1, "temperature": 1, "rotation": 0, "erpm": 0, "speed": 2,
    "fraction": 1, "length": 1, "angle": 7, "angle7": 0, "acceleration": 2, "status": 0,
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column: header, unit row cell, values as logged, and the truth."""

    header: str
    unit_cell: str
    values: np.ndarray
    channel: str | None
    unit: str
    sign: int
    decimals: int


@dataclass(frozen=True)
class MadeFile:
    """One file's bytes and what each of its columns truly is."""

    name: str
    data: bytes
    columns: tuple[Column, ...]
    """Time first; its channel is `time_s`."""
    drives: tuple[str, ...]
    layout: str
    language: str


class _Maker:
    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([seed, 77])
        rng = self.rng
        self.language = pick(rng, list(LANGUAGES)) if rng.random() < 0.65 else "en"
        self.layout = pick(rng, ["drive", "drive", "wide", "wide", "bms", "gps", "vehicle"])
        self.drive_count = 1 if self.layout == "vehicle" else int(rng.choice([1, 2, 2, 2]))
        if self.layout == "wide":
            self.drive_count = 2
        self.rate = float(rng.choice([5.0, 10.0, 20.0]))
        self.ride: Made = make(seed, self.drive_count, float(rng.uniform(4, 8)), self.rate)
        self.style = pick(rng, ["[]", "[]", "()", "comma", "row", "_"])
        self.case = pick(rng, ["as", "as", "as", "lower", "upper", "snake", "title"])
        self.side_style = pick(rng, ["before", "after", "before", "bracket"])
        self.words = LANGUAGES[self.language]
        self.mirrored = [bool(rng.random() < 0.3) for _ in range(self.drive_count)]
        self.charge_positive = bool(rng.random() < 0.3)
        self.unit_of: dict[str, tuple[str, float, float, str]] = {}

    def unit(self, dimension: str) -> tuple[str, float, float, str]:
        """One unit per dimension and file, and its spelling."""
        if dimension not in self.unit_of:
            options = UNITS[dimension]
            usual = self.rng.random() < 0.7
            name, factor, offset, spellings = options[
                0 if usual else int(self.rng.integers(len(options)))
            ]
            self.unit_of[dimension] = (name, factor, offset, pick(self.rng, list(spellings)))
        return self.unit_of[dimension]

    def column(
        self,
        key: str,
        channel: str,
        values: np.ndarray,
        side: str = "",
        sign: int = 1,
        number: int | None = None,
    ) -> Column:
        dimension = DIMENSION.get(key, "voltage" if key == "cell" else "temperature")
        word_key = key
        if key == "motor_rpm" and "erpm" in self.words.names and self.rng.random() < 0.25:
            dimension = word_key = "erpm"
        if key in ("latitude_deg", "longitude_deg") and self.rng.random() < 0.15:
            dimension = "angle7"
        name, factor, offset, spelling = self.unit(dimension)
        words = pick(self.rng, list(self.words.names[word_key]))
        if dimension == "erpm" and spelling == "" and self.style == "row":
            spelling = "rpm"
        if number is not None:
            words = words.replace("#", str(number))
        words = self._sided(words, side)
        decimals = DECIMALS[dimension]
        if factor <= 0.1 and dimension not in ("angle7", "erpm"):
            decimals = 0
        if factor >= 100 and dimension in ("fraction", "power"):
            decimals = 3
        logged = np.round((values * sign - offset) / factor, decimals)
        header, cell = self._written(words, spelling)
        return Column(header, cell, logged, channel, name, sign, decimals)

    def _sided(self, words: str, side: str) -> str:
        if not side:
            return words
        if self.side_style == "before":
            return f"{side} {words}"
        return f"{words} {side}" if self.side_style == "after" else f"{words} ({side})"

    def _written(self, words: str, spelling: str) -> tuple[str, str]:
        if self.case == "lower":
            words = words.lower()
        elif self.case == "upper":
            words = words.upper()
        elif self.case == "snake":
            words = words.lower().replace(" ", "_").replace("(", "").replace(")", "")
        elif self.case == "title":
            words = words.title()
        if not spelling:
            return words, ""
        if self.style == "row":
            return words, spelling
        if self.style == "[]":
            return f"{words} [{spelling}]", ""
        if self.style == "()":
            return f"{words} ({spelling})", ""
        if self.style == "comma":
            return f"{words}, {spelling}", ""
        return f"{words}_{spelling}" if self.case == "snake" else f"{words} {spelling}", ""

    def drive_columns(self, at: int, side: str, prefix: str) -> list[Column]:
        own = self.ride.drives[at]
        keep = ["battery_current_a", "battery_voltage_v"] + [
            key for key in PER_DRIVE[2:] if self.rng.random() < 0.62
        ]
        out = []
        for key in keep:
            sign = 1
            if key in ("phase_current_a", "motor_rpm", "duty_pct") and self.mirrored[at]:
                sign = -1
            if key in ("battery_current_a", "power_w") and self.charge_positive:
                sign = -1
            out.append(self.column(key, prefix + key, own[key], side, sign))
        return out

    def whole(self, *keys: str, chance: float = 1.0) -> list[Column]:
        out = []
        for key in keys:
            if self.rng.random() > chance:
                continue
            sign = -1 if key in ("pack_current_a", "pack_power_w") and self.charge_positive else 1
            out.append(self.column(key, key, self.ride.whole[key], "", sign))
        return out

    def columns(self) -> tuple[list[Column], str]:
        if self.layout == "wide":
            return self.wide(), "ride"
        if self.layout == "drive":
            at = int(self.rng.integers(self.drive_count))
            name = ["left", "right"][at] if self.drive_count == 2 else "rear"
            return self.drive_columns(at, "", f"{name}."), name
        if self.layout == "bms":
            out = self.whole("pack_voltage_v", "pack_current_a")
            out += self.whole(
                "pack_power_w",
                "pack_temp_c",
                "cell_min_v",
                "cell_max_v",
                "state_of_charge_pct",
                chance=0.75,
            )
            if self.rng.random() < 0.5:
                out += [
                    self.column(
                        "cell", f"cell_{k:02d}_v", self.ride.whole[f"cell_{k:02d}_v"], number=k
                    )
                    for k in range(1, 15)
                ]
            if self.rng.random() < 0.4:
                out += [
                    self.column(
                        "cell_temp",
                        f"cell_temp_{k:02d}_c",
                        self.ride.whole[f"cell_temp_{k:02d}_c"],
                        number=k,
                    )
                    for k in (1, 2)
                ]
            return out, "bms"
        if self.layout == "gps":
            keys = ("latitude_deg", "longitude_deg", "altitude_m")
            return self.whole(*keys) + self.whole("gps_speed_mps", "course_deg", chance=0.7), "gps"
        out = self.whole("pack_voltage_v", "pack_current_a", "speed_mps")
        out += self.whole(
            "state_of_charge_pct",
            "pack_temp_c",
            "ambient_temp_c",
            "altitude_m",
            "acceleration_mps2",
            chance=0.7,
        )
        out.append(self.column("throttle_pct", "throttle_pct", self.ride.drives[0]["throttle_pct"]))
        return out, "trip"

    def wide(self) -> list[Column]:
        which = int(self.rng.integers(len(self.words.left)))
        left = self.words.left[which]
        right = self.words.right[min(which, len(self.words.right) - 1)]
        state = self.rng.bit_generator.state
        out = self.drive_columns(0, left, "left.")
        self.rng.bit_generator.state = state
        out += self.drive_columns(1, right, "right.")
        out += self.whole(
            "pack_voltage_v",
            "pack_current_a",
            "pack_temp_c",
            "speed_mps",
            "state_of_charge_pct",
            "ambient_temp_c",
            "altitude_m",
            chance=0.45,
        )
        return out

    def foreign(self, count: int) -> list[Column]:
        n = self.ride.time_s.size
        out = []
        for header in self.rng.choice(FOREIGN, size=count, replace=False):
            values = self.rng.uniform(0, 60) + np.cumsum(self.rng.normal(0, 0.05, n))
            out.append(Column(str(header), "", np.round(values, 2), None, "", 1, 2))
        return out

    def time(self) -> Column:
        spelled, factor = [("s", 1.0), ("s", 1.0), ("ms", 1e-3)][int(self.rng.integers(3))]
        words = pick(self.rng, TIME_NAMES[self.language].split("|"))
        header, cell = self._written(words, spelled)
        start = float(self.rng.choice([0.0, 0.0, 12.4]))
        values = np.round((self.ride.time_s + start) / factor, 3)
        return Column(header, cell, values, "time_s", spelled, 1, 3 if factor == 1.0 else 0)


def made_log(seed: int) -> MadeFile:
    """The file of that number, always the same."""
    maker = _Maker(seed)
    columns, name = maker.columns()
    if maker.rng.random() < 0.4:
        columns += maker.foreign(int(maker.rng.integers(1, 5)))
    order = maker.rng.permutation(len(columns)) if maker.rng.random() < 0.5 else range(len(columns))
    columns = [maker.time(), *(columns[at] for at in order)]
    drives = ("left", "right") if maker.drive_count == 2 else ("rear",)
    return MadeFile(f"{name}.csv", _text(maker, columns), tuple(columns), drives,
                    maker.layout, maker.language)  # fmt: skip


def _text(maker: _Maker, columns: list[Column]) -> bytes:
    comma = maker.rng.random() < 0.3
    mark = ";" if comma or maker.rng.random() < 0.3 else pick(maker.rng, [",", ",", "\t"])
    lines = [mark.join(f'"{c.header}"' if mark in c.header else c.header for c in columns)]
    if any(one.unit_cell for one in columns):
        lines.append(mark.join(one.unit_cell for one in columns))
    shown = [[f"{v:.{one.decimals}f}" for v in one.values] for one in columns]
    rows = [mark.join(row) for row in zip(*shown, strict=True)]
    if comma:
        rows = [row.replace(".", ",") for row in rows]
    encoding = pick(maker.rng, ["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"])
    text = "\n".join(lines + rows) + "\n"
    return text.encode(encoding, errors="replace" if encoding == "cp1252" else "strict")


SETUP = (
    "[vehicle]\nmass_kg = 190.0\nwheel_diameter_m = 0.5\ngear_ratio = 4.2\npole_pairs = 7\n"
    '[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 17.5\n'
)
"""The build the rides were made with, without its drives."""

"""Every key a setup file may hold: its kind, what it means, what values are possible.

One table feeds the reader, the starter file, the questions and the messages, so that they cannot
drift apart. Bounds are those of the possible, far outside the advisable: what is unwise but
possible is `analyzer.setup_check`'s to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Kind(Enum):
    """What type of value a key takes, in words for messages."""

    NUMBER = "a number"
    WHOLE = "a whole number"
    TEXT = "text in quotes"
    WORD = "one of the words"
    DATE = "a date"


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one table."""

    table: str
    """`vehicle`, `pack`, `bms`, `wiring`, `drives`, `hills` or `logger`."""
    name: str
    meaning: str
    """What it is, for the rider who fills it in."""
    example: str
    """A value as TOML text, used by the starter file."""
    kind: Kind = Kind.NUMBER
    low: float = 0.0
    high: float = 10_000.0
    zero: bool = False
    """Whether `low` itself is possible."""
    words: tuple[str, ...] = ()
    required: bool = False

    @property
    def path(self) -> str:
        """The key with its table, as messages name it."""
        return f"{self.table}.{self.name}"

    @property
    def unit(self) -> str:
        """The unit that stands at the end of the key's name, as text; empty where it has none."""
        return next((unit for end, unit in _UNITS if self.name.endswith(end)), "")

    @property
    def expected(self) -> str:
        """What may be written there, as the second half of a sentence."""
        if self.kind is Kind.WORD:
            return " or ".join(
                [", ".join(f'"{w}"' for w in self.words[:-1]), f'"{self.words[-1]}"']
            )
        if self.kind is Kind.DATE:
            return "a date without quotes, like 2031-03-01"
        if self.kind is Kind.TEXT:
            return "text in quotes"
        unit = f" {self.unit}" if self.unit else ""
        start = f"from {self.low:g}" if self.zero else f"above {self.low:g}"
        return f"{self.kind.value} {start} and up to {self.high:g}{unit}"


_UNITS = (
    ("_deg", "°"),
    ("_kg", "kg"),
    ("_ah", "Ah"),
    ("_m2", "m²"),
    ("_m", "m"),
    ("_a", "A"),
    ("_v", "V"),
    ("_s", "s"),
    ("_c", "°C"),
)


def _current(table: str, name: str, meaning: str, example: str) -> Key:
    return Key(table, name, meaning, example)


def _cell_v(table: str, name: str, meaning: str, example: str) -> Key:
    return Key(table, name, meaning, example, low=1.0, high=5.0)


def _delay_s(table: str, name: str, meaning: str, example: str) -> Key:
    return Key(table, name, meaning, example, high=3600.0, zero=True)


def _temp_c(table: str, name: str, meaning: str, example: str) -> Key:
    return Key(table, name, meaning, example, low=0.0, high=300.0)


def _text(table: str, name: str, meaning: str, example: str, *, required: bool = False) -> Key:
    return Key(table, name, meaning, example, kind=Kind.TEXT, required=required)


def _whole(table: str, name: str, meaning: str, example: str, high: float) -> Key:
    return Key(table, name, meaning, example, kind=Kind.WHOLE, low=1, high=high, zero=True)


VEHICLE = (
    _text("vehicle", "name", "Shown in reports.", '"cargo trike"'),
    Key(
        "vehicle",
        "mass_kg",
        "Vehicle, rider and load together, as usually ridden.",
        "165.0",
        high=50_000.0,
    ),
    Key(
        "vehicle",
        "wheel_diameter_m",
        "Of the driven wheel, loaded: measure one turn on the ground and divide by 3.1416.",
        "0.508",
        low=0.03,
        high=3.0,
    ),
    Key(
        "vehicle",
        "gear_ratio",
        "Motor turns per wheel turn; 1.0 for a motor in the wheel. Or give both teeth instead.",
        "4.4",
        low=0.05,
        high=300.0,
    ),
    _whole("vehicle", "driving_teeth", "Teeth on the motor's pulley or sprocket.", "14", 1000),
    _whole("vehicle", "driven_teeth", "Teeth on the wheel's pulley or sprocket.", "62", 1000),
    _whole("vehicle", "pole_pairs", "Electrical turns per mechanical turn of the motor.", "7", 200),
    Key(
        "vehicle",
        "rolling_coefficient",
        "Rolling resistance over weight; fitted from the ride when absent.",
        "0.012",
        high=0.3,
    ),
    Key(
        "vehicle",
        "drag_area_m2",
        "Air drag coefficient times frontal area; fitted from the ride when absent.",
        "0.60",
        high=20.0,
    ),
)

CHEMISTRIES = ("nmc", "nca", "lfp", "lco", "other")

PACK = (
    _text("pack", "name", "Tells packs apart in a book of rides.", '"blue pack"'),
    Key(
        "pack",
        "in_service_since",
        "First day of this pack's life; a re-celled pack starts a new one.",
        "2031-03-01",
        kind=Kind.DATE,
    ),
    Key(
        "pack",
        "chemistry",
        "Of the cells: nmc, nca, lfp, lco, or other (then rest_voltage_curve is needed).",
        '"nmc"',
        kind=Kind.WORD,
        words=CHEMISTRIES,
        required=True,
    ),
    Key(
        "pack",
        "series",
        "Cells (or groups of cells) one after the other; they add up the voltage.",
        "14",
        kind=Kind.WHOLE,
        low=1,
        high=400,
        zero=True,
        required=True,
    ),
    _whole("pack", "parallel", "Cells side by side in each group.", "5", 1000),
    Key("pack", "capacity_ah", "Rated charge of the whole pack.", "17.5", required=True),
    _cell_v("pack", "cell_full_v", "Volts per cell after charging, at rest: 100 %.", "4.20"),
    _cell_v("pack", "cell_empty_v", "Volts per cell that count as empty, at rest: 0 %.", "2.80"),
    _current(
        "pack",
        "discharge_rating_a",
        "The cells' continuous discharge rating times `parallel`, from their datasheet.",
        "60.0",
    ),
    _current(
        "pack",
        "charge_rating_a",
        "The cells' continuous charge rating times `parallel`: braking counts against it.",
        "12.0",
    ),
    _current("pack", "discharge_peak_a", "What the datasheet allows for a short while.", "90.0"),
    Key("pack", "discharge_peak_s", "For how long.", "10.0", high=3600.0),
    _current("pack", "charge_peak_a", "The same for charging.", "18.0"),
    Key("pack", "charge_peak_s", "For how long.", "5.0", high=3600.0),
    Key(
        "pack",
        "min_charge_temp_c",
        "Coldest pack that may be charged, braking included.",
        "0.0",
        low=-60.0,
        high=60.0,
        zero=True,
    ),
    Key(
        "pack",
        "aux_a",
        "Lights, converter, heater: drawn past the controllers.",
        "1.0",
        high=500.0,
        zero=True,
    ),
    _text(
        "pack",
        "rest_voltage_curve",
        "A CSV file with state_of_charge (0 to 1) and volts_per_cell, instead of the chemistry's.",
        '"cells.csv"',
    ),
)

BMS = (
    _current("bms", "discharge_rating_a", "Continuous discharge current it is rated for.", "50.0"),
    _current("bms", "charge_rating_a", "Continuous charge current it is rated for.", "20.0"),
    _current("bms", "discharge_peak_a", "What it allows for a short while.", "70.0"),
    Key("bms", "discharge_peak_s", "For how long.", "5.0", high=3600.0),
    _current("bms", "charge_peak_a", "The same for charging.", "25.0"),
    Key("bms", "charge_peak_s", "For how long.", "5.0", high=3600.0),
    _current("bms", "discharge_trip_a", "Discharge current at which it opens ...", "75.0"),
    _delay_s("bms", "discharge_trip_delay_s", "... and after how long.", "1.0"),
    _current("bms", "charge_trip_a", "Charge current at which it opens ...", "30.0"),
    _delay_s("bms", "charge_trip_delay_s", "... and after how long.", "1.0"),
    _cell_v("bms", "cell_low_v", "Opens when any cell falls to this.", "2.70"),
    _cell_v("bms", "cell_high_v", "Closes the charge path when any cell rises to this.", "4.25"),
    Key(
        "bms",
        "ports",
        "common: one port for both ways; separate: braking passes no charge protection.",
        '"common"',
        kind=Kind.WORD,
        words=("common", "separate"),
    ),
)

WIRING = (
    _current("wiring", "fuse_a", "The main fuse between pack and controllers.", "60.0"),
    _current("wiring", "connector_rating_a", "Continuous rating of the main connector.", "60.0"),
)

DRIVES = (
    _current("drives", "phase_drive_a", "Motor (phase) current limit, driving.", "55.0"),
    _current("drives", "phase_brake_a", "Motor (phase) current limit, braking.", "40.0"),
    _current("drives", "battery_drive_a", "Battery current limit, driving.", "20.0"),
    _current("drives", "battery_brake_a", "Battery current limit, braking.", "5.0"),
    Key(
        "drives",
        "derate_from_v",
        "Power is reduced from this pack voltage ...",
        "46.2",
        low=1.0,
        high=2000.0,
    ),
    Key("drives", "stop_at_v", "... and gone at this one.", "42.0", low=1.0, high=2000.0),
    Key(
        "drives",
        "overvoltage_v",
        "The controller stops above this pack voltage.",
        "59.4",
        low=1.0,
        high=2000.0,
    ),
    _temp_c("drives", "controller_derate_c", "Power is reduced from this temperature ...", "80.0"),
    _temp_c("drives", "controller_stop_c", "... and gone at this one.", "95.0"),
    _temp_c("drives", "motor_derate_c", "The same for the motor ...", "100.0"),
    _temp_c("drives", "motor_stop_c", "... and gone at this one.", "120.0"),
    _text("drives", "same_as", "Take every limit from that drive; keys here override.", '"left"'),
    _text("drives", "follows", "Gets its demand over the link from that drive.", '"left"'),
)

HILLS = (
    _text(
        "hills", "name", "Your own name for a climb you ride often.", '"Mill Lane"', required=True
    ),
    Key(
        "hills",
        "latitude_deg",
        "Of its foot.",
        "47.0",
        low=-90.0,
        high=90.0,
        zero=True,
        required=True,
    ),
    Key(
        "hills",
        "longitude_deg",
        "Of its foot.",
        "8.0",
        low=-180.0,
        high=180.0,
        zero=True,
        required=True,
    ),
)

LOGGER = (
    Key(
        "logger",
        "powered_by",
        "pack: the log ends when the pack's path opens; own_battery: it goes on.",
        '"pack"',
        kind=Kind.WORD,
        words=("pack", "own_battery"),
    ),
)

TABLES: dict[str, tuple[Key, ...]] = {
    "vehicle": VEHICLE,
    "pack": PACK,
    "bms": BMS,
    "wiring": WIRING,
    "drives": DRIVES,
    "hills": HILLS,
    "logger": LOGGER,
}
TOP = (*TABLES, "fault_words")
"""What may stand at the top of the file."""

LIMIT_KEYS = tuple(key.name for key in DRIVES if key.name not in ("same_as", "follows"))
"""Drive keys that `same_as` copies."""

CAUSE_WORDS = (
    "bms_overcurrent_discharge",
    "bms_overcurrent_charge",
    "bms_overheat",
    "cell_low_voltage",
    "cell_high_voltage",
    "undervoltage_stop",
    "overvoltage_trip",
    "controller_overheat",
    "motor_overheat",
    "phase_overcurrent",
    "input_signal_lost",
    "interlock_opened",
    "idle_shutdown",
    "drive_link_lost",
    "rotor_sensor_fault",
    "motor_phase_fault",
    "temperature_sensor_fault",
    "mechanical_drive_lost",
    "supply_interrupted",
    "unknown",
)
"""What `[fault_words]` may map to; a test holds it equal to `analyzer.words.CutoutCause`, which
lies in a layer this one does not see."""

"""A table's columns -> channels: words, units, ranges and the physics between columns together.

The assignment is made as a whole: a channel is given once per drive, to the column that fits it
best, and what is decided for one column (a voltage) settles others (a current's sign).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import map_line
from importers.channels import PACK_OF_DRIVE, channel_of
from importers.guess_name import NameGuess, is_foreign, name_guesses
from importers.guess_side import drives_of
from importers.guess_sign import (
    SignGuess,
    charge_sign,
    common_sign,
    energy_sign,
    forward_sign,
    rate_sign,
    sag_sign,
)
from importers.guess_unit import UnitGuess, guess_unit
from importers.header_words import HeaderWords, read_header
from importers.raw_table import RawColumn
from importers.setup_types import Setup
from importers.units import BY_NAME

Floats = NDArray[np.float64]

SURE = 0.95
"""From here on a reading is called sure. The contract's."""
READ_FROM = 0.5
"""Columns less sure than this are not read. Our choice: rather asked for than guessed."""
FOREIGN_SURE, UNREAD_SURE = 0.97, 0.9
"""Chance that it is right not to read a column: its words speak of another device or quantity;
or say nothing clear. Our choice."""
SAMPLE_ROWS = 60_000
"""Rows that the guesses look at, evenly spread in stretches. Our choice."""
FASTEST_KMH = 200.0
"""No vehicle of this kind goes faster [km/h]. Our choice."""
MOTOR_CHANNELS = frozenset(
    {"phase_current_a", "motor_rpm", "duty_pct", "controller_temp_c", "motor_temp_c"}
)
RATE_FITS = 0.6
"""Correlation with the speed's rate from which a column is the acceleration along the vehicle.
Our choice."""
OTHER_SIDE = 0.9
"""Chance that a column without a side in a file of sides is the whole ride's. Our choice."""
SPELLED = re.compile(
    r"(?<![\[(,/] )(?<![\[(,/])(?<![^\W\d_])(?:volts?|amps?|amp[eè]res?|watts?)"
    r"(?![^\W\d_])(?!\s*[\])])",
    re.IGNORECASE,
)
"""A unit's name used for the quantity (`battery amps`): a habit of speech, perhaps not the unit."""
SPOKEN = 0.95
"""Chance that it is the unit all the same. Our choice."""
PLUS = SignGuess(1, 1.0)


@dataclass(slots=True)
class Guess:
    """One column's reading while it is being settled."""

    column: RawColumn
    words: HeaderWords
    drive: str | None
    side_sure: float
    name: NameGuess | None
    unit: UnitGuess = field(default_factory=lambda: UnitGuess("", 1.0, 0.0, 1.0))
    sign: SignGuess = PLUS
    why: str = ""
    unread_sure: float = FOREIGN_SURE
    """How sure it is that the column is none of ours, once it is not read."""
    sample: Floats = field(default_factory=lambda: np.zeros(0))
    """Values of the sampled rows in SI, sign not applied."""

    @property
    def key(self) -> tuple[str | None, str]:
        """What may be given once: the channel on that drive."""
        assert self.name is not None
        return self.drive, self.name.channel

    @property
    def sure(self) -> float:
        """The chance that name, unit, sign and side are all right."""
        if self.name is None:
            return self.unread_sure
        return self.name.chance * self.unit.chance * self.sign.chance * self.side_sure

    @property
    def settled(self) -> Floats:
        """The sample with its sign."""
        return self.sample * self.sign.sign

    def drop(self, why: str) -> None:
        """Read it as nothing of ours, which may be wrong."""
        if self.name is not None:
            self.unread_sure = min(UNREAD_SURE, 1.0 - self.sure / 2)
        self.name, self.why = None, why


def guess_columns(
    columns: Sequence[RawColumn],
    time_s: Floats,
    rows: NDArray[np.intp],
    setup: Setup | None,
    *,
    drives: Sequence[str] | None = None,
) -> tuple[list[Guess], list[str]]:
    """A reading for every column (time and id columns left out by the caller), and remarks.

    `rows` are the row numbers to look at and `time_s` their times; `drives` the names that headers
    may speak of (default: the setup's).
    """
    names = tuple(drives if drives is not None else setup.drive_names if setup else ())
    headers = [read_header(one.header, one.unit, names) for one in columns]
    sides, side_sure, remarks = drives_of(headers, names)
    guesses = [
        Guess(column, words, drive, sure, _first_name(words, column))
        for column, words, drive, sure in zip(columns, headers, sides, side_sure, strict=True)
    ]
    for one in guesses:
        if one.name is not None:
            _look_at(one, rows, setup)
        elif not is_foreign(one.words):
            one.unread_sure = UNREAD_SURE
    _whole_vehicle(guesses, len(names))
    _settle_open_currents(guesses)
    _one_each(guesses)
    _settle_speed_units(guesses, setup)
    _settle_signs(guesses, time_s)
    _check_power(guesses)
    return guesses, remarks


def _first_name(words: HeaderWords, column: RawColumn) -> NameGuess | None:
    names = name_guesses(words)
    if not names:
        return None
    first = names[0]
    row = channel_of(first.channel)
    if column.numbers is None and first.channel != "status":
        return None
    if row is None:
        return None
    return first


def _look_at(one: Guess, rows: NDArray[np.intp], setup: Setup | None) -> None:
    """The column's unit, from its words and a sample of its values."""
    assert one.name is not None
    if one.column.numbers is None:
        return
    numbers = one.column.numbers[rows]
    _turns_or_speed(one, numbers)
    electrical = bool(one.words.ideas & {"erpm", "electrical"})
    one.unit = guess_unit(one.name.channel, numbers, one.words.unit, setup, electrical=electrical)
    spoken = not one.column.unit and SPELLED.search(one.words.header)
    if spoken and not (setup is not None and one.unit.name == "V" and one.unit.chance >= 1.0):
        one.unit = replace(one.unit, chance=min(one.unit.chance, SPOKEN))
    known = bool(np.isfinite(one.unit.factor))
    one.sample = one.unit.apply(numbers) if known else numbers
    one.why = one.unit.why


def _turns_or_speed(one: Guess, numbers: Floats) -> None:
    """A motor's `speed` without unit: beyond what a vehicle can do it counts turns."""
    if one.words.unit is not None or one.name is None or one.name.channel != "wheel_speed_mps":
        return
    if "wheel" in one.words.ideas or not np.isfinite(numbers).any():
        return
    if float(np.nanquantile(np.abs(numbers), 0.99)) > FASTEST_KMH:
        one.name = NameGuess("motor_rpm", 0.96)


def _whole_vehicle(guesses: list[Guess], drives: int) -> None:
    """Channels that only the whole ride has lose their side; the pack's own get the pack's name."""
    sided = any(one.drive is not None and one.name is not None for one in guesses)
    packlike = any(
        one.name is not None
        and (one.name.channel.startswith("cell_")
             or one.name.channel in ("state_of_charge_pct", "pack_temp_c"))
        for one in guesses
    )  # fmt: skip
    driven = any(one.name is not None and one.name.channel in MOTOR_CHANNELS for one in guesses)
    # Sides on one drive's columns only: those without may be the other drive's.
    one_sided = drives > 1 and len({one.drive for one in guesses if one.name and one.drive}) == 1
    for one in guesses:
        if one.name is None:
            continue
        row = channel_of(one.name.channel)
        if row is not None and row.per_drive and one.drive is None and not one.name.pack:
            strange = sided and one.name.channel in MOTOR_CHANNELS | {"wheel_speed_mps"}
            if one_sided or (strange and drives > 1):
                one.side_sure = min(one.side_sure, OTHER_SIDE)
        if row is not None and not row.per_drive and one.drive is not None:
            if one.name.channel == "speed_mps":
                one.name = NameGuess("wheel_speed_mps", min(one.name.chance, 0.93))
                continue
            if one.name.channel.startswith("cell") or row.dimension in ("temperature",):
                one.drop("a pack reading on one side")
                continue
            one.drive = None
        named_pack = one.name.pack and one.name.channel in PACK_OF_DRIVE
        alone = one.drive is None and (sided or (packlike and not driven))
        if named_pack or (alone and one.name.channel in PACK_OF_DRIVE):
            one.name = replace(one.name, channel=PACK_OF_DRIVE[one.name.channel])
            one.drive = None
        elif (
            one.drive is None
            and not (sided or packlike or "vehicle" in one.words.ideas)
            and driven
            and one.name.channel == "speed_mps"
        ):
            # In one controller's file the speed is its wheel's, most likely.
            one.name = NameGuess("wheel_speed_mps", min(one.name.chance, 0.9))


def _settle_open_currents(guesses: list[Guess]) -> None:
    """A `current` that words leave open: battery or phase, by what else this drive has."""
    motor = any(
        (one.name is not None and one.name.channel in MOTOR_CHANNELS)
        or one.words.ideas & {"motor", "phase", "duty", "controller"}
        for one in guesses
    )  # fmt: skip
    for one in guesses:
        if one.name is None or one.words.ideas & {"battery", "input", "pack", "phase"}:
            continue
        if one.name.channel not in ("battery_current_a", "phase_current_a"):
            continue
        if not motor and not one.words.ideas & {"brake", "total"}:
            # Nothing in this file is of a motor: its current is the pack's.
            one.name = replace(one.name, channel=_pack_or_drive(one), chance=0.96)
            continue
        others = {
            two.name.channel: two for two in guesses
            if two is not one and two.name is not None and two.drive == one.drive
            and two.words.ideas & {"battery", "input", "pack", "phase", "motor"}
        }  # fmt: skip
        if "motor" in one.words.ideas:
            battery = others.get("battery_current_a")
            if battery is not None and _mostly_larger(one.sample, battery.sample):
                one.name = NameGuess("phase_current_a", 0.98)
        elif "phase_current_a" in others:
            one.name = NameGuess("battery_current_a", 0.96)
        elif "battery_current_a" in others and _mostly_larger(
            one.sample, others["battery_current_a"].sample
        ):
            one.name = NameGuess("phase_current_a", 0.93)


def _pack_or_drive(one: Guess) -> str:
    return "pack_current_a" if one.drive is None else "battery_current_a"


def _mostly_larger(own: Floats, other: Floats) -> bool:
    """Phase current is never below battery current while a motor drives (duty <= 1)."""
    if own.size == 0 or own.size != other.size:
        return False
    top = np.nanquantile(np.abs(other), 0.98) if np.isfinite(other).any() else 0.0
    big = np.abs(other) > 0.2 * top
    if big.sum() < 10:
        return False
    return bool(np.mean(np.abs(own[big]) >= 0.9 * np.abs(other[big])) > 0.85)


def _one_each(guesses: list[Guess]) -> None:
    """Each channel once per drive: the surest column, of equals one that is not constant."""
    best: dict[tuple[str | None, str], Guess] = {}
    for one in guesses:
        if one.name is None:
            continue
        if one.column.numbers is not None and not np.isfinite(one.sample).any():
            one.why = "empty"
        other = best.get(one.key)
        if other is None:
            best[one.key] = one
            continue
        keep, lose = (one, other) if _rank(one) > _rank(other) else (other, one)
        best[one.key] = keep
        close = abs(keep.sure - lose.sure) < 0.02 and not _same(keep, lose)
        name = keep.name.channel if keep.name else ""
        lose.drop(f"'{keep.column.header}' is read as {name} instead")
        if close and keep.name is not None:
            # Two columns claim one channel and differ: whichever is read, it is not sure.
            keep.name = replace(keep.name, chance=min(keep.name.chance, 0.9))


def _rank(one: Guess) -> tuple[float, bool, bool]:
    values = one.sample[np.isfinite(one.sample)]
    alive = bool(values.size and np.ptp(values) > 0)
    return round(one.sure, 2) if values.size else 0.0, alive, False


def _same(one: Guess, two: Guess) -> bool:
    if one.sample.size != two.sample.size or one.sample.size == 0:
        return False
    both = np.isfinite(one.sample) & np.isfinite(two.sample)
    scale = float(np.nanmax(np.abs(one.sample), initial=1e-9))
    return bool(both.any() and np.mean(np.abs(one.sample - two.sample)[both]) < 0.05 * scale)


def _settle_speed_units(guesses: list[Guess], setup: Setup | None) -> None:
    """A speed without unit against the wheel's turns; turns without a word on what turns against
    a speed: gear and wheel fix the ratio."""
    vehicle = setup.vehicle if setup else None
    if vehicle is None or not vehicle.gear_ratio or not vehicle.wheel_diameter_m:
        return
    per_rpm = np.pi * vehicle.wheel_diameter_m / 60.0 / vehicle.gear_ratio
    speeds = [one for one in guesses if one.name and channel_of(one.name.channel)
              and channel_of(one.name.channel).dimension == "speed"]  # type: ignore[union-attr]  # fmt: skip
    for turns in (one for one in guesses if one.name and one.name.channel == "motor_rpm"):
        for speed in speeds:
            ratio = _ratio(speed.sample, turns.sample * per_rpm)
            if ratio is None:
                continue
            if speed.words.unit is None:
                _speed_by_ratio(speed, ratio)
            elif turns.unit.chance < 1.0:
                _turns_by_ratio(turns, ratio, vehicle.pole_pairs)


def _ratio(one: Floats, two: Floats) -> float | None:
    """Typical size of one over two where both move; None where they do not go together."""
    if one.size != two.size:
        return None
    one, two = np.abs(one), np.abs(two)
    top = np.nanquantile(two, 0.95) if np.isfinite(two).any() else 0.0
    moving = np.isfinite(one) & (two > 0.3 * top) & (two > 0)
    if top <= 0 or moving.sum() < 20:
        return None
    ratios = one[moving] / two[moving]
    low, middle, high = np.quantile(ratios, [0.25, 0.5, 0.75])
    return float(middle) if high - low < 0.15 * max(middle, 1e-9) else None


def _speed_by_ratio(speed: Guess, ratio: float) -> None:
    shown = ratio / speed.unit.factor
    for name in ("km/h", "m/s", "mph", "kn"):
        unit = BY_NAME[("speed", name)]
        if abs(shown * unit.factor - 1.0) < 0.06:
            speed.sample = speed.sample / speed.unit.factor * unit.factor
            speed.unit = UnitGuess(name, unit.factor, 0.0, 0.97, "fits the motor's turns")
            speed.why = speed.unit.why
            return


def _turns_by_ratio(turns: Guess, ratio: float, pairs: int | None) -> None:
    if abs(ratio - 1.0) < 0.1:
        turns.unit = replace(turns.unit, chance=0.995, why="fits the speed")
    elif pairs and pairs > 1 and abs(ratio * pairs - 1.0) < 0.1:
        turns.unit = UnitGuess("electrical rpm", 1.0 / pairs, 0.0, 0.97, "fits the speed")
        turns.sample = turns.sample / pairs
    turns.why = turns.unit.why


def _settle_signs(guesses: list[Guess], time_s: Floats) -> None:
    named = {one.key: one for one in guesses if one.name is not None}
    volts = {drive: one for (drive, name), one in named.items() if name in
             ("battery_voltage_v", "pack_voltage_v")}  # fmt: skip
    for (drive, name), one in named.items():
        if name in ("battery_current_a", "pack_current_a"):
            own = volts.get(drive) or volts.get(None) or next(iter(volts.values()), None)
            found = sag_sign(own.settled, one.sample, time_s) if own is not None else None
            if own is not None and (found is None or found.chance < 0.99):
                found = charge_sign(own.settled, one.sample, time_s) or found
            one.sign = _battery_sign(one, found)
            one.why = one.why or one.sign.why
    _settle_acceleration(named, time_s)
    for (drive, name), one in named.items():
        battery = named.get((drive, "battery_current_a")) or named.get((None, "pack_current_a"))
        if name == "phase_current_a":
            own_sign = common_sign(one.sample, battery.settled, 1.0) if battery else None
            one.sign = own_sign or replace(forward_sign(one.sample), why="it mostly drives")
        elif name in ("power_w", "pack_power_w"):
            own_sign = common_sign(one.sample, battery.settled, 1.0) if battery else None
            one.sign = own_sign or energy_sign(one.sample)
        elif name in ("motor_rpm", "wheel_speed_mps", "speed_mps", "duty_pct"):
            one.sign = forward_sign(one.sample)
            if name == "duty_pct" and one.sign.chance < 0.95:
                one.sign = SignGuess(one.sign.sign, 0.95, one.sign.why)
        if one.sign.sign < 0:
            one.why = one.sign.why


def _settle_acceleration(named: dict[tuple[str | None, str], Guess], time_s: Floats) -> None:
    """Acceleration along the vehicle is the rate of its speed: that settles name and sign."""
    own = named.get((None, "acceleration_mps2"))
    speeds = [one for (_, name), one in named.items() if name.endswith("speed_mps")]
    if own is None or own.name is None or not speeds:
        return
    found = rate_sign(own.sample, forward_sign(speeds[0].sample).sign * speeds[0].sample, time_s)
    if found is not None and found[1] > RATE_FITS:
        own.name = replace(own.name, chance=0.985)
        own.sign = SignGuess(found[0], 0.99, "it goes with the speed's rate")


def _battery_sign(one: Guess, found: SignGuess | None) -> SignGuess:
    """By sag; where nothing sags, by energy; words for charging do not decide against data."""
    if found is not None:
        by_energy = energy_sign(one.sample)
        if by_energy.sign != found.sign and by_energy.chance > 0.9 and found.chance < 0.97:
            return SignGuess(found.sign, 0.7, found.why)
        return found
    return energy_sign(one.sample)


def _check_power(guesses: list[Guess]) -> None:
    """Battery power is voltage times current: settles name and unit of a power column."""
    named = {one.key: one for one in guesses if one.name is not None}
    for (drive, name), one in named.items():
        if name not in ("power_w", "pack_power_w"):
            continue
        pack = "pack_" if name == "pack_power_w" else "battery_"
        volts = named.get((drive, f"{pack}voltage_v")) or named.get((None, "pack_voltage_v"))
        amps = named.get((drive, f"{pack}current_a"))
        if volts is None or amps is None or one.name is None:
            continue
        ratio = _ratio(one.sample, volts.settled * amps.settled)
        if ratio is not None and abs(ratio - 1) < 0.1:
            one.name = replace(one.name, chance=0.985)
            one.unit = replace(one.unit, chance=1.0)
        elif ratio is None or not 0.5 < ratio < 1.5:
            one.drop("it is not voltage times current")


def drop_doubtful(guesses: list[Guess]) -> list[str]:
    """Columns that are too unsure are not read; says which, and the map line that settles each."""
    told = []
    for one in guesses:
        if one.name is None or one.sure >= SURE:
            continue
        line = map_line(one.column.header, full(one), one.unit.name, one.sign.sign)
        why = f": {one.why}" if one.why else ""
        if one.sure < READ_FROM:
            told.append(f"'{one.column.header}' is not read, it is too unsure{why}. If it is "
                        f"{full(one)}, a map file says so: {line}")  # fmt: skip
            one.drop(one.why or "too unsure")
        else:
            told.append(
                f"'{one.column.header}' is read as {full(one)}, {int(100 * one.sure)}% sure{why}. "
                f"A map file settles it: {line}"
            )
    return told


def full(one: Guess) -> str:
    """The channel's name with the drive before it."""
    assert one.name is not None
    row = channel_of(one.name.channel)
    sided = one.drive is not None and row is not None and row.per_drive
    return f"{one.drive}.{one.name.channel}" if sided else one.name.channel

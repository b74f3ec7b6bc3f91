"""Which channel of which drive is each column, once all are seen together? A side or the whole
vehicle, battery or phase current, and each channel once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from importers.channel_map import map_line
from importers.channels import PACK_OF_DRIVE, channel_of
from importers.column_guess import Guess, full
from importers.guess_name import NameGuess

Floats = NDArray[np.float64]

MOTOR_CHANNELS = frozenset(
    {"phase_current_a", "motor_rpm", "duty_pct", "controller_temp_c", "motor_temp_c"}
)
GOING = ("speed_mps", "motor_rpm", "throttle_pct", "brake_pct")
"""Endings of channels that a vehicle on its way has."""
CHARGE_ROWS = 100
CHARGE_PART, CHARGE_STEADY, CHARGE_RISE = 0.05, 0.05, 0.01
"""On a charger: a current above this part of its top in a quarter of the log, its changes under
this part of itself from row to row, and the voltage up by this part from the first tenth to the
last. Our choice: a charger's current is steadier and longer than any descent's."""
ABOVE_GROUND = 0.9
"""Chance that a `ground speed` beside a drive's channels is by satellite. Our choice."""
OTHER_SIDE = 0.9
"""Chance that a column without a side in a file of sides is the whole ride's. Our choice."""


def whole_vehicle(guesses: list[Guess], drives: int) -> None:
    """Channels that only the whole ride has lose their side; the pack's own get the pack's name."""
    sided = any(one.drive is not None and one.name is not None and _own(one) for one in guesses)
    packlike = any(
        one.name is not None
        and (one.name.channel.startswith("cell_")
             or one.name.channel in ("state_of_charge_pct", "pack_temp_c"))
        for one in guesses
    )  # fmt: skip
    driven = any(one.name is not None and one.name.channel in MOTOR_CHANNELS for one in guesses)
    # Sides on one drive's columns only: those without may be the other drive's.
    one_sided = drives > 1 and len({one.drive for one in guesses if one.name and one.drive}) == 1
    places = {"latitude_deg", "longitude_deg"} <= {one.name.channel for one in guesses if one.name}
    for one in guesses:
        if one.name is None:
            continue
        if places and one.name.channel == "speed_mps" and one.drive is None:
            _of_receiver(one, driven)
        row = channel_of(one.name.channel)
        if row is not None and row.per_drive and one.drive is None and not one.name.pack:
            strange = sided and one.name.channel in MOTOR_CHANNELS | {"wheel_speed_mps"}
            if one_sided or (strange and drives > 1):
                one.side_sure = min(one.side_sure, OTHER_SIDE)
        if row is not None and not row.per_drive and one.drive is not None:
            if one.name.channel == "speed_mps":
                one.name = NameGuess("wheel_speed_mps", min(one.name.chance, 0.93))
                continue
            if one.name.channel.startswith("cell") or row.dimension == "temperature":
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


def _own(one: Guess) -> bool:
    """Whether a drive may have this channel to itself: `charge left` is no side's."""
    row = channel_of(one.name.channel) if one.name is not None else None
    return row is not None and (row.per_drive or row.name == "speed_mps")


def _of_receiver(one: Guess, driven: bool) -> None:
    """A speed beside positions: alone with them it is the receiver's; beside a drive's channels
    only what is called so is (`speed over ground`: NMEA 0183's word for it)."""
    assert one.name is not None
    if not driven:
        one.name = replace(one.name, channel="gps_speed_mps")
    elif "ground" in one.words.words:
        one.name = NameGuess("gps_speed_mps", min(one.name.chance, ABOVE_GROUND))


def settle_open_currents(guesses: list[Guess]) -> None:
    """A `current` that words leave open: battery or phase, by what else this drive has."""
    motor = any(
        (one.name is not None and one.name.channel in MOTOR_CHANNELS)
        or one.words.ideas & {"motor", "phase", "duty", "controller"}
        for one in guesses
    )  # fmt: skip
    if not motor:
        _charge_log(guesses)
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


def _charge_log(guesses: list[Guess]) -> None:
    """A file without speed or demand whose voltage rises for long under a current of one sign is
    the pack's, being charged: no drive does that."""
    named = {one.name.channel: one for one in guesses if one.name is not None}
    if any(name.endswith(GOING) for name in named):
        return
    volts, amps = named.get("battery_voltage_v"), named.get("battery_current_a")
    if volts is None or amps is None or not _charging(volts.sample, amps.sample):
        return
    for one in guesses:
        if one.name is not None and one.drive is None and one.name.channel in PACK_OF_DRIVE:
            one.name = replace(one.name, channel=PACK_OF_DRIVE[one.name.channel])


def _charging(volts: Floats, amps: Floats) -> bool:
    """Whether these values, in the order of time, are of a pack on its charger."""
    good = np.isfinite(volts) & np.isfinite(amps)
    if good.sum() < CHARGE_ROWS:
        return False
    v, i = volts[good], amps[good]
    size = np.abs(i)
    flows = size > max(CHARGE_PART * float(np.quantile(size, 0.99)), 0.02)
    same = float(np.mean(np.sign(i[flows]) == np.sign(np.median(i[flows])))) if flows.any() else 0.0
    tenth = max(v.size // 10, 1)
    begin, end = (float(np.median(one)) for one in (v[:tenth], v[-tenth:]))
    steady = float(np.median(np.abs(np.diff(i)))) < CHARGE_STEADY * float(np.median(size))
    return float(flows.mean()) > 0.25 and same > 0.98 and steady and end > begin * (1 + CHARGE_RISE)


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


def one_each(guesses: list[Guess], drives: int) -> None:
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
        close |= drives > 1 and _of_any_side(keep) and not _equal(keep, lose)
        name = keep.name.channel if keep.name else ""
        was = full(lose)
        lose.drop(f"'{keep.column.header}' is read as {name} instead")
        if close and keep.name is not None:
            # Two columns claim one channel and differ: whichever is read, it is not sure.
            keep.name = replace(keep.name, chance=min(keep.name.chance, 0.9))
            keep.why = f"'{lose.column.header}' claims it, too, and differs"
            keep.rival = map_line(lose.column.header, was, lose.unit.name, lose.sign.sign)


def doubt_pack_currents(guesses: list[Guess], drives: int) -> None:
    """A `pack current` in one drive's file that has no battery current: perhaps its own."""
    named = {one.name.channel: one for one in guesses if one.name is not None}
    sided = any(one.drive is not None for one in guesses)
    of_bms = any(name.startswith("cell_") or name == "state_of_charge_pct" for name in named)
    pack = named.get("pack_current_a")
    if drives < 2 or sided or of_bms or pack is None or "battery_current_a" in named:
        return
    if not MOTOR_CHANNELS & set(named):
        return
    assert pack.name is not None
    pack.name = replace(pack.name, chance=min(pack.name.chance, OTHER_SIDE))
    pack.why = "it may be this drive's own"
    pack.rival = map_line(pack.column.header, "battery_current_a", pack.unit.name, pack.sign.sign)


def _of_any_side(one: Guess) -> bool:
    """Whether a drive has this channel, and no word says which: then two columns that are much
    alike may be two drives'."""
    assert one.name is not None
    row = channel_of(one.name.channel)
    return one.drive is None and row is not None and row.per_drive and not one.name.pack


def _equal(one: Guess, two: Guess) -> bool:
    return one.sample.size > 0 and np.array_equal(one.sample, two.sample, equal_nan=True)


def _rank(one: Guess) -> tuple[float, bool]:
    values = one.sample[np.isfinite(one.sample)]
    alive = bool(values.size and np.ptp(values) > 0)
    return round(one.sure, 2) if values.size else 0.0, alive


def _same(one: Guess, two: Guess) -> bool:
    if one.sample.size != two.sample.size or one.sample.size == 0:
        return False
    both = np.isfinite(one.sample) & np.isfinite(two.sample)
    scale = float(np.nanmax(np.abs(one.sample), initial=1e-9))
    return bool(both.any() and np.mean(np.abs(one.sample - two.sample)[both]) < 0.05 * scale)

"""At what current does each drive really saturate?

A limit shows as a ceiling: the current stays at one value while something else changes (the other
current, the speed, the demand) and hardly ever goes above it. A rider holding a current steady does
not look like that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.balance import InForce
from analyzer.blocks import Blocks
from analyzer.estimate import Estimate
from analyzer.quantities import (
    Bools,
    Floats,
    brake_pct,
    phase_braking_a,
    throttle_pct,
    wheel_speed_mps,
)
from importers.ride import Ride
from importers.scatter import log_step, noise_sd
from importers.setup_types import Drive, Setup

PLATEAU_BLOCK_S = 0.25
"""Length of the blocks a plateau is made of [s]. Our choice: a firm start still has four."""
BIN = 0.01
"""Width of one class of currents, as a part of the value. Our choice: half of the 2 % wanted."""
NEAR = 0.02
"""Blocks this near belong to a plateau, as a part of it. Our choice."""
MIN_DWELL_S = 1.5
"""A plateau must be held this long in all [s]. Our choice: a firm start holds its phase limit for
one or two seconds."""
UNTOLD_DWELL_S = 3.0
"""... and this long where the setup does not say so [s]. Our choice."""
PILE_UP, UNTOLD_PILE_UP = 1.2, 2.5
"""So many times denser than the currents just below it, where the setup says so and where it does
not. Our choice: riding without a ceiling gets rarer toward the top."""
ABOVE_SHARE, FAR_ABOVE_SHARE = 0.35, 0.1
"""At most this part of the plateau's time may lie above it, and further above it than three times
its width: overshoot of the regulation. Our choice."""
OTHER_VARIES = 0.06
"""The other current or the speed varies this much (5th to 95th percentile over median) while this
one stands still. Our choice: three times `NEAR`."""
SET_NEAR = 0.03
"""A plateau this near to the setup's own limit needs no further proof. Our choice."""
FULL_DEMAND_PCT = 97.0
"""From here the rider asks for everything [%]. Our choice; the highest demand seen is no measure:
a rider who never opens beyond 70 % draws a plateau of his own."""
DEMAND_MOVES_PCT = 15.0
"""Or the demand moves by this much while the current stands still. Our choice."""
LOWEST_PART = 0.1
"""Below this part of what is set no plateau is looked for. Our choice: a wheel in the air turns at
a steady no-load current whatever the demand."""
LOWEST_A = 1.0
"""Below this no plateau is looked for [A]: a shunt's offset and noise. Our choice."""
INNER_BLOCKS = 3
"""So many blocks within stretches of the plateau give its value. Our choice."""
GAIN_PART = 0.025
"""A controller's reading is right within this part of it: common practice, no source (3 to 5 %,
the lower end and a half: what it regulates by is the same reading)."""
OFFSET_A = 0.15
"""... and within this [A]: common practice, no source (0.1 to 0.3 A)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Watched:
    """One current of one drive in blocks, in its own direction, with what it is compared to."""

    current_a: Floats
    others: tuple[Floats, ...]
    demand_pct: Floats | None
    free: Bools
    """Blocks in which nothing else (low voltage, heat) takes current away."""
    set_a: float | None
    step_a: float
    noise_a: float
    """Spread of a block's mean."""
    length_s: Floats

    def width_a(self, at: float) -> float:
        """How far blocks of a plateau may lie from its middle."""
        return max(NEAR * at, 0.6 * self.step_a, 2.5 * self.noise_a)


def find_in_force(ride: Ride, setup: Setup) -> tuple[InForce, ...]:
    """At what current does each drive saturate, driving and braking? None where it never does: a
    limit that was not leaned on cannot be seen."""
    blocks = Blocks(ride, PLATEAU_BLOCK_S)
    return tuple(_of_drive(ride, setup, drive, blocks) for drive in setup.drives)


def _of_drive(ride: Ride, setup: Setup, drive: Drive, blocks: Blocks) -> InForce:
    name = drive.name
    speed = wheel_speed_mps(ride, setup, name)
    moving = blocks.mean(None if speed is None else np.abs(speed.values))
    free = ~held_back(ride, drive, blocks)
    battery = _current(ride.get(f"{name}.battery_current_a"), blocks)
    phase = _current(ride.get(f"{name}.phase_current_a"), blocks)
    back = _current(phase_braking_a(ride, name), blocks)
    drive_asked, brake_asked = (
        blocks.mean(asked) for asked in (throttle_pct(ride, name), brake_pct(ride, name))
    )

    def plateau(
        one: _Current | None,
        other: _Current | None,
        asked: Floats | None,
        set_a: float | None,
        held: Bools | None = None,
    ) -> Estimate | None:
        if one is None:
            return None
        others = tuple(
            v for v in (None if other is None else other.mean_a, moving) if v is not None
        )
        return _plateau(
            _Watched(
                one.mean_a,
                others,
                asked,
                free if held is None else free & ~held,
                set_a,
                one.step_a,
                one.noise_a,
                blocks.length_s,
            )
        )

    forth = plateau(battery, phase, drive_asked, drive.battery_drive_a)
    pushed = plateau(_turned(battery), back, brake_asked, drive.battery_brake_a)
    # What the battery's own limit holds says nothing of a limit on the motor's current.
    by_drive = _leaned(battery, forth, drive.battery_drive_a)
    by_brake = _leaned(_turned(battery), pushed, drive.battery_brake_a)
    return InForce(
        name,
        forth,
        plateau(phase, battery, drive_asked, drive.phase_drive_a, by_drive),
        pushed,
        plateau(back, _turned(battery), brake_asked, drive.phase_brake_a, by_brake),
    )


def _leaned(one: _Current | None, found: Estimate | None, set_a: float | None) -> Bools | None:
    """Blocks in which this current stands at its own limit, as set and seen."""
    if one is None or found is None or set_a is None:
        return None
    if abs(found.value - set_a) > SET_NEAR * set_a:
        return None
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(one.mean_a - found.value) <= NEAR * found.value, np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class _Current:
    """A current's mean in each block, its resolution, and the spread of such a mean."""

    mean_a: Floats
    step_a: float
    noise_a: float


def _current(values: Floats | None, blocks: Blocks) -> _Current | None:
    mean = blocks.mean(values)
    if values is None or mean is None:
        return None
    per_block = max(values.size / max(blocks.size, 1), 1.0)
    return _Current(mean, log_step(values), noise_sd(values) / float(np.sqrt(per_block)))


def _turned(one: _Current | None) -> _Current | None:
    return None if one is None else _Current(-one.mean_a, one.step_a, one.noise_a)


def held_back(ride: Ride, drive: Drive, blocks: Blocks) -> Bools:
    """Blocks in which low voltage or heat scales this drive's limits down."""
    held = np.zeros(blocks.size, np.bool_)
    voltage = ride.get(f"{drive.name}.battery_voltage_v")
    if voltage is None:
        voltage = ride.get("pack_voltage_v")
    mean = blocks.mean(voltage)
    if drive.derate_from_v is not None and mean is not None:
        held |= mean < drive.derate_from_v
    for part in ("controller", "motor"):
        line = getattr(drive, f"{part}_derate_c")
        heat = blocks.mean(ride.get(f"{drive.name}.{part}_temp_c"))
        if line is not None and heat is not None:
            held |= heat > line
    return held


def _plateau(one: _Watched) -> Estimate | None:
    floor = max(LOWEST_A, LOWEST_PART * (one.set_a or 0.0))
    usable = one.free & np.isfinite(one.current_a) & (one.current_a > floor)
    if float(one.length_s[usable].sum()) < MIN_DWELL_S:
        return None
    coarse_a = max(one.step_a, 2.0 * one.noise_a)
    for guess in _candidates(one.current_a[usable], one.length_s[usable], coarse_a):
        at, width = _settle(one, usable, guess)
        on = usable & (np.abs(one.current_a - at) <= width)
        if _is_ceiling(one, usable, on, at, width) and _proven(one, on, at):
            return _interval(one, on, at)
    return None


def _candidates(current: Floats, length_s: Floats, coarse_a: float) -> list[float]:
    """Currents at which time piles up, the highest first."""
    top = float(current.max())
    share = max(BIN, coarse_a / top)
    place = np.floor(np.log(top / current) / share).astype(np.intp)
    # The top half is enough: a ceiling is near the highest current.
    inside = place < round(np.log(2.0) / share) + 1
    time_in = np.bincount(place[inside], length_s[inside])
    padded = np.concatenate([[0.0], time_in, [0.0]])
    three = padded[:-2] + padded[1:-1] + padded[2:]
    found = []
    for k in np.flatnonzero(three >= MIN_DWELL_S):
        around = three[max(k - 1, 0) : k + 2]
        if three[k] < around.max():
            continue
        found.append(top * float(np.exp(-share * (k + 0.5))))
    return found[:6]


def _settle(one: _Watched, usable: Bools, guess: float) -> tuple[float, float]:
    """The plateau's middle, and how far blocks of it may lie from it."""
    at = guess
    for _ in range(4):
        on = usable & (np.abs(one.current_a - at) <= one.width_a(at))
        if not on.any():
            break
        at = float(np.median(one.current_a[on]))
    return at, one.width_a(at)


def _is_ceiling(one: _Watched, usable: Bools, on: Bools, at: float, width: float) -> bool:
    """Held long enough, denser than what lies just below, and hardly anything above."""
    told = _as_set(one, at)
    dwell_s = float(one.length_s[on].sum())
    if dwell_s < (MIN_DWELL_S if told else UNTOLD_DWELL_S):
        return False
    current = one.current_a
    above_s = float(one.length_s[usable & (current > at + width)].sum())
    far_s = float(one.length_s[usable & (current > at + 3 * width)].sum())
    below = usable & (current < at - 1.5 * width) & (current >= at - 3.5 * width)
    pile_up = PILE_UP if told else UNTOLD_PILE_UP
    return (
        above_s <= ABOVE_SHARE * dwell_s
        and far_s <= FAR_ABOVE_SHARE * dwell_s
        and dwell_s >= pile_up * float(one.length_s[below].sum())
    )


def _as_set(one: _Watched, at: float) -> bool:
    return one.set_a is not None and abs(at / one.set_a - 1.0) <= SET_NEAR


def _proven(one: _Watched, on: Bools, at: float) -> bool:
    """Whether it is a limit and not the rider: the demand is full or moves, something else moves
    while this current stands still, or it is where the setup puts it."""
    if _as_set(one, at):
        return True
    others_vary = any(_spread(other[on]) >= OTHER_VARIES for other in one.others)
    if one.demand_pct is None or not np.isfinite(one.demand_pct[on]).any():
        return others_vary
    demand = one.demand_pct[on]
    full = float(np.nanmean(demand >= FULL_DEMAND_PCT)) >= 0.6
    moves = float(np.nanpercentile(demand, 95) - np.nanpercentile(demand, 5)) >= DEMAND_MOVES_PCT
    return others_vary and (full or moves)


def _spread(values: Floats) -> float:
    good = values[np.isfinite(values)]
    if good.size < 3:
        return 0.0
    middle = float(np.median(np.abs(good)))
    return float(np.percentile(good, 95) - np.percentile(good, 5)) / max(middle, 1e-9)


def _interval(one: _Watched, on: Bools, at: float) -> Estimate:
    # Blocks between two of the plateau hold no part of the way up or down.
    inner = on.copy()
    inner[1:] &= on[:-1]
    inner[:-1] &= on[1:]
    values = one.current_a[inner if inner.sum() >= INNER_BLOCKS else on]
    at = float(np.median(values))
    error = 1.96 * float(np.std(values)) / np.sqrt(max(values.size / 4.0, 1.0))
    half = float(np.hypot(max(error, one.step_a / 2), np.hypot(GAIN_PART * at, OFFSET_A)))
    return Estimate(at, at - half, at + half)


def lower_than_set(
    in_force: Sequence[InForce], setup: Setup, *, key: str, by: float
) -> list[tuple[str, float, float]]:
    """Drives whose plateau for `key` is surely lower than the setup says by more than the part
    `by`: (drive, plateau, set)."""
    found = []
    for one in in_force:
        plateau, set_a = getattr(one, key), getattr(setup.drive(one.drive), key)
        if plateau is None or set_a is None:
            continue
        if plateau.high < set_a * (1 - by):
            found.append((one.drive, plateau.value, set_a))
    return found

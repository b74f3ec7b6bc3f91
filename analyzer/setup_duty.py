"""From which speed on does full throttle reach a battery current?

A controller's battery current is its phase current times duty, and duty grows with speed (the
motor's own voltage) and a little with current (its winding): I_battery / I_phase = a v + b I_phase.
At the phase limit a battery current is then reached at v = (I_battery / I_phase - b I_phase) / a.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analyzer.estimate import Estimate
from analyzer.quantities import Floats, speed_mps, wheel_speed_mps

if TYPE_CHECKING:
    from analyzer.ride_analysis import RideResult

BLOCK_S = 10.0
"""Samples of one block stand or fall together in the bootstrap [s]. Our choice."""
LEAST_BLOCKS = 6
"""Fewer blocks of driving than this tell no line. Our choice."""
LEAST_PART = 0.2
"""Only samples with this part of the highest phase current: offsets rule below. Our choice."""
LEAST_SPEED_MPS = 1.0
DRAWS = 300
BEYOND = 1.2
"""A speed is given up to this much beyond the fastest seen. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class DutyLine:
    """The fitted line and its bootstrap draws."""

    per_mps: float
    per_a: float
    draws: Floats
    """k x 2: draws of `per_mps` and `per_a`."""
    fastest_mps: float

    def speed_mps(self, battery_a: float, phase_a: float) -> Estimate | None:
        """The speed at which full throttle (the phase limit) draws `battery_a` from the pack;
        None where that lies beyond what was ridden."""
        if phase_a <= 0:
            return None
        value = (battery_a / phase_a - self.per_a * phase_a) / self.per_mps
        with np.errstate(divide="ignore", invalid="ignore"):
            many = (battery_a / phase_a - self.draws[:, 1] * phase_a) / self.draws[:, 0]
        many = many[np.isfinite(many)]
        if many.size < DRAWS / 2 or not 0.0 < value <= BEYOND * self.fastest_mps:
            return None
        low, high = np.quantile(many, [0.025, 0.975])
        return Estimate(value, max(float(low), 0.0), float(high))


def fit_duty(rides: Sequence[RideResult], *, seed: int = 0) -> DutyLine | None:
    """Fit the line over all drives of all rides; None where phase current or speed is missing."""
    grams, rights, fastest = [], [], 0.0
    for ride in rides:
        for drive in ride.ride.drives:
            found = _samples(ride, drive)
            if found is None:
                continue
            block, speed, phase, ratio = found
            fastest = max(fastest, float(np.quantile(speed, 0.99)))
            x = np.column_stack([speed, phase])
            count = int(block.max()) + 1
            gram = np.zeros((count, 2, 2))
            right = np.zeros((count, 2))
            np.add.at(gram, block, x[:, :, None] * x[:, None, :])
            np.add.at(right, block, x * ratio[:, None])
            used = np.unique(block)
            grams.append(gram[used])
            rights.append(right[used])
    if not grams or sum(len(one) for one in grams) < LEAST_BLOCKS:
        return None
    return _line(np.concatenate(grams), np.concatenate(rights), fastest, seed)


def _line(gram: Floats, right: Floats, fastest: float, seed: int) -> DutyLine | None:
    generator = np.random.default_rng(seed)
    count = len(gram)
    weights = generator.multinomial(count, np.full(count, 1.0 / count), size=DRAWS)
    weights = np.vstack([np.ones(count), weights]).astype(np.float64)
    many = np.einsum("kc,cij->kij", weights, gram)
    sides = np.einsum("kc,ci->ki", weights, right)
    sound = np.linalg.cond(many) < 1e10
    if not sound[0]:
        return None
    solved = np.linalg.solve(many[sound], sides[sound][..., None])[..., 0]
    if solved[0, 0] <= 0:
        return None
    return DutyLine(float(solved[0, 0]), float(solved[0, 1]), solved[1:], fastest)


def _samples(
    ride: RideResult, drive: str
) -> tuple[np.ndarray[tuple[int], np.dtype[np.intp]], Floats, Floats, Floats] | None:
    """(block, speed, phase current, battery over phase current) of a drive's driving samples."""
    log, setup = ride.ride, ride.setup
    battery, phase = log.get(f"{drive}.battery_current_a"), log.get(f"{drive}.phase_current_a")
    speed = wheel_speed_mps(log, setup, drive) or speed_mps(log, setup)
    if battery is None or phase is None or speed is None:
        return None
    v = speed.values
    finite = np.isfinite(battery) & np.isfinite(phase) & np.isfinite(v)
    if not finite.any():
        return None
    floor_a = LEAST_PART * float(np.quantile(np.abs(phase[finite]), 0.999))
    with np.errstate(invalid="ignore"):
        use = finite & (phase > max(floor_a, 1.0)) & (battery > 0) & (v > LEAST_SPEED_MPS)
        use &= battery < 1.3 * phase
    if use.sum() < LEAST_BLOCKS:
        return None
    time_s = log.time_s
    block = ((time_s[use] - time_s[0]) // BLOCK_S).astype(np.intp)
    return block, v[use], phase[use], battery[use] / phase[use]

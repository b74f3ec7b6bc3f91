"""Why does one side carry more? What the setup, the plateaus, the speeds and the loads say.

Each cause starts from a prior and is multiplied by how well it explains what was seen. The numbers
are our choice, set so that a cause that is seen directly (a setting, a plateau, a demand) comes
first and one that is only not ruled out stays small; the trade's ways of telling them apart are
"compare at the same demand" and the signs named beside each test.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analyzer.balance import InForce, Share
from analyzer.blocks import Blocks
from analyzer.events import Cause
from analyzer.in_force import held_back, lower_than_set
from analyzer.quantities import Bools, Floats, throttle_pct
from analyzer.rolling import Rolling
from analyzer.shares import Load
from analyzer.words import ImbalanceCause
from importers.ride import Ride
from importers.setup_types import Setup

PRIOR = {
    ImbalanceCause.SETTING_NOT_IN_FORCE: 0.02,
    ImbalanceCause.BATTERY_LIMIT_DIFFERS: 0.02,
    ImbalanceCause.PHASE_LIMIT_DIFFERS: 0.02,
    ImbalanceCause.DEMAND_DIFFERS: 0.05,
    ImbalanceCause.MOTOR_CONSTANT_DIFFERS: 0.12,
    ImbalanceCause.GEARING_OR_TYRE_DIFFERS: 0.04,
    ImbalanceCause.ROTOR_SENSOR_ALIGNMENT: 0.05,
    ImbalanceCause.DRAG_ONE_SIDE: 0.04,
    ImbalanceCause.DERATE_ONE_SIDE: 0.02,
    ImbalanceCause.CURRENT_SENSOR_GAIN: 0.12,
    ImbalanceCause.LOAD_OFF_CENTRE_OR_TURNING: 0.04,
    ImbalanceCause.SLIP: 0.01,
    ImbalanceCause.LINK_DELAY: 0.01,
    ImbalanceCause.UNKNOWN: 0.15,
}
PLATEAU_DIFFERS = 0.04
"""A plateau this much lower than the setup says is a setting not in force. Our choice: twice what
a plateau is known to."""
DEMAND_DIFFERS_PCT = 3.0
"""Demands that differ by this much at the same time [points]. Our choice."""
SPEED_DIFFERS = 0.015
"""Wheel speeds that differ by this much on the straight: tyre or gearing. Our choice: three times
the 0.5 % of tyre pressures."""
TURNING_POINTS = 3.0
"""Straight and turning shares differ by this much [points]. Our choice, the contract's "uneven"."""
DRAG_PART = 0.04
"""A constant extra current of this part of the load's mean is drag. Our choice."""
SATURATED = 0.93
"""From this part of its limit a drive is saturated. Our choice."""
SHOWN = 0.01
"""Causes less likely than this are counted into `unknown`. Our choice."""
HELD_BACK_PART = 0.2
"""One side held back by voltage or heat in so much more of the load than the other. Our choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """What the causes are judged on."""

    ride: Ride
    setup: Setup
    blocks: Blocks
    drive: Load
    brake: Load
    rolling: Rolling
    in_force: tuple[InForce, ...]
    shares: tuple[Share, ...]


@dataclass(slots=True)
class _Scores:
    """Weights of the causes, and the sentences that speak for each."""

    weight: dict[ImbalanceCause, float] = field(default_factory=lambda: dict(PRIOR))
    evidence: dict[ImbalanceCause, list[str]] = field(default_factory=dict)

    def times(self, cause: ImbalanceCause, factor: float, why: str = "") -> None:
        self.weight[cause] *= factor
        if why:
            self.evidence.setdefault(cause, []).append(why)


def imbalance_causes(sides: Sides) -> tuple[Cause, ...]:
    """Why does one side carry more, as far as this ride tells? Likeliest first; the probabilities
    sum to 1 with `unknown`."""
    scores = _Scores()
    for look in (_settings, _demand, _held_back, _speeds, _turning, _constant_ratio, _offset):
        look(sides, scores)
    total = sum(scores.weight.values())
    chance = {cause: weight / total for cause, weight in scores.weight.items()}
    faint = [c for c, p in chance.items() if p < SHOWN and c is not ImbalanceCause.UNKNOWN]
    for cause in faint:
        chance[ImbalanceCause.UNKNOWN] += chance.pop(cause)
    causes = [
        Cause(
            cause.value,
            probability,
            tuple(scores.evidence.get(cause, ())),
            _WOULD_CONFIRM.get(cause, ()),
        )
        for cause, probability in chance.items()
    ]
    return tuple(sorted(causes, key=lambda one: (-one.probability, one.cause)))


def _high_low(sides: Sides) -> tuple[str, str]:
    """The drives that carry most and least, driving or else braking."""

    def value(share: Share) -> float:
        known = share.drive_pct or share.brake_pct
        return known.value if known is not None else 0.0

    ranked = sorted(sides.shares, key=value)
    return ranked[-1].drive, ranked[0].drive


def _settings(sides: Sides, scores: _Scores) -> None:
    """A plateau lower than the setup says, or settings that differ on purpose."""
    high, low = _high_low(sides)
    more, less = sides.setup.drive(high), sides.setup.drive(low)
    for key, cause in (
        ("battery_drive_a", ImbalanceCause.BATTERY_LIMIT_DIFFERS),
        ("phase_drive_a", ImbalanceCause.PHASE_LIMIT_DIFFERS),
    ):
        for drive, plateau, set_a in lower_than_set(sides.in_force, sides.setup, key=key, by=0.0):
            if drive == low and plateau < set_a * (1 - PLATEAU_DIFFERS):
                scores.times(
                    ImbalanceCause.SETTING_NOT_IN_FORCE,
                    400.0,
                    f"{low} saturates at {plateau:.1f} A; the setup says {key} = {set_a:g} A.",
                )
        set_more, set_less = getattr(more, key), getattr(less, key)
        if set_more is not None and set_less is not None and set_less < 0.97 * set_more:
            scores.times(
                cause,
                150.0,
                f"{key} is {set_less:g} A on {low} and {set_more:g} A on {high}.",
            )


def _demand(sides: Sides, scores: _Scores) -> None:
    """Demands of their own that differ while both pull."""
    high, low = _high_low(sides)
    names = [f"{name}.throttle_pct" for name in (high, low)]
    if not all(sides.ride.has(name) for name in names):
        return
    more, less = (sides.blocks.mean(throttle_pct(sides.ride, name)) for name in (high, low))
    if more is None or less is None:
        return
    gap = (more - less)[sides.drive.together]
    gap = gap[np.isfinite(gap)]
    if gap.size == 0:
        return
    middle = float(np.median(gap))
    if middle > DEMAND_DIFFERS_PCT:
        scores.times(
            ImbalanceCause.DEMAND_DIFFERS,
            60.0,
            f"Under load {high} is asked for {middle:.0f} points more than {low}.",
        )
    else:
        scores.times(ImbalanceCause.DEMAND_DIFFERS, 0.1)


def _held_back(sides: Sides, scores: _Scores) -> None:
    """Low voltage or heat that reduces one side only."""
    high, low = _high_low(sides)
    on = sides.drive.together
    if not on.any():
        return
    part = [
        float(held_back(sides.ride, sides.setup.drive(name), sides.blocks)[on].mean())
        for name in (low, high)
    ]
    if part[0] - part[1] > HELD_BACK_PART:
        scores.times(
            ImbalanceCause.DERATE_ONE_SIDE,
            120.0,
            f"{low} was reduced by voltage or heat in {part[0]:.0%} of the load, {high} in"
            f" {part[1]:.0%}.",
        )
    else:
        scores.times(ImbalanceCause.DERATE_ONE_SIDE, 0.3)


def _speeds(sides: Sides, scores: _Scores) -> None:
    """Wheel speeds that differ on the straight: tyre, belt or sprocket."""
    ratio = sides.rolling.ratio
    if ratio is None:
        return
    off = abs(ratio.value - 1.0)
    if off > SPEED_DIFFERS and off > ratio.half_width:
        scores.times(
            ImbalanceCause.GEARING_OR_TYRE_DIFFERS,
            20.0,
            f"On the straight the wheels' speeds differ by {off:.1%}.",
        )
    else:
        scores.times(ImbalanceCause.GEARING_OR_TYRE_DIFFERS, 0.2)
        scores.times(ImbalanceCause.CURRENT_SENSOR_GAIN, 1.3)
        scores.times(ImbalanceCause.MOTOR_CONSTANT_DIFFERS, 1.3)


def _turning(sides: Sides, scores: _Scores) -> None:
    """Only in bends: not a fault."""
    gaps = [
        (share.drive_straight_pct, share.drive_turning_pct)
        for share in sides.shares
        if share.drive_straight_pct is not None and share.drive_turning_pct is not None
    ]
    equal = 100.0 / len(sides.shares)
    for straight, turning in gaps:
        if (
            abs(straight.value - equal) < TURNING_POINTS
            and abs(turning.value - straight.value) > TURNING_POINTS
        ):
            scores.times(
                ImbalanceCause.LOAD_OFF_CENTRE_OR_TURNING,
                40.0,
                f"Straight on the share is {straight.value:.1f} %, turning {turning.value:.1f} %.",
            )
            return


def _constant_ratio(sides: Sides, scores: _Scores) -> None:
    """Uneven at every load, or only where a side is saturated?"""
    below = sides.drive.together & ~_saturated(sides)
    currents = sides.drive.currents_a
    if float(sides.drive.length_s[below].sum()) < 5.0:
        return
    part = currents[below].sum(axis=0) / currents[below].sum()
    off = float(np.abs(part - 1.0 / part.size).max()) * 100.0
    equal = 100.0 / len(sides.shares)
    driving = [s.drive_pct for s in sides.shares if s.drive_pct is not None]
    if all(abs(one.value - equal) <= TURNING_POINTS for one in driving):
        return
    limits = (
        ImbalanceCause.SETTING_NOT_IN_FORCE,
        ImbalanceCause.BATTERY_LIMIT_DIFFERS,
        ImbalanceCause.PHASE_LIMIT_DIFFERS,
    )
    everywhere = (
        ImbalanceCause.CURRENT_SENSOR_GAIN,
        ImbalanceCause.MOTOR_CONSTANT_DIFFERS,
        ImbalanceCause.DEMAND_DIFFERS,
    )
    if off < 1.5:
        for cause in everywhere:
            scores.times(cause, 0.1)
        for cause in limits:
            scores.times(
                cause, 2.0, f"Below their limits the sides differ by {off:.1f} points only."
            )
        return
    for cause in limits:
        scores.times(cause, 0.4)
    told = f"Below their limits the sides differ by {off:.1f} points, too."
    for cause in everywhere:
        scores.times(cause, 2.0, told)
    _both_ways(sides, scores)


def _both_ways(sides: Sides, scores: _Scores) -> None:
    """A gain error of a reading shows alike driving and braking; a lower demand does not."""
    first = sides.shares[0]
    if first.drive_pct is None or first.brake_pct is None:
        return
    equal = 100.0 / len(sides.shares)
    drive, brake = first.drive_pct.value - equal, first.brake_pct.value - equal
    if abs(drive - brake) < 1.5 and abs(brake) > 1.5:
        told = f"Driving and braking lean the same way by {drive:+.1f} and {brake:+.1f} points."
        scores.times(ImbalanceCause.CURRENT_SENSOR_GAIN, 3.0, told)
    elif drive * brake < 0 or abs(brake) < 0.3 * abs(drive):
        scores.times(ImbalanceCause.CURRENT_SENSOR_GAIN, 0.2)


def _saturated(sides: Sides) -> Bools:
    """Blocks in which any drive is at its plateau or at its setting."""
    found = np.zeros(sides.blocks.size, np.bool_)
    for one in sides.in_force:
        drive = sides.setup.drive(one.drive)
        for key, channel in (
            ("battery_drive_a", "battery_current_a"),
            ("phase_drive_a", "phase_current_a"),
        ):
            plateau = getattr(one, key)
            top = plateau.value if plateau is not None else getattr(drive, key)
            mean = sides.blocks.mean(sides.ride.get(f"{one.drive}.{channel}"))
            if top is not None and mean is not None:
                with np.errstate(invalid="ignore"):
                    found |= mean > SATURATED * top
    return found


def _offset(sides: Sides, scores: _Scores) -> None:
    """Extra current at any load with no extra speed: something drags on one side."""
    high, low = _high_low(sides)
    names = sides.drive.names
    more = sides.drive.currents_a[:, names.index(high)]
    less = sides.drive.currents_a[:, names.index(low)]
    with np.errstate(invalid="ignore"):
        on = (more > 0.5) & (less > 0.1) & np.isfinite(more + less) & ~_saturated(sides)
    if on.sum() < 40 or float(np.ptp(less[on])) < 2.0:
        return
    slope, offset = _line(less[on], more[on])
    mean = float(more[on].mean())
    if offset > DRAG_PART * mean + 0.2 and abs(slope - 1.0) < 0.03:
        scores.times(
            ImbalanceCause.DRAG_ONE_SIDE,
            15.0,
            f"{high} draws {offset:.1f} A more than {low} at any load.",
        )
        scores.times(ImbalanceCause.CURRENT_SENSOR_GAIN, 0.2)
        scores.times(ImbalanceCause.MOTOR_CONSTANT_DIFFERS, 0.2)
    elif offset < 0.1 + 0.01 * mean:
        scores.times(ImbalanceCause.DRAG_ONE_SIDE, 0.3)


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope and offset by least squares with Huber weights."""
    weight = np.ones(x.size)
    slope = offset = 0.0
    for _ in range(8):
        xm, ym = np.average(x, weights=weight), np.average(y, weights=weight)
        slope = float((weight * (x - xm) * (y - ym)).sum() / (weight * (x - xm) ** 2).sum())
        offset = float(ym - slope * xm)
        residual = np.abs(y - offset - slope * x)
        scale = 1.4826 * float(np.median(residual)) + 1e-9
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(residual, 1e-12))
    return slope, offset


_WOULD_CONFIRM = {
    ImbalanceCause.SETTING_NOT_IN_FORCE: ("Read the limits back from both controllers.",),
    ImbalanceCause.DEMAND_DIFFERS: (
        "Log each controller's demand at full throttle: both should read the same.",
    ),
    ImbalanceCause.CURRENT_SENSOR_GAIN: (
        "Swap the two controllers, or hold a clamp meter beside each reading: the difference goes"
        " with the controller.",
    ),
    ImbalanceCause.MOTOR_CONSTANT_DIFFERS: (
        "Coast with no demand at equal speed and compare the motors' voltages: the difference goes"
        " with the motor.",
    ),
    ImbalanceCause.GEARING_OR_TYRE_DIFFERS: (
        "Compare tyre pressure and rolling circumference, and count the teeth on both sides.",
    ),
    ImbalanceCause.DRAG_ONE_SIDE: (
        "With power off, turn both wheels by hand: brake pads, bearing, belt tension.",
    ),
    ImbalanceCause.ROTOR_SENSOR_ALIGNMENT: (
        "Compare no-load current forwards and backwards on both sides.",
    ),
    ImbalanceCause.LOAD_OFF_CENTRE_OR_TURNING: ("Ride the same straight with the load centred.",),
}

"""The hardest seconds of a ride, ridden once more on another charge, pack temperature or load.

The rider asks for the same power at the same moment; a heavier vehicle asks for more. The pack's
rest voltage and resistance are those of the other condition, and every limit in force still holds:
V = rest - R min(P / V, limit(V)), solved for each second and each draw over what is not sure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.blocks import Blocks
from analyzer.build_pack import CURVE_SD_FITTED_V, low_charge_factor, warm_factor
from analyzer.conditions import Conditions
from analyzer.open_path import path_open, without_open_path
from analyzer.quantities import (
    Bools,
    Floats,
    drive_channel,
    pack_current_a,
    pack_voltage_v,
    speed_mps,
)
from analyzer.rest_voltage import cell_volts, family
from analyzer.ride_analysis import RideResult
from analyzer.road_force import air_density
from analyzer.temperature import DEFAULT_E_J_PER_MOL, PLAUSIBLE_E_J_PER_MOL, known_temp_c
from analyzer.words import EventKind
from importers.setup_types import Setup

DRAWS = 120
"""Draws over what is not sure. Our choice: a 95 % end is then known within a tenth of its way."""
SECONDS = 40
"""So many of the hardest seconds each way are looked at. Our choice: under another condition the
hardest is one of these."""
DRAG_AREA_M2, DRAG_AREA_SD = 0.6, 0.3
"""Where the setup gives none [m2], and the sd of its logarithm. Common practice, no source."""
EFFICIENCY = 0.8
"""From the pack to the road. Common practice, no source: 0.75 to 0.85."""
LOAD_SD = 0.10
"""How far a heavier vehicle's demand may lie from the road's equation [part of the extra]. Our
choice: riders start more gently when loaded."""
GOVERNED = 0.95
"""From this part of it a phase limit governs. The contract's."""
LEAST_A = 3.0
"""A second with less current than this tells no resistance [A]. Our choice."""
LEAST_FADE = 0.2
"""A derate that left more current than this part tells of its delay, not of its limit. Our
choice."""
HALVINGS = 40


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition that verdicts are restated for; what is None stays as ridden."""

    name: str
    charge_pct: float | None = None
    temp_c: float | None = None
    mass_kg: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class HardSeconds:
    """m seconds of one ride, means over each; what the model needs of them."""

    current_a: Floats
    """Of the pack, positive when driving."""
    volts: Floats
    rest_v: Floats
    speed_mps: Floats
    charge_pct: Floats | None
    temp_c: float | None
    mass_kg: float | None
    drives: tuple[tuple[str, Floats | None, Floats | None], ...]
    """(name, battery current, phase current)"""
    held_by_phase: Bools
    """Where a drive's phase limit set the pull, either way: more load gives no more current."""
    cell_min_v: Floats | None


@dataclass(frozen=True, slots=True, eq=False)
class Restaged:
    """The same seconds under a condition: (m, d) each."""

    current_a: Floats
    volts: Floats
    rest_v: Floats
    pull: Floats
    """Force over the force as ridden, limits not yet counted."""


def hard_seconds(result: RideResult, state: Conditions) -> HardSeconds | None:
    """The hardest seconds of the ride, driving and braking; None where current, voltage or the
    pack's fit is missing."""
    setup = result.setup
    ride = without_open_path(result.ride, path_open(result.ride, setup, result.pack_fit))
    current, voltage = pack_current_a(ride, setup), pack_voltage_v(ride, setup)
    if current is None or voltage is None or state.rest_v is None:
        return None
    blocks = Blocks(ride, 1.0)
    amps, volts, rest = (blocks.mean(one) for one in (current.values, voltage.values, state.rest_v))
    if amps is None or volts is None or rest is None:
        return None
    whole = np.isfinite(amps) & np.isfinite(volts) & np.isfinite(rest)
    whole &= (blocks.length_s > 0.7) & (np.abs(amps) > LEAST_A) & ~_lost(result, blocks)
    rows = _hardest(np.where(whole, amps * volts, 0.0), np.where(whole, rest - volts, 0.0))
    if rows.size == 0:
        return None

    def at(values: Floats | None) -> Floats | None:
        mean = blocks.mean(values)
        return None if mean is None else mean[rows]

    speed = speed_mps(ride, setup)
    moving = at(None if speed is None else speed.values)
    drives = []
    held = np.zeros(rows.size, np.bool_)
    for drive in setup.drives:
        battery = at(drive_channel(ride, drive.name, "battery_current_a"))
        phase = at(drive_channel(ride, drive.name, "phase_current_a"))
        drives.append((drive.name, battery, phase))
        for limit, way in ((drive.phase_drive_a, 1.0), (drive.phase_brake_a, -1.0)):
            if phase is not None and limit is not None:
                held |= way * np.nan_to_num(phase) >= GOVERNED * limit
    return HardSeconds(
        current_a=amps[rows],
        volts=volts[rows],
        rest_v=rest[rows],
        speed_mps=np.zeros(rows.size) if moving is None else np.nan_to_num(np.abs(moving)),
        charge_pct=at(state.charge_pct),
        temp_c=known_temp_c(result.ride),
        mass_kg=state.mass_kg,
        drives=tuple(drives),
        held_by_phase=held,
        cell_min_v=at(ride.get("cell_min_v")),
    )


def _lost(result: RideResult, blocks: Blocks) -> Bools:
    """Seconds of a loss: there the current was not what the rider asked for."""
    out = np.zeros(blocks.size, np.bool_)
    for one in result.events:
        if one.kind in (EventKind.CUTOUT, EventKind.BRAKE_LOSS):
            out |= (blocks.start_s > one.start_s - 1.5) & (blocks.start_s < one.end_s + 0.5)
    return out


def _hardest(power_w: Floats, sag_v: Floats) -> NDArray[np.intp]:
    """Places of the hardest seconds: most power out, most back, deepest and highest voltage."""
    chosen: list[NDArray[np.intp]] = []
    for toward in (power_w, -power_w, sag_v, -sag_v):
        order = np.argsort(-toward, kind="stable")[:SECONDS]
        chosen.append(order[toward[order] > 0])
    return np.unique(np.concatenate(chosen)).astype(np.intp)


def restage(
    seconds: HardSeconds,
    condition: Condition,
    setup: Setup,
    caps_a: dict[str, float],
    rng: np.random.Generator,
) -> Restaged | None:
    """These seconds under the condition; `caps_a` are the battery limits in force by drive. None
    where the ride does not carry the condition: its charge, temperature or mass is not known."""
    resistance = (seconds.rest_v - seconds.volts) / seconds.current_a
    ohm = np.repeat(np.clip(resistance, 0.0, None)[:, None], DRAWS, axis=1)
    rest = np.repeat(seconds.rest_v[:, None], DRAWS, axis=1)
    if condition.charge_pct is not None:
        moved = _at_charge(seconds, condition.charge_pct, setup, rng)
        if moved is None:
            return None
        rest, rise = moved
        ohm = ohm * rise
    if condition.temp_c is not None:
        if seconds.temp_c is None:
            return None
        ohm = ohm * _at_temp(seconds.temp_c, condition.temp_c, rng)
    pull = np.ones_like(rest)
    if condition.mass_kg is not None:
        if seconds.mass_kg is None:
            return None
        pull = _loaded(seconds, condition.mass_kg / seconds.mass_kg, setup, rng)
    caps = _caps(seconds, setup, caps_a)
    watts = _asked_w(seconds, caps, setup)[:, None] * pull
    amps, volts = _solve(watts, rest, ohm, caps, setup)
    return Restaged(amps, volts, rest, pull)


def _at_charge(
    seconds: HardSeconds, charge_pct: float, setup: Setup, rng: np.random.Generator
) -> tuple[Floats, Floats] | None:
    """Rest voltage by the curves these cells may follow, and the resistance's rise near empty."""
    if seconds.charge_pct is None or not np.isfinite(seconds.charge_pct).all():
        return None
    curves = family(setup)
    which = rng.integers(0, len(curves), DRAWS)
    each = np.array([float(cell_volts(one, charge_pct, setup)) for one in curves])[which]
    each = each + rng.normal(0.0, CURVE_SD_FITTED_V, DRAWS)
    rest = np.repeat((each * setup.pack.series)[None, :], seconds.volts.size, axis=0)
    rise = low_charge_factor(np.array([charge_pct])) / low_charge_factor(seconds.charge_pct)
    return rest, np.asarray(rise[:, None], np.float64)


def _at_temp(was_c: float, now_c: float, rng: np.random.Generator) -> Floats:
    low, high = PLAUSIBLE_E_J_PER_MOL
    energy = rng.normal(DEFAULT_E_J_PER_MOL, (high - low) / 3.92, DRAWS)
    energy = np.clip(energy, 0.7 * low, 1.2 * high)
    return np.asarray(warm_factor(now_c, energy) / warm_factor(was_c, energy), np.float64)


def _loaded(seconds: HardSeconds, heavier: float, setup: Setup, rng: np.random.Generator) -> Floats:
    """Force with another mass over the force as ridden: all of it but the air's grows with mass;
    braking, the air helps, so that more than the mass's part is asked."""
    area = setup.vehicle.drag_area_m2
    spread = 0.1 if area is not None else DRAG_AREA_SD
    areas = (area or DRAG_AREA_M2) * np.exp(rng.normal(0.0, spread, DRAWS))
    air_w = 0.5 * float(air_density(200.0, 15.0)) * areas * seconds.speed_mps[:, None] ** 3
    watts = seconds.current_a * seconds.volts
    road_w = np.where(watts > 0, watts * EFFICIENCY, watts / EFFICIENCY)[:, None]
    with_mass = np.clip(1.0 - air_w / road_w, 0.0, 2.0)
    extra = (heavier - 1.0) * rng.normal(1.0, LOAD_SD, DRAWS)
    # braking, the rider may leave all, some or nothing of the rest to the mechanical brake
    extra = np.where(watts[:, None] < 0, extra * rng.random(DRAWS), extra)
    pull = 1.0 + extra * with_mass
    return np.where(seconds.held_by_phase[:, None], np.minimum(pull, 1.0), pull)


def _caps(seconds: HardSeconds, setup: Setup, caps_a: dict[str, float]) -> Floats:
    """The most the controllers together let through in each second, driving, before voltage takes
    from it; what was seen to overshoot, or to pass a derate for a moment, keeps doing so."""
    if any(name not in caps_a for name in setup.drive_names):
        return np.full(seconds.current_a.size, np.inf)
    whole = sum(caps_a.values()) + (setup.pack.aux_a or 0.0)
    derate, stop = _derate(setup)
    passed = seconds.current_a / np.maximum(_fade(seconds.volts, derate, stop), LEAST_FADE)
    return np.maximum(whole, passed)


def _asked_w(seconds: HardSeconds, caps_a: Floats, setup: Setup) -> Floats:
    """The power the rider asked for: what was given, and where low voltage held it back, as much
    more as it took."""
    given = seconds.current_a * seconds.volts
    fade = np.maximum(_fade(seconds.volts, *_derate(setup)), LEAST_FADE)
    most = np.where(np.isfinite(caps_a), caps_a * seconds.volts, np.inf)
    return np.where(given > 0, np.maximum(np.minimum(given / fade, most), given), given)


def _derate(setup: Setup) -> tuple[float | None, float | None]:
    derate = max((d.derate_from_v for d in setup.drives if d.derate_from_v), default=None)
    stop = max((d.stop_at_v for d in setup.drives if d.stop_at_v), default=None)
    return derate, stop


def _solve(
    watts: Floats, rest: Floats, ohm: Floats, cap_a: Floats, setup: Setup
) -> tuple[Floats, Floats]:
    """Current and voltage at which the pack gives what is asked, or what its controllers still
    allow as the voltage sinks: bisection, for what is allowed less what is held falls steadily."""
    derate, stop = _derate(setup)
    low, high = 0.3 * rest, np.where(watts < 0, 1.5 * rest, rest)

    def amps_at(volts: Floats) -> Floats:
        asked = watts / volts
        most = cap_a[:, None] * _fade(volts, derate, stop)
        return np.where(watts > 0, np.minimum(asked, most), asked)

    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        over = rest - ohm * amps_at(middle) > middle
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    volts = 0.5 * (low + high)
    return amps_at(volts), volts


def _fade(volts: Floats, derate: float | None, stop: float | None) -> Floats:
    if derate is None or stop is None or derate <= stop:
        return np.ones_like(volts)
    return np.asarray(np.clip((volts - stop) / (derate - stop), 1e-6, 1.0))

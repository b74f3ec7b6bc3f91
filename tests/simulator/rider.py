"""Who rides, and how: speeds, stops, hand, and what they do when power is gone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator import records
from simulator.terrain import DS_M, Terrain


@dataclass(frozen=True)
class Rider:
    """A style. Speeds in m/s, times in s."""

    cruise_mps: float = 6.5
    corner_g: float = 0.22
    stops_every_m: float = 700.0
    stop_s: tuple[float, float] = (3.0, 18.0)
    kp: float = 0.55
    ki: float = 0.10
    ramp_up_s: float = 0.35
    ramp_down_s: float = 0.22
    decide_s: float = 0.35
    noise: float = 0.02
    brake_mps2: float = 1.0
    regen_first: float = 0.7
    mech_from: float = 0.55
    react_s: float = 1.2
    rest_s: float = 12.0
    cycle_s: float = 0.0
    """After this rest the power is switched off and on; 0 never."""
    leaves_one_side: bool = False
    """Stops also when only one side is gone."""
    tries: int = 4
    max_demand: float = 1.0
    after_loss: float = 0.8
    """How much of the demand is left after power was lost once: riders turn careful."""
    gentle_m: float = 0.0
    """Up to here at most half demand: warming up."""
    speed_wander: float = 0.12
    paces: tuple[tuple[float, float], ...] = ()
    """(from m, m/s): wished-for speeds in place of `cruise_mps` from there on."""
    script: tuple[tuple[float, float], ...] = ()
    """(time s, hand) points that take the hand over while they last; NaN hands it back."""


def record(rider: Rider, mech_max_n: float) -> np.ndarray:
    out = np.zeros(1, records.RIDER)
    values = dict(
        kp=rider.kp, ki=rider.ki, ramp_up=rider.ramp_up_s, ramp_down=rider.ramp_down_s,
        decide_s=rider.decide_s, noise=rider.noise, a_brake=rider.brake_mps2,
        regen_first=rider.regen_first, mech_max_n=mech_max_n, mech_from=rider.mech_from,
        react_s=rider.react_s, rest_s=rider.rest_s, cycle_s=rider.cycle_s,
        leave_one_side=rider.leaves_one_side, tries=rider.tries, max_demand=rider.max_demand,
        after_loss=rider.after_loss, gentle_m=rider.gentle_m,
    )  # fmt: skip
    for key, value in values.items():
        out[key] = value
    return out


def plan(
    rider: Rider, road: Terrain, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Speed wished for along the road, where the rider stops and for how long."""
    size = road.grade.size
    wander = np.zeros(size)
    for wave in (900.0, 310.0):
        wander += np.sin(2 * np.pi * (np.arange(size) * DS_M / wave + rng.random()))
    pace = np.full(size, rider.cruise_mps)
    for from_m, mps in rider.paces:
        pace[int(from_m / DS_M) :] = mps
    speed = pace * (1 + rider.speed_wander * wander / 2)
    sharp = np.maximum(np.abs(road.bend), 1e-6)
    speed = np.minimum(speed, np.sqrt(rider.corner_g * 9.81 / sharp))
    speed = np.maximum(speed, 1.5)
    stops: list[float] = []
    at = rider.stops_every_m * rng.uniform(0.6, 1.2)
    while at < road.length_m - 60:
        stops.append(at)
        at += rider.stops_every_m * rng.uniform(0.5, 1.5)
    waits = rng.uniform(*rider.stop_s, size=len(stops))
    return speed, np.asarray(stops, float), np.asarray(waits, float)


def script_array(rider: Rider, dt: float, duration_s: float) -> np.ndarray:
    """The scripted hand on an even grid; a single NaN when there is none."""
    if not rider.script:
        return np.array([np.nan])
    t = np.arange(0.0, duration_s, dt)
    _at, _hand = np.asarray(rider.script, float).T
    out = np.full(t.size, np.nan)
    for (t0, h0), (t1, h1) in zip(rider.script[:-1], rider.script[1:], strict=True):
        on = (t >= t0) & (t < t1)
        if not (np.isnan(h0) or np.isnan(h1)):
            out[on] = h0 + (h1 - h0) * (t[on] - t0) / max(t1 - t0, 1e-9)
    return out

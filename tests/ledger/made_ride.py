"""A ride for the recognition corpus: a few coupled quantities with the physics that tells them
apart. Simpler than `simulator` on purpose: hundreds are made per run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GEAR, WHEEL_M, POLE_PAIRS, SERIES = 4.2, 0.5, 7, 14


@dataclass(frozen=True)
class Made:
    """Truth in SI by channel, per drive and for the whole ride."""

    time_s: np.ndarray
    drives: tuple[dict[str, np.ndarray], ...]
    whole: dict[str, np.ndarray]


def make(seed: int, drives: int, minutes: float, rate_hz: float) -> Made:
    """A ride of ups, downs, stops and braking."""
    rng = np.random.default_rng(seed)
    n = int(minutes * 60 * rate_hz)
    t = np.arange(n) / rate_hz
    speed = _speed(rng, t)
    accel = np.gradient(speed, t)
    grade = 0.05 * np.sin(2 * np.pi * np.cumsum(speed) / rate_hz / 900 + rng.uniform(0, 6))
    mass = rng.uniform(120, 260)
    force = mass * (1.05 * accel + 9.81 * (grade * (speed > 0.1) + 0.013)) + 0.35 * speed**2
    force = np.where(speed > 0.1, force, 0.0)
    power = np.clip(force * speed, -1500.0, 5500.0)
    electric = np.where(power > 0, power / 0.82, power * 0.65) + 0.0
    rest = SERIES * np.linspace(4.02, 3.6, n)
    resistance = rng.uniform(0.05, 0.12)
    amps = (rest - np.sqrt(np.maximum(rest**2 - 4 * resistance * electric, 1.0))) / 2 / resistance
    volts = rest - resistance * amps
    shares = rng.uniform(0.9, 1.1, drives)
    shares /= shares.sum()
    rpm = speed / (np.pi * WHEEL_M) * 60 * GEAR
    duty = np.clip(rpm / (60 * SERIES * 3.7) * 1.0, 0.0, 0.96) * 100
    torque_like = np.clip(force, -600, 1500)
    out = []
    for share in shares:
        noise = rng.normal(0, 0.15, n)
        own = amps * share + noise * (speed > 0.1)
        phase = np.sign(own) * np.maximum(
            np.abs(own) * 1.02, np.abs(own) / np.clip(duty / 100, 0.12, 1.0)
        )
        heat = 22 + 40 * (1 - np.exp(-np.cumsum(phase**2) / rate_hz / 2.5e5))
        out.append(
            {
                "battery_current_a": own,
                "battery_voltage_v": volts + rng.normal(0, 0.02, n),
                "phase_current_a": phase,
                "motor_rpm": rpm * rng.uniform(0.995, 1.005) + rng.normal(0, 3, n) * (speed > 0.1),
                "wheel_speed_mps": speed * rng.uniform(0.99, 1.01),
                "duty_pct": duty + rng.normal(0, 0.2, n) * (speed > 0.1),
                "throttle_pct": np.clip(torque_like / 12.0, 0, 100),
                "brake_pct": np.clip(-torque_like / 6.0, 0, 100),
                "power_w": own * volts,
                "controller_temp_c": 24 + 0.5 * (heat - 22) + rng.normal(0, 0.05, n),
                "motor_temp_c": heat,
                "status": np.where(rng.random(n) < 0.0005, 3.0, 0.0),
            }
        )
    charge = 78 - 100 * np.cumsum(amps) / rate_hz / 3600 / 17.5
    track = np.cumsum(speed) / rate_hz
    bend = np.cumsum(rng.normal(0, 0.02, n)) * 0.3
    north = np.cumsum(speed * np.cos(bend)) / rate_hz
    east = np.cumsum(speed * np.sin(bend)) / rate_hz
    spread = np.sort(rng.normal(0, 0.006, SERIES))
    cells = volts[:, None] / SERIES + spread[None, :]
    whole = {
        "pack_voltage_v": volts,
        "pack_current_a": amps + 0.9,
        "pack_power_w": (amps + 0.9) * volts,
        "pack_temp_c": 21 + 6 * t / max(t[-1], 1.0),
        "cell_min_v": cells.min(axis=1),
        "cell_max_v": cells.max(axis=1),
        "state_of_charge_pct": charge,
        "speed_mps": speed,
        "gps_speed_mps": np.clip(speed + rng.normal(0, 0.15, n), 0, None),
        "latitude_deg": 47.1 + north / 111_200,
        "longitude_deg": 8.3 + east / 75_900,
        "altitude_m": 430 + np.cumsum(grade * speed) / rate_hz,
        "course_deg": np.degrees(bend) % 360,
        "acceleration_mps2": accel + rng.normal(0, 0.1, n),
        "ambient_temp_c": np.full(n, 18.0) + 0.5 * np.sin(t / 300),
        "distance_m": track,
    }
    for at in range(SERIES):
        whole[f"cell_{at + 1:02d}_v"] = cells[:, at]
    whole["cell_temp_01_c"] = whole["pack_temp_c"] + 0.3
    whole["cell_temp_02_c"] = whole["pack_temp_c"] - 0.4
    return Made(t, tuple(out), whole)


def _speed(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """Target speeds held for a while, reached with limited acceleration; standstills between."""
    dt = t[1] - t[0]
    target = np.zeros(t.size)
    at = int(4 / dt)
    while at < t.size:
        hold = int(rng.uniform(8, 40) / dt)
        target[at : at + hold] = rng.choice([0.0, 3.0, 5.0, 7.0, 9.0], p=[0.2, 0.2, 0.2, 0.2, 0.2])
        at += hold
    speed = np.zeros(t.size)
    for k in range(1, t.size):
        step = np.clip(target[k] - speed[k - 1], -1.4 * dt, 0.9 * dt)
        speed[k] = max(0.0, speed[k - 1] + step)
    return speed

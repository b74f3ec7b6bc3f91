"""What sensors and loggers make of the truth: gain, offset, noise, filters, steps, slow updates."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from simulator.simulate import SimRide

ALL = frozenset(
    {"bms", "cells", "gps", "phase", "duty", "temps", "demand", "speed", "soc", "drive_v"}
)


@dataclass(frozen=True)
class Sensors:
    """Errors of one ride's instruments. Per drive by name, `bms` for the pack's own."""

    current_gain: dict[str, float] = field(default_factory=dict)
    current_offset_a: dict[str, float] = field(default_factory=dict)
    voltage_gain: dict[str, float] = field(default_factory=dict)
    voltage_offset_v: dict[str, float] = field(default_factory=dict)
    current_noise_a: float = 0.12
    phase_noise_a: float = 0.5
    voltage_noise_v: float = 0.03
    current_tau_s: float = 0.06
    voltage_tau_s: float = 0.02
    current_step_a: float = 0.1
    voltage_step_v: float = 0.1
    rpm_step: float = 1.0
    gps_rate_hz: float = 1.0
    gps_alt_sd_m: float = 2.5
    gps_pos_sd_m: float = 1.6
    gps_speed_sd_mps: float = 0.08
    gps_lag_s: float = 0.4
    bms_rate_hz: float = 5.0
    temp_rate_hz: float = 1.0
    channels: frozenset[str] = ALL
    when_dead: str = "blank"
    """What a drive's columns show while its controller has no supply: blank, zero or freeze."""
    averages_s: float = 0.0
    """Currents and voltages are means over this long instead of filtered [s]."""
    burst: int = 1
    """Values are renewed every so many rows."""
    braking_in_throttle: bool = True
    """One signed demand column, or two."""

    @staticmethod
    def usual(rng: np.random.Generator, names: list[str]) -> Sensors:
        """Errors as found in practice: 1 to 2 % in current, 0.3 % in voltage."""
        who = [*names, "bms"]
        return Sensors(
            current_gain={n: float(1 + rng.normal(0, 0.012)) for n in who},
            current_offset_a={n: float(rng.normal(0, 0.08)) for n in who},
            voltage_gain={n: float(1 + rng.normal(0, 0.002)) for n in who},
            voltage_offset_v={n: float(rng.normal(0, 0.02)) for n in who},
            current_tau_s=float(rng.uniform(0.02, 0.1)),
            voltage_tau_s=float(rng.uniform(0.01, 0.06)),
        )

    @staticmethod
    def perfect() -> Sensors:
        """No error at all, nothing filtered, nothing rounded, all at the log's rate."""
        return Sensors(
            current_noise_a=0, phase_noise_a=0, voltage_noise_v=0, current_tau_s=0,
            voltage_tau_s=0, current_step_a=0, voltage_step_v=0, rpm_step=0, gps_rate_hz=1e9,
            gps_alt_sd_m=0, gps_pos_sd_m=0, gps_speed_sd_mps=0, gps_lag_s=0, bms_rate_hz=1e9,
            temp_rate_hz=1e9,
        )  # fmt: skip

    def but(self, **changes: Any) -> Sensors:
        return replace(self, **changes)

    def without(self, *groups: str) -> Sensors:
        """The same with groups of channels missing."""
        return replace(self, channels=self.channels - set(groups))

    def rate_of(self, channel: str, rate_hz: float) -> float:
        """How often a channel truly changes [Hz]."""
        base = channel.rsplit(".", 1)[-1]
        if base.startswith(("gps_", "latitude", "longitude", "altitude", "course")):
            return min(self.gps_rate_hz, rate_hz)
        if base.startswith(("pack_", "cell_", "state_of_charge")):
            return min(self.bms_rate_hz, rate_hz)
        if base.endswith("_temp_c"):
            return min(self.temp_rate_hz, rate_hz)
        return rate_hz


def _filtered(x: np.ndarray, tau_s: float, dt: float, averages_s: float) -> np.ndarray:
    if averages_s > 0:
        rows = max(round(averages_s / dt), 1)
        return pd.Series(x).rolling(rows, min_periods=1).mean().to_numpy()
    if tau_s <= 0:
        return x
    return pd.Series(x).ewm(alpha=dt / (tau_s + dt), adjust=False).mean().to_numpy()


def _rounded(x: np.ndarray, step: float) -> np.ndarray:
    return x if step <= 0 else np.round(np.round(x / step) * step, 6)


def _rng(sim: SimRide, stream: int) -> np.random.Generator:
    return np.random.default_rng([sim.seed, 77, stream])


def pick(sim: SimRide, at_s: np.ndarray, update_hz: float, phase: float = 0.0) -> np.ndarray:
    """Rows of the truth that a logger writing at `at_s` shows of a value updated at `update_hz`."""
    if sim.sensors.burst > 1:
        at_s = at_s[np.arange(at_s.size) // sim.sensors.burst * sim.sensors.burst]
    updated = np.floor(at_s * update_hz + phase) / update_hz if update_hz < 1e6 else at_s
    hz = 1.0 / (sim.t[1] - sim.t[0])
    return np.clip(np.round(updated * hz).astype(int), 0, sim.t.size - 1)


def drive_channels(
    sim: SimRide, name: str, at_s: np.ndarray, rate_hz: float
) -> dict[str, np.ndarray]:
    """One drive's channels as its controller reports them at `at_s`, by the contract's names."""
    s, col, dt = sim.sensors, sim.col, float(sim.t[1] - sim.t[0])
    rng = _rng(sim, 10 + sim.drives.index(name))
    spec = sim.build.drive(name)
    fast, slow = pick(sim, at_s, 1e9), pick(sim, at_s, s.temp_rate_hz)
    n = at_s.size
    out: dict[str, np.ndarray] = {}
    amps = _filtered(col[f"{name}.i_batt"], s.current_tau_s, dt, s.averages_s)[fast]
    amps = amps * s.current_gain.get(name, 1) + s.current_offset_a.get(name, 0)
    out["battery_current_a"] = _rounded(
        amps + rng.normal(0, 1, n) * s.current_noise_a, s.current_step_a
    )
    if "drive_v" in s.channels:
        volts = _filtered(col[f"{name}.v_bus"], s.voltage_tau_s, dt, s.averages_s)[fast]
        volts = volts * s.voltage_gain.get(name, 1) + s.voltage_offset_v.get(name, 0)
        out["battery_voltage_v"] = _rounded(
            np.maximum(volts + rng.normal(0, 1, n) * s.voltage_noise_v, 0), s.voltage_step_v
        )
    if "phase" in s.channels:
        phase = _filtered(col[f"{name}.i_phase"], 0.5 * s.current_tau_s, dt, s.averages_s)[fast]
        out["phase_current_a"] = _rounded(
            phase + rng.normal(0, 1, n) * s.phase_noise_a, s.current_step_a
        )
    if "speed" in s.channels:
        rpm = col[f"{name}.omega"][fast] * 60 / (2 * np.pi)
        out["motor_rpm"] = _rounded(rpm + (rpm > 5) * rng.normal(0, 1, n) * 0.002 * rpm, s.rpm_step)
    if "demand" in s.channels:
        demand = 100 * col[f"{name}.demand_seen"][fast]
        if s.braking_in_throttle:
            out["throttle_pct"] = _rounded(demand, 0.1 if s.rpm_step else 0)
        else:
            out["throttle_pct"] = _rounded(np.maximum(demand, 0), 0.1 if s.rpm_step else 0)
            out["brake_pct"] = _rounded(np.maximum(-demand, 0), 0.1 if s.rpm_step else 0)
    if "duty" in s.channels:
        out["duty_pct"] = _rounded(100 * col[f"{name}.duty"][fast], 0.1 if s.rpm_step else 0)
    if "temps" in s.channels:
        step = 0.1 if s.temp_rate_hz < 1e6 else 0
        out["controller_temp_c"] = _rounded(col[f"{name}.ctrl_c"][slow], step)
        out["motor_temp_c"] = _rounded(col[f"{name}.mot_c"][slow], step)
    _rotor_jitter(sim, name, at_s, out, rng)
    _hold(out, col[f"{name}.freeze"][fast] > 0, "freeze")
    _hold(out, col[f"{name}.dead"][fast] > 0, s.when_dead)
    assert spec.name == name
    return out


def _rotor_jitter(
    sim: SimRide, name: str, at_s: np.ndarray, out: dict[str, np.ndarray], rng: np.random.Generator
) -> None:
    for one in sim.planted:
        if one.kind == "rotor_sensor_fault" and one.drive == name and "motor_rpm" in out:
            rpm = out["motor_rpm"]
            slow = sim.col[f"{name}.wheel_mps"][pick(sim, at_s, 1e9)] < 1.3 * one.p0
            early = (at_s >= one.start_s - 20.0) & (at_s < one.end_s) & slow
            wild = rng.normal(0, 0.35, rpm.size) * np.abs(rpm) + rng.normal(0, 25, rpm.size)
            out["motor_rpm"] = np.where(early & (np.abs(rpm) > 3), np.round(rpm + wild), rpm)


def _hold(out: dict[str, np.ndarray], on: np.ndarray, how: str) -> None:
    if not on.any():
        return
    for key, values in out.items():
        if how == "zero":
            out[key] = np.where(on, 0.0, values)
        elif how == "blank":
            out[key] = np.where(on, np.nan, values)
        else:
            at = np.maximum.accumulate(np.where(on, 0, np.arange(on.size)))
            out[key] = values[at]


def bms_channels(sim: SimRide, at_s: np.ndarray) -> dict[str, np.ndarray]:
    """The pack's own channels as its management system reports them."""
    s, col, dt = sim.sensors, sim.col, float(sim.t[1] - sim.t[0])
    rng = _rng(sim, 5)
    rows = pick(sim, at_s, s.bms_rate_hz)
    _, seen = np.unique(rows, return_inverse=True)
    noise = rng.normal(0, 1, (4, seen.max() + 1))[:, seen]
    exact = s.bms_rate_hz > 1e6
    amps = _filtered(col["i_pack"], 0 if exact else 0.05, dt, s.averages_s)[rows]
    amps = amps * s.current_gain.get("bms", 1) + s.current_offset_a.get("bms", 0)
    volts = col["v_cells"][rows] * s.voltage_gain.get("bms", 1) + s.voltage_offset_v.get("bms", 0)
    out = {
        "pack_current_a": _rounded(amps + noise[0] * s.current_noise_a, s.current_step_a),
        "pack_voltage_v": _rounded(volts + noise[1] * s.voltage_noise_v * 0.5, 0.01 * (not exact)),
        "pack_temp_c": _rounded(col["temp_c"][rows], 0 if exact else 0.5),
    }
    if "cells" in s.channels:
        for key in ("cell_min", "cell_max"):
            mv = 0.002 * noise[2 if key == "cell_min" else 3] * (not exact)
            out[f"{key}_v"] = _rounded(col[key][rows] + mv, 0 if exact else 0.001)
    if "soc" in s.channels:
        out["state_of_charge_pct"] = _rounded(100 * col["soc"][rows], 0 if exact else 1.0)
    return out


def gps_channels(sim: SimRide, at_s: np.ndarray) -> dict[str, np.ndarray]:
    """Place, height and speed by satellite, errors wandering over a minute."""
    s, rng = sim.sensors, _rng(sim, 6)
    rows = pick(sim, at_s - s.gps_lag_s, s.gps_rate_hz)
    step, seen = np.unique(rows, return_inverse=True)
    hz = min(s.gps_rate_hz, 10.0)
    wander = [
        pd.Series(rng.standard_normal(step.size + 400))
        .ewm(alpha=1 / (45 * hz))
        .mean()
        .to_numpy()[400:]
        * np.sqrt(90 * hz)
        for _ in range(3)
    ]
    north, east = (s.gps_pos_sd_m * wander[k][seen] for k in range(2))
    high = s.gps_alt_sd_m * (0.85 * wander[2] + 0.5 * rng.standard_normal(step.size))[seen]
    where = sim.col["s_m"][rows]
    lat, lon = sim.road.latlon_deg
    at = sim.road.at_m
    speed = sim.col["v_mps"][rows] + s.gps_speed_sd_mps * rng.standard_normal(step.size)[seen]
    exact = s.gps_rate_hz > 1e6
    m_per_deg = 111_194.9
    return {
        "latitude_deg": _rounded(
            np.interp(where, at, lat) + north / m_per_deg, 0 if exact else 1e-6
        ),
        "longitude_deg": _rounded(
            np.interp(where, at, lon) + east / (m_per_deg * np.cos(np.radians(lat[0]))),
            0 if exact else 1e-6,
        ),
        "altitude_m": _rounded(
            np.interp(where, at, sim.road.altitude_m) + high, 0 if exact else 0.1
        ),
        "gps_speed_mps": _rounded(np.maximum(speed, 0), 0 if exact else 0.01),
        "course_deg": _rounded(
            np.degrees(np.interp(where, at, sim.road.course_rad)) % 360, 0 if exact else 0.1
        ),
    }


def measure(sim: SimRide, rate_hz: float) -> pd.DataFrame:
    """All channels on one even clock, as the joined ride has them."""
    s = sim.sensors
    at = np.arange(0.0, sim.t[-1], 1.0 / rate_hz)
    table: dict[str, np.ndarray] = {"time_s": at}
    for name in sim.drives:
        for key, values in drive_channels(sim, name, at, rate_hz).items():
            table[f"{name}.{key}"] = values
    if "bms" in s.channels:
        table |= bms_channels(sim, at)
    if "gps" in s.channels:
        table |= gps_channels(sim, at)
    return pd.DataFrame(table)

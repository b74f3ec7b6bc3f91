"""What controllers allow on a hill, and how drives share what is asked: phase amperes, d draws.

Phase limit, battery limit times the voltage derate, heat derate and voltage headroom, the least of
them; the same demand to every drive, none above its own limit. Equations: motor power balance of
the references, P = (k v + drop) i + R i^2.
"""

from __future__ import annotations

import numpy as np

from analyzer.hill_build import UNKNOWN_FORCE_N, BuildDraws
from analyzer.quantities import Bools, Floats
from importers.setup_types import Drive

DUTY_MOST = 0.95
"""Largest part of the pack's voltage a controller gives its motor. Common practice, no source."""
FADED = 0.97
"""A derate below this part of full counts as power reduced. Our choice."""
HUGE_A = 1e5
"""Stands for no limit [A]."""
MOST_PHASE_A = 1e4
"""No motor takes more [A]; keeps sums finite."""
STANDING_MPS = 0.3
"""Slower than this a motor is reckoned as turning at this speed [m/s]. Our choice."""
BRAKE_END_MPS = 1.0
"""Below this a motor brakes no more [m/s]. Common practice, no source."""
LEANS = 0.98
"""A peak from here on is the limit's, not the rider's [1]. Our choice."""
UNTOLD_BAND_V, UNTOLD_BAND_C = 3.0, 20.0
"""Width of a derate whose end the setup does not give [V, K]. Our choice."""


def allowed_a(
    build: BuildDraws, volts: Floats, speed_mps: Floats, motor_c: Floats, box_c: Floats
) -> tuple[Floats, Bools]:
    """Phase current each controller allows for driving (drives, d), and where a derate takes from
    it (d). Temperatures are (drives, d), NaN where nothing is known."""
    out = np.empty_like(build.k_n_per_a)
    faded = np.zeros(build.draws, bool)
    for j, drive in enumerate(build.drives):
        volts_part = _fade(-volts, drive.derate_from_v, drive.stop_at_v)
        heat_part = np.minimum(
            _fade_up(motor_c[j], drive.motor_derate_c, drive.motor_stop_c),
            _fade_up(box_c[j], drive.controller_derate_c, drive.controller_stop_c),
        )
        set_a = HUGE_A if drive.phase_drive_a is None else drive.phase_drive_a
        top = np.full(build.draws, set_a if build.known_phase else UNKNOWN_FORCE_N) * heat_part
        if drive.battery_drive_a is not None:
            watts = volts * drive.battery_drive_a * build.limit_scale[j] * volts_part
            top = np.minimum(top, _current_for(build, j, speed_mps, watts))
        elif drive.derate_from_v is not None:
            top = top * volts_part
        if build.known_phase:
            room = DUTY_MOST * volts - build.k_n_per_a[j] * speed_mps
            top = np.minimum(top, np.clip(room / np.maximum(build.ohm[j], 1e-3), 0.0, None))
        out[j] = np.minimum(top, MOST_PHASE_A)
        faded |= (volts_part < FADED) | (heat_part < FADED)
    return out, faded


def _current_for(build: BuildDraws, j: int, speed_mps: Floats, watts: Floats) -> Floats:
    """Phase current that takes this many watts: ohm i^2 + (k v + drop) i = P."""
    linear = build.k_n_per_a[j] * np.maximum(speed_mps, STANDING_MPS) + build.drop_v[j]
    ohm = np.maximum(build.ohm[j], 1e-6)
    return np.asarray(
        (np.sqrt(linear**2 + 4 * ohm * np.clip(watts, 0.0, None)) - linear) / (2 * ohm)
    )


def shared_a(build: BuildDraws, allowed: Floats, drive_n: Floats) -> Floats:
    """The same phase current on every drive, as one demand gives, none above its own limit."""
    phase = np.zeros_like(allowed)
    for _ in range(3):
        got = (build.efficiency * build.k_n_per_a * phase).sum(axis=0)
        open_ = phase < allowed - 1e-9
        gain = (build.efficiency * build.k_n_per_a * open_).sum(axis=0)
        more = np.where(gain > 0, np.clip(drive_n - got, 0.0, None) / np.maximum(gain, 1e-9), 0)
        phase = np.minimum(phase + more * open_, allowed)
    return phase


def braking_a(build: BuildDraws, volts: Floats, speed_mps: Floats, brake_n: Floats) -> Floats:
    """Phase current each drive brakes with, positive: shared alike, within its limits."""
    per_a = (build.return_factor * build.k_n_per_a).sum(axis=0)
    asked = np.where(speed_mps > BRAKE_END_MPS, brake_n / np.maximum(per_a, 1e-9), 0.0)
    out = np.empty_like(build.k_n_per_a)
    for j, drive in enumerate(build.drives):
        top = np.full(build.draws, HUGE_A)
        if build.known_phase and drive.phase_brake_a is not None:
            top = np.minimum(top, drive.phase_brake_a)
        if drive.battery_brake_a is not None:
            # k v i - ohm i^2 - drop i = watts back: the branch with the smaller current
            watts = volts * drive.battery_brake_a * build.brake_scale[j]
            linear = np.clip(build.k_n_per_a[j] * speed_mps - build.drop_v[j], 0.0, None)
            ohm = np.maximum(build.ohm[j], 1e-6)
            root = linear**2 - 4 * ohm * watts
            reach = (linear - np.sqrt(np.clip(root, 0.0, None))) / (2 * ohm)
            top = np.minimum(top, np.where(root > 0, reach, linear / (2 * ohm)))
        out[j] = np.minimum(asked, top) if _brakes(drive) else 0.0
    return out


def overshot_a(build: BuildDraws, peak: Floats, *, braking: bool) -> Floats:
    """By how much each drive's largest 1 s mean lies above what its limit holds it at
    (drives, d): where the limit governs, and 0 elsewhere."""
    out = np.zeros_like(peak)
    for j, drive in enumerate(build.drives):
        limit = drive.battery_brake_a if braking else drive.battery_drive_a
        if limit is None:
            continue
        scale = build.brake_scale[j] if braking else build.limit_scale[j]
        over = build.brake_overshoot[j] if braking else build.overshoot[j]
        out[j] = np.where(peak[j] >= LEANS * limit * scale, (over - 1.0) * peak[j], 0.0)
    return out


def _brakes(drive: Drive) -> bool:
    """Whether this drive brakes at all: without a brake limit nothing is known of it."""
    return drive.battery_brake_a is not None or drive.phase_brake_a is not None


def _fade_up(seen: Floats, begin: float | None, stop: float | None) -> Floats:
    """1 below `begin`, 0 from `stop` on, straight between; 1 where nothing is known."""
    if begin is None or not np.isfinite(seen).any():
        return np.ones_like(seen)
    end = begin + UNTOLD_BAND_C if stop is None else stop
    return np.asarray(np.clip((end - seen) / max(end - begin, 1e-6), 0.0, 1.0))


def _fade(negative_v: Floats, begin: float | None, stop: float | None) -> Floats:
    if begin is None:
        if stop is None:
            return np.ones_like(negative_v)
        return np.asarray(negative_v < -stop, np.float64)
    end = begin - UNTOLD_BAND_V if stop is None else stop
    if begin <= end:
        return np.asarray(negative_v < -end, np.float64)
    return np.asarray(np.clip((-negative_v - end) / (begin - end), 0.0, 1.0), np.float64)

"""Every limit of a setup against what a hill is expected to ask of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.estimate import Estimate
from analyzer.events import NotChecked
from analyzer.hill_ahead import HillAhead, HillRun
from analyzer.hill_build import BuildDraws
from analyzer.limit_keys import LimitKey, limit_keys
from analyzer.quantities import Floats
from importers.setup_types import Ports, Setup

TOUCHED_FROM = 0.95
"""The contract's."""
BRAKED_A = 1.0
"""Less than this into the pack is no braking [A]. Our choice."""


@dataclass(frozen=True, slots=True)
class LimitAhead:
    """One limit against what the hill is expected to ask."""

    limit: str
    set: float
    unit: str
    expected_peak: Estimate | None
    chance_touched_pct: float | None


def spread(values: Floats) -> Estimate:
    """Median and the middle 95 % of the draws."""
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return Estimate(float(middle), float(low), float(high))


def limits_ahead(
    setup: Setup, build: BuildDraws, hill: HillAhead, run: HillRun
) -> tuple[tuple[LimitAhead, ...], tuple[NotChecked, ...]]:
    """Every limit given, and what could not be checked and why."""
    rows: list[LimitAhead] = []
    missing: list[NotChecked] = []
    for key in limit_keys(setup):
        if key.value is None:
            missing.append(NotChecked(key.what, (key.key,)))
            continue
        why = _unknown(key, setup, build, run)
        if why is not None:
            missing.append(why)
            continue
        peak, used = _asked(key, key.value, setup, hill, run)
        rows.append(
            LimitAhead(
                key.key,
                key.value,
                key.unit,
                spread(peak),
                100.0 * float(np.mean(used >= TOUCHED_FROM)),
            )
        )
    return tuple(rows), tuple(missing)


def _unknown(key: LimitKey, setup: Setup, build: BuildDraws, run: HillRun) -> NotChecked | None:
    if key.key.startswith("bms.cell"):
        told = "single cells are not in the model; the pack's mean is"
        return NotChecked(f"{key.what}: {told}", ("cell_min_v",))
    if "phase_" in key.key and not build.known_phase:
        return NotChecked(f"{key.what}: no ride tells a phase ampere's force", ("phase_current_a",))
    if "controller_" in key.key:
        name = key.key.split(".")[1]
        if not np.isfinite(run.controller_top_c[setup.drive_names.index(name)]).any():
            return NotChecked(f"{key.what}: no ride warmed it enough", (key.channel,))
    if key.key.startswith("bms.charge") and setup.bms.ports is Ports.SEPARATE:
        told = "with separate ports braking passes no charge protection"
        return NotChecked(f"{key.what}: {told}", ("bms.ports",))
    return None


def _asked(
    key: LimitKey, value: float, setup: Setup, hill: HillAhead, run: HillRun
) -> tuple[Floats, Floats]:
    """The extreme in the limit's own direction, per draw, and how much of the limit that is."""
    if key.bounds == "cold":
        braked = run.pack_brake_peak_a > BRAKED_A
        temp = np.full(run.lowest_v.size, hill.temp_c)
        return temp, np.where(braked & (hill.temp_c < value + 2.0), 1.0, 0.0)
    if key.key.startswith(("bms.", "pack.", "wiring.")):
        both = np.maximum(run.pack_peak_a, run.pack_brake_peak_a)
        peak = {1: run.pack_peak_a, -1: run.pack_brake_peak_a, 0: both}[key.sign]
        return peak, peak / value
    name, what = key.key.split(".")[1:]
    j = setup.drive_names.index(name)
    currents = {
        "phase_drive_a": run.phase_peak_a,
        "phase_brake_a": run.phase_brake_peak_a,
        "battery_drive_a": run.battery_peak_a,
        "battery_brake_a": run.battery_brake_peak_a,
    }
    if what in currents:
        return currents[what][j], currents[what][j] / value
    if key.bounds == "heat":
        top = run.motor_top_c if what.startswith("motor") else run.controller_top_c
        return top[j], (top[j] - hill.temp_c) / max(value - hill.temp_c, 1.0)
    near = 0.1 * setup.pack.series
    if key.bounds == "high_voltage":
        way = value - run.rest_high_v
        used = np.where(way > near, (run.highest_v - run.rest_high_v) / np.maximum(way, 1e-9), 0.0)
        return run.highest_v, np.where(run.highest_v >= value, 1.0, used)
    way = run.rest_low_v - value
    used = np.where(way > near, (run.rest_low_v - run.lowest_v) / np.maximum(way, 1e-9), 0.0)
    return run.lowest_v, np.where(run.lowest_v <= value, 1.0, used)

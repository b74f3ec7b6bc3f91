"""What was true in a simulated ride, by the contract's definitions."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from simulator import words as w
from simulator.build import Build, Cells, pack_grid, pack_record
from simulator.own_curve import HIGH, LOW
from simulator.pack_steps import pulse_drop
from simulator.second_pack import pulse_drop2

BRAKES_FROM_MPS = 2.0
"""Motor braking gives nothing worth losing below this [m/s]."""
RETRY_S = 5.0
"""Retries of one cause within this are one loss [s]. The contract's."""
TOGETHER_S = 1.0
"""Drives that stop within this of each other are one loss [s]. The contract's."""


@dataclass(frozen=True)
class Loss:
    """Drive or braking asked for and gone."""

    kind: str
    """`cutout` or `brake_loss`."""
    start_s: float
    end_s: float
    cause: str
    drives: tuple[str, ...]
    consequences: tuple[str, ...] = ()
    faded: bool = False
    ambiguous: bool = False
    """True where the logs cannot tell: only the probabilities can be right."""


@dataclass(frozen=True)
class TrueClimb:
    """A stretch that gains 10 m or more without a dip of more than 2 m, 2 % or steeper."""

    start_s: float
    end_s: float
    length_m: float
    gain_m: float
    grade_pct: float
    top_temp_c: dict[str, float]


@dataclass(frozen=True)
class Truth:
    """Resistances are the pack's as its own BMS sees it; `_with_leads` as the controllers do."""

    resistance_10s_ohm: float
    resistance_10s_25c_ohm: float
    resistance_instant_ohm: float
    lead_ohm: float
    temperature_c: float
    mean_soc_pct: float
    soc_start_pct: float
    soc_end_pct: float
    rest_voltage_start_v: float
    rest_voltage_end_v: float
    capacity_ah: float
    drive_shares_pct: dict[str, float] | None
    brake_shares_pct: dict[str, float] | None
    common_load_s: float
    in_force: dict[str, dict[str, float]]
    losses: tuple[Loss, ...]
    borderline: tuple[tuple[float, float], ...]
    climbs: tuple[TrueClimb, ...]
    crr: float
    cda_m2: float
    mass_kg: float
    governed_s: dict[str, dict[str, float]]
    """Seconds each drive was governed by each word of GOVERNORS."""

    @property
    def resistance_10s_with_leads_ohm(self) -> float:
        return self.resistance_10s_ohm + self.lead_ohm

    @property
    def resistance_10s_25c_with_leads_ohm(self) -> float:
        return self.resistance_10s_25c_ohm + self.lead_ohm


def pulse_ohm(
    cells: Cells, soc: float, temp_c: float, after_s: float = 10.0, *, engine: str = "first"
) -> float:
    """Voltage drop `after_s` after a step from rest to C/2, over the step [ohm]."""
    amps, dt = 0.5 * cells.rated_ah, 0.005
    pack = pack_record(cells, soc, temp_c, temp_c)
    pack["heat_j_k"] = 1e12
    drop = pulse_drop2 if engine == "second" else pulse_drop
    return drop(pack, pack_grid(cells), amps, dt, round(after_s / dt)) / amps


def rest_pack_v(cells: Cells, soc: float) -> float:
    """Pack volts after long rest [V]."""
    grid = pack_grid(cells)
    at = np.linspace(LOW, HIGH, grid.size)
    weak = np.interp(soc + cells.weak_soc, at, grid)
    return float((cells.series - 1) * np.interp(soc, at, grid) + weak)


def find_losses(build: Build, t: np.ndarray, col: dict[str, np.ndarray]) -> tuple[Loss, ...]:
    """Every time drive or braking was asked for and a protection or fault withheld it."""
    spans: list[Loss] = []
    for spec in build.drives:
        spans += _drive_losses(build, spec.name, t, col)
    return _together(sorted(spans, key=lambda one: one.start_s))


FADING = {
    w.BY_VOLTAGE: w.UNDERVOLTAGE,
    w.BY_MOTOR_HEAT: w.MOTOR_HOT,
    w.BY_CONTROLLER_HEAT: w.CONTROLLER_HOT,
}
"""What fades under which governor."""


def _pull_part(build: Build, name: str, col: dict[str, np.ndarray]) -> np.ndarray:
    """The motor's current as a part of what the demand asks for."""
    box = build.drive(name).controller
    demand = col[f"{name}.demand_seen"]
    most = np.where(demand >= 0, box.phase_drive_a, box.phase_brake_a) * np.abs(demand)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.abs(col[f"{name}.i_phase"]) / most
    return np.where(most > 0, part, 1.0)


def _codes(build: Build, name: str, col: dict[str, np.ndarray]) -> np.ndarray:
    code = col[f"{name}.block"].astype(int).copy()
    part = _pull_part(build, name, col)
    # Under a twentieth of what the demand gave is gone, whatever takes it: the contract's. A
    # crawling motor still turns a twentieth of the battery's limit into some pull.
    low = np.where(
        col[f"{name}.governor"] == w.BY_VOLTAGE,
        (col[f"{name}.derate"] < 0.05) & (part < 0.3),
        part < 0.03,
    )
    for governor, cause in FADING.items():
        code[(code == 0) & low & (col[f"{name}.governor"] == governor)] = cause
    shut = col["bms_chg"].astype(int)
    only = (code == 0) & (shut > 0) & (col["hand"] <= 0.02)
    code[only] = shut[only]
    return code


def find_borderline(
    build: Build, t: np.ndarray, col: dict[str, np.ndarray]
) -> tuple[tuple[float, float], ...]:
    """Stretches (from s, to s) faded so far that two readers may differ on whether it is gone."""
    on = np.zeros(t.size, bool)
    for spec in build.drives:
        name = spec.name
        governor = col[f"{name}.governor"]
        part = _pull_part(build, name, col)
        far = (part < 0.12) | ((governor == w.BY_VOLTAGE) & (col[f"{name}.derate"] < 0.1))
        on |= far & np.isin(governor, tuple(FADING)) & (col[f"{name}.block"] == 0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple((float(t[a]), float(t[min(b, t.size - 1)])) for a, b in pairs)


def _drive_losses(build: Build, name: str, t: np.ndarray, col: dict[str, np.ndarray]) -> list[Loss]:
    code, asked = _codes(build, name, col), col[f"{name}.asked"]
    no_braking = (col["v_mps"] < BRAKES_FROM_MPS) | build.drive(name).freewheel
    asked = np.where((asked < 0) & no_braking, 0.0, asked)
    out: list[Loss] = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], code, [0]])))
    for first, stop in itertools.pairwise(edges):
        cause = int(code[first])
        if cause == 0:
            continue
        hit = np.flatnonzero(asked[first:stop] != 0)
        if hit.size == 0:
            if out and out[-1].cause == w.CAUSES[cause] and t[first] - out[-1].end_s < RETRY_S:
                out[-1] = _until(out[-1], float(t[min(stop, t.size - 1)]))
            continue
        # An idle switch-off takes the controllers' demand channel with it: it shows at once.
        at = first if cause == w.IDLE else first + int(hit[0])
        begin, faded = at, False
        if cause in (w.UNDERVOLTAGE, w.MOTOR_HOT, w.CONTROLLER_HOT) and hit[0] == 0:
            begin = _fading_from(name, first, t, col, cause)
            faded = bool(t[at] - t[begin] > 0.3)
        kind = "brake_loss" if asked[at] < 0 else "cutout"
        end = float(t[min(stop, t.size - 1)])
        same = out and out[-1].cause == w.CAUSES[cause] and t[begin] - out[-1].end_s < RETRY_S
        if same:
            out[-1] = _until(out[-1], end)
            continue
        out.append(
            Loss(
                kind, float(t[begin]), end, w.CAUSES[cause], (name,),
                _followed(build, name, cause, first, stop, col), faded,
            )
        )  # fmt: skip
    return out


def _until(loss: Loss, end_s: float) -> Loss:
    from dataclasses import replace

    return replace(loss, end_s=max(loss.end_s, end_s))


def _fading_from(
    name: str, first: int, t: np.ndarray, col: dict[str, np.ndarray], cause: int
) -> int:
    words = {
        w.UNDERVOLTAGE: (w.BY_VOLTAGE,),
        w.MOTOR_HOT: (w.BY_MOTOR_HEAT,),
        w.CONTROLLER_HOT: (w.BY_CONTROLLER_HEAT,),
    }[cause]
    reduced = np.isin(col[f"{name}.governor"][:first], words)
    begin = first
    while begin > 0:
        window = reduced[max(0, begin - int(1.0 / (t[1] - t[0]))) : begin]
        last = np.flatnonzero(window)
        if last.size == 0:
            break
        begin = begin - window.size + int(last[0])
    return begin


def _followed(
    build: Build, name: str, cause: int, first: int, stop: int, col: dict[str, np.ndarray]
) -> tuple[str, ...]:
    spec = build.drive(name).controller
    volts = col[f"{name}.v_bus"][first:stop]
    out = []
    if cause != w.UNDERVOLTAGE and volts.min() < spec.stop_at_v:
        out.append("undervoltage_stop")
    if cause != w.OVERVOLTAGE and volts.max() > spec.overvoltage_v:
        out.append("overvoltage_trip")
    return tuple(out)


def _together(spans: list[Loss]) -> tuple[Loss, ...]:
    from dataclasses import replace

    out: list[Loss] = []
    for one in spans:
        for i, other in enumerate(out):
            near = abs(one.start_s - other.start_s) < TOGETHER_S
            inside = other.start_s <= one.start_s < other.end_s + RETRY_S
            if one.cause == other.cause and (near or inside):
                out[i] = replace(
                    other,
                    end_s=max(other.end_s, one.end_s),
                    drives=tuple(dict.fromkeys([*other.drives, *one.drives])),
                    consequences=tuple(dict.fromkeys([*other.consequences, *one.consequences])),
                )
                break
        else:
            out.append(one)
    return tuple(out)


def shares(
    build: Build, col: dict[str, np.ndarray], dt: float, sign: int
) -> tuple[dict[str, float] | None, float]:
    """Each drive's part while all drive (or brake) with a quarter of their summed limits [%]."""
    if len(build.drives) < 2:
        return None, 0.0
    amps = np.stack([sign * col[f"{d.name}.i_batt"] for d in build.drives])
    clean = np.all([col[f"{d.name}.block"] == 0 for d in build.drives], axis=0)
    field = "battery_drive_a" if sign > 0 else "battery_brake_a"
    need = 0.25 * sum(getattr(d.controller, field) for d in build.drives)
    on = clean & (amps > 0).all(axis=0) & (amps.sum(axis=0) >= need)
    load_s = float(on.sum() * dt)
    if load_s < 15.0:
        return None, load_s
    total = amps[:, on].sum()
    return {
        d.name: float(100 * amps[k, on].sum() / total) for k, d in enumerate(build.drives)
    }, load_s


def find_climbs(
    build: Build,
    road_at: np.ndarray,
    altitude: np.ndarray,
    t: np.ndarray,
    col: dict[str, np.ndarray],
) -> tuple[TrueClimb, ...]:
    """Climbs of the true road, by the contract's rule."""
    s = col["s_m"]
    last = np.searchsorted(road_at, s[-1])
    height, at = altitude[: last + 1], road_at[: last + 1]
    out = []
    for a, b in _rises(height):
        # Trimmed to where it really rises: flat ground before and after is no climb.
        while b > a + 1 and height[b] - height[b - 1] < 0.02 * (at[b] - at[b - 1]):
            b -= 1
        while b > a + 1 and height[a + 1] - height[a] < 0.02 * (at[a + 1] - at[a]):
            a += 1
        gain, length = height[b] - height[a], at[b] - at[a]
        if gain < 10.0 or gain / length < 0.02:
            continue
        i, j = np.searchsorted(s, [at[a], at[b]])
        j = min(j, t.size - 1)
        late = slice(i, min(j + int(60 / (t[1] - t[0])), t.size))
        top = {d.name: float(col[f"{d.name}.mot_c"][late].max()) for d in build.drives}
        out.append(
            TrueClimb(
                float(t[i]),
                float(t[j]),
                float(length),
                float(gain),
                float(100 * gain / length),
                top,
            )
        )
    return tuple(out)


def _rises(height: np.ndarray, dip_m: float = 2.0) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    low = high = 0
    for i in range(1, height.size):
        if height[i] > height[high]:
            high = i
        if height[high] - height[i] > dip_m:
            if high > low:
                out.append((low, high))
            low = high = i
        elif height[i] < height[low] and height[high] - height[low] <= dip_m:
            low = high = i
    if high > low:
        out.append((low, high))
    return out

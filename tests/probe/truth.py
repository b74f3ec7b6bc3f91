"""What each number of the ride's JSON should be, from what was true, by the contract's words.

Only the definitions are used (contract section 3, "what the numbers mean"): none of the
analyzer's methods.
"""

import numpy as np
from probe.run import DT_S, Run


def spans(times_s: np.ndarray, over: np.ndarray, shortest_s: float = 0.3, join_s: float = 1.0):
    """Spans of true samples, each lasting until the next: those less than `join_s` apart are one,
    then short ones go."""
    index = np.flatnonzero(over)
    if not len(index):
        return []
    step = float(np.median(np.diff(times_s)))
    cuts = np.flatnonzero(np.diff(times_s[index]) - step >= max(join_s, 1e-9))
    starts = np.concatenate([[0], cuts + 1])
    ends = np.concatenate([cuts, [len(index) - 1]])
    found = [
        (float(times_s[index[a]]), float(times_s[index[b]]) + step)
        for a, b in zip(starts, ends, strict=True)
    ]
    return [(a, b) for a, b in found if b - a >= shortest_s - 1e-9]


def totals(run: Run) -> dict[str, float]:
    """Distance, energy and charge of the whole ride, lights included."""
    amps, volts = run.col["pack_a"], run.col["pack_v"]
    watts = amps * volts
    return {
        "distance_m": float(run.col["x"][-1]),
        "energy_out_wh": float(np.maximum(watts, 0).sum() * DT_S / 3600),
        "energy_back_wh": float(np.maximum(-watts, 0).sum() * DT_S / 3600),
        "charge_out_ah": float(np.maximum(amps, 0).sum() * DT_S / 3600),
        "charge_back_ah": float(np.maximum(-amps, 0).sum() * DT_S / 3600),
    }


def pack(run: Run, rate_hz: float) -> dict[str, float]:
    """Resistances, rest voltages, charge and capacity."""
    cells = run.machine.cells
    soc, temp = float(run.col["soc"].mean()), float(run.col["temp_c"].mean())
    instant = cells.r0_ohm + sum(r * (1 - np.exp(-1 / rate_hz / tau)) for r, tau in cells.slow)
    return {
        "resistance_10s_ohm": cells.resistance_10s_ohm(soc, temp),
        "resistance_10s_25c_ohm": cells.resistance_10s_ohm(soc, 25.0),
        "resistance_instant_ohm": instant * cells.warm(temp),
        "temperature_c": temp,
        "rest_voltage_start_v": float(run.col["rest_v"][0]),
        "rest_voltage_end_v": float(run.col["rest_v"][-1]),
        "state_of_charge_start_pct": 100 * float(run.col["soc"][0]),
        "state_of_charge_end_pct": 100 * float(run.col["soc"][-1]),
        "capacity_ah": cells.capacity_ah,
    }


def drive_sum(run: Run) -> np.ndarray:
    """All drives' battery currents together, lights apart."""
    return sum(side["battery_a"] for side in run.side.values())


def shares(run: Run) -> dict[str, dict[str, float | None]]:
    """Each drive's part in per cent while they drive or brake together under load."""
    drives = run.machine.drives
    total = drive_sum(run)
    together = {
        "drive_pct": np.all([s["battery_a"] > 0 for s in run.side.values()], axis=0)
        & (total >= 0.25 * sum(d.battery_drive_a for d in drives.values())),
        "brake_pct": np.all([s["battery_a"] < 0 for s in run.side.values()], axis=0)
        & (-total >= 0.25 * sum(d.battery_brake_a for d in drives.values())),
    }
    got: dict[str, dict[str, float | None]] = {name: {} for name in drives}
    for way, rows in together.items():
        for name in drives:
            enough = rows.sum() * DT_S >= 15.0
            part = (
                100 * run.side[name]["battery_a"][rows].sum() / total[rows].sum()
                if enough
                else None
            )
            got[name][way] = part
    return got


def in_force(run: Run) -> dict[str, dict[str, float | None]]:
    """The current at which each drive saturates: where its own limit governed for 2 s or more."""
    got: dict[str, dict[str, float | None]] = {}
    for name, side in run.side.items():
        drive, by = side["demand"] > 0, side["governs"]
        rows = {
            "battery_drive_a": (drive & (by == "battery_limit"), side["battery_a"]),
            "phase_drive_a": (drive & (by == "phase_limit"), side["phase_a"]),
            "battery_brake_a": (~drive & (by == "battery_limit"), -side["battery_a"]),
            "phase_brake_a": (~drive & (by == "phase_limit"), -side["phase_a"]),
        }
        got[name] = {
            key: float(np.median(values[mask]))
            if mask.sum() * DT_S >= 2.0
            else (None if mask.sum() * DT_S < 0.2 else np.nan)
            for key, (mask, values) in rows.items()
        }
    return got


def mean_peaks(values: np.ndarray, windows_s: tuple[float, ...] = (1.0, 10.0, 60.0)) -> list[float]:
    """The highest mean over each window."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    peaks = []
    for width in windows_s:
        n = min(round(width / DT_S), len(values))
        peaks.append(float(((total[n:] - total[:-n]) / n).max()))
    return peaks


def limit_rows(run: Run, has_bms: bool) -> dict[str, tuple[float, list[float], str]]:
    """(set, [seen 1 s, 10 s, 60 s], role) of the currents' and temperatures' limits."""
    m, b = run.machine, run.machine.bms
    amps = run.col["pack_a"] if has_bms else drive_sum(run) + m.aux_a
    out, into = mean_peaks(amps), mean_peaks(-amps)
    rows = {
        "bms.discharge_rating_a": (b.discharge_rating_a, out, "rating"),
        "bms.charge_rating_a": (b.charge_rating_a, into, "rating"),
        "bms.discharge_trip_a": (b.discharge_trip_a, out, "trip"),
        "bms.charge_trip_a": (b.charge_trip_a, into, "trip"),
        "pack.discharge_rating_a": (m.discharge_rating_a, out, "rating"),
        "pack.charge_rating_a": (m.charge_rating_a, into, "rating"),
        "wiring.fuse_a": (m.fuse_a, out, "rating"),
    }
    for name, d in m.drives.items():
        side = run.side[name]
        rows |= {
            f"drives.{name}.phase_drive_a": (
                d.set_phase_drive_a or d.phase_drive_a,
                mean_peaks(side["phase_a"]),
                "limiter",
            ),
            f"drives.{name}.phase_brake_a": (
                d.phase_brake_a,
                mean_peaks(-side["phase_a"]),
                "limiter",
            ),
            f"drives.{name}.battery_drive_a": (
                d.set_battery_drive_a or d.battery_drive_a,
                mean_peaks(side["battery_a"]),
                "limiter",
            ),
            f"drives.{name}.battery_brake_a": (
                d.battery_brake_a,
                mean_peaks(-side["battery_a"]),
                "limiter",
            ),
            f"drives.{name}.motor_derate_c": (
                d.motor_derate_c,
                mean_peaks(side["motor_c"]),
                "heat",
            ),
            f"drives.{name}.motor_stop_c": (d.motor_stop_c, mean_peaks(side["motor_c"]), "heat"),
            f"drives.{name}.controller_derate_c": (
                d.controller_derate_c,
                mean_peaks(side["controller_c"]),
                "heat",
            ),
            f"drives.{name}.controller_stop_c": (
                d.controller_stop_c,
                mean_peaks(side["controller_c"]),
                "heat",
            ),
        }
    return {key: row for key, row in rows.items() if row[0] is not None}


def verdicts(role: str, part: float, slack: float = 0.01) -> set[str]:
    """The verdicts that stand for a seen/set ratio, within the reading's own accuracy."""
    edges = {
        "limiter": [(0.95, "not_reached"), (1.05, "works"), (9.0, "overshoots")],
    }.get(role, [(0.6, "not_exercised"), (0.95, "holds"), (1.02, "touched"), (9e9, "exceeded")])
    fit = set()
    for value in (part * (1 - slack), part, part * (1 + slack)):
        fit.add(next(word for edge, word in edges if value < edge or edge > 8))
    return fit


def one_second(values: np.ndarray) -> np.ndarray:
    """Means over the second before each step."""
    n = round(1.0 / DT_S)
    total = np.concatenate([np.zeros(n), np.cumsum(values)])
    return np.concatenate([values[: n - 1], (total[n:] - total[:-n])[n - 1 :] / n])


def climbs(run: Run) -> list[dict[str, float]]:
    """The contract's climbs with their extremes."""
    found = []
    amps, volts = one_second(run.col["pack_a"]), one_second(run.col["pack_v"])
    for a, b, gain in run.road.climbs():
        x = run.col["x"]
        rows = (x >= a) & (x <= b)
        if not rows.any() or x[-1] < b - 5:
            continue
        t = run.t_s[rows]
        d = next(iter(run.machine.drives.values()))
        low = float(volts[rows].min())
        found.append(
            {
                "start_s": float(t[0]),
                "end_s": float(t[-1]),
                "length_m": b - a,
                "gain_m": gain,
                "grade_pct": 100 * gain / (b - a),
                "peak_pack_current_a": float(amps[rows].max()),
                "mean_pack_current_a": float(run.col["pack_a"][rows].mean()),
                "min_voltage_v": low,
                "margin_to_derate_v": low - d.derate_from_v if d.derate_from_v else np.nan,
            }
        )
    return found

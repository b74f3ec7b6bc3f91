"""The events a ride holds, by the contract's definitions alone."""

import numpy as np
from probe.run import Run
from probe.truth import drive_sum, spans


def _rows(run: Run, rate_hz: float) -> np.ndarray:
    t = np.arange(0.0, run.t_s[-1], 1.0 / rate_hz)
    return np.minimum(np.round(t * 100).astype(int), len(run.t_s) - 1)


def over_rating(run: Run, rate_hz: float, gain: float = 1.0) -> dict[str, list[dict[str, float]]]:
    """Spans above the lower rating, driving and braking, of the drives' sum as sampled."""
    m, rows = run.machine, _rows(run, rate_hz)
    t, amps = run.t_s[rows], drive_sum(run)[rows] * gain
    out = {}
    for kind, sign, ratings in (
        ("discharge_over_rating", 1, (m.bms.discharge_rating_a, m.discharge_rating_a)),
        ("regen_over_rating", -1, (m.bms.charge_rating_a, m.charge_rating_a)),
    ):
        rating = min(r for r in ratings if r is not None)
        found = []
        for a, b in spans(t, sign * amps > rating):
            inside = (t >= a) & (t <= b)
            found.append(
                {
                    "start_s": a,
                    "end_s": b,
                    "peak": float(sign * (sign * amps[inside]).max()),
                    "rating": rating,
                }
            )
        out[kind] = found
    return out


def severity_over_rating(run: Run, kind: str, span: dict[str, float]) -> set[str]:
    """The severities the contract allows a span (two where it is too close to call)."""
    m, sign = run.machine, 1 if kind == "discharge_over_rating" else -1
    amps, rating = sign * drive_sum(run), span["rating"]
    t = run.t_s
    width = 3000
    total = np.concatenate([[0.0], np.cumsum(amps)])
    fits = set()
    a, b = np.searchsorted(t, [span["start_s"], span["end_s"]])
    for slack in (0.985, 1.0, 1.015):
        trip = m.bms.discharge_trip_a if sign > 0 else m.bms.charge_trip_a
        delay = m.bms.discharge_trip_delay_s if sign > 0 else m.bms.charge_trip_delay_s
        act = False
        if len(t) > width:
            mean = (total[width:] - total[:-width]) / width * slack
            touching = np.arange(len(mean))
            hit = (touching <= b) & (touching + width >= a)
            act |= bool((mean[hit] > rating).any())
        if trip is not None:
            held = spans(t, amps * slack + m.aux_a * (sign > 0) > trip, 0.0, 0.011)
            act |= any(
                y - x > 0.5 * delay for x, y in held if y >= span["start_s"] and x <= span["end_s"]
            )
        if sign < 0:
            act |= bool(run.col["soc"][a] > 0.95 + 0.03 * (1 - slack) / 0.015)
        if act:
            fits.add("act")
            continue
        busy = amps > 0.5
        share = (amps * slack > rating).sum() / max(busy.sum(), 1)
        long = span["end_s"] - span["start_s"] > 2.0 * slack
        high = abs(span["peak"]) * slack > 1.3 * rating
        fits.add("watch" if long or share > 0.1 * slack or high else "note")
    return fits


def sag(run: Run, rate_hz: float, off_v: float = 0.0) -> list[tuple[float, float]]:
    """Pack below the highest derate voltage while more than 2 A is drawn."""
    lines = [d.derate_from_v for d in run.machine.drives.values() if d.derate_from_v]
    if not lines:
        return []
    rows = _rows(run, rate_hz)
    low = (run.col["bus_v"][rows] < max(lines) + off_v) & (run.col["pack_a"][rows] > 2.0)
    return spans(run.t_s[rows], low)


def overvoltage(run: Run, rate_hz: float, off_v: float = 0.0) -> list[tuple[float, float]]:
    """Pack above series × full cell."""
    rows = _rows(run, rate_hz)
    high = run.col["bus_v"][rows] > run.machine.cells.series * run.machine.cells.full_v + off_v
    return spans(run.t_s[rows], high, 0.1)


def overheat(run: Run, rate_hz: float, off_c: float = 0.0) -> list[tuple[float, float]]:
    """A motor or controller above its derate temperature, else its stop."""
    rows = _rows(run, rate_hz)
    hot = np.zeros(len(rows), bool)
    for name, d in run.machine.drives.items():
        for line, key in (
            (d.motor_derate_c or d.motor_stop_c, "motor_c"),
            (d.controller_derate_c or d.controller_stop_c, "controller_c"),
        ):
            if line is not None:
                hot |= run.side[name][key][rows] > line + off_c
    return spans(run.t_s[rows], hot)


def stall(run: Run, rate_hz: float, walking_mps: float = 1.0) -> list[tuple[float, float]]:
    """Above 70 % of the phase limit for 1 s or longer below walking pace."""
    rows = _rows(run, rate_hz)
    stuck = np.zeros(len(rows), bool)
    for name, d in run.machine.drives.items():
        stuck |= (run.side[name]["phase_a"][rows] > 0.7 * d.phase_drive_a) & (
            run.col["v"][rows] < walking_mps
        )
    return spans(run.t_s[rows], stuck, 1.0)


def derated(run: Run, name: str) -> list[tuple[float, float]]:
    """Where derating took a fifth or more of what this drive was asked for and could give."""
    side, d = run.side[name], run.machine.drives[name]
    by = np.isin(side["governs"], ("voltage_derate", "motor_heat_derate", "controller_heat_derate"))
    asked = side["demand"] * d.phase_drive_a
    given = np.maximum(
        side["phase_a"] / np.maximum(asked, 1.0), side["battery_a"] / d.battery_drive_a
    )
    return spans(run.t_s, by & (given < 0.8) & (run.col["v"] > 2.0), 0.5)


def brake_faded(run: Run, name: str) -> list[tuple[float, float]]:
    """Where fading near a full pack took a fifth or more of this drive's braking."""
    side, d = run.side[name], run.machine.drives[name]
    asked = -side["demand"] * d.phase_brake_a
    given = np.maximum(
        -side["phase_a"] / np.maximum(asked, 1.0), -side["battery_a"] / d.battery_brake_a
    )
    rows = (side["governs"] == "brake_fade") & (given < 0.8) & (side["demand"] < -0.3)
    return spans(run.t_s, rows & (run.col["v"] > 2.8), 0.5)

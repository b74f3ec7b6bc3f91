"""The tool's answer against the truth, number by number."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from probe import events as true_events
from probe import truth
from probe.logger import Style
from probe.run import Run


@dataclass(frozen=True)
class Result:
    """One comparison: which quantity, right or not, and what was said against what was so."""

    quantity: str
    right: bool
    covered: bool | None
    detail: str


def _close(quantity: str, got: Any, want: float, rel: float, small: float) -> Result:
    ok = got is not None and abs(got - want) <= max(rel * abs(want), small)
    return Result(quantity, ok, None, f"said {got}, was {want:.4g}")


def _estimate(quantity: str, got: Any, want: float, rel: float, small: float = 0.0) -> Result:
    if got is None:
        return Result(quantity + " (null)", True, None, f"null, was {want:.4g}")
    covered = got["low"] <= want <= got["high"]
    near = abs(got["value"] - want) <= max(rel * abs(want), small)
    text = f"said {got['value']:.4g} [{got['low']:.4g}, {got['high']:.4g}], was {want:.4g}"
    return Result(quantity, near, covered, text)


def numbers(run: Run, answer: dict[str, Any], style: Style) -> Iterator[Result]:
    """Totals, pack, balance and in-force plateaus."""
    gain = style.current_gain
    for key, want in truth.totals(run).items():
        want *= 1.0 if key == "distance_m" else gain
        rel = 0.01 if key == "distance_m" else 0.03
        yield _close(key, answer["ride"][key], want, rel, 2.0 if key == "distance_m" else 0.01)
    near = {
        "resistance_10s_ohm": 0.1,
        "resistance_10s_25c_ohm": 0.25,
        "resistance_instant_ohm": 0.25,
        "rest_voltage_start_v": 0.015,
        "rest_voltage_end_v": 0.015,
        "capacity_ah": 0.1,
    }
    for key, want in truth.pack(run, style.rate_hz).items():
        got = answer["pack"][key]
        if key == "temperature_c":
            if style.bms != "none":
                yield _close(key, got, want, 0.0, 1.0)
            continue
        yield _estimate(key, got, want, near.get(key, 0.0), 8.0 if "charge" in key else 0.0)
    if len(run.side) > 1 and answer["balance"]["shares"]:
        for name, ways in truth.shares(run).items():
            for way, part in ways.items():
                got = answer["balance"]["shares"][name][way]
                if part is not None:
                    yield _estimate(f"shares.{way}", got, part, 0.0, 1.0)
    if len(run.side) > 1:
        wheels = [d.wheel for d in run.machine.drives.values()]
        if len(wheels) == 2:
            yield _estimate(
                "speed_ratio", answer["balance"]["speed_ratio"], wheels[1] / wheels[0], 0.004
            )
    for name, keys in truth.in_force(run).items():
        for key, want in keys.items():
            got = answer["balance"]["in_force"][name][key]
            if key.startswith("phase") and "phase_a" not in style.channels:
                continue
            if want is None:
                yield Result(
                    f"in_force.{key} none",
                    got is None,
                    None,
                    f"{name}: said {got}, never saturated",
                )
            elif not np.isnan(want):
                want *= gain if key.startswith("battery") else 1.0
                if style.rate_hz < 5:
                    continue  # too few samples to see a plateau by
                if got is None:
                    yield Result(f"in_force.{key}", False, None, f"{name}: null, was {want}")
                else:
                    yield _estimate(f"in_force.{key}", got, want, 0.02)


def limits(run: Run, answer: dict[str, Any], style: Style) -> Iterator[Result]:
    """Each limits row: the three windows and the verdict."""
    rows = {row["limit"]: row for row in answer["limits"]}
    for key, (line, peaks, role) in truth.limit_rows(
        run, style.bms != "none" and style.bms_hz >= 5
    ).items():
        name = key.split(".")[-1]
        row = rows.get(key)
        logged = {"phase": "phase_a", "motor": "motor_c", "contr": "controller_c"}.get(
            name[:5].rstrip("_")
        )
        if logged is not None and logged not in style.channels:
            continue
        if name in run.machine.hide or key in run.machine.hide:
            continue
        if row is None and peaks[0] < 0.05 * line:
            continue  # a way that was never gone may be left out
        if row is None:
            yield Result("limits row there", False, None, key)
            continue
        heat = role == "heat"
        # slower than 5 Hz a peak is a sample's, not a second's
        near = 0.02 if style.rate_hz >= 5 else 0.12
        for field, want in zip(("seen", "seen_10s", "seen_60s"), peaks, strict=True):
            want *= 1.0 if heat or name.startswith("phase") else style.current_gain
            if want > 0.1 * line or heat:
                yield _close(
                    f"limits.{field}", row[field], want, near, 1.0 if heat else 0.01 * line
                )
        if heat:
            start = run.side[key.split(".")[1]][{"m": "motor_c"}.get(name[0], "controller_c")][0]
            fits = truth.verdicts(role, (peaks[0] - start) / (line - start), 0.03)
        else:
            slack = max(0.01, near / 2)
            fits = truth.verdicts(role, peaks[0] / line, slack) | truth.verdicts(
                role, peaks[0] / line * style.current_gain, slack
            )
        yield Result(
            "limits.verdict",
            row["verdict"] in fits,
            None,
            f"{key}: {row['verdict']}, {peaks[0]:.4g} of {line} wants {sorted(fits)}",
        )
        yield Result("limits.role", row["role"] == role, None, f"{key}: {row['role']}")


def _outside(said: list[dict], spans: list[tuple[float, float]], slack: float) -> list[dict]:
    """The events that touch none of these spans."""
    return [
        e
        for e in said
        if not any(e["start_s"] <= b + slack and e["end_s"] >= a - slack for a, b in spans)
    ]


def _match(
    kind: str, said: list[dict], so: list[dict[str, float]], slack: float
) -> Iterator[Result]:
    free = list(said)
    for want in so:
        hit = next(
            (
                e
                for e in free
                if abs(e["start_s"] - want["start_s"]) <= slack
                and abs(e["end_s"] - want["end_s"]) <= slack
            ),
            None,
        )
        where = f"{want['start_s']:.2f}–{want['end_s']:.2f}"
        if hit is None:
            others = [(e["start_s"], e["end_s"]) for e in said]
            yield Result(f"{kind} found", False, None, f"{where} not among {others[:6]}")
            continue
        free.remove(hit)
        yield Result(f"{kind} found", True, None, where)
        if "peak" in want:
            yield _close(f"{kind} peak", hit["peak"]["value"], want["peak"], 0.02, 0.3)
        if "severity" in want:
            yield Result(
                f"{kind} severity",
                hit["severity"] in want["severity"],
                None,
                f"{where}: {hit['severity']}, wants {want['severity']}",
            )
    for extra in free:
        yield Result(
            f"{kind} invented", False, None, f"{extra['start_s']:.2f}–{extra['end_s']:.2f}"
        )


def spans_of(run: Run, answer: dict[str, Any], style: Style) -> Iterator[Result]:
    """Events that are spans beyond a line."""
    said: dict[str, list[dict]] = {}
    for event in answer["events"]:
        said.setdefault(event["kind"], []).append(event)
    rate, slack = style.rate_hz, max(1.5 / style.rate_hz, 0.25)
    for kind, spans in true_events.over_rating(run, rate, style.current_gain).items():
        sure = [
            s
            for s in spans
            if s["end_s"] - s["start_s"] >= 0.3 + 2 / rate and abs(s["peak"]) > 1.02 * s["rating"]
        ]
        for s in sure:
            s["severity"] = true_events.severity_over_rating(run, kind, s)
        wide = true_events.over_rating(run, rate, 1.03 * style.current_gain)[kind]
        maybe = [
            (s["start_s"], s["end_s"])
            for s in wide
            if not any(q["start_s"] <= s["end_s"] and q["end_s"] >= s["start_s"] for q in sure)
        ]
        yield from _match(kind, _outside(said.get(kind, []), maybe, slack), sure, slack)
    step_v = 0.006 * run.machine.cells.series * 4.0
    for kind, must, may in (
        ("sag", true_events.sag(run, rate, -step_v), true_events.sag(run, rate, step_v)),
        (
            "overvoltage",
            true_events.overvoltage(run, rate, step_v),
            true_events.overvoltage(run, rate, -step_v),
        ),
        ("overheat", true_events.overheat(run, rate, 1.0), true_events.overheat(run, rate, -1.0)),
        ("stall", true_events.stall(run, rate, 0.95), true_events.stall(run, rate, 1.6)),
    ):
        if kind == "overheat" and "motor_c" not in style.channels:
            continue
        if kind == "stall" and "phase_a" not in style.channels:
            continue
        for a, b in must:
            if b - a < (1.2 if kind == "stall" else 0.3) + 2 / rate:
                continue
            hit = any(e["start_s"] < b and e["end_s"] > a for e in said.get(kind, []))
            yield Result(
                f"{kind} found", hit, None, f"{a:.2f}–{b:.2f}, said {len(said.get(kind, []))}"
            )
        for e in _outside(said.get(kind, []), may, slack):
            yield Result(f"{kind} invented", False, None, f"{e['start_s']:.2f}–{e['end_s']:.2f}")
    for name in run.side:
        if "demand" not in style.channels or rate < 5:
            break
        for a, b in true_events.derated(run, name):
            if b - a < 1.5:
                continue
            hit = any(
                e["start_s"] <= b and e["end_s"] >= a and name in e["drives"]
                for kind in ("power_reduced", "cutout")
                for e in said.get(kind, [])
            )
            yield Result("derating found", hit, None, f"{name} {a:.1f}–{b:.1f}")
        for e in said.get("power_reduced", []):
            first = e["causes"][0]["cause"] if e["causes"] else None
            if name in e["drives"] and first in (
                "voltage_derate",
                "motor_heat_derate",
                "controller_heat_derate",
            ):
                by = run.side[name]["governs"][(run.t_s >= e["start_s"]) & (run.t_s <= e["end_s"])]
                yield Result(
                    "derating cause",
                    bool((by == first).any()),
                    None,
                    f"{name} {first} {e['start_s']:.1f}–{e['end_s']:.1f}",
                )


def climbs(run: Run, answer: dict[str, Any], gain: float = 1.0) -> Iterator[Result]:
    """Climbs found, their length and extremes."""
    so, said = truth.climbs(run), answer["climbs"]
    x, t = run.col["x"], run.t_s
    height = run.road.height_at(x)
    edge = 0.15 if any(c["grade_source"] == "estimated" for c in said) else 0.06
    sure = [c for c in so if c["gain_m"] > 10.0 * (1 + edge)]
    rises = [float(np.diff(np.interp([c["start_s"], c["end_s"]], t, height))[0]) for c in said]
    invented = sum(rise < 10.0 * (1 - edge) for rise in rises)
    met = [any(c["start_s"] < w["end_s"] and c["end_s"] > w["start_s"] for c in said) for w in so]
    yield Result(
        "climbs count",
        not invented and all(hit for hit, w in zip(met, so, strict=True) if w in sure),
        None,
        f"said {[(round(c['start_s']), round(c['end_s'])) for c in said]}, "
        f"was {[(round(c['start_s']), round(c['end_s'])) for c in so]}",
    )
    for want in so:
        hit = next(
            (c for c in said if c["start_s"] < want["end_s"] and c["end_s"] > want["start_s"]), None
        )
        if hit is None:
            continue
        estimated = hit["grade_source"] == "estimated"
        yield _close("climb length", hit["length_m"], want["length_m"], 0.15, 20.0)
        yield _close("climb gain", hit["gain_m"], want["gain_m"], 0.25 if estimated else 0.12, 2.0)
        rise, run_m = (
            float(np.diff(np.interp([hit["start_s"], hit["end_s"]], t, one))[0])
            for one in (height, x)
        )
        grade = 100.0 * rise / max(run_m, 1.0)
        yield _estimate("climb grade", hit["grade_pct"], grade, 0.0, 1.0 if estimated else 0.4)
        for key in ("start_s", "end_s"):
            ends = np.interp([hit[key], want[key]], t, x)
            yield _close(f"climb {key} (m)", float(ends[0]), float(ends[1]), 0.0, 30.0)
        # a foot a few metres further may have a stop in it: currents over the stretch it tells of
        rows = (t >= hit["start_s"]) & (t <= hit["end_s"])
        amps = run.col["pack_a"] * gain
        volts = truth.one_second(run.col["pack_v"])[rows]
        top = float(truth.one_second(amps)[rows].max())
        yield _close("climb peak_pack_current_a", hit["peak_pack_current_a"], top, 0.05, 1.5)
        mean = float(amps[rows].mean())
        yield _close("climb mean_pack_current_a", hit["mean_pack_current_a"], mean, 0.05, 0.5)
        low = float(volts.min())
        yield _close("climb min_voltage_v", hit["min_voltage_v"], low, 0.01, 0.0)
        d = next(iter(run.machine.drives.values()))
        if d.derate_from_v:
            margin = low - d.derate_from_v
            yield _close("climb margin", hit["margin_to_derate_v"], margin, 0.05, 0.4)


def losses(answer: dict[str, Any], expected: list[tuple[str, str, float]]) -> Iterator[Result]:
    """Losses: each `(kind, cause, at s)` found within 1 s, its cause first; none besides."""
    said = [e for e in answer["events"] if e["kind"] in ("cutout", "brake_loss")]
    free = list(said)
    for kind, cause, at in expected:
        hit = min(
            (e for e in free if abs(e["start_s"] - at) <= 1.0),
            key=lambda e: abs(e["start_s"] - at),
            default=None,
        )
        if hit is None:
            yield Result(
                f"{kind} found",
                False,
                None,
                f"{cause} at {at:.2f}, not among {[(e['kind'], e['start_s']) for e in said]}",
            )
            continue
        free.remove(hit)
        yield Result(f"{kind} found", True, None, cause)
        yield Result("loss kind", hit["kind"] == kind, None, f"{cause}: {hit['kind']}, was {kind}")
        yield Result(
            "loss time within 0.2 s",
            abs(hit["start_s"] - at) <= 0.2,
            None,
            f"{cause}: {hit['start_s'] - at:+.2f} s",
        )
        ranked = [(c["cause"], round(c["probability"], 2)) for c in hit["causes"]]
        first = ranked[0] if ranked else ("", 0.0)
        yield Result("cause first", first[0] == cause, None, f"{cause}: {ranked[:3]}")
        yield Result(
            "wrong and sure (0.6)",
            first[0] == cause or first[1] < 0.6,
            None,
            f"{cause}: {ranked[:3]}",
        )
    for e in free:
        cause = e["causes"][0]["cause"] if e["causes"] else None
        yield Result(
            "false loss", False, None, f"{e['kind']} at {e['start_s']:.2f}–{e['end_s']:.2f} {cause}"
        )
    if not free:
        yield Result("false loss", True, None, "")


def shape(answer: dict[str, Any]) -> Iterator[Result]:
    """What holds for any answer: keys, sums, notes for nulls."""
    top = {
        "schema",
        "ride",
        "pack",
        "balance",
        "events",
        "limits",
        "not_checked",
        "climbs",
        "notes",
    }
    yield Result("top keys", set(answer) == top, None, str(set(answer) ^ top))
    for event in answer["events"]:
        total = sum(c["probability"] for c in event["causes"])
        ok = not event["causes"] or abs(total - 1) < 0.011
        yield Result("causes sum to 1", ok, None, f"{event['kind']} {total:.3f}")
        if event["kind"] in ("cutout", "brake_loss"):
            yield Result(
                "unknown among causes",
                any(c["cause"] == "unknown" for c in event["causes"]),
                None,
                event["kind"],
            )
        yield Result("start before end", event["start_s"] <= event["end_s"], None, str(event)[:80])
    about = " ".join(note["about"] for note in answer["notes"])
    for key, value in answer["pack"].items():
        if value is None:
            yield Result("null has a note", f"pack.{key}" in about, None, f"pack.{key}")
    if answer["balance"]["verdict"] == "not_enough_load":
        yield Result("null has a note", "balance" in about, None, "balance")

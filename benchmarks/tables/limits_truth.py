"""Prints, on made rides whose truth is known: how near the limits found in force are, how often a
plateau is claimed that is none, shares of the load against the truth and how often their intervals
hold it, and how often the verdict on each limit is the one the true currents, voltages and
temperatures earn by the contract's words.

    PYTHONPATH=.:tests python benchmarks/tables/limits_truth.py [RIDES] [--first SEED] [--wrong]
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from analyzer.limits import judge
from analyzer.ride_analysis import RideResult, analyse_ride
from simulator import words as w
from simulator.random_builds import cruising_mps, random_build, steady_grade
from simulator.rider import Rider
from simulator.simulate import SimRide, simulate
from simulator.terrain import hilly
from simulator.truth import rest_pack_v

KEYS = ("battery_drive_a", "phase_drive_a", "battery_brake_a", "phase_brake_a")
LEANED_S, NEVER_S = 3.0, 0.3
"""A limit governed for this long must be found; for less than the other must not."""


def random_sim(seed: int) -> SimRide:
    """A ride of 5 to 15 min of a random build; on some one side's limit is not what is said."""
    rng = np.random.default_rng([77, seed])
    build = random_build(rng, drives=2)
    mps = cruising_mps(build)
    if rng.random() < 0.4:
        side, key = int(rng.integers(2)), str(rng.choice(["battery_drive_a", "phase_drive_a"]))
        spec = build.drives[side]
        said = getattr(spec.controller, key)
        real = replace(spec.controller, **{key: round(said * rng.uniform(0.75, 0.93), 1)})
        spec = replace(spec, controller=real, said={key: said})
        build = replace(
            build, drives=tuple(spec if k == side else d for k, d in enumerate(build.drives))
        )
    grade = 100 * steady_grade(build, mps, rng.uniform(0.5, 1.15))
    road = hilly(rng.uniform(2000, 5000), seed=seed, steepest_pct=float(np.clip(grade, 2.5, 14)))
    rider = Rider(
        cruise_mps=mps * rng.uniform(0.9, 1.3), stops_every_m=rng.uniform(300, 900),
        max_demand=float(rng.choice([0.7, 1.0, 1.0])), brake_mps2=rng.uniform(0.7, 1.8),
    )  # fmt: skip
    return simulate(
        build, road, rider, seed=seed, rate_hz=float(rng.choice([10, 20, 50])),
        soc=rng.uniform(0.45, 0.97), temp_c=rng.uniform(2, 30), own_cells=bool(rng.random() < 0.5),
    )  # fmt: skip


def governed_s(sim: SimRide, drive: str, key: str) -> float:
    """Seconds this limit really governed."""
    dt = float(sim.t[1] - sim.t[0])
    code = w.BY_BATTERY if key.startswith("battery") else w.BY_PHASE
    way = 1 if "drive" in key else -1
    asked = sim.col[f"{drive}.asked"]
    return float(((sim.col[f"{drive}.governor"] == code) & (way * asked > 0)).sum() * dt)


def shown_a(sim: SimRide, drive: str, key: str, true: float) -> float:
    """What the controller's own reading says at its limit: gain and offset of battery current."""
    if key.startswith("phase"):
        return true
    way = 1 if "drive" in key else -1
    gain, offset = (
        sim.sensors.current_gain.get(drive, 1),
        sim.sensors.current_offset_a.get(drive, 0),
    )
    return gain * true + way * offset


def mean_1s(values: np.ndarray, sim: SimRide) -> np.ndarray:
    size = round(1.0 / float(sim.t[1] - sim.t[0]))
    total = np.concatenate([[0.0], np.cumsum(values)])
    return (total[size:] - total[:-size]) / size


def true_used_pct(sim: SimRide, limit: str, value: float) -> float | None:
    """How much of the limit the true quantity used, by the contract; None where it has no way."""
    col, series = sim.col, sim.build.cells.series
    if not limit.startswith("drives."):
        sign = -1 if ".charge" in limit else 1
        if limit.endswith("_a"):
            amps = sum(col[f"{n}.i_batt"] for n in sim.drives) + sim.build.cells.aux_a
            amps = np.abs(amps) if limit.startswith("wiring") else sign * amps
            return 100 * max(float(mean_1s(amps, sim).max()), 0.0) / value
        return None
    _, drive, key = limit.split(".")
    if key in KEYS:
        name = "i_batt" if key.startswith("battery") else "i_phase"
        sign = 1 if "drive" in key else -1
        return 100 * max(float(mean_1s(sign * col[f"{drive}.{name}"], sim).max()), 0.0) / value
    if key.endswith("_c"):
        seen = float(mean_1s(col[f"{drive}.{'mot' if 'motor' in key else 'ctrl'}_c"], sim).max())
        return 100 * max((seen - sim.ambient_c) / (value - sim.ambient_c), 0.0)
    rest = mean_1s(rest_curve(sim), sim)
    volts = mean_1s(col[f"{drive}.v_bus"], sim)
    way = value - rest
    with np.errstate(divide="ignore", invalid="ignore"):
        used = np.where(np.abs(way) >= 0.1 * series, (volts - rest) / way, np.nan)
    at = int(np.argmin(volts) if "over" not in key else np.argmax(volts))
    return 100 * max(float(np.nanmax(used)), 0.0) if np.isfinite(used[at]) else None


def rest_curve(sim: SimRide) -> np.ndarray:
    soc = sim.col["soc"]
    grid = np.linspace(soc.min() - 1e-6, soc.max() + 1e-6, 80)
    return np.interp(soc, grid, [rest_pack_v(sim.build.cells, float(z)) for z in grid])


@dataclass
class Figures:
    """What came out over many made rides."""

    errors: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    """Plateau over truth less one, by key."""
    as_read: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    """The same against what the controller's own reading shows at its limit."""
    hits: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    """found, missed, false, silent; by key."""
    right: dict[str, Counter[bool]] = field(default_factory=lambda: defaultdict(Counter))
    share_error: list[float] = field(default_factory=list)
    covered: Counter[bool] = field(default_factory=Counter)
    judged: Counter[str] = field(default_factory=Counter)
    planted: Counter[str] = field(default_factory=Counter)

    @property
    def verdicts(self) -> Counter[bool]:
        return sum(self.right.values(), Counter())


def measure(seeds: Iterable[int], *, wrong: bool = False) -> Figures:
    """Analyses one made ride for each seed and compares with what was true."""
    out = Figures()
    for seed in seeds:
        sim = random_sim(seed)
        if sim.truth.losses:
            continue
        result = analyse_ride(sim.ride, sim.setup)
        count_plateaus(out, sim, result, seed if wrong else None)
        count_verdicts(out, sim, result, seed if wrong else None)
        count_balance(out, sim, result)
    return out


def count_plateaus(out: Figures, sim: SimRide, result: RideResult, name: int | None) -> None:
    for found in result.in_force:
        for key in KEYS:
            held, true = governed_s(sim, found.drive, key), sim.truth.in_force[found.drive][key]
            seen = getattr(found, key)
            if held >= LEANED_S:
                out.hits[key]["found" if seen else "missed"] += 1
            elif held <= NEVER_S:
                out.hits[key]["false" if seen else "silent"] += 1
            told = f"true {true} {held:.1f} s"
            if seen:
                out.errors[key].append(seen.value / true - 1)
                out.as_read[key].append(seen.value / shown_a(sim, found.drive, key, true) - 1)
                if name is not None and (held <= NEVER_S or abs(seen.value / true - 1) > 0.02):
                    print(f"  {name} {found.drive} {key} {seen.value:.2f} {told}")
            elif name is not None and held >= LEANED_S:
                print(f"  {name} {found.drive} {key} missed, {told}")


def count_verdicts(out: Figures, sim: SimRide, result: RideResult, name: int | None) -> None:
    for check in result.limits:
        used = true_used_pct(sim, check.limit, check.set)
        if used is None:
            continue
        good = judge(check.role, used) is check.verdict
        out.right[check.limit.rsplit(".", 1)[-1]][good] += 1
        if name is not None and not good:
            told = f"{check.exercised_pct:.1f}" if check.exercised_pct is not None else "-"
            print(f"  {name} {check.limit} {check.verdict.value} {told} true {used:.1f}")


def count_balance(out: Figures, sim: SimRide, result: RideResult) -> None:
    balance, truth = result.balance, sim.truth
    if balance is None or truth.drive_shares_pct is None:
        return
    for share in balance.shares:
        if share.drive_pct is None:
            continue
        true = truth.drive_shares_pct[share.drive]
        out.share_error.append(abs(share.drive_pct.value - true))
        out.covered[share.drive_pct.low <= true <= share.drive_pct.high] += 1
    uneven = max(abs(v - 50) for v in truth.drive_shares_pct.values()) > 3
    out.judged[f"{'uneven' if uneven else 'even'} judged {balance.verdict.value}"] += 1
    lies = [(d.name, k) for d in sim.build.drives for k in d.said]
    if lies and balance.causes and governed_s(sim, *lies[0]) >= LEANED_S:
        out.planted[balance.causes[0].cause] += 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=60)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--wrong", action="store_true", help="name each miss")
    args = parser.parse_args()
    out = measure(range(args.first, args.first + args.rides), wrong=args.wrong)
    print("limits in force: error [%] median, 90th percentile; found/missed, false/silent")
    for key in KEYS:
        h = out.hits[key]
        if not out.errors[key]:
            print(f"  {key:16s} none found, {h['missed']} missed, {h['silent']} silent")
            continue
        e, read = (100 * np.abs(x[key]) for x in (out.errors, out.as_read))
        print(
            f"  {key:16s} {np.median(e):5.2f} {np.percentile(e, 90):5.2f}  within 2 %:"
            f" {np.mean(e <= 2):.0%} (against the reading's own scale {np.mean(read <= 2):.0%})"
            f"   {h['found']}/{h['missed']}  {h['false']}/{h['silent']}"
        )
    print(f"verdicts right: {rate(out.verdicts)}")
    for kind, count in sorted(out.right.items()):
        print(f"  {kind:22s} {rate(count)}")
    if out.share_error:
        print(
            f"share: error median {np.median(out.share_error):.2f}, 90th percentile"
            f" {np.percentile(out.share_error, 90):.2f} points; interval holds {rate(out.covered)}"
        )
    print("balance:", dict(out.judged))
    print("settings not in force, leaned on, uneven; first cause:", dict(out.planted))


def rate(count: Counter[bool]) -> str:
    return f"{count[True] / max(count.total(), 1):.1%} of {count.total()}"


if __name__ == "__main__":
    main()

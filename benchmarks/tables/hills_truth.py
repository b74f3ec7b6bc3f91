"""Climbs, grades and road load against simulated rides whose truth is known.

    python benchmarks/tables/hills_truth.py [rides]

Prints, for rides with height (GPS, 1 Hz, 3 m noise) and the same rides without it: climbs found
and invented, grade error, cover of the 95 % interval; then rolling coefficient and drag area.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from analyzer.climbs import find_climbs
from analyzer.predict import even_hill, predict_hill
from analyzer.ride_analysis import analyse_ride
from analyzer.road import find_roads
from analyzer.road_load import fit_road_load
from simulator.build import example_trike
from simulator.random_builds import cruising_mps, random_build
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import SimRide, simulate
from simulator.terrain import flat, from_pieces, hilly


def make(seed: int, *, level: bool = False) -> SimRide:
    """One ride on a road of its own; every third with a random build."""
    rng = np.random.default_rng(seed)
    build = example_trike()
    if seed % 3 == 0:
        build = random_build(rng)
    names = [d.name for d in build.drives]
    sensors = Sensors.usual(rng, names).but(gps_alt_sd_m=3.0)
    road = (
        flat(5000, seed=seed)
        if level
        else hilly(rng.uniform(4000, 9000), seed=seed, steepest_pct=rng.uniform(5.0, 10.0))
    )
    rider = Rider(cruise_mps=min(rng.uniform(5.0, 8.5), cruising_mps(build)))
    return simulate(
        build, road, rider, seed=seed, rate_hz=10.0, soc=0.9, temp_c=rng.uniform(8, 28),
        sensors=sensors, wind_mps=rng.normal(0, 0.7),
    )  # fmt: skip


def match(climbs, true_climbs):
    """Pairs of a true climb and the found one that shares most of its time."""
    pairs = []
    for truth in true_climbs:
        best, most = None, 0.0
        for one in climbs:
            shared = min(one.end_s, truth.end_s) - max(one.start_s, truth.start_s)
            if shared > most:
                best, most = one, shared
        whole = most > 0.5 * (truth.end_s - truth.start_s)
        pairs.append((truth, best if whole else None))
    return pairs


def true_grade(sim: SimRide, climb) -> float:
    """The road's mean grade between the found climb's own ends."""
    s = np.interp([climb.start_s, climb.end_s], sim.t, sim.col["s_m"])
    z = np.interp(s, sim.road.at_m, sim.road.altitude_m)
    return 100 * float(z[1] - z[0]) / max(float(s[1] - s[0]), 1e-9)


def row(name: str, sims: list[SimRide], with_height: bool) -> None:
    total = found = invented = 0
    errors, own, covered = [], [], []
    for sim in sims:
        ride = sim.ride
        if not with_height:
            gps = ("altitude_m", "latitude_deg", "longitude_deg", "gps_speed_mps", "course_deg")
            ride = type(ride)(
                ride.table.drop(columns=[c for c in gps if c in ride.table.columns]),
                ride.drives, ride.sources, ride.start, ride.facts,
            )  # fmt: skip
        climbs, _ = find_climbs(ride, sim.setup)
        pairs = match(climbs, sim.truth.climbs)
        total += len(pairs)
        used = [c for _, c in pairs if c is not None]
        found += len(used)
        for c in climbs:
            if true_grade(sim, c) < 1.0:
                invented += 1
        for truth, c in pairs:
            if c is None:
                continue
            errors.append(abs(c.grade_pct.value - truth.grade_pct))
            mine = true_grade(sim, c)
            own.append(abs(c.grade_pct.value - mine))
            covered.append(c.grade_pct.low <= mine <= c.grade_pct.high)
    print(
        f"{name:24s} found {found}/{total}  invented {invented}  "
        f"grade error median {np.median(errors):.2f} (own ends {np.median(own):.2f}, "
        f"90th {np.quantile(own, 0.9):.2f}) points  covered {100 * np.mean(covered):.1f} %"
    )


def rolling_and_drives(sim: SimRide) -> float:
    """What really holds the vehicle back at its usual speed, air apart, over its weight: tyres,
    the motors' own drag and their controllers' standby."""
    moving = sim.col["v_mps"][sim.col["v_mps"] > 1.0]
    speed = float(np.median(moving))
    to_wheel = sim.build.body.gear_ratio / (sim.build.body.wheel_diameter_m / 2)
    drag = sum(
        (d.motor.drag0 + d.motor.drag1 * speed * to_wheel) * to_wheel
        + d.controller.standby_w / speed
        for d in sim.build.drives
    )
    return sim.truth.crr + drag / (sim.mass_kg * 9.80665)


def load_rows(sims: list[SimRide]) -> None:
    errors = {"rolling": [], "drag": []}
    covered = {"rolling": [], "drag": []}
    fitted = {"rolling": 0, "drag": 0}
    for sim in sims:
        load = fit_road_load(sim.ride, sim.setup, find_roads(sim.ride, sim.setup))
        for name, one, truth in (
            ("rolling", load.rolling_coefficient, rolling_and_drives(sim)),
            ("drag", load.drag_area_m2, sim.truth.cda_m2),
        ):
            covered[name].append(one.estimate.low <= truth <= one.estimate.high)
            if one.fitted:
                fitted[name] += 1
                errors[name].append(one.estimate.value / truth - 1)
    for name in errors:
        e = np.array(errors[name]) * 100
        print(
            f"{name:8s} told by {fitted[name]}/{len(sims)} rides: error median "
            f"{np.median(np.abs(e)) if e.size else float('nan'):.1f} %, bias "
            f"{np.median(e) if e.size else float('nan'):+.1f} %; interval covers "
            f"{100 * np.mean(covered[name]):.1f} % of all"
        )


def exercising(seed: int, height_sd_m: float) -> SimRide:
    """A ride that exercises rolling and drag: slow and fast stretches by turns."""
    rng = np.random.default_rng(seed)
    build = example_trike()
    sensors = Sensors.usual(rng, ["left", "right"]).but(gps_alt_sd_m=height_sd_m)
    paces = tuple((900.0 * k, 3.5 if k % 2 else 10.5) for k in range(12))
    road = hilly(9000.0, seed=seed, steepest_pct=4.0, bends=False)
    return simulate(
        build, road, Rider(cruise_mps=8.0, paces=paces), seed=seed, rate_hz=10.0, soc=0.95,
        temp_c=18.0, sensors=sensors, wind_mps=rng.normal(0, 0.5),
    )  # fmt: skip


def predict_rows(count: int) -> None:
    """One ride to fit, then a hill of its own that the fit never saw."""
    peak, volts, heat = [], [], []
    inside = {"peak": [], "volts": [], "heat": []}
    chances: list[tuple[float, bool]] = []
    for seed in range(501, 501 + count):
        sim = make(seed)
        fitted = analyse_ride(sim.ride, sim.setup)
        rng = np.random.default_rng(seed + 7)
        grade, length = rng.uniform(3.0, 8.0), rng.uniform(250.0, 700.0)
        charge, temp = rng.uniform(35.0, 85.0), rng.uniform(8.0, 28.0)
        speed = sim.rider.cruise_mps * rng.uniform(0.7, 1.0)
        road = from_pieces([(40.0, 0.0), (length, grade), (60.0, 0.0)])
        held = simulate(
            sim.build, road, Rider(cruise_mps=speed, stops_every_m=1e6, speed_wander=0.02),
            seed=seed + 9, rate_hz=10.0, soc=charge / 100, temp_c=temp, sensors=Sensors.perfect(),
        )  # fmt: skip
        on = (held.col["s_m"] > 50.0) & (held.col["s_m"] < 40.0 + length)
        if on.sum() < 500 or held.col["s_m"].max() < 40.0 + length:
            continue
        one_s = round(1.0 / (held.t[1] - held.t[0]))
        mean = np.ones(one_s) / one_s
        amps = np.convolve(held.col["i_pack"], mean, "same")[on]
        bus = np.convolve(held.col["v_bus"], mean, "same")[on]
        late = np.flatnonzero(on)[-1] + 60 * one_s
        top = max(held.col[f"{d}.mot_c"][np.flatnonzero(on)[0] : late].max() for d in held.drives)
        entry = float(held.col["v_mps"][on][0])
        hill = even_hill(grade, length, charge, temp, max(entry, speed * 0.9))
        said = predict_hill(sim.setup, [fitted], hill, seed=seed)
        pack = next(
            r
            for r in said.limits
            if r.limit in ("pack.discharge_rating_a", "bms.discharge_rating_a")
        )
        assert pack.expected_peak is not None
        # the model is entered at speed: the simulated rider's push at the foot is not the hill
        steady = slice(int(0.2 * amps.size), None)
        true = (float(amps[steady].max()), float(bus[steady].min()), float(top))
        told = (pack.expected_peak, said.lowest_voltage_v, said.motor_temp_top_c)
        peak.append(told[0].value / true[0] - 1)
        volts.append(told[1].value / true[1] - 1)
        inside["peak"].append(told[0].low <= true[0] <= told[0].high)
        inside["volts"].append(told[1].low <= true[1] <= told[1].high)
        if told[2] is not None:
            heat.append(told[2].value - true[2])
            inside["heat"].append(told[2].low <= true[2] <= told[2].high)
        chances += [(r.chance_touched_pct / 100, true[0] >= 0.95 * r.set) for r in (pack,)]
    for name, e, unit in (
        ("peak current", np.array(peak) * 100, "%"),
        ("lowest voltage", np.array(volts) * 100, "%"),
        ("top temperature", np.array(heat), "K"),
    ):
        key = {"peak current": "peak", "lowest voltage": "volts", "top temperature": "heat"}[name]
        print(
            f"predict, {name:16s} {e.size} hills: error median {np.median(np.abs(e)):.2f} {unit}, "
            f"90th {np.quantile(np.abs(e), 0.9):.2f} {unit}, bias {np.median(e):+.2f} {unit}, "
            f"interval covers {100 * np.mean(inside[key]):.0f} %"
        )
    said_yes = np.array([c for c, _ in chances])
    was = np.array([w for _, w in chances])
    print(
        f"predict, chance of the discharge rating touched: said {100 * said_yes.mean():.0f} % in "
        f"the mean, was {100 * was.mean():.0f} %; Brier score {np.mean((said_yes - was) ** 2):.3f}"
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    sims = [make(seed) for seed in range(1, count + 1)]
    level = [make(seed, level=True) for seed in range(1001, 1001 + max(count // 4, 4))]
    row("with height", sims, True)
    row("without height", sims, False)
    for name, with_height in (("flat, with height", True), ("flat, without", False)):
        none = 0
        for sim in level:
            ride = sim.ride
            if not with_height:
                ride = type(ride)(
                    ride.table.drop(columns=[c for c in ride.table if c == "altitude_m"]),
                    ride.drives, ride.sources, ride.start, ride.facts,
                )  # fmt: skip
            none += len(find_climbs(ride, sim.setup)[0])
        print(f"{name:24s} climbs in {len(level)} rides: {none}")
    load_rows(sims)
    for height_sd_m in (1.0, 3.0):
        print(f"on rides that exercise them, height error {height_sd_m:g} m:")
        seeds = range(801, 801 + max(count // 4, 6))
        load_rows([exercising(seed, height_sd_m) for seed in seeds])
    predict_rows(max(count // 2, 8))


if __name__ == "__main__":
    main()

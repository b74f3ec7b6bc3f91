"""Hills whose truth is known, for `predict_truth`: of the own simulator and of the second truth.

A hill is entered rolling at the speed asked for, on a short level lead, as the contract has it;
what counts as truth are extreme 1 s means between the rounded joints of the road.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from probe.ask import files
from probe.builds import ALL
from probe.cases import TOP_MPS, clean
from probe.rider import HAND_S
from probe.rider import Rider as ProbeRider
from probe.road import Leg, Road
from probe.run import ride as probe_ride

from analyzer.ride_analysis import RideResult, analyse_ride
from hillproof.jobs import analyse_ride as analyse_logs
from importers.setup_types import Setup
from simulator.build import example_trike
from simulator.random_builds import cruising_mps, random_build
from simulator.rider import Rider
from simulator.sensors import Sensors
from simulator.simulate import simulate
from simulator.terrain import from_pieces, hilly

FOOT_M, TOP_M, JOINT_M = 150.0, 60.0, 15.0
"""Level lead and end, and half the length over which joints are rounded [m]."""
AFTER_S = 60.0
"""How long temperatures are followed beyond the top [s], or until the road's end brings a stop."""
STOP_M = 30.0
"""So far before the road's end the rider may brake for it [m]."""
PUSH_GAIN, FULL_DEMAND = 0.3, 0.98
"""How fast a steady rider's push grows by missing speed [1/s per m/s], and up to which demand."""
BRAKE_GAIN, BRAKE_FROM_MPS = 8.0, 0.05
"""How hard the mechanical brake is pulled by speed beyond the one asked for [1/s], from where on
[m/s]: nearer than a rider who lets it run."""
UP, DOWN = 3, 2
"""Hills up and down per build."""


@dataclass(frozen=True)
class Hill:
    """One hill asked about and, by name, what it really took; None where it was not ridden up."""

    grade_pct: float
    length_m: float
    charge_pct: float
    temp_c: float
    speed_mps: float
    true: dict[str, float]


@dataclass(frozen=True)
class Case:
    """A build with its rides and its hills."""

    name: str
    setup: Setup
    rides: list[RideResult]
    hills: list[Hill]


def extremes(
    t: np.ndarray, at_m: np.ndarray, speed: np.ndarray, amps: np.ndarray, bus: np.ndarray,
    drives: dict[str, dict[str, np.ndarray]], length_m: float,
) -> dict[str, float]:  # fmt: skip
    """Largest and smallest 1 s means on the hill; the hottest up to a minute after it, and the
    hotter motor at its top."""
    on = (at_m > FOOT_M + JOINT_M) & (at_m < FOOT_M + length_m - JOINT_M)
    one_s = round(1.0 / (t[1] - t[0]))
    window = np.ones(one_s) / one_s
    first, last = np.flatnonzero(on)[[0, -1]]
    stops = int(np.searchsorted(at_m, FOOT_M + length_m + TOP_M - STOP_M))
    warm = slice(first, min(last + int(AFTER_S * one_s), stops))

    def mean(values: np.ndarray) -> np.ndarray:
        return np.convolve(values, window, "same")[on]

    out = {
        "pack": float(mean(amps).max()), "pack_brake": max(float(-mean(amps).min()), 0.0),
        "lowest": float(mean(bus).min()), "highest": float(mean(bus).max()),
        "speed": float(speed[last]),
    }  # fmt: skip
    back = np.zeros(int(on.sum()))
    for name, one in drives.items():
        battery, phase = mean(one["battery"]), mean(one["phase"])
        back += battery
        out[f"{name}.battery_drive_a"] = float(battery.max())
        out[f"{name}.battery_brake_a"] = max(float(-battery.min()), 0.0)
        out[f"{name}.phase_drive_a"] = float(phase.max())
        out[f"{name}.phase_brake_a"] = max(float(-phase.min()), 0.0)
        out[f"{name}.motor"] = float(one["motor"][warm].max())
        out[f"{name}.controller"] = float(one["controller"][warm].max())
    out["both_brake"] = max(float(-back.min()), 0.0)
    # at the top; what the level lead warmed is no part of a hill met at a stated temperature
    foot = int(np.argmax(at_m > FOOT_M))
    out["motor"] = max(
        float(one["motor"][last] - one["motor"][foot] + one["motor"][0]) for one in drives.values()
    )
    return out


@dataclass
class SteadyRider(ProbeRider):
    """Rides at the speed asked for, as the prediction is told: the second truth's own rider pushes
    by the missing speed alone, and so goes up slower and down faster than asked, by 2 to 5 %, and
    by 1.5 m/s more before the mechanical brake is touched. The same tremor and hand as its own."""

    push: float = 0.0

    def act(self, t_s: float, dt_s: float, x_m: float, v_mps: float, noise: float) -> None:
        """Look at the road, move hand and brake."""
        legs = self.road.legs
        while self.leg < len(legs) and x_m >= self.road.edges[self.leg + 1]:
            self.leg += 1
        if self.leg == len(legs):
            self.standing, self.until_s, self.demand, self.mechanical_mps2 = True, t_s, 0.0, 3.0
            return
        missing = legs[self.leg].speed_mps - v_mps
        if abs(self.demand) < FULL_DEMAND:
            self.push += PUSH_GAIN * missing * dt_s
        want = self.stiffness * missing + self.push + self.tremor * noise
        self.demand += (max(-1.0, min(1.0, want)) - self.demand) * min(dt_s / HAND_S, 1.0)
        # the mechanical brake takes what motors at their limit leave
        pull = BRAKE_GAIN * max(-missing - BRAKE_FROM_MPS, 0.0)
        self.mechanical_mps2 += (min(pull, 4.0) - self.mechanical_mps2) * min(dt_s / 0.2, 1.0)


def _asked(rng: np.random.Generator, top_mps: float, *, down: bool) -> tuple[float, ...]:
    """Grade, length, charge, temperature, speed: so drawn that limits are near."""
    grade = -rng.uniform(3.0, 9.0) if down else rng.uniform(3.0, 11.0)
    charge = rng.uniform(60.0, 99.0) if down else rng.uniform(12.0, 90.0)
    return (
        grade, rng.uniform(250.0, 900.0), charge, rng.uniform(0.0, 32.0),
        top_mps * rng.uniform(0.6, 1.1),
    )  # fmt: skip


def own_case(seed: int, rides: int = 1) -> Case:
    """A build of the own simulator: every fourth the example, every third with the second set of
    equations and its hunting rider, `rides` rides in other weather."""
    rng = np.random.default_rng(seed)
    build = random_build(rng) if seed % 4 else example_trike()
    names = [d.name for d in build.drives]
    engine = "second" if seed % 3 == 0 else "first"
    cruise = min(rng.uniform(5.0, 8.5), cruising_mps(build))
    sims = []
    for number in range(rides):
        own = np.random.default_rng([seed, number])
        road = hilly(own.uniform(4000, 9000), seed=seed + number, steepest_pct=own.uniform(5, 10))
        sims.append(
            simulate(
                build, road, Rider(cruise_mps=cruise), seed=seed + number, rate_hz=10.0, soc=0.9,
                temp_c=own.uniform(4, 30), wind_mps=own.normal(0, 0.5), engine=engine,
                sensors=Sensors.usual(rng, names).but(gps_alt_sd_m=3.0),
            )
        )  # fmt: skip
    hills = []
    for k in range(UP + DOWN):
        grade, length, charge, temp, speed = _asked(rng, cruise, down=k >= UP)
        held = simulate(
            build, from_pieces([(FOOT_M, 0.0), (length, grade), (TOP_M, 0.0)]),
            Rider(cruise_mps=speed, stops_every_m=1e6, speed_wander=0.02),
            seed=seed + 100_000 * (k + 1), rate_hz=10.0, soc=charge / 100, temp_c=temp,
            sensors=Sensors.perfect(), engine=engine, enter_mps=speed,
        )  # fmt: skip
        col = held.col
        if col["s_m"].max() < FOOT_M + length:
            continue
        drives = {
            n: {
                "battery": col[f"{n}.i_batt"], "phase": col[f"{n}.i_phase"],
                "motor": col[f"{n}.mot_c"], "controller": col[f"{n}.ctrl_c"],
            }
            for n in names
        }  # fmt: skip
        true = extremes(
            held.t, col["s_m"], col["v_mps"], col["i_pack"], col["v_bus"], drives, length
        )
        at_foot = 100.0 * float(col["soc"][int(np.argmax(col["s_m"] > FOOT_M))])
        hills.append(Hill(grade, length, at_foot, temp, speed, true))
    results = [analyse_ride(sim.ride, sim.setup) for sim in sims]
    return Case(f"own {seed}", sims[0].setup, results, hills)


def probe_case(seed: int, rides: int = 1) -> Case:
    """A build of the second truth, fitted on the logs it wrote, read as a user's are read."""
    kinds = len(ALL)
    results = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(rides):
            case = clean(seed + kinds * 1000 * number)
            here = Path(folder) / str(number)
            logs = [one for one in files(case, here) if not one.startswith("--")]
            results.append(analyse_logs(logs, setup=str(here / "setup.toml")))
    kind = case.name.rsplit("-", 1)[0]
    rng = np.random.default_rng(seed + 5000)
    hills = []
    for k in range(UP + DOWN):
        grade, length, charge, temp, speed = _asked(rng, 0.75 * TOP_MPS[kind], down=k >= UP)
        legs = [Leg(FOOT_M, 0.0, speed), Leg(length, grade, speed), Leg(TOP_M, 0.0, speed)]
        rider = SteadyRider(Road(legs, start_rest_s=0.5))
        run = probe_ride(
            ALL[kind](), rider, soc=charge / 100, air_c=temp, seed=seed + 77 * k, enter_mps=speed
        )
        col = run.col
        if col["x"].max() < FOOT_M + length:
            continue
        drives = {
            n: {
                "battery": one["battery_a"], "phase": one["phase_a"], "motor": one["motor_c"],
                "controller": one["controller_c"],
            }
            for n, one in run.side.items()
        }  # fmt: skip
        true = extremes(run.t_s, col["x"], col["v"], col["pack_a"], col["bus_v"], drives, length)
        at_foot = 100.0 * float(col["soc"][int(np.argmax(col["x"] > FOOT_M))])
        hills.append(Hill(grade, length, at_foot, temp, speed, true))
    return Case(case.name, results[0].setup, results, hills)


def cases(kind: str, first: int, count: int, rides: int) -> Iterator[Case]:
    """`own` or `probe` cases of these seeds."""
    make = own_case if kind == "own" else probe_case
    for seed in range(first, first + count):
        yield make(seed, rides)

"""Rides to try: a class of vehicle, a road, a rider, a logger, and what was lost on the way."""

from dataclasses import dataclass, field, replace

import numpy as np
from probe.builds import ALL
from probe.logger import Style
from probe.rider import Rider
from probe.road import Leg, Road
from probe.run import Run, ride

TOP_MPS = {"board": 7.0, "scooter": 7.5, "trike": 6.5, "kart": 11.0, "lfp_cart": 6.0}


@dataclass
class Case:
    """One ride ready to be run; `lost` holds (kind, cause, at s)."""

    name: str
    run: Run
    style: Style
    lost: list[tuple[str, str, float]] = field(default_factory=list)


def hilly(top: float, rng: np.random.Generator, legs: int = 8) -> Road:
    """A road of ups and downs with stops, each climb tall enough to count."""
    way = [Leg(200 + 100 * rng.random(), 0.0, top)]
    up = True
    for _ in range(legs):
        grade = (4.0 + 5.0 * rng.random()) * (1 if up else -0.8)
        way.append(Leg(220 + 150 * rng.random(), grade, top * (0.7 if up else 0.9)))
        way.append(
            Leg(
                120 + 120 * rng.random(),
                0.0,
                top * (0.6 + 0.4 * rng.random()),
                stop_s=float(rng.choice([0, 6, 15])),
                release=str(rng.choice(["soft", "hard"])),
            )
        )
        up = not up
    return Road(way)


STYLES = [
    Style(),
    Style(layout="per_drive", rate_hz=10.0, time="ms", terse=True, gps="none"),
    Style(layout="long", rate_hz=10.0, gps="apart"),
    Style(rate_hz=5.0, comma=True, bms="in"),
    Style(rate_hz=50.0, bms="apart", cells=True, gps="none"),
    Style(rate_hz=20.0, channels=("battery_a", "rpm"), gps="in"),
    Style(layout="per_drive", rate_hz=20.0, time="iso", bms="apart", bms_hz=1.0, gps="apart"),
    Style(rate_hz=1.0),
    Style(rate_hz=100.0, gps="none", channels=("battery_a", "phase_a", "erpm", "demand", "duty")),
    Style(rate_hz=20.0, channels=("battery_a", "phase_a", "rpm"), flipped=True, current_gain=1.01),
]


def clean(seed: int, style: Style | None = None) -> Case:
    """A ride with nothing lost, all else drawn from the seed."""
    rng = np.random.default_rng(7000 + seed)
    kind = list(ALL)[seed % len(ALL)]
    machine = ALL[kind]()
    road = hilly(TOP_MPS[kind], rng)
    rider = Rider(road, stiffness=0.4 + 0.8 * rng.random(), motor_brake=0.3 + 0.7 * rng.random())
    run = ride(
        machine, rider, soc=0.35 + 0.55 * rng.random(), air_c=float(rng.uniform(4, 30)), seed=seed
    )
    style = style or STYLES[(seed // len(ALL) + seed) % len(STYLES)]
    style = replace(
        style,
        current_gain=1 + 0.01 * rng.standard_normal(),
        voltage_gain=1 + 0.002 * rng.standard_normal(),
    )
    return Case(f"{kind}-{seed}", run, style)

"""What to plant, when: faults that no limit brings about, put at a moment when they would show.

A plant looks at the same ride without the fault (same seed: identical up to that moment) and
picks a moment at which drive or braking is under way.

The numbers of `Planted` by kind:

| kind | p0 | p1 | p2 |
| --- | --- | --- | --- |
| supply_interrupted, mechanical_drive_lost | | | |
| contact | ohms added | | |
| slip | newtons the tyre passes | | |
| input_signal_lost | 0 fixed value, 1 frozen | the value (-1 to 1) | s until believed |
| interlock_opened | s of the ramp down | | |
| drive_link_lost | s until noticed | s of the ramp down | 1: its channels freeze |
| phase_overcurrent | s of each pause | retries | s until a retry trips |
| rotor_sensor_fault | m/s below which it shows | s of each stop | s of each jerky try |
| motor_phase_fault | | s of each stop | s of each beating try |
| temperature_sensor_fault | the reading, °C | 0 motor, 1 controller | |
"""

from __future__ import annotations

import numpy as np

from simulator.build import NEVER
from simulator.simulate import Planted, SimRide

Rng = np.random.Generator
Plants = tuple[Planted, ...] | None

KEYS_WITHOUT_DERATE = (
    *("phase_drive_a", "phase_brake_a", "battery_drive_a", "battery_brake_a", "stop_at_v"),
    *(
        "overvoltage_v",
        "controller_derate_c",
        "controller_stop_c",
        "motor_derate_c",
        "motor_stop_c",
    ),
)


def _steady(mask: np.ndarray, hz: float, before_s: float, after_s: float) -> np.ndarray:
    """Rows around which `mask` holds for so long before and after."""
    total = np.concatenate([[0], np.cumsum(mask)])
    b, a = int(before_s * hz), int(after_s * hz)
    at = np.arange(b, mask.size - a)
    return at[(total[at + a] - total[at - b]) == a + b]


def moment(
    sim: SimRide, rng: Rng, *, braking: bool = False, least: float = 0.25,
    slow_mps: float | None = None,
    fast_mps: float = 1.5, before_s: float = 1.0, after_s: float = 1.2, drive: str | None = None,
) -> float | None:  # fmt: skip
    """A time at which drive (or braking) is well under way, or None."""
    hz = 1.0 / (sim.t[1] - sim.t[0])
    mask = (sim.t > 18.0) & (sim.t < sim.t[-1] - 12.0)
    speed = sim.col["v_mps"]
    mask &= (speed < slow_mps) if slow_mps is not None else (speed > fast_mps)
    for spec in sim.build.drives:
        if drive is not None and spec.name != drive:
            continue
        box = spec.controller
        if braking:
            mask &= sim.col[f"{spec.name}.i_phase"] < -least * box.phase_brake_a
            mask &= sim.col[f"{spec.name}.i_batt"] < -0.3
        else:
            mask &= sim.col[f"{spec.name}.i_phase"] > least * box.phase_drive_a
    at = _steady(mask, hz, before_s, after_s)
    return float(sim.t[rng.choice(at)]) if at.size else None


def either(sim: SimRide, rng: Rng, brake_share: float = 0.2, **how: object) -> float | None:
    """A moment of driving, or now and then of braking."""
    if rng.random() < brake_share:
        found = moment(sim, rng, braking=True, **how)  # type: ignore[arg-type]
        if found is not None:
            return found
    return moment(sim, rng, **how)  # type: ignore[arg-type]


def one_drive(sim: SimRide, rng: Rng) -> str:
    return sim.drives[int(rng.integers(len(sim.drives)))]


def supply_plant(tricky: bool):
    """A contact, fuse or switch opens: all drives, or the branch of one."""

    def plant(sim: SimRide, rng: Rng) -> Plants:
        if tricky:
            at = moment(sim, rng, least=0.7)
            return (
                None
                if at is None
                else (Planted("supply_interrupted", at, at + rng.uniform(6, 14)),)
            )
        at = either(sim, rng, 0.2, least=float(rng.uniform(0.1, 0.5)), after_s=1.0)
        if at is None:
            return None
        lone = len(sim.drives) > 1 and rng.random() < 0.2
        who = one_drive(sim, rng) if lone else None
        last = float(rng.choice([rng.uniform(0.15, 0.8), rng.uniform(2, 12), NEVER]))
        out = [Planted("supply_interrupted", at, at + last, who)]
        if rng.random() < 0.75 and who is None:
            out += _forerunners(at, rng)
        return tuple(out)

    return plant


def _forerunners(at: float, rng: Rng) -> list[Planted]:
    """A bad contact in the minutes before: more resistance in bursts, openings of some ms."""
    out = []
    for _ in range(int(rng.integers(4, 14))):
        begin = at - rng.exponential(25.0) - 0.5
        out.append(
            Planted(
                "contact", begin, begin + rng.exponential(0.6) + 0.05, None, rng.uniform(0.02, 0.2)
            )
        )
    if rng.random() < 0.5:
        begin = at - rng.uniform(1.0, 40.0)
        out.append(Planted("supply_interrupted", begin, begin + rng.uniform(0.01, 0.03)))
    return [one for one in out if one.start_s > 8.0]


def signal_plant(sim: SimRide, rng: Rng) -> Plants:
    """The throttle's signal jumps to a fixed value or freezes; later it may come back."""
    at = either(sim, rng, 0.15, least=0.2)
    if at is None:
        return None
    last = float(rng.choice([rng.uniform(0.4, 3.0), rng.uniform(3, 10), NEVER]))
    one = one_drive(sim, rng) if rng.random() < 0.15 else None
    if rng.random() < 0.65:
        value = float(rng.choice([0.0, 0.0, 0.0, -0.05]))
        return (Planted("input_signal_lost", at, at + last, one, 0.0, value, rng.uniform(0, 0.1)),)
    last = max(last, 1.5)
    return (Planted("input_signal_lost", at, at + last, one, 1.0, 0.0, rng.uniform(0.1, 0.6)),)


def interlock_plant(sim: SimRide, rng: Rng) -> Plants:
    """Brake-lever, seat or stand switch opens though the rider still asks."""
    at = moment(sim, rng, least=0.25)
    last = float(rng.choice([rng.uniform(0.5, 2.0), rng.uniform(2, 10)]))
    return (
        None
        if at is None
        else (Planted("interlock_opened", at, at + last, None, rng.uniform(0.12, 0.6)),)
    )


def link_plant(sim: SimRide, rng: Rng) -> Plants:
    """The second drive hears no more of the first."""
    at = either(sim, rng, 0.15, least=0.25)
    if at is None:
        return None
    last = float(rng.choice([rng.uniform(0.8, 5.0), rng.uniform(5, 20), NEVER]))
    frozen = float(rng.random() < 0.7)
    who = sim.drives[-1]
    return (
        Planted(
            "drive_link_lost",
            at,
            at + last,
            who,
            rng.uniform(0.05, 0.4),
            rng.uniform(0.02, 0.3),
            frozen,
        ),
    )


def overcurrent_plant(sim: SimRide, rng: Rng) -> Plants:
    """One controller trips at high phase current and tries again."""
    who = one_drive(sim, rng)
    at = moment(sim, rng, least=0.8, fast_mps=0.2, before_s=0.3, after_s=1.0, drive=who)
    if at is None:
        return None
    tries = int(rng.choice([0, 0, 1, 2, 4]))
    pause = float(rng.choice([0.5, 1.0, 2.0, 3.0]))
    return (Planted("phase_overcurrent", at, NEVER, who, pause, tries, rng.uniform(0.1, 0.5)),)


def rotor_plant(sim: SimRide, rng: Rng) -> Plants:
    """Commutation fails at standstill and low speed; above a jogging pace all is well."""
    who = one_drive(sim, rng)
    at = moment(sim, rng, least=0.25, slow_mps=1.6, before_s=0.2, after_s=0.8, drive=who)
    if at is None:
        return None
    return (
        Planted("rotor_sensor_fault", at - 0.1, at + rng.uniform(4, 60), who, rng.uniform(1.8, 2.8),
                rng.uniform(0.4, 1.2), rng.uniform(0.15, 0.5)),
    )  # fmt: skip


def wire_plant(sim: SimRide, rng: Rng) -> Plants:
    """One of the three motor wires opens: torque beats, the controller stops and tries again."""
    who = one_drive(sim, rng)
    at = moment(sim, rng, least=0.4, drive=who)
    if at is None:
        return None
    return (
        Planted(
            "motor_phase_fault", at, NEVER, who, 0.0, rng.uniform(0.8, 3.0), rng.uniform(0.1, 0.4)
        ),
    )


def temperature_plant(sim: SimRide, rng: Rng) -> Plants:
    """A sensor's wire breaks: the reading steps past the stop."""
    at = either(sim, rng, 0.1, least=0.25)
    if at is None:
        return None
    which = float(rng.random() < 0.35)
    value = (
        float(rng.choice([155.0, 180.0, 204.0]))
        if which == 0
        else float(rng.choice([128.0, 150.0]))
    )
    last = float(rng.choice([rng.uniform(1, 6), NEVER]))
    return (Planted("temperature_sensor_fault", at, at + last, one_drive(sim, rng), value, which),)


def belt_plant(sim: SimRide, rng: Rng) -> Plants:
    """A belt or chain is gone: the motor spins free of the road."""
    at = either(sim, rng, 0.1, least=0.25)
    return (
        None if at is None else (Planted("mechanical_drive_lost", at, NEVER, one_drive(sim, rng)),)
    )


def tricky_plant(sim: SimRide, rng: Rng) -> Plants:
    """Slip of up to 0.3 s on a wet patch; not a fault."""
    at = moment(sim, rng, least=0.4, drive=sim.drives[0])
    if at is None or rng.random() < 0.5:
        return (Planted("contact", 1.0, 1.1, None, 0.0),)
    return (
        Planted(
            "slip", at, at + rng.uniform(0.08, 0.25), sim.drives[0], sim.build.body.mass_kg * 0.4
        ),
    )


def skipped_rows(sim: SimRide, rng: Rng) -> tuple[tuple[float, float], ...]:
    """A logger that skips some rows now and then."""
    if rng.random() < 0.6:
        return ()
    begins = rng.uniform(10, max(sim.t[-1] - 10, 11), int(rng.integers(1, 4)))
    return tuple((float(b), float(b + rng.uniform(0.1, 0.4))) for b in sorted(begins))


def riding_gaps(sim: SimRide, rng: Rng) -> tuple[tuple[float, float], ...]:
    """Holes of 1 to 15 s in the log while the ride goes on."""
    moving = sim.t[(sim.col["v_mps"] > 2.0) & (sim.t > 15) & (sim.t < sim.t[-1] - 25)]
    if moving.size == 0:
        return ()
    begins = sorted(rng.choice(moving, int(rng.integers(1, 3))))
    return tuple((float(b), float(b + rng.uniform(1.0, 15.0))) for b in begins)


def spoilt_rows(sim: SimRide, rng: Rng, count: int) -> tuple[tuple[float, str], ...]:
    """Moments of single rows of zeros, and of rows written twice."""
    at = rng.uniform(5.0, sim.t[-1] - 5.0, count)
    return tuple((float(t), str(rng.choice(["zero", "repeat"]))) for t in sorted(at))

"""Braking that fades, trips or is lost, on the newer builds: what each ride should be told.

A nearly full pack on the way down; a charge trip; a controller that fades its braking below its
overvoltage line; one side's braking gone by its link, or by its own trip.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from probe import events
from probe.cases import Case
from probe.fresh import BUILDS, FULL
from probe.logger import Style
from probe.machine import Machine
from probe.rider import Rider
from probe.road import Leg, Road
from probe.run import Run, ride
from probe.trouble import Trouble

STYLES = (
    Style(channels=FULL, gps="in"),
    Style(layout="per_drive", rate_hz=50.0, channels=FULL, gps="none"),
    Style(rate_hz=10.0, channels=("battery_a", "phase_a", "rpm", "demand"), gps="apart"),
    Style(layout="long", rate_hz=10.0, channels=FULL, bms="in"),
)


@dataclass
class Expected:
    """Spans in which braking was reduced and not lost, by drive; empty: none."""

    faded: dict[str, list[tuple[float, float]]]


def descent(top: float, grade: float = 11.0) -> Road:
    """A level start, a long way down in two pieces, a short way up."""
    return Road(
        [
            Leg(120, 0.0, top * 0.8),
            Leg(260, -grade, top * 0.7),
            Leg(60, 0.0, top * 0.6, stop_s=6.0),
            Leg(260, -grade * 0.8, top * 0.8),
            Leg(150, 2.0, top * 0.8),
        ]
    )


def _down(
    machine: Machine, top: float, soc: float, seed: int, faults: tuple[Trouble, ...] = ()
) -> Run:
    return ride(machine, Rider(descent(top), stiffness=1.1), soc=soc, seed=seed, faults=faults)


def _each(names: tuple[str, ...]) -> Iterator[tuple[int, str, Machine, float]]:
    for i, name in enumerate(names):
        make, top = BUILDS[name]
        yield i, name, make(), top


def fading(names: tuple[str, ...]) -> Iterator[tuple[Case, Expected]]:
    """Controllers let braking fade from a band below their overvoltage line on: never a loss."""
    for i, name, machine, top in _each(names):
        cells = machine.cells
        machine.bms.cell_high_v = machine.bms.charge_trip_a = None
        for d in machine.drives.values():
            d.overvoltage_v = round(cells.series * (cells.full_v + 0.03), 1)
            d.brake_fade_v = round(0.12 * cells.series, 1)
        run = _down(machine, top, 0.95, i)
        spans = {side: events.brake_faded(run, side) for side in run.side}
        yield Case(f"fading-{name}", run, STYLES[i % len(STYLES)]), Expected(spans)


def tripping(names: tuple[str, ...]) -> Iterator[tuple[Case, Expected]]:
    """The controllers' own overvoltage trip, no fading before."""
    for i, name, machine, top in _each(names):
        cells = machine.cells
        machine.bms.cell_high_v = machine.bms.charge_trip_a = None
        for d in machine.drives.values():
            d.overvoltage_v = round(cells.series * (cells.full_v + 0.004), 1)
        run = _down(machine, top, 0.985, i)
        side = next(iter(run.side.values()))
        hit = run.t_s[(side["governs"] == "overvoltage") & (run.col["demand"] < -0.1)]
        # retries of one cause within 5 s are one loss
        starts = hit[np.diff(hit, prepend=-99.0) > 5.0]
        lost = [("brake_loss", "overvoltage_trip", float(a)) for a in starts]
        yield Case(f"tripping-{name}", run, STYLES[i % len(STYLES)], lost), Expected({})


def charging(names: tuple[str, ...]) -> Iterator[tuple[Case, Expected]]:
    """The BMS opens on charge current at half charge."""
    for i, name, machine, top in _each(names):
        trip = 0.5 * sum(d.battery_brake_a for d in machine.drives.values())
        machine.bms.charge_trip_a, machine.bms.charge_trip_delay_s = round(trip, 1), 0.6
        machine.bms.charge_rating_a = round(0.8 * trip, 1)
        run = _down(machine, top, 0.5, i)
        lost = [("brake_loss", why, a) for why, a, _ in run.opened]
        yield Case(f"charging-{name}", run, STYLES[i % len(STYLES)], lost), Expected({})


def one_side(names: tuple[str, ...]) -> Iterator[tuple[Case, Expected]]:
    """One follower's link breaks while it brakes down."""
    for i, name, machine, top in _each(names):
        last = list(machine.drives)[-1]
        machine.drives[last].follows = next(iter(machine.drives))
        whole = _down(machine, top, 0.6, i)
        brakes = (whole.col["demand"] < -0.25) & (whole.col["v"] > 2.5)
        steady = np.convolve(brakes, np.ones(200), "full")[: len(brakes)] >= 199
        at = float(whole.t_s[np.flatnonzero(steady)[50]])
        fault = Trouble("drive_link_lost", at, 3.0, last)
        run = _down(machine, top, 0.6, i, (fault,))
        lost = [("brake_loss", "drive_link_lost", at)]
        yield Case(f"one-side-{name}", run, STYLES[i % len(STYLES)], lost), Expected({})


def every() -> dict[str, Callable[[tuple[str, ...]], Iterator[tuple[Case, Expected]]]]:
    """All kinds by name."""
    return {"fading": fading, "tripping": tripping, "charging": charging, "one side": one_side}

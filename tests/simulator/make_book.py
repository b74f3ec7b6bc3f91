"""Writes `sample_logs/book/`, a year of the sample trike: run `python -m simulator.make_book` from
`tests/` with the project on the path.

Hidden in it: the cells' resistance grows by 8 % a year, capacity fades by 5 % a year, and a
link between two cell groups that has worked loose adds 15 mohm from 2 July 2032 on (a note by hand
stands two days later).
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from analyzer.ride_analysis import analyse_ride
from analyzer.summary import SUMMARY_VERSION, summary_of, to_row
from importers.book import Book
from importers.book_notes import HandNote
from importers.ride import Ride
from simulator.make_samples import ZONE, gentler, road
from simulator.rider import Rider
from simulator.simulate import SimRide, simulate

HOME = Path(__file__).resolve().parents[2] / "sample_logs" / "book"
FIRST = datetime(2031, 12, 6, 9, 30, tzinfo=ZONE)
RIDES, DAYS = 36, 365
GROWTH, FADE = 0.08, 0.05
LOOSE_DAY, LOOSE_OHM = 209, 0.015
KEPT = {
    "time_s": 0.01,
    "pack_voltage_v": 0.02,
    "pack_current_a": 0.1,
    "pack_temp_c": 0.5,
    "gps_speed_mps": 0.05,
    "altitude_m": 0.5,
    "left.battery_current_a": 0.1,
    "right.battery_current_a": 0.1,
    "left.motor_rpm": 5.0,
}
"""Channels kept, and the step each is rounded to: small enough to ship, fine enough to tell."""


def one_ride(number: int) -> SimRide:
    """One outing: the season's temperature, some charge, once or thrice round."""
    rng = np.random.default_rng(7000 + number)
    day = round(number * DAYS / (RIDES - 1))
    age = day / 365.25
    build = gentler()
    cells = build.cells
    grown = 1 + GROWTH * age
    cells = replace(
        cells,
        r0=cells.r0 * grown, r1=cells.r1 * grown, r2=cells.r2 * grown,
        link_ohm=LOOSE_OHM if day >= LOOSE_DAY else 0.0,
        capacity_ah=cells.capacity_ah * (1 - FADE * age),
    )  # fmt: skip
    season = 12.0 - 9.0 * np.cos(2 * np.pi * (day - 40) / 365.25) + rng.normal(0, 2.0)
    rounds = 3 if number % 3 == 0 else 1
    way = road()
    repeated = replace(
        way, grade=np.tile(way.grade, rounds), bend=np.tile(way.bend, rounds)
    ) if rounds > 1 else way  # fmt: skip
    return simulate(
        replace(build, cells=cells), repeated, Rider(cruise_mps=7.2, stops_every_m=600.0),
        seed=900 + number, rate_hz=4, soc=float(rng.uniform(0.72, 0.95)), temp_c=float(season),
        ambient_c=float(season), start=FIRST + timedelta(days=day, hours=float(rng.uniform(0, 7))),
    )  # fmt: skip


def small(ride: Ride) -> Ride:
    """The ride with a few channels, rounded as a plain logger would."""
    names = [name for name in KEPT if name in ride.table.columns]
    table = ride.table[names].copy()
    for name in names:
        table[name] = np.round(table[name].to_numpy(np.float64) / KEPT[name]) * KEPT[name]
    table = table.loc[np.concatenate([[True], np.diff(table["time_s"]) > 0])]
    return replace(ride, table=table.reset_index(drop=True))


def make(home: Path = HOME) -> None:
    """Write the whole book anew."""
    if home.exists():
        shutil.rmtree(home)
    book = Book(home)
    for number in range(RIDES):
        sim = one_ride(number)
        ride = small(sim.ride)
        summary = to_row(summary_of(analyse_ride(ride, sim.setup)))
        book.add(ride, sim.setup, summary=summary, summary_version=SUMMARY_VERSION)
    day = (FIRST + timedelta(days=LOOSE_DAY + 2)).date().isoformat()
    book.note(HandNote(about=day, day=day, text="battery out and back in for cleaning"))
    book.note(
        HandNote(about="2032-03-01", day="2032-03-01", text="after a night's rest",
                 cell_min_v=3.941, cell_max_v=3.949)
    )  # fmt: skip
    (home / "index.json").unlink(missing_ok=True)


if __name__ == "__main__":
    make()

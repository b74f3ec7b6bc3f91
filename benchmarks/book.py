"""The book: rides a CPU second as rides grow, ageing over 10,000 rides, two workers for one.

Usage: book.py [RIDES]  (default 40; the issue's figure is 200)
"""

from __future__ import annotations

import gc
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

TOP = Path(__file__).parents[1]
sys.path[:0] = [str(TOP), str(TOP / "tests"), str(TOP / "benchmarks")]

from make_wide_log import SETUP, make

MINUTES, RATE_HZ = 20, 20
ROUNDS = 7
CLUSTER_RIDES, CLUSTER_ROUNDS = 24, 4


def logs(folder: Path, count: int) -> list[Path]:
    """`count` rides of 20 min at 20 Hz, each in a folder of its own, a day apart."""
    base, _ = make(folder, hours=MINUTES / 60, rate_hz=RATE_HZ)
    table = pd.read_csv(base)
    base.unlink()
    rng = np.random.default_rng(1)
    folders = []
    for number in range(count):
        place = folder / f"ride{number:04d}"
        place.mkdir()
        own = table.copy()
        own.iloc[:, 1:] *= 1 + rng.normal(0, 0.003, own.shape[1] - 1)
        start = pd.Timestamp("2031-03-01T09:00:00+00:00") + pd.Timedelta(days=number)
        stamps = start + pd.to_timedelta(own.pop("time [s]"), unit="s")
        own.insert(0, "date and time", stamps.dt.strftime("%Y-%m-%dT%H:%M:%S.%f%z"))
        own.round(3).to_csv(place / "ride.csv", index=False)
        folders.append(place)
    (folder / "setup.toml").write_text(SETUP)
    return folders


def add(folders: list[Path], book: Path, setup: Path) -> float:
    """CPU seconds that `book add` takes, its workers' included: other load does not count."""
    command = [sys.executable, "-m", "hillproof", "book", "add", *map(str, folders)]
    command += ["--book", str(book), "--setup", str(setup), "--quiet"]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, cwd=TOP)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def growth(folder: Path, count: int) -> None:
    folders, setup = logs(folder, count), folder / "setup.toml"
    sizes = [count // 4, count // 2, count]
    times = [add(folders[:n], folder / f"book{n}", setup) for n in sizes]
    slope = math.log(times[-1] / times[0]) / math.log(sizes[-1] / sizes[0])
    for n, t in zip(sizes, times, strict=True):
        print(
            f"book add {n:4} rides of {MINUTES} min at {RATE_HZ} Hz: {n / t:.2f} rides a CPU second"
        )
    print(f"growth of the time with the number of rides: exponent {slope:.3f}")
    again = add(folders[:4], folder / f"book{count}", setup)
    print(f"four rides that {count} kept ones hold already: {again:.1f} CPU s")


def ten_thousand() -> None:
    from setup_maker import TRIKE, setup_of

    from analyzer.ageing import judge_ageing
    from analyzer.ageing_parts import Kept
    from analyzer.summary import from_row, to_row
    from simulator.books import make_book

    kept, _ = make_book(1, rides=10_000, months=60, growth_pct_per_year=5, fade_pct_per_year=3)
    texts = [(one.name, json.dumps(to_row(one.summary))) for one in kept]
    setup = setup_of(TRIKE)
    judge_ageing(kept[:50], setup)  # imports
    reading, judging = [], []
    for _ in range(ROUNDS):  # CPU time, one after the other: other load does not count
        begin = time.process_time()
        read = [Kept(name, from_row(json.loads(text))) for name, text in texts]
        reading.append(time.process_time() - begin)
        begin = time.process_time()
        gc.freeze()  # as `ageing` does
        judge_ageing(read, setup)
        gc.unfreeze()
        judging.append(time.process_time() - begin)
    ratios = sorted(1 + b / a for a, b in zip(reading, judging, strict=True))
    print(
        f"ageing over 10,000 rides: reading summaries {sorted(reading)[ROUNDS // 2]:.2f} s, "
        f"judging {sorted(judging)[ROUNDS // 2]:.2f} s, whole / reading "
        f"{ratios[ROUNDS // 2]:.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})"
    )


def cluster(folder: Path) -> None:
    """Two warm workers of one thread against one, in turns: the shortest wall time of each, which
    other load lengthens, and the CPU time of the busiest worker and of this process, which it does
    not."""
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        print("cluster: the extra is not installed")
        return
    from hillproof.book_jobs import DayFacts, add_all
    from importers.book import Book

    folders = [str(one) for one in sorted(folder.glob("ride*"))[:CLUSTER_RIDES]]
    facts = DayFacts(setup=str(folder / "setup.toml"))
    wall: dict[int, list[float]] = {1: [], 2: []}
    busy: dict[int, list[float]] = {1: [], 2: []}
    for turn in range(CLUSTER_ROUNDS):
        for workers in wall:
            with (
                LocalCluster(
                    n_workers=workers, threads_per_worker=1, dashboard_address=None
                ) as local,
                Client(local) as client,
            ):
                address = local.scheduler_address
                client.run(_warm, folders[0], facts, str(folder / f"warm{workers}{turn}"))
                book = Book(folder / f"shared{workers}{turn}")
                before, own = client.run(time.process_time), time.process_time()
                begin = time.perf_counter()
                added = list(add_all(book, folders, facts, cluster=address))
                wall[workers].append(time.perf_counter() - begin)
                own = time.process_time() - own
                after = client.run(time.process_time)
                busy[workers].append(own + max(after[one] - before[one] for one in before))
                if not all(one.new for one in added):
                    raise RuntimeError("cluster: a ride was not kept")
    for what, times in (("wall", wall), ("CPU of the busiest worker and the client", busy)):
        one, two = min(times[1]), min(times[2])
        print(
            f"cluster, {len(folders)} rides, {what}: 1 worker {one:.2f} s, 2 workers {two:.2f} s, "
            f"ratio {one / two:.2f} on {os.cpu_count()} cores"
        )
    if hasattr(os, "getloadavg"):
        print(f"  other load of this machine counts in the wall time: now {os.getloadavg()[0]:.1f}")


def _warm(folder: str, facts: object, book: str) -> None:
    """In each worker: what keeping a ride imports and compiles."""
    from hillproof.book_jobs import add_all
    from importers.book import Book

    list(add_all(Book(f"{book}-{os.getpid()}"), [folder], facts))  # type: ignore[arg-type]


def main(count: int = 40) -> None:
    ten_thousand()
    with tempfile.TemporaryDirectory() as name:
        growth(Path(name), count)
        cluster(Path(name))


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))

"""Every number of `ride --json` against a second, plainer truth: rides of `tests/probe`.

    PYTHONPATH=.:tests python benchmarks/tables/probe_truth.py [RIDES] [--first SEED] [--wrong]

`tests/probe` was written from the contract and physics alone, by another hand than the simulator
and without a look at the analysis; nothing is fitted on it. The real command line reads its logs.
Printed: right of all comparisons per quantity, how often intervals hold the truth, and for every
loss whether it was found, when, and whether its cause came first.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

from probe import ask, braking, cases, check, fresh, losing


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=20)
    parser.add_argument("--wrong", action="store_true", help="print each that is wrong")
    parser.add_argument("--first", type=int, default=3000, help="seed of the newer builds")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        clean = [cases.clean(seed) for seed in range(args.rides)]
        table("clean rides", clean, Path(name), args.wrong, numbers=True)
        newer = [fresh.clean(seed) for seed in range(args.first, args.first + args.rides)]
        table("clean rides, newer builds", newer, Path(name), args.wrong, numbers=True)
        names = ("fast_board", "two_seater", "barrow")
        down = [case for every in braking.every().values() for case, _ in every(names)]
        table("braking fading, tripping, lost", down, Path(name), args.wrong, numbers=False)
        lost = [case for every in losing.every().values() for case in every()]
        table("rides with a loss", lost, Path(name), args.wrong, numbers=False)


def table(
    title: str, rides: Iterable[cases.Case], folder: Path, wrong: bool, *, numbers: bool
) -> None:
    """One table: quantity, right of all, held of all intervals."""
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    asked = 0
    for case in rides:
        asked += 1
        status, answer, said = ask.ride_json(ask.files(case, folder / case.name))
        if status:
            counts["read at all"][0] += 1
            print(f"{case.name}: exit {status}: {said.strip()[:160]}")
            continue
        found = [*check.losses(answer, case.lost)]
        if numbers:
            found += check.numbers(case.run, answer, case.style)
            found += check.limits(case.run, answer, case.style)
            found += check.spans_of(case.run, answer, case.style)
            found += check.climbs(case.run, answer, case.style.current_gain)
            found += check.shape(answer)
        for one in found:
            row = counts[one.quantity]
            row[0] += 1
            row[1] += one.right
            if one.covered is not None:
                row[2] += 1
                row[3] += one.covered
            if wrong and not one.right:
                print(f"{case.name}: {one.quantity}: {one.detail}")
    print(f"\n{title}: {asked}")
    for quantity, (n, right, intervals, held) in sorted(counts.items()):
        tail = f"   interval holds {held} of {intervals}" if intervals else ""
        print(f"{quantity:34} {right:4} of {n:4}{tail}")


if __name__ == "__main__":
    main()

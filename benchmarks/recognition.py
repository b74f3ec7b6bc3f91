"""How many columns of made logs are read right, and whether any wrong one was called sure.

Prints the share of channels with right name, unit and sign, every kind of miss with its count,
and each wrong reading that was called sure (0.95 or more).
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from ledger.corpus import MadeLog, made_log
from setup_maker import TRIKE, setup_of

from importers.errors import LogError
from importers.log_file import read_log

SURE = 0.95
SETUP = setup_of(TRIKE)


def judged(made: MadeLog, folder: Path) -> list[tuple[str, str, str, str, float]]:
    """(verdict, header, truth, reading, sure) per column."""
    path = folder / made.name
    path.write_bytes(made.data)
    try:
        log = read_log(str(path), setup=SETUP)
    except LogError as error:
        return [("refused", cell.header, str(cell.channel), str(error), 0.0) for cell in made.cells]
    out = []
    if len(log.readings) != len(made.cells):
        return [("columns", "", str(len(made.cells)), str(len(log.readings)), 1.0)]
    for cell, got in zip(made.cells, log.readings, strict=True):
        truth = f"{cell.channel} [{cell.unit}] {cell.sign:+d}"
        read = f"{got.channel} [{got.unit}] {got.sign:+d}"
        if cell.channel is None or got.channel is None or cell.channel == "time_s":
            right = cell.channel == got.channel
        else:
            right = truth == read
        verdict = "right" if right else ("missed" if got.channel is None else "wrong")
        out.append((verdict, cell.header, truth, read, got.sure))
    return out


def main(count: int = 600, show: int = 25) -> int:
    tally: Counter[str] = Counter()
    misses: Counter[str] = Counter()
    alarms: list[str] = []
    sure_right = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(count):
            made = made_log(seed)
            for verdict, header, truth, read, sure in judged(made, Path(folder)):
                tally[verdict] += 1
                sure_right += verdict == "right" and sure >= SURE
                if verdict != "right":
                    misses[f"{verdict}: '{header}' is {truth}, read {read}"[:150]] += 1
                if verdict == "wrong" and sure >= SURE:
                    alarms.append(
                        f"{seed} ({made.layout}): '{header}' is {truth}, read {read} {sure}"
                    )
    total = sum(tally.values())
    print(f"{count} logs, {total} columns: {100 * tally['right'] / total:.2f} % right", dict(tally))
    print(
        f"called sure and right: {100 * sure_right / total:.1f} %; wrong and called sure: {len(alarms)}"
    )
    for text, number in misses.most_common(show):
        print(f"{number:5d}  {text}")
    for text in alarms[:show]:
        print("SURE AND WRONG", text)
    return len(alarms)


if __name__ == "__main__":
    sys.exit(1 if main(*(int(one) for one in sys.argv[1:])) else 0)

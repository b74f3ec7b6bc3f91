"""How many columns of made logs are read right, and whether any wrong one was called sure.

    python benchmarks/recognition.py [COUNT [FIRST]] [--show]

Three corpora, worded by different hands and kept apart from the reader's vocabulary (the third
without having read it), and one of files that say too little (there only false certainty counts);
COUNT files of each, default 600; of the third COUNT rides, several files each. A column is right
when channel, unit and sign all are. Ends with 1 when a wrong reading was called sure (0.95 or
more); `--show` lists every miss.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1] / one) for one in ("", "tests")]

from ledger import corpus, hard_logs, made_logs
from ledger.third_logs import third_ride
from setup_maker import TRIKE, setup_of

from importers.errors import LogError
from importers.log_file import read_log
from importers.ride import ChannelReading
from importers.setup_file import parse_setup
from importers.setup_types import Setup

SURE = 0.95


@dataclass(frozen=True)
class Truth:
    """What a column really is."""

    header: str
    channel: str | None
    unit: str
    sign: int
    enough: bool = True
    """False where nobody could be sure from this log: then only false certainty counts."""


@dataclass(frozen=True)
class Example:
    """A file with its truth, column by column."""

    label: str
    name: str
    data: bytes
    truth: list[Truth]
    setup: Setup | None
    one_drive: bool
    """True where the channels are of one drive: which, is settled over all files of a ride."""


def examples(which: str, first: int, count: int) -> Iterator[Example]:
    """Files of one corpus."""
    for seed in range(first, first + count):
        if which == "third":
            yield from _third(seed)
        elif which == "first":
            made = corpus.made_log(seed)
            truth = [Truth(c.header, c.channel, c.unit, c.sign) for c in made.cells]
            setup = setup_of(TRIKE)
            yield Example(f"{seed} {made.layout}", made.name, made.data, truth, setup, False)
        else:
            hard = hard_logs.hard_log(seed) if which == "hard" else None
            other = hard.made if hard else made_logs.made_log(seed)
            truth = [Truth(c.header, c.channel, c.unit, c.sign) for c in other.columns]
            drives = "\n".join(f"[drives.{name}]" for name in other.drives)
            setup = parse_setup(made_logs.SETUP + drives + "\n", "setup.toml")
            if hard and not hard.with_setup:
                setup = None
            label = f"{seed} {other.layout} {other.language}"
            yield Example(label, other.name, other.data, truth, setup, len(other.drives) == 1
                          or other.layout == "drive")  # fmt: skip


def _third(seed: int) -> Iterator[Example]:
    made = third_ride(seed)
    setup = parse_setup(made.setup, "setup.toml")
    one_drive = made.layout in ("sides", "long") or len(made.run.side) == 1
    for file in made.files:
        if file.readable:
            truth = [Truth(c.header, c.channel, c.unit, c.sign, c.enough) for c in file.columns]
            yield Example(made.label, file.name, file.data, truth, setup, one_drive)


def verdict_of(truth: Truth, read: ChannelReading, one_drive: bool) -> str:
    """`right`, `missed` (not read), `wrong`, or `wrong and sure`."""
    wanted, got = truth.channel, read.channel
    if one_drive and wanted is not None and got is not None:
        wanted, got = (one.rpartition(".")[2] for one in (wanted, got))
        # With one drive its battery is the pack.
        wanted, got = (one.replace("pack_cu", "battery_cu").replace("pack_v", "battery_v")
                       for one in (wanted, got))  # fmt: skip
    same = got == wanted
    if same and wanted not in (None, "time_s"):
        same = (read.unit, read.sign) == (truth.unit, truth.sign)
    if same:
        return "right"
    if read.sure >= SURE:
        return "wrong and sure"
    return "missed" if got is None else "wrong"


def run(which: str, first: int, count: int, show: bool) -> Counter[str]:
    """Verdicts over `count` files, misses printed."""
    tally: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for made in examples(which, first, count):
            path = Path(folder) / made.name
            path.write_bytes(made.data)
            try:
                readings = read_log(str(path), setup=made.setup).readings
            except LogError as error:
                tally["missed"] += len(made.truth)
                print(which, made.label, "refused:", error)
                continue
            if len(readings) != len(made.truth):
                tally["missed"] += len(made.truth)
                print(which, made.label, len(readings), "columns for", len(made.truth))
                continue
            for truth, read in zip(made.truth, readings, strict=True):
                verdict = verdict_of(truth, read, made.one_drive)
                if not truth.enough and verdict != "wrong and sure":
                    continue
                tally[verdict] += 1
                tally["right and sure"] += verdict == "right" and read.sure >= SURE
                if verdict != "right" and (show or verdict == "wrong and sure"):
                    print(f"{which} {made.label} {verdict}: '{truth.header}' is {truth.channel} "
                          f"[{truth.unit}] {truth.sign:+d}, read {read.channel} [{read.unit}] "
                          f"{read.sign:+d} {read.sure} {read.why}")  # fmt: skip
    return tally


def main(arguments: list[str]) -> int:
    """Run all corpora and print their figures."""
    show = "--show" in arguments
    count, first = [*(int(one) for one in arguments if one.isdigit()), 600, 0][:2]
    if len([one for one in arguments if one.isdigit()]) < 2:
        first = 0
    alarms = 0
    for which in ("first", "second", "third", "hard"):
        tally = run(which, first, count, show)
        total = sum(tally[one] for one in ("right", "missed", "wrong", "wrong and sure"))
        alarms += tally["wrong and sure"]
        print(
            f"{which} corpus, {count} files, {total} columns: "
            f"{100 * tally['right'] / max(1, total):.2f} % right, {tally['missed']} not read, "
            f"{tally['wrong']} wrong and said unsure, {tally['wrong and sure']} wrong and sure; "
            f"{100 * tally['right and sure'] / max(1, total):.1f} % right and sure"
        )
    return 1 if alarms else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""`ride --json` from the third corpus's files against what was true: read wrong, answered wrong.

    PYTHONPATH=.:tests python benchmarks/tables/third_truth.py [RIDES [FIRST]] [--wrong]

Each ride is a drive of `tests/probe`, written by one of twenty hands (`tests/ledger/third_*`):
channels over files, marks, units, clocks, wrappings. The files are given without a name first;
where the command asks which is which, as `NAME=path`, as a builder would. Compared: distance,
charge out and back, shares, peaks of the limits and their verdicts, where files lie in time.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ledger.third_logs import ThirdRide, third_ride
from probe import check, truth
from probe.logger import Style

from hillproof.jobs import analyse_ride
from importers.errors import UserError
from reports.json_out import ride_json

OFFSET_S = {"gps": 0.5, "bms": 0.3}
"""Clocks of slow files lie within this; a drive's within half a sample. Our choice."""


def logs_of(made: ThirdRide, folder: Path, *, named: bool) -> list[str]:
    """The arguments a builder types."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "setup.toml").write_text(made.setup, encoding="utf-8")
    typed = []
    for file in made.files:
        (folder / file.name).write_bytes(file.data)
        mark = f"{file.role}=" if named and file.role is not None else ""
        typed.append(f"{mark}{folder / file.name}")
    return typed


def answer_of(made: ThirdRide, folder: Path) -> tuple[dict[str, Any] | None, str]:
    """The answer, and what had to be said: nothing, `asked`, or why it was refused."""
    said = ""
    for named in (False, True):
        try:
            setup = str(folder / "setup.toml")
            result = analyse_ride(logs_of(made, folder, named=named), setup)
            return json.loads(ride_json(result)), "asked" if named else ""
        except UserError as error:
            said = str(error)
    return None, said


def compared(made: ThirdRide, answer: dict[str, Any]) -> Iterator[check.Result]:
    """Everything the files say enough of."""
    run = made.run
    rate = float(made.traits["rate_hz"])  # type: ignore[arg-type]
    logged = {c.channel.rpartition(".")[2] for f in made.files for c in f.columns if c.channel}
    style = Style(
        rate_hz=rate,
        bms="in" if made.has_bms else "none",
        bms_hz=made.bms_hz,
        channels=_channels(logged),
    )
    for key in ("distance_m", "charge_out_ah", "charge_back_ah"):
        want = truth.totals(run)[key]
        rel, least = (0.01, 3.0) if key == "distance_m" else (0.03, 0.02)
        yield check._close(key, answer["ride"][key], want, rel, least)
    for name, ways in truth.shares(run).items() if len(run.side) > 1 else ():
        for way, part in ways.items():
            if part is not None:
                got = (answer["balance"]["shares"] or {}).get(name, {}).get(way)
                yield check._estimate(f"shares.{way}", got, part, 0.0, 1.0)
    said = [row["what"] for row in answer["not_checked"]]
    for one in check.limits(run, answer, style):
        side = one.detail.split(".")[1] if one.detail.count(".") > 1 else ""
        unsettled = any(f", {side}:" in what and "is not settled" in what for what in said)
        if one.quantity == "limits row there" and "phase" in one.detail and unsettled:
            yield check.Result("phase limit unchecked, said so", True, None, one.detail)
        else:
            yield one
    began = made.files[0].offset_s
    for file, source in zip(made.files, answer["ride"]["sources"], strict=True):
        got = source["clock_offset_s"]
        if file is made.files[0] or got is None:
            continue
        if not file.readable and not made.traits["dated"]:
            continue  # a track has dates, a log that counts seconds has none
        want = file.offset_s - began
        if not file.readable:  # its clock has a zone, the log's perhaps none
            got -= 3600.0 * round((got - want) / 3600.0)
        least = OFFSET_S.get(str(file.role), 0.5 / rate)
        yield check._close(
            f"offset {file.role if file.role in OFFSET_S else 'drive'}", got, want, 0.0, least
        )


def _channels(logged: set[str]) -> tuple[str, ...]:
    names = {
        "phase_current_a": "phase_a",
        "motor_temp_c": "motor_c",
        "controller_temp_c": "controller_c",
    }
    return ("battery_a", *(short for long, short in names.items() if long in logged))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rides", type=int, nargs="?", default=40)
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("--wrong", action="store_true", help="print each that is wrong")
    args = parser.parse_args()
    counts: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    with tempfile.TemporaryDirectory() as name:
        for seed in range(args.first, args.first + args.rides):
            made = third_ride(seed)
            answer, said = answer_of(made, Path(name) / str(seed))
            counts["read"][0] += 1
            if answer is None:
                print(f"{made.label}: refused: {said}")
                continue
            counts["read"][1] += 1
            counts["asked for NAME= first"][0] += 1
            counts["asked for NAME= first"][1] += said == "asked"
            for one in compared(made, answer):
                row = counts[one.quantity]
                row[0] += 1
                row[1] += one.right
                if args.wrong and not one.right:
                    print(f"{made.label} {made.traits}: {one.quantity}: {one.detail}")
    print(f"\n{args.rides} rides from seed {args.first}")
    for quantity, (n, right) in sorted(counts.items()):
        print(f"{quantity:34} {right:4} of {n:4}")


if __name__ == "__main__":
    main()

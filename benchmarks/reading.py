"""Reading one log, everything found out included, as a ratio to pyarrow reading the clean file.

The clean file is the wide one of `make_wide_log.py` (1 h, 50 Hz, 22 columns, about 25 MB); its
variants are the same table written badly. Best of several runs, in one process.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pyarrow.csv as pc

TOP = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TOP), str(TOP / "tests"), str(TOP / "benchmarks")]

from make_wide_log import make

from importers.log_file import read_log
from importers.setup_file import read_setup

Change = Callable[[list[str]], bytes]


def variants() -> dict[str, Change]:
    def comma(lines: list[str]) -> bytes:
        return "\n".join(one.replace(",", ";").replace(".", ",") for one in lines).encode()

    def worst(lines: list[str]) -> bytes:
        out = ["Logger 7", "Start; 2031-05-04", ""]
        for at, one in enumerate(lines):
            out.append(one.replace(",", ";").replace(".", ","))
            if at % 20_000 == 19_999:
                out += [lines[0].replace(",", ";"), "# card", out[-1].rsplit(";", 3)[0]]
        return "\r\n".join(out).encode("utf-16")

    return {
        "clean": lambda lines: "\n".join(lines).encode(),
        "semicolons, decimal comma": comma,
        "quoted": lambda lines: "\n".join(
            [lines[0], *('"' + one.replace(",", '","') + '"' for one in lines[1:])]
        ).encode(),
        "runs of blanks": lambda lines: "\n".join(
            [
                lines[0].replace(" ", "_").replace(",", "  "),
                *(one.replace(",", "  ") for one in lines[1:]),
            ]
        ).encode(),
        "UTF-16, preamble, headers and comments in between, short rows": worst,
    }


def best_s(work: Callable[[], object], runs: int) -> float:
    times = []
    for _ in range(runs):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def main(file: str, setup_file: str, runs: int = 4) -> None:
    setup = read_setup(setup_file)
    lines = Path(file).read_text("utf-8").splitlines()
    base = best_s(lambda: pc.read_csv(file), runs)
    print(
        f"pyarrow.csv.read_csv of the clean file: {base:.3f} s, "
        f"{Path(file).stat().st_size / 1e6:.0f} MB"
    )
    with tempfile.TemporaryDirectory() as folder:
        for name, change in variants().items():
            path = Path(folder) / "log.csv"
            path.write_bytes(change(lines))
            took = best_s(lambda path=path: read_log(str(path), setup=setup), runs)
            print(f"{took / base:5.2f} x  {took:.3f} s  {name}")


if __name__ == "__main__":
    if len(sys.argv) > 2:
        main(*sys.argv[1:3])
    else:
        with tempfile.TemporaryDirectory() as place:
            main(*(str(one) for one in make(Path(place))))

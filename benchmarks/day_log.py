"""A day's riding, two drives at 100 Hz (8.64 million rows, 0.9 GB): memory and time of `look`,
`ride` and `book add`, against pyarrow reading the same file whole.

Whole processes, one run each; the file is made in a temporary folder (1 GB) and goes with it.
Memory stays under 1.5 GB; pyarrow alone takes more.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
MAKE = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from make_wide_log import make
make(Path(sys.argv[1]), hours=24.0, rate_hz=100.0, capacity_ah=600.0)
"""
"""In a process of its own: a child's peak memory begins with its parent's."""
WHOLE = "import sys; from pyarrow import csv; csv.read_csv(sys.argv[1])"


def run(command: list[str]) -> tuple[float, float, float]:
    """Wall seconds, CPU seconds and peak memory [MB] of one process."""
    begin = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=HERE.parent)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"failed: {' '.join(command)}")
    return (
        time.perf_counter() - begin,
        usage.ru_utime + usage.ru_stime,
        usage.ru_maxrss * 1024 / 1e6,
    )


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        subprocess.run([sys.executable, "-c", MAKE, name, str(HERE)], check=True)
        log, setup = folder / "wide.csv", folder / "setup.toml"
        setup.write_text(setup.read_text().replace("parallel = 8", "parallel = 60"))
        print(f"log: {log.stat().st_size / 1e9:.2f} GB, 22 columns, 24 h at 100 Hz")
        given = [str(log), "--setup", str(setup), "--start", "2031-05-04T09:12"]
        page, numbers = str(folder / "day.html"), str(folder / "day.json")
        ours = [sys.executable, "-m", "hillproof"]
        commands = {
            "pyarrow": [sys.executable, "-c", WHOLE, str(log)],
            "look": [*ours, "look", str(log), "--setup", str(setup)],
            "ride": [*ours, "ride", *given, "--report", page, "--json", numbers],
            "book add": [*ours, "book", "add", *given, "--book", str(folder / "book")],
        }
        base = 0.0
        for what, command in commands.items():
            wall, cpu, peak = run(command)
            base = base or cpu
            print(
                f"{what:9} wall {wall:6.1f} s, CPU {cpu:6.1f} s ({cpu / base:4.1f} times), "
                f"peak {peak:6.0f} MB"
            )
        print(f"report   {(folder / 'day.html').stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()

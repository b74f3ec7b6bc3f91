"""A day's log (24 h of two drives at 100 Hz, about 2 GB) through `look`, `ride` and `book add`.

Usage: day_log.py [HOURS [FOLDER]] [--parquet]  (default 24; the folder needs room for 2.5 GB)

Peak memory and CPU time of each command as a process of its own, and of `pyarrow.csv` reading the
same file: a table of all of it, as short logs are read. With `--parquet` the commands get the same
table as Parquet.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TOP), str(TOP / "tests"), str(TOP / "benchmarks")]

from make_day_log import make_day

MOST_MB = 1536
"""Issue 3's limit."""


def run(command: list[str]) -> tuple[float, float]:
    """CPU seconds and peak memory [MB] of one process."""
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=TOP)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"failed: {' '.join(command)}")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def as_parquet(log: Path) -> Path:
    """The same table as Parquet, row groups as they come."""
    import pyarrow as pa
    import pyarrow.csv as pc
    import pyarrow.parquet as pq

    out = log.with_suffix(".parquet")
    if not out.exists():
        names = log.open(encoding="utf-8").readline().replace('"', "").strip().split(",")
        kinds = pc.ConvertOptions(column_types=dict.fromkeys(names[1:], pa.float64()))
        reader = pc.open_csv(log, convert_options=kinds)
        with pq.ParquetWriter(out, reader.schema) as writer:
            for batch in reader:
                writer.write_batch(batch)
    return out


def compare(folder: Path, hours: float, *, parquet: bool) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    log, setup = folder / "day.csv", folder / "setup.toml"
    if not log.exists():
        make_day(folder, hours=hours)
    print(f"log: {log.stat().st_size / 1e6:.0f} MB")
    code = "import sys, pyarrow.csv as c; c.read_csv(sys.argv[1])"
    base_s, base_mb = run([sys.executable, "-c", code, str(log)])
    print(f"{'pyarrow.csv':10} {base_s:6.1f} s CPU, peak {base_mb:6.0f} MB")
    if parquet:
        log = as_parquet(log)
        print(f"as Parquet: {log.stat().st_size / 1e6:.0f} MB")
    ours = [sys.executable, "-m", "hillproof"]
    logs = [str(log), "--setup", str(setup)]
    outputs = ["--report", str(folder / "r.html"), "--json", str(folder / "r.json")]
    for name, command in (
        ("look", ["look", *logs]),
        ("ride", ["ride", *logs, *outputs]),
        ("book add", ["book", "add", *logs, "--book", str(folder / "book")]),
    ):
        seconds, peak_mb = run([*ours, *command])
        print(
            f"{name:10} {seconds:6.1f} s CPU, peak {peak_mb:6.0f} MB: {seconds / base_s:.1f} times "
            f"the CPU time, {peak_mb / base_mb:.2f} times the memory"
            f"{'' if peak_mb <= MOST_MB else f'  ABOVE {MOST_MB} MB'}"
        )


def main() -> None:
    words = [one for one in sys.argv[1:] if one != "--parquet"]
    hours = float(words[0]) if words else 24.0
    parquet = "--parquet" in sys.argv
    if len(words) > 1:
        compare(Path(words[1]), hours, parquet=parquet)
        return
    with tempfile.TemporaryDirectory() as name:
        compare(Path(name), hours, parquet=parquet)


if __name__ == "__main__":
    main()

"""The whole `ride` command with report against a plain script, and `--help` against `import typer`.

Plain script: reads the same CSV with pandas and writes eight raw traces with plotly. Wall time
and peak memory of whole processes, in turn, medians; ratios ours / plain. Our sources are compiled
to bytecode first, as installing them does and as those of the libraries are.
"""

from __future__ import annotations

import compileall
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from make_wide_log import make

RUNS = 3
PLAIN = """
import sys, pandas as pd, plotly.graph_objects as go
from plotly.subplots import make_subplots
table = pd.read_csv(sys.argv[1])
names = [c for c in table.columns if "current" in c or "voltage" in c or "motor temp" in c][:8]
figure = make_subplots(rows=8, shared_xaxes=True)
for row, name in enumerate(names, 1):
    figure.add_trace(go.Scattergl(x=table["time [s]"], y=table[name], name=name), row=row, col=1)
figure.write_html(sys.argv[2])
"""


def run(command: list[str]) -> tuple[float, float]:
    """Wall seconds and peak memory [MB] of one process."""
    begin = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"failed: {' '.join(command)}")
    return time.perf_counter() - begin, usage.ru_maxrss / 1024


def compare(ours: list[str], plain: list[str], runs: int = RUNS) -> None:
    """Both in turn, one warm-up each; prints medians and the ratio."""
    run(ours), run(plain)
    pairs = [(run(ours), run(plain)) for _ in range(runs)]
    for index, what, unit in ((0, "wall time", "s"), (1, "peak memory", "MB")):
        mine = statistics.median(a[index] for a, _ in pairs)
        other = statistics.median(b[index] for _, b in pairs)
        ratio = statistics.median(a[index] / b[index] for a, b in pairs)
        print(f"{what:12} ours {mine:8.2f} {unit}, plain {other:8.2f} {unit}, ratio {ratio:.2f}")


def main() -> None:
    for package in ("importers", "analyzer", "reports", "hillproof"):
        compileall.compile_dir(HERE.parent / package, quiet=1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log, setup = make(folder)
        print(f"log: {log.stat().st_size / 1e6:.1f} MB, 22 columns, 1 h at 50 Hz")
        script = folder / "plain.py"
        script.write_text(PLAIN)
        hillproof = [sys.executable, "-m", "hillproof"]
        report = folder / "report.html"
        compare(
            [*hillproof, "ride", str(log), "--setup", str(setup), "--report", str(report)],
            [sys.executable, str(script), str(log), str(folder / "plain.html")],
        )
        print(f"report size  {report.stat().st_size / 1e6:.2f} MB")
        print("--help against python -c 'import typer'")
        compare([*hillproof, "--help"], [sys.executable, "-c", "import typer"], runs=9)


if __name__ == "__main__":
    main()

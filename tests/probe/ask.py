"""Run the real command line on a case and read its JSON back."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from probe.cases import Case
from probe.logger import write_logs
from probe.machine import setup_text


def files(case: Case, folder: Path, seed: int = 1) -> list[str]:
    """Setup and logs of a case in a folder; the arguments for `ride`."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "setup.toml").write_text(setup_text(case.run.machine), encoding="utf-8")
    return write_logs(case.run, folder, case.style, seed)


def ride_json(args: list[str]) -> tuple[int, dict[str, Any], str]:
    """Exit status, answer and what went to standard error."""
    done = subprocess.run(
        [sys.executable, "-m", "hillproof", "ride", *args, "--json", "-", "--quiet"],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, json.loads(done.stdout) if done.returncode == 0 else {}, done.stderr

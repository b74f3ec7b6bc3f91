"""`demo`: the sample build and its rides, written out and run through the main job."""

from __future__ import annotations

import shutil
import sys
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING

from hillproof import jobs
from hillproof.log_args import refuse_existing
from importers.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

DEFAULT_FOLDER = "hillproof-demo"
MAIN_RIDE = "hill"
"""The sample ride that the main job is shown on: a folder of `sample_logs`."""


def run_demo(folder: str | None, *, console: Console | None) -> str:
    """Write the samples into a new folder, analyse the main ride, return the report's path.

    Raises
    ------
    importers.errors.UserError : the folder is there already or cannot be made
    """
    target = Path(folder) if folder is not None else _free_folder()
    refuse_existing(str(target))
    try:
        _copy(files("sample_logs"), target)
    except OSError as error:
        raise UsageError(
            where=str(target),
            what=f"the sample files cannot be written ({error.strerror})",
            remedy="Name a folder that can be made: hillproof demo DIR.",
        ) from error
    logs = sorted(str(path) for path in (target / MAIN_RIDE).glob("*.csv"))
    report = str(target / "report.html")
    result = jobs.analyse_ride(logs, str(target / "setup.toml"))
    jobs.write_ride(result, report=report, json=str(target / "report.json"))
    if console is not None:
        from reports.terminal import print_ride

        print_ride(result, console)
        console.print(
            f"\nThe sample build and its rides: {target}\nOpen the report in a browser: {report}\n"
            f"The same by hand:\n  {_command()} ride {' '.join(logs)} "
            f"--setup {target / 'setup.toml'} --report {report}",
            markup=False,
            soft_wrap=True,
        )
    return report


def _command() -> str:
    """How to start hillproof from here: by its name where the shell finds it."""
    return "hillproof" if shutil.which("hillproof") else sys.argv[0]


def _free_folder() -> Path:
    """`hillproof-demo`, or the first of `hillproof-demo-2`, `-3` … that is not there."""
    path, number = Path(DEFAULT_FOLDER), 1
    while path.exists():
        number += 1
        path = Path(f"{DEFAULT_FOLDER}-{number}")
    return path


def _copy(source: Traversable, target: Path) -> None:
    target.mkdir()
    for one in sorted(source.iterdir(), key=lambda item: item.name):
        if one.name.startswith(("__", ".")):
            continue
        if one.is_dir():
            _copy(one, target / one.name)
        elif not one.name.endswith(".py"):
            (target / one.name).write_bytes(one.read_bytes())

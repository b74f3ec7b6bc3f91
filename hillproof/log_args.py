"""What was typed, checked before any work starts: setups to use, outputs that can be written."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from importers.errors import UsageError

MASS_KG, PACK_TEMP_C = (5.0, 50_000.0), (-40.0, 80.0)
"""What is believed of a day's mass and of a pack. Our choice: beyond it is a slip of the finger."""
STDOUT = "-"
SETUP_NAME = "setup.toml"


@dataclass(frozen=True, slots=True)
class SetupChoice:
    """Which setup file is used, and whether it was named or found."""

    path: str | None
    found: bool

    @property
    def sentence(self) -> str:
        """Which setup is in use, for the terminal; empty when it was named."""
        return f"Setup: {self.path} (found; name another with --setup)" if self.found else ""


def log_path(log: str) -> str:
    """The path in `NAME=path`, or the argument itself when it is a file or has no name."""
    if os.path.exists(log) or "=" not in log:
        return log
    return log.split("=", 1)[1]


def choose_setup(setup: str | None, logs: Iterable[str], *, required: bool = True) -> SetupChoice:
    """The setup named, else `setup.toml` beside the first log, else in the working directory.

    Raises
    ------
    UsageError : none is named and none found, and one is `required`
    """
    if setup is not None:
        return SetupChoice(setup, found=False)
    first = next(iter(logs), None)
    places = [Path(SETUP_NAME)]
    if first is not None:
        places.insert(0, Path(log_path(first)).parent / SETUP_NAME)
    for place in places:
        if place.is_file():
            return SetupChoice(str(place), found=True)
    if not required:
        return SetupChoice(None, found=False)
    looked = " and no ".join(dict.fromkeys(str(place) for place in places))
    raise UsageError(
        where="",
        what=f"no setup file: none was named, and there is no {looked}",
        remedy="Name one with --setup FILE, or write one with `hillproof setup new setup.toml`.",
    )


def check_outputs(outputs: Mapping[str, str | None], inputs: Iterable[str | None]) -> None:
    """Can every output be written, and would none replace an input or another output?

    `outputs` maps the option (`--report`) to what was typed. Nothing is created.

    Raises
    ------
    UsageError : the first that cannot be written, all others listed with it
    """
    sources = [Path(one) for one in inputs if one]
    seen: dict[Path | str, str] = {}
    faults: list[UsageError] = []
    for option, typed in outputs.items():
        if typed is None:
            continue
        key: Path | str = STDOUT if typed == STDOUT else Path(typed).absolute()
        if key in seen:
            faults.append(_fault(option, typed, f"is also the output of {seen[key]}", "other"))
        seen[key] = option
        if typed != STDOUT and (fault := _output_fault(option, typed, sources)):
            faults.append(fault)
    if faults:
        first, *more = faults
        raise UsageError(where=first.where, what=first.what, remedy=first.remedy, more=tuple(more))


def _fault(option: str, typed: str, what: str, remedy: str) -> UsageError:
    if remedy == "other":
        remedy = "Name another file."
    return UsageError(where=f"{option} {typed}", what=f"this output {what}", remedy=remedy)


def _output_fault(option: str, typed: str, sources: list[Path]) -> UsageError | None:
    path = Path(typed)
    folder = path.parent
    if not typed or path.is_dir():
        return _fault(option, typed, "is a folder, not a file", "Name a file in it.")
    if not folder.exists():
        return _fault(
            option,
            typed,
            f"needs the folder {folder}, which does not exist",
            "Make the folder first, or name another.",
        )
    if not folder.is_dir():
        return _fault(option, typed, f"needs the folder {folder}, which is a file", "other")
    device = path.exists() and not path.is_file()
    if not device and not os.access(folder, os.W_OK | os.X_OK):
        return _fault(option, typed, f"cannot be written: no permission in {folder}", "other")
    for source in sources:
        if source.exists() and path.exists() and os.path.samefile(source, path):
            return _fault(option, typed, "is one of the inputs", "other")
    return None


def refuse_existing(path: str) -> None:
    """For commands that replace nothing.

    Raises
    ------
    UsageError : something of that name is there
    """
    if path != STDOUT and os.path.lexists(path):
        raise UsageError(
            where=path,
            what="a file or folder of that name is there already, and this command replaces none",
            remedy="Name another, or move the old one away first.",
        )


def check_facts(mass_kg: float | None, pack_temp_c: float | None) -> None:
    """Are `--mass` and `--temp` of this world?

    Raises
    ------
    UsageError : a value out of all range, all of them in one message
    """
    typed = (
        ("--mass", mass_kg, MASS_KG, "kg", "It is of vehicle, rider and load."),
        ("--temp", pack_temp_c, PACK_TEMP_C, "°C", "It is the pack's at the start."),
    )
    faults = [
        UsageError(
            where=f"{option} {value:g}",
            what=f"not between {low:g} and {high:g} {unit}",
            remedy=means,
        )
        for option, value, (low, high), unit, means in typed
        if value is not None and not low <= value <= high
    ]
    if faults:
        first, *more = faults
        raise UsageError(where=first.where, what=first.what, remedy=first.remedy, more=tuple(more))


def parse_start(text: str | None) -> datetime | None:
    """`--start` as an instant; without an offset it is this machine's local time.

    Raises
    ------
    UsageError : not an ISO 8601 date and time
    """
    if text is None:
        return None
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        start = None
    if start is None or len(text) < len("2031-05-04T09:12"):
        raise UsageError(
            where=f"--start {text}",
            what="not a date with a time",
            remedy="Write it like 2031-05-04T09:12, or with an offset: 2031-05-04T09:12+02:00.",
        )
    return start.astimezone()

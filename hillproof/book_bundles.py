"""Which of the files handed to `book add` are one ride: those named together, those of a folder."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from hillproof.log_args import log_path

LOG_ENDINGS = (".csv", ".tsv", ".txt", ".log", ".gpx", ".gz", ".zip", ".xz", ".parquet")
"""Endings a folder's logs are looked for under; named files may have any."""
HEAD_BYTES = 400


class Bundle(NamedTuple):
    """One ride's logs under the name they are spoken of by, or why there are none."""

    what: str
    logs: tuple[str, ...]
    error: str = ""


def bundles(arguments: Sequence[str]) -> Iterator[Bundle]:
    """Rides in the arguments: all logs named are one, those of a folder are one. A ride file is a
    ride by itself. A folder without any log is told, the others go on."""
    files = [one for one in arguments if not os.path.isdir(log_path(one))]
    yield from _of_files(files[0] if files else "", files)
    for folder in (Path(one) for one in arguments if os.path.isdir(one)):
        found = False
        for place in sorted([folder, *(sub for sub in folder.rglob("*") if sub.is_dir())]):
            logs = [str(one) for one in sorted(place.iterdir()) if _is_log(one)]
            found = found or bool(logs)
            yield from _of_files(str(place), logs)
        if not found:
            error = (
                f"{folder}: no log is in this folder or below it. Logs end with one of "
                f"{', '.join(LOG_ENDINGS)}; name others as files."
            )
            yield Bundle(str(folder), (), error)


def is_kept_ride(log: str) -> bool:
    """Whether a log is a ride file, which carries its setup and stands on its own."""
    if not log.endswith(".parquet") or not os.path.exists(log):
        return False
    from importers.ride_file import is_ride_file

    return is_ride_file(log)


def _of_files(what: str, files: Sequence[str]) -> Iterator[Bundle]:
    rides = [one for one in files if is_kept_ride(one)]
    logs = tuple(one for one in files if one not in rides)
    if logs:
        yield Bundle(what if what not in rides else logs[0], logs)
    for one in rides:
        yield Bundle(one, (one,))


def _is_log(path: Path) -> bool:
    """By its name, and none of what lies beside logs: a rest-voltage curve, a list of events."""
    if path.suffix.lower() not in LOG_ENDINGS or path.name.startswith(".") or not path.is_file():
        return False
    from importers.curve_file import is_curve_file

    return not is_curve_file(str(path)) and not _is_events(path)


def _is_events(path: Path) -> bool:
    """Whether this is what `ride --events` wrote."""
    from reports.events_csv import COLUMNS

    try:
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except OSError:
        return False
    return head.startswith(",".join(COLUMNS).encode())

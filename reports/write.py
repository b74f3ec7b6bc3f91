"""Outputs onto disk or standard output: all of them whole, or none.

Each file is written beside its place and renamed, so that a reader never sees half a file and a
failure leaves the old one as it was. `-` is standard output.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from importers.errors import UsageError

STANDARD_OUTPUT = "-"
_EXPECTED_MODE = 0o666
_FOLDER_MODE = 0o777


def write_outputs(outputs: Mapping[str, str | bytes]) -> None:
    """Write every output, replacing files of those names; nothing is replaced until all are
    written beside their places.

    Raises `UsageError` when a folder does not exist, a place cannot be written or the disk is
    full; then no output of this call is on disk.
    """
    beside: list[tuple[Path, Path]] = []
    try:
        for name, content in outputs.items():
            if name != STANDARD_OUTPUT and not _is_device(name):
                beside.append((_write_beside(name, content), Path(name)))
        for written, place in beside:
            _rename(written, place)
    finally:
        for written, _ in beside:
            with suppress(OSError):
                written.unlink(missing_ok=True)
    for name in filter(_is_device, outputs):
        _to_device(name, outputs[name])
    if STANDARD_OUTPUT in outputs:
        _to_standard_output(outputs[STANDARD_OUTPUT])


def write_folder(folder: str, files: Iterable[tuple[str, str | bytes]]) -> None:
    """Write (file name, content) after one another into a folder, which is made if it is not there
    and may hold other files, which stay. Only when the last is written does any of them stand in
    its place.

    Raises `UsageError` when it is no folder, cannot be made or written, or the disk is full; then,
    as when `files` itself fails, a new folder is not there and an old one is as it was.
    """
    target = Path(folder)
    if target.exists() and not target.is_dir():
        raise UsageError(where=folder, what="is a file, not a folder", remedy="Name another.")
    there = target.is_dir()
    if not there and not target.parent.is_dir():
        raise _not_written(
            folder, "the folder above it does not exist", "Make that first, or name another place."
        )
    with _told_of(folder):
        beside = Path(tempfile.mkdtemp(prefix=".pages-", dir=target if there else target.parent))
    try:
        names = []
        for name, content in files:
            with _told_of(folder):
                _write_new(beside / name, content)
            names.append(name)
        with _told_of(folder):
            if there:
                for name in names:
                    os.replace(beside / name, target / name)
            else:
                beside.chmod(_FOLDER_MODE & ~_mask())
                os.rename(beside, target)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


@contextmanager
def _told_of(name: str) -> Iterator[None]:
    """What the system says against writing there, told as our own message."""
    try:
        yield
    except OSError as fault:
        raise _not_written(
            name, fault.strerror or str(fault), "Name another place or make room there."
        ) from fault


def _write_new(place: Path, content: str | bytes) -> None:
    with place.open("wb") as file:
        _flushed(file, content)


def _flushed(file: BinaryIO, content: str | bytes) -> None:
    """Written, and down on the disk."""
    file.write(content.encode("utf-8") if isinstance(content, str) else content)
    file.flush()
    os.fsync(file.fileno())


def check_writable(name: str) -> None:
    """Can this output be written? Asked before the work starts.

    Raises `UsageError` with what is in the way.
    """
    if name == STANDARD_OUTPUT:
        return
    place = Path(name)
    if _is_device(name):
        return
    folder = place.parent
    if not folder.exists():
        raise _not_written(name, f"the folder '{folder}' does not exist", "Make it first.")
    if not folder.is_dir():
        raise _not_written(name, f"'{folder}' is not a folder", "Name another place.")
    if place.is_dir():
        raise _not_written(name, "that is a folder", "Name a file in it.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise _not_written(
            name, f"no right to write into '{folder}'", "Name a folder that is yours."
        )


def _is_device(name: str) -> bool:
    """A device or a pipe is written into: renaming a file to its place would destroy it."""
    place = Path(name)
    return name != STANDARD_OUTPUT and place.exists() and not (place.is_file() or place.is_dir())


def _to_device(name: str, content: str | bytes) -> None:
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        with Path(name).open("wb") as file:
            file.write(data)
    except BrokenPipeError:
        raise  # the reader went away: as with standard output
    except OSError as fault:
        raise _not_written(name, fault.strerror or str(fault), "Name another place.") from fault


def _not_written(name: str, what: str, remedy: str) -> UsageError:
    return UsageError(where=name, what=f"not written: {what}", remedy=remedy)


def _write_beside(name: str, content: str | bytes) -> Path:
    check_writable(name)
    place = Path(name)
    with _told_of(name):
        handle, written = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                _flushed(file, content)
            os.chmod(written, _mode(place))
        except BaseException:
            os.unlink(written)
            raise
    return Path(written)


def _mode(place: Path) -> int:
    """The rights of the file that is replaced, else those any new file gets."""
    with suppress(OSError):
        return place.stat().st_mode & 0o777
    return _EXPECTED_MODE & ~_mask()


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _rename(written: Path, place: Path) -> None:
    # A link stays a link: what it points at is replaced.
    try:
        os.replace(written, os.path.realpath(place) if place.is_symlink() else place)
    except OSError as fault:
        raise _not_written(
            str(place), fault.strerror or str(fault), "Name another place."
        ) from fault


def _to_standard_output(content: str | bytes) -> None:
    if isinstance(content, str):
        content = content.encode("utf-8")
    sys.stdout.flush()
    sys.stdout.buffer.write(content)
    sys.stdout.buffer.flush()

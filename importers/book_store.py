"""Where a book's files lie, and how they get there whole: a local folder, or any place that fsspec
reaches.

Both keep one promise: a file is written under a hidden name beside its place and then put into
it, so a reader sees all of it or nothing, whatever is killed. Two who write the same ride at once:
a local folder keeps the first and tells the second so; elsewhere the later copy of the same
measurements takes the place of the earlier.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from importers.errors import BookError, LogError
from importers.remote import is_remote, local_path

TEMPORARY = ".writing-"
STALE_S = 3600.0
"""Half-written files older than this are a killed writer's and are cleared away [s]. Our choice."""
REMEDY = "Make room or get permission there, or name another book with --book DIR."


@dataclass(frozen=True, slots=True)
class Item:
    """A file of the book."""

    name: str
    path: str
    """What opens it: a path, or an address with its scheme."""
    stamp: list[int | str]
    """Size and time of change, as this place tells them: another stamp, another content."""


class Store(Protocol):
    """Rooms (`rides`, `notes`, or none for the book's own folder) with files in them."""

    place: str
    shared: bool
    """Whether other processes see the same files."""

    def items(self, room: str) -> list[Item]:
        """Finished files of a room, by name; none where there is no such room."""

    def names(self, room: str) -> list[str]:
        """Their names alone, which is less to ask for."""

    def leftovers(self) -> list[str]:
        """Names of what writers that were stopped left behind."""

    def read(self, room: str, name: str) -> bytes | None:
        """A small file; None where it is not there or cannot be read."""

    def keep_new(self, room: str, name: str, write: Callable[[str], None]) -> bool:
        """Put what `write` writes to a path into its place; False when one is there already."""

    def replace(self, room: str, name: str, write: Callable[[str], None]) -> None:
        """The same, in the place of what is there."""

    def remove(self, room: str, name: str) -> None:
        """Take a file out for good."""


def store_at(place: str | Path) -> Store:
    """The store behind what `--book` names.

    Raises
    ------
    BookError : an address of an unknown kind, or whose driver is not installed
    """
    if isinstance(place, str) and is_remote(place):
        folder = local_path(place)
        if folder is not None:
            return LocalStore(folder)
        from importers.remote_store import RemoteStore

        return RemoteStore(place)
    return LocalStore(Path(place))


def written(data: bytes) -> Callable[[str], None]:
    """A writer of these bytes, flushed to disk."""

    def write(path: str) -> None:
        with open(path, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())

    return write


class LocalStore:
    """A folder of this machine, or one that it has mounted."""

    shared = True

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.place = str(folder)

    def items(self, room: str) -> list[Item]:
        """See `Store`."""
        try:
            with os.scandir(self.folder / room) as found:
                files = []
                for one in found:
                    if not one.name.startswith("."):
                        stat = one.stat()
                        files.append(Item(one.name, one.path, [stat.st_size, stat.st_mtime_ns]))
        except FileNotFoundError:
            return []
        except OSError as error:
            raise self._error(error) from error
        return sorted(files, key=lambda one: one.name)

    def names(self, room: str) -> list[str]:
        """See `Store`."""
        try:
            return sorted(one for one in os.listdir(self.folder / room) if not one.startswith("."))
        except FileNotFoundError:
            return []
        except OSError as error:
            raise self._error(error) from error

    def leftovers(self) -> list[str]:
        """See `Store`."""
        return sorted(one.name for one in self.folder.glob("*/.*"))

    def read(self, room: str, name: str) -> bytes | None:
        """See `Store`."""
        try:
            return (self.folder / room / name).read_bytes()
        except OSError:
            return None

    def keep_new(self, room: str, name: str, write: Callable[[str], None]) -> bool:
        """See `Store`."""
        with self._beside(room, name, write) as (beside, place):
            return _link(beside, place)

    def replace(self, room: str, name: str, write: Callable[[str], None]) -> None:
        """See `Store`."""
        with self._beside(room, name, write) as (beside, place):
            os.replace(beside, place)
            _flush_folder(place.parent)

    def remove(self, room: str, name: str) -> None:
        """See `Store`."""
        with self._writing():
            (self.folder / room / name).unlink()

    @contextlib.contextmanager
    def _beside(
        self, room: str, name: str, write: Callable[[str], None]
    ) -> Iterator[tuple[Path, Path]]:
        with self._writing():
            place = self.folder / room / name
            place.parent.mkdir(parents=True, exist_ok=True)
            self._clear_stale(place.parent)
            beside = place.with_name(hidden(name))
            try:
                write(str(beside))
                yield beside, place
            finally:
                beside.unlink(missing_ok=True)

    def _clear_stale(self, folder: Path) -> None:
        for path in folder.glob(f"*{TEMPORARY}*"):
            with contextlib.suppress(OSError):
                if time.time() - path.stat().st_mtime > STALE_S:
                    path.unlink()

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise self._error(error) from error
        except LogError as error:  # a ride file's own, about a hidden name nobody typed
            if isinstance(error.__cause__, OSError):
                raise self._error(error.__cause__) from error
            raise

    def _error(self, error: OSError) -> BookError:
        what = f"the book cannot be used ({error.strerror or error}); nothing in it was changed"
        return BookError(where=self.place, what=what, remedy=REMEDY)


def hidden(name: str) -> str:
    """A name beside `name` that readers pass over, of this writer alone."""
    return f"{TEMPORARY}{os.getpid()}-{secrets.token_hex(4)}{Path(name).suffix}"


def _link(beside: Path, place: Path) -> bool:
    try:
        os.link(beside, place)
    except FileExistsError:
        return False
    except OSError:
        if place.exists():
            return False
        os.replace(beside, place)  # a file system without hard links
    _flush_folder(place.parent)
    return True


def _flush_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

"""A book's files on a file system that fsspec reaches: the other side of `book_store`."""

from __future__ import annotations

import contextlib
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from importers.book_store import REMEDY, STALE_S, TEMPORARY, Item, hidden
from importers.errors import BookError
from importers.remote import file_system, reaching

_TIMES = ("mtime", "LastModified", "last_modified", "updated", "created")
"""Where drivers tell when a file was changed."""


class RemoteStore:
    """A folder on a file system that fsspec reaches.

    Renaming replaces in one step on servers' disks; object stores copy, and what is copied appears
    there whole or not at all.
    """

    def __init__(self, url: str) -> None:
        self.place = url.rstrip("/")
        self._system, self._path = file_system(url)
        if "::" in url and "://" not in url.partition("::")[0]:
            self._path = ""  # `dir::file:///x`: all of the path is in the file system already
        self.shared = "memory" not in _protocols(self._system)

    def items(self, room: str) -> list[Item]:
        """See `Store`."""
        return [
            Item(name, self._address(room, name), _stamp(info))
            for name, info in self._listed(room)
            if not name.startswith(".")
        ]

    def names(self, room: str) -> list[str]:
        """See `Store`."""
        return [name for name, _ in self._listed(room) if not name.startswith(".")]

    def leftovers(self) -> list[str]:
        """See `Store`."""
        return sorted(
            name
            for room in ("rides", "notes")
            for name, _ in self._listed(room)
            if name.startswith(".")
        )

    def read(self, room: str, name: str) -> bytes | None:
        """See `Store`."""
        try:
            with reaching(self.place):
                return bytes(self._system.cat_file(self._inside(room, name)))
        except (OSError, BookError):
            return None

    def keep_new(self, room: str, name: str, write: Callable[[str], None]) -> bool:
        """See `Store`; two at once both put theirs, which holds the same measurements."""
        if any(one == name for one, _ in self._listed(room)):
            return False
        self.replace(room, name, write)
        return True

    def replace(self, room: str, name: str, write: Callable[[str], None]) -> None:
        """See `Store`."""
        place, beside = self._inside(room, name), self._inside(room, hidden(name))
        with tempfile.TemporaryDirectory() as folder, self._writing():
            made = str(Path(folder) / name)
            write(made)
            self._system.makedirs(self._inside(room), exist_ok=True)
            self._clear_stale(room)
            try:
                self._system.put_file(made, beside)
                self._system.mv(beside, place)
            except BaseException:
                with contextlib.suppress(Exception):
                    self._system.rm_file(beside)
                raise
            self._system.invalidate_cache()

    def remove(self, room: str, name: str) -> None:
        """See `Store`."""
        with self._writing():
            self._system.rm_file(self._inside(room, name))
            self._system.invalidate_cache()

    def _inside(self, *parts: str) -> str:
        return "/".join(one for one in (self._path, *parts) if one)

    def _address(self, room: str, name: str) -> str:
        """The address of a file; of a chained one the first part carries the path."""
        head, chain, tail = self.place.partition("::")
        if not chain:
            return f"{head}/{room}/{name}"
        outer = f"{head.rstrip('/')}/" if "://" in head else f"{head}://"
        return f"{outer}{room}/{name}::{tail}"

    def _listed(self, room: str) -> list[tuple[str, dict[str, Any]]]:
        try:
            with reaching(self.place):
                self._system.invalidate_cache()
                found = self._system.ls(self._inside(room), detail=True)
        except FileNotFoundError:
            return []
        named = [(str(one["name"]).rstrip("/").rpartition("/")[2], one) for one in found]
        return sorted(
            ((name, one) for name, one in named if one.get("type") != "directory"),
            key=lambda pair: pair[0],
        )

    def _clear_stale(self, room: str) -> None:
        for name, info in self._listed(room):
            changed = _changed(info)
            if (
                name.startswith(TEMPORARY)
                and changed is not None
                and time.time() - changed > STALE_S
            ):
                with contextlib.suppress(Exception):
                    self._system.rm_file(self._inside(room, name))

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            with reaching(self.place):
                yield
        except (OSError, ValueError) as error:
            what = f"the book cannot be used ({error}); nothing in it was changed"
            raise BookError(where=self.place, what=what, remedy=REMEDY) from error


def _protocols(system: Any) -> tuple[str, ...]:
    inner = getattr(system, "fs", None)
    own = system.protocol
    names = (own,) if isinstance(own, str) else tuple(own)
    return names if inner is None else (*names, *_protocols(inner))


def _stamp(info: dict[str, Any]) -> list[int | str]:
    when = next((info[key] for key in ("ETag", "etag", *_TIMES) if info.get(key)), "")
    return [int(info.get("size") or 0), str(when)]


def _changed(info: dict[str, Any]) -> float | None:
    when = next((info[key] for key in _TIMES if info.get(key)), None)
    if isinstance(when, datetime):
        return when.timestamp()
    return float(when) if isinstance(when, int | float) else None

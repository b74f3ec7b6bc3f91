"""The book of rides: a folder of ride files that is itself the database.

    BOOK/rides/2031-05-04T0912-3fa2b1c4.parquet    one ride with its setup, sources and summary
    BOOK/notes/2031-05-06-….note.json              one note by hand
    BOOK/index.json                                 may be deleted at any time; comes back

A ride is written beside its place, flushed to disk and linked into it: it is there whole or not at
all, whatever is killed, and two writers cannot disturb each other. The index only remembers what
stands in the files' metadata, by size and time of change. What a summary holds is the caller's.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from importers.book_notes import NOTE_ENDING, HandNote, note_bytes, read_notes
from importers.errors import BookError, UserError
from importers.ride import Ride
from importers.ride_file import EXACT_COLUMNS, read_ride_extra, read_ride_file, write_ride_file
from importers.setup_types import Setup

RIDES, NOTES, INDEX = "rides", "notes", "index.json"
RIDE_ENDING = ".parquet"
TEMPORARY = ".writing-"
STALE_S = 3600.0
"""Half-written files older than this are a killed writer's and are cleared away [s]. Our choice."""
INDEX_VERSION = 1
HASH_LETTERS = 8


@dataclass(frozen=True, slots=True)
class Entry:
    """One ride in the book, known from its metadata alone."""

    name: str
    path: str
    kind: str
    """`ride` or `charge`."""
    pack: str
    """`pack.name`, else `vehicle.name`, else empty: what tells packs apart."""
    start: datetime
    content: str
    sources: tuple[str, ...]
    """SHA-256 of each log file's bytes."""
    summary: Mapping[str, Any] | None
    summary_version: int


class Book:
    """A book at a folder; made by the first `add`."""

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)

    def entries(self) -> list[Entry]:
        """All rides kept, by start. Reads metadata only, and that only of files the index does
        not know; a file that cannot be read is left out here and named by `check`."""
        known = self._read_index()
        fresh: dict[str, Any] = {}
        entries: list[Entry] = []
        for item in self._ride_files():
            stat = item.stat()
            stamp = [stat.st_size, stat.st_mtime_ns]
            row = known.get(item.name)
            if row is None or row["stamp"] != stamp:
                try:
                    row = {"stamp": stamp, "extra": read_ride_extra(item.path)}
                except UserError:
                    continue
            fresh[item.name] = row
            if (entry := _entry(item, row["extra"])) is not None:
                entries.append(entry)
        if fresh != known:
            self._write_index(fresh)
        return sorted(entries, key=lambda one: (one.start, one.name))

    def find(self, name: str) -> Entry:
        """The ride of that name, or of the one name that begins so.

        Raises
        ------
        BookError : none, or more than one
        """
        entries = self.entries()
        hits = [one for one in entries if one.name == name]
        hits = hits or [one for one in entries if one.name.startswith(name)]
        if len(hits) == 1:
            return hits[0]
        some = ", ".join(one.name for one in (hits or entries)[-5:])
        what = "more than one ride begins so" if hits else "no ride of that name"
        which = f": {some}" if some else "; the book is empty"
        raise BookError(
            where=f"{self.folder}: {name}",
            what=what,
            remedy=f"`hillproof book list` shows all{which}.",
        )

    def by_sources(self) -> dict[tuple[str, ...], Entry]:
        """Rides by the fingerprints of the log files they were made from, in sorted order."""
        return {tuple(sorted(one.sources)): one for one in self.entries() if one.sources}

    def add(
        self,
        ride: Ride,
        setup: Setup,
        *,
        sources: Sequence[str] = (),
        kind: str = "ride",
        summary: Mapping[str, Any] | None = None,
        summary_version: int = 0,
    ) -> tuple[str, bool]:
        """Keep a ride; its name, and whether it is new: the same measurements are kept once.

        Raises
        ------
        BookError : the ride has no start, or the book cannot be written
        """
        if ride.start is None:
            raise BookError(
                where=ride.sources[0].file if ride.sources else "ride",
                what="the logs carry no date, and the book keeps rides by date",
                remedy="Say when it began: --start 2031-05-04T09:12.",
            )
        content = content_hash(ride)
        if (there := self._named_by(content)) is not None:
            return there, False
        name = f"{ride.start:%Y-%m-%dT%H%M}-{content[:HASH_LETTERS]}"
        extra = _extra(
            ride,
            setup,
            content=content,
            sources=sources,
            kind=kind,
            summary=summary,
            summary_version=summary_version,
        )
        with self._writing():
            folder = self.folder / RIDES
            folder.mkdir(parents=True, exist_ok=True)
            self._clear_stale(folder)
            new = _put(folder / f"{name}{RIDE_ENDING}", ride, setup, extra)
        return name, new

    def _named_by(self, content: str) -> str | None:
        """The ride kept under this fingerprint: names carry its first letters."""
        tail = f"-{content[:HASH_LETTERS]}{RIDE_ENDING}"
        for item in self._ride_files():
            if item.name.endswith(tail):
                return item.name.removesuffix(RIDE_ENDING)
        return None

    def load(self, name: str) -> tuple[Ride, Setup]:
        """A ride and the setup it was ridden with.

        Raises
        ------
        BookError, importers.errors.UserError : not there, or not readable
        """
        return read_ride_file(self.find(name).path)

    def renew(self, entry: Entry, summary: Mapping[str, Any], summary_version: int) -> None:
        """Put a newer summary into a kept ride; its measurements stay as they are.

        Raises
        ------
        importers.errors.UserError : the book cannot be written
        """
        ride, setup = read_ride_file(entry.path)
        extra = _extra(
            ride,
            setup,
            content=entry.content,
            sources=entry.sources,
            kind=entry.kind,
            summary=summary,
            summary_version=summary_version,
        )
        with self._writing():
            write_ride_file(ride, setup, entry.path, extra=extra)

    def remove(self, name: str) -> str:
        """Take one ride out for good; its full name.

        Raises
        ------
        BookError : not there, or it cannot be removed
        """
        entry = self.find(name)
        with self._writing():
            Path(entry.path).unlink()
        return entry.name

    def check(self) -> list[str]:
        """Is all of it whole? A sentence per fault: unreadable, changed, half-written, foreign."""
        faults: list[str] = []
        for item in self._ride_files():
            try:
                extra = read_ride_extra(item.path)
                ride, _ = read_ride_file(item.path)
            except UserError as error:
                faults.append(f"{item.name}: {error.what}")
                continue
            entry = _entry(item, extra)
            if entry is None:
                faults.append(f"{item.name}: a ride file that the book did not write")
            elif content_hash(ride) != entry.content:
                faults.append(f"{item.name}: its measurements are not those that were kept")
        for path in self._leftovers():
            faults.append(f"{path.name}: left by a writer that was stopped; safe to delete")
        faults += read_notes(self._note_files())[1]
        return faults

    def note(self, note: HandNote) -> None:
        """Keep a note by hand.

        Raises
        ------
        BookError : the book cannot be written
        """
        with self._writing():
            folder = self.folder / NOTES
            folder.mkdir(parents=True, exist_ok=True)
            data = note_bytes(note)
            letters = hashlib.sha256(data).hexdigest()[:HASH_LETTERS]
            _put_bytes(folder / f"{note.day}-{letters}{NOTE_ENDING}", data)

    def notes(self) -> list[HandNote]:
        """All notes by hand, by day."""
        return read_notes(self._note_files())[0]

    def _ride_files(self) -> list[os.DirEntry[str]]:
        try:
            with os.scandir(self.folder / RIDES) as found:
                files = [
                    one
                    for one in found
                    if one.name.endswith(RIDE_ENDING) and not one.name.startswith(".")
                ]
        except FileNotFoundError:
            return []
        except OSError as error:
            raise self._error(error) from error
        return sorted(files, key=lambda one: one.name)

    def _note_files(self) -> list[Path]:
        folder = self.folder / NOTES
        return sorted(folder.glob(f"*{NOTE_ENDING}")) if folder.is_dir() else []

    def _leftovers(self) -> list[Path]:
        return sorted(self.folder.glob("*/.*"))

    def _clear_stale(self, folder: Path) -> None:
        for path in folder.glob(".*"):
            with contextlib.suppress(OSError):
                if time.time() - path.stat().st_mtime > STALE_S:
                    path.unlink()

    def _read_index(self) -> dict[str, Any]:
        try:
            index = json.loads((self.folder / INDEX).read_text("utf-8"))
            return dict(index["files"]) if index["version"] == INDEX_VERSION else {}
        except (OSError, ValueError, KeyError, TypeError):
            return {}

    def _write_index(self, files: Mapping[str, Any]) -> None:
        """Best effort: a book on a read-only disk works without."""
        if not self.folder.is_dir():
            return
        with contextlib.suppress(OSError):
            text = json.dumps({"version": INDEX_VERSION, "files": files})
            _put_bytes(self.folder / INDEX, text.encode())

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise self._error(error) from error

    def _error(self, error: OSError) -> BookError:
        return BookError(
            where=str(self.folder),
            what=f"the book cannot be used ({error.strerror or error}); nothing in it was changed",
            remedy="Make room or get permission there, or name another book with --book DIR.",
        )


def content_hash(ride: Ride) -> str:
    """A fingerprint of what was measured: every column's name and values, and the start."""
    digest = hashlib.sha256(f"{ride.start} {ride.drives}".encode())
    for name in sorted(ride.table.columns):
        column = ride.table[name]
        digest.update(str(name).encode())
        if column.dtype.kind == "f":
            exact = "float64" if name in EXACT_COLUMNS else "float32"  # as a ride file keeps them
            digest.update(column.to_numpy(exact).tobytes())
        else:
            digest.update("\0".join(map(str, column.fillna("").tolist())).encode())
    return digest.hexdigest()


def file_hash(path: str) -> str:
    """SHA-256 of a log file's bytes; empty when it cannot be read."""
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def pack_of(setup: Setup) -> str:
    """What tells packs apart in a book: `pack.name`, else `vehicle.name`, else nothing."""
    return setup.pack.name or setup.vehicle.name or ""


def _extra(
    ride: Ride,
    setup: Setup,
    *,
    content: str,
    sources: Iterable[str],
    kind: str,
    summary: Mapping[str, Any] | None,
    summary_version: int,
) -> dict[str, str]:
    assert ride.start is not None
    row = {
        "kind": kind,
        "pack": pack_of(setup),
        "start": ride.start.isoformat(),
        "content": content,
        "sources": list(sources),
        "summary_version": summary_version,
        "summary": summary,
    }
    return {"book": json.dumps(row, allow_nan=False)}


def _entry(item: os.DirEntry[str], extra: Mapping[str, str]) -> Entry | None:
    try:
        row = json.loads(extra["book"])
        return Entry(
            name=item.name.removesuffix(RIDE_ENDING),
            path=item.path,
            kind=row["kind"],
            pack=row["pack"],
            start=datetime.fromisoformat(row["start"]),
            content=row["content"],
            sources=tuple(row["sources"]),
            summary=row["summary"],
            summary_version=row["summary_version"],
        )
    except (KeyError, ValueError, TypeError):
        return None


def _put(place: Path, ride: Ride, setup: Setup, extra: Mapping[str, str]) -> bool:
    """Write beside and link into place; False when another writer was first."""
    beside = place.with_name(f"{TEMPORARY}{os.getpid()}-{secrets.token_hex(4)}{RIDE_ENDING}")
    try:
        write_ride_file(ride, setup, str(beside), extra=extra)
        return _link(beside, place)
    finally:
        beside.unlink(missing_ok=True)


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


def _put_bytes(place: Path, data: bytes) -> None:
    beside = place.with_name(f"{TEMPORARY}{os.getpid()}-{secrets.token_hex(4)}")
    try:
        with open(beside, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, place)
    finally:
        beside.unlink(missing_ok=True)
    _flush_folder(place.parent)


def _flush_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

"""The book of rides: a folder of ride files that is itself the database.

    BOOK/rides/2031-05-04T0912-3fa2b1c4.parquet    one ride with its setup, sources and summary
    BOOK/notes/2031-05-06-….note.json              one note by hand
    BOOK/index.json                                 may be deleted at any time; comes back

`book_store` puts files into it, here or on any file system that fsspec reaches: a ride is there
whole or not at all, whatever is killed. The index only remembers what stands in the files'
metadata, by size and time of change. What a summary holds is the caller's.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from importers.book_notes import NOTE_ENDING, HandNote, note_bytes, read_notes
from importers.book_store import Item, LocalStore, store_at, written
from importers.errors import BookError, UserError
from importers.ride import Ride
from importers.ride_file import EXACT_COLUMNS, read_ride_extra, read_ride_file, write_ride_file
from importers.setup_types import Setup

RIDES, NOTES, INDEX = "rides", "notes", "index.json"
RIDE_ENDING = ".parquet"
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
    """A book at a folder, or at an address like `s3://bucket/book`; made by the first `add`.

    Raises
    ------
    BookError : an address of an unknown kind, or whose driver is not installed
    """

    def __init__(self, folder: str | Path) -> None:
        self.store = store_at(folder)
        self.place = self.store.place
        """Where it is, as `Book` takes it again."""

    @property
    def folder(self) -> Path:
        """The folder of a book on this machine."""
        assert isinstance(self.store, LocalStore)
        return self.store.folder

    def entries(self) -> list[Entry]:
        """All rides kept, by start. Reads metadata only, and that only of files the index does
        not know; a file that cannot be read is left out here and named by `check`."""
        known = self._read_index()
        fresh: dict[str, Any] = {}
        entries: list[Entry] = []
        for item in self._ride_files():
            row = known.get(item.name)
            if row is None or row["stamp"] != item.stamp:
                try:
                    row = {"stamp": item.stamp, "extra": read_ride_extra(item.path)}
                except UserError:
                    continue
            fresh[item.name] = row
            if (entry := _entry(item, row["extra"])) is not None:
                entries.append(entry)
        if fresh != known:
            self._write_index(fresh)
        return sorted(entries, key=lambda one: (one.start, one.name))

    def left_out(self, entries: Sequence[Entry]) -> list[str]:
        """Files among the rides that `entries` had to leave out; `check` says why."""
        read = {f"{one.name}{RIDE_ENDING}" for one in entries}
        return sorted(one.name for one in self._ride_files() if one.name not in read)

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
            where=name,
            what=f"{what} in {self.place}",
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
        new = self.store.keep_new(
            RIDES,
            f"{name}{RIDE_ENDING}",
            lambda path: write_ride_file(ride, setup, path, extra=extra),
        )
        return name, new

    def _named_by(self, content: str) -> str | None:
        """The ride kept under this fingerprint: names carry its first letters."""
        tail = f"-{content[:HASH_LETTERS]}{RIDE_ENDING}"
        for name in self.store.names(RIDES):
            if name.endswith(tail):
                return name.removesuffix(RIDE_ENDING)
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
        self.store.replace(
            RIDES,
            f"{entry.name}{RIDE_ENDING}",
            lambda path: write_ride_file(ride, setup, path, extra=extra),
        )

    def remove(self, name: str) -> str:
        """Take one ride out for good, a file that cannot be read as one included; its full name.

        Raises
        ------
        BookError : not there, or it cannot be removed
        """
        damaged = [one.removesuffix(RIDE_ENDING) for one in self.left_out(self.entries())]
        whole = name.removesuffix(RIDE_ENDING)
        if whole not in damaged:
            whole = self.find(name).name
        self.store.remove(RIDES, f"{whole}{RIDE_ENDING}")
        return whole

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
        for left in self.store.leftovers():
            faults.append(f"{left}: left by a writer that was stopped; safe to delete")
        faults += read_notes(self._note_files())[1]
        return faults

    def note(self, note: HandNote) -> None:
        """Keep a note by hand.

        Raises
        ------
        BookError : the book cannot be written
        """
        data = note_bytes(note)
        letters = hashlib.sha256(data).hexdigest()[:HASH_LETTERS]
        self.store.replace(NOTES, f"{note.day}-{letters}{NOTE_ENDING}", written(data))

    def notes(self) -> list[HandNote]:
        """All notes by hand, by day."""
        return read_notes(self._note_files())[0]

    def _ride_files(self) -> list[Item]:
        return [one for one in self.store.items(RIDES) if one.name.endswith(RIDE_ENDING)]

    def _note_files(self) -> list[tuple[str, bytes | None]]:
        names = [one for one in self.store.names(NOTES) if one.endswith(NOTE_ENDING)]
        return [(name, self.store.read(NOTES, name)) for name in names]

    def _read_index(self) -> dict[str, Any]:
        try:
            index = json.loads(self.store.read("", INDEX) or b"")
            return dict(index["files"]) if index["version"] == INDEX_VERSION else {}
        except (ValueError, KeyError, TypeError):
            return {}

    def _write_index(self, files: Mapping[str, Any]) -> None:
        """Best effort: a book on a read-only disk works without."""
        text = json.dumps({"version": INDEX_VERSION, "files": files})
        with contextlib.suppress(UserError):
            self.store.replace("", INDEX, written(text.encode()))


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


def _entry(item: Item, extra: Mapping[str, str]) -> Entry | None:
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

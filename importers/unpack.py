"""From a path to the bytes of one table: gzip, zip and xz opened, with a limit against bombs."""

from __future__ import annotations

import gzip
import lzma
import mmap
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from importers.errors import LogError

CHUNK = 1 << 20
"""Bytes handled at once. Our choice."""
KEEP_IN_MEMORY = 256 << 20
"""Files up to this size are read, larger ones are mapped [bytes]. Our choice."""
MOST_UNPACKED = 8 << 30
"""What a packed log may unpack to [bytes]. Our choice: 24 h of two drives at 100 Hz is 2 GB."""
FREE_UNPACKED = 64 << 20
"""Up to this size any compression is believed [bytes]. Our choice."""
MOST_RATIO = 200
"""Beyond that, unpacked over packed. Our choice: text logs pack 3 to 30 times; a file of one
repeated byte packs about 1000 times (the limit of deflate, RFC 1951)."""

SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"BM", "a picture (BMP)"),
    (b"RIFF", "a picture, sound or film"),
    (b"%PDF", "a PDF document"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"SQLite format 3", "a database"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or document"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"\x28\xb5\x2f\xfd", "a Zstandard archive"),
    (b"\x1f\x9d", "a compress archive"),
    (b"BZh", "a bzip2 archive"),
)
"""First bytes of files that are no text table (the public registries of magic numbers)."""

Data = bytes | mmap.mmap


def read_bytes(path: str) -> Data:
    """What a file holds, unpacked where it is packed.

    Raises `LogError` where there is no such file, it is empty, it is no log by its first bytes,
    or it unpacks to far more than a log can be.
    """
    _readable(path)
    with open(path, "rb") as file:
        head = file.read(16)
    if head.startswith(b"\x1f\x8b"):
        return _unpacked(path, _gzip)
    if head.startswith(b"\xfd7zXZ\x00"):
        return _unpacked(path, _xz)
    if head.startswith(b"PK\x03\x04"):
        return _unpacked(path, _zip)
    _refuse_foreign(path, head)
    with open(path, "rb") as file:
        return _whole(file, Path(path).stat().st_size)


def _readable(path: str) -> None:
    """Say plainly what is wrong with a path that can't be read."""
    where = Path(path)
    if not where.exists():
        raise LogError(
            where=path, what="there is no such file", remedy="Check the name and the folder."
        )
    if where.is_dir():
        raise LogError(
            where=path,
            what="this is a folder, not a log",
            remedy="Name the log files in it, one by one.",
        )
    if not where.is_file():
        raise LogError(where=path, what="this is no plain file", remedy="Give a file on disk.")
    try:
        with open(path, "rb") as file:
            first = file.read(1)
    except OSError as error:
        raise LogError(
            where=path,
            what=f"the file can't be read ({error.strerror})",
            remedy="Check its permissions and the disk or card it is on.",
        ) from error
    if not first:
        raise LogError(
            where=path,
            what="the file is empty",
            remedy="Copy it from the logger again; a log that was never closed may be lost.",
        )


def _refuse_foreign(path: str, head: bytes) -> None:
    for signature, kind in SIGNATURES:
        if head.startswith(signature) and (len(signature) > 2 or b"\x00" in head[2:]):
            raise LogError(
                where=path,
                what=f"this is {kind}, not a log",
                remedy="Give the logger's own CSV file, plain or packed as gzip, zip or xz.",
            )


def _whole(file: IO[bytes], size: int) -> Data:
    if size <= KEEP_IN_MEMORY:
        return file.read()
    return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)


def _gzip(path: str) -> Iterator[bytes]:
    with gzip.open(path) as file:
        while piece := file.read(CHUNK):
            yield piece


def _xz(path: str) -> Iterator[bytes]:
    # A hostile xz header may ask for gigabytes before the first byte comes out.
    packed = lzma.LZMADecompressor(memlimit=KEEP_IN_MEMORY)
    with open(path, "rb") as file:
        while piece := file.read(CHUNK):
            out = packed.decompress(piece, CHUNK)
            while True:
                if out:
                    yield out
                if packed.eof or packed.needs_input:
                    break
                out = packed.decompress(b"", CHUNK)
            if packed.eof:
                return
    raise EOFError


def _zip(path: str) -> Iterator[bytes]:
    with zipfile.ZipFile(path) as archive:
        names = [
            one
            for one in archive.infolist()
            if not one.is_dir() and not one.filename.startswith("__MACOSX/")
        ]
        if any(one.filename == "[Content_Types].xml" for one in names):
            raise LogError(
                where=path,
                what="this is a spreadsheet or document, not a log",
                remedy="Save the sheet as CSV, or better, give the logger's own file.",
            )
        if len(names) != 1:
            listed = ", ".join(one.filename for one in names[:5]) or "nothing"
            raise LogError(
                where=path,
                what=f"this archive holds {len(names)} files ({listed})",
                remedy="Unpack it and name the logs one by one.",
            )
        with archive.open(names[0]) as file:
            while piece := file.read(CHUNK):
                yield piece


def _unpacked(path: str, opener: object) -> Data:
    """All of a packed file, in memory or, when large, in an unnamed temporary file."""
    packed = Path(path).stat().st_size
    size = 0
    store = tempfile.SpooledTemporaryFile(max_size=KEEP_IN_MEMORY)  # noqa: SIM115
    with store:
        try:
            for piece in opener(path):  # type: ignore[operator]
                size += len(piece)
                if size > MOST_UNPACKED or size > max(FREE_UNPACKED, packed * MOST_RATIO):
                    raise LogError(
                        where=path,
                        what=f"this archive unpacks to more than {size >> 20} MB",
                        remedy="No log packs this tightly: unpack it by hand and look at it.",
                    )
                store.write(piece)
        except (EOFError, OSError, lzma.LZMAError, zlib.error, zipfile.BadZipFile) as error:
            if size == 0 or isinstance(error, zipfile.BadZipFile):
                raise LogError(
                    where=path,
                    what="the archive is damaged",
                    remedy="Copy it from the logger again, or unpack it by hand.",
                ) from error
        except (RuntimeError, NotImplementedError, ValueError) as error:
            raise LogError(
                where=path,
                what=f"the archive can't be opened ({error})",
                remedy="Unpack it by hand and give the file in it.",
            ) from error
        if size == 0:
            raise LogError(
                where=path,
                what="the archive holds an empty file",
                remedy="Copy it from the logger again.",
            )
        store.seek(0)
        return _whole(store, size)

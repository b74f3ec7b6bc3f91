"""Places that are no local folder: `s3://…`, `sftp://…`, `memory://…`, whatever fsspec reaches.

fsspec and its drivers are loaded when such a place is first named.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from importers.errors import BookError

CHAIN = "::"
"""fsspec's own sign for one file system within another."""
LOCAL_SCHEMES = ("file://", "local://")


def is_remote(place: str | Path) -> bool:
    """Whether this names a place by its scheme, not a folder or file on this machine."""
    text = str(place)
    return isinstance(place, str) and ("://" in text or CHAIN in text)


def local_path(place: str) -> Path | None:
    """The folder that a `file://` address names; None for any other address."""
    for scheme in LOCAL_SCHEMES:
        if place.startswith(scheme) and CHAIN not in place:
            return Path(place.removeprefix(scheme))
    return None


def file_system(url: str) -> tuple[Any, str]:
    """The file system behind an address and the path in it.

    Raises
    ------
    BookError : fsspec, its driver for this scheme, or the scheme itself is not there
    """
    try:
        import fsspec
    except ImportError as error:
        raise BookError(
            where=url, what="what reaches other file systems is not installed",
            remedy="pip install 'hillproof[remote]', or name a local folder.",
        ) from error  # fmt: skip
    try:
        with reaching(url):
            found, path = fsspec.core.url_to_fs(url)
            return found, str(path).rstrip("/")
    except ImportError as error:
        raise BookError(
            where=url, what=f"the driver for this kind of place is not installed ({error})",
            remedy="Install the package it names beside hillproof, or name a local folder.",
        ) from error  # fmt: skip
    except ValueError as error:
        raise BookError(
            where=url, what=f"no such kind of place is known ({error})",
            remedy="Write it as s3://bucket/book, sftp://host/book …, or name a local folder.",
        ) from error  # fmt: skip


@contextlib.contextmanager
def reaching(place: str) -> Iterator[None]:
    """What goes wrong on the way is one plain message: drivers raise errors of many libraries."""
    try:
        yield
    except (BookError, ImportError, ValueError, FileNotFoundError, AssertionError):
        raise
    except Exception as error:
        text = " ".join(str(error).split())[:200] or type(error).__name__
        raise BookError(
            where=place,
            what=f"the place cannot be used ({text}); nothing in it was changed",
            remedy="Check the address, the network and your right to write there, or name "
            "another book with --book DIR.",
        ) from error


@contextlib.contextmanager
def opened(url: str) -> Iterator[IO[bytes]]:
    """A file at an address, for reading.

    Raises
    ------
    FileNotFoundError : no such file
    BookError : the place cannot be reached
    """
    system, path = file_system(url)
    with reaching(url):
        file = system.open(path, "rb")
    with file:
        yield file

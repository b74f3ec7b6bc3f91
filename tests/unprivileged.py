"""A stretch of a test without root's right to write anywhere."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NOBODY = 65534


@contextmanager
def unprivileged() -> Iterator[Path]:
    """A folder of one's own, as a user who is not root: root's identity is put down and, being
    kept as the saved one, taken up again."""
    place = Path(tempfile.mkdtemp())  # pytest's own folders are closed to other users
    root = os.geteuid() == 0
    try:
        if root:
            os.chown(place, NOBODY, NOBODY)
            os.setresuid(NOBODY, NOBODY, 0)
        try:
            yield place
        finally:
            if root:
                os.setresuid(0, 0, 0)
    finally:
        for folder in (place, *(one for one in place.rglob("*") if one.is_dir())):
            folder.chmod(0o700)
        shutil.rmtree(place)

"""Coverage-guided fuzzing of the reader and the channel finder.

    python benchmarks/fuzz/fuzz_reader.py [CORPUS_DIR] [-max_total_time=60]

Needs `atheris`. Anything but a table or a `LogError` is a find: keep its input under
`tests/ledger/found/`, where `tests/importers/test_read_anything.py` reads it from then on.
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
from pathlib import Path

import atheris

sys.path[:0] = [str(Path(__file__).resolve().parents[2] / one) for one in ("", "tests")]

with atheris.instrument_imports(include=["importers"]):
    from importers.errors import LogError
    from importers.look import look, raw_table_csv

from setup_maker import TRIKE, setup_of

SETUP = setup_of(TRIKE)
FOLDER = tempfile.mkdtemp()
PATH = Path(FOLDER) / "log.csv"


def one_input(data: bytes) -> None:
    """Read these bytes as a log and as a raw table."""
    PATH.write_bytes(data)
    for act in (lambda: look([str(PATH)], setup=SETUP), lambda: raw_table_csv(str(PATH))):
        with contextlib.suppress(LogError):
            act()


if __name__ == "__main__":
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()

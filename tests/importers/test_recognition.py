"""A few files of each corpus: the full run is `benchmarks/recognition.py`."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

_PATH = Path(__file__).parents[2] / "benchmarks" / "recognition.py"
_SPEC = importlib.util.spec_from_file_location("recognition", _PATH)
assert _SPEC is not None
assert _SPEC.loader is not None
recognition = importlib.util.module_from_spec(_SPEC)
import sys  # noqa: E402

sys.modules["recognition"] = recognition
_SPEC.loader.exec_module(recognition)


@pytest.mark.parametrize(
    ("which", "least"), [("first", 0.98), ("second", 0.98), ("third", 0.98), ("hard", 0.7)]
)
def test_nothing_wrong_is_called_sure(which: str, least: float) -> None:
    """Seeds apart from those the vocabulary was tuned on (0 to 599)."""
    tally = recognition.run(which, 9000, 12, False)
    total = sum(tally[one] for one in ("right", "missed", "wrong", "wrong and sure"))
    assert tally["wrong and sure"] == 0
    assert tally["right"] >= least * total
    assert total > 100
